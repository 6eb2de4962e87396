package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// output is a folder that a command's files appear in all at once or not at all.
// Everything is made in memory first, so that until place is called nothing is
// there to clean up.
type output struct {
	dir string
	// names are all that the command may write for this part, whether or not
	// this run does.
	names []string
	force bool // replace files of those names
}

// file is one file of an output, not written yet.
type file struct {
	name string
	data []byte
}

// check tells early why place would fail. inputs are files that must not be
// written over.
func (o *output) check(inputs ...string) error {
	info, err := os.Stat(o.dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return o.probe(above(o.dir))
	case err != nil:
		return o.refuse(err)
	case !info.IsDir():
		return fmt.Errorf("%s: is a file, not a folder; name another --out", o.dir)
	}
	for _, name := range o.names {
		path := filepath.Join(o.dir, name)
		there, err := os.Stat(path)
		if err != nil {
			if _, lerr := os.Lstat(path); lerr != nil {
				continue
			}
		}
		if err == nil && there.IsDir() {
			return fmt.Errorf("%s: is a folder where a file should go; name another --out", path)
		}
		if !o.force {
			return fmt.Errorf("%s: exists already; name another --out, or --force to replace it", path)
		}
		for _, in := range inputs {
			if i, ierr := os.Stat(in); err == nil && ierr == nil && os.SameFile(there, i) {
				return fmt.Errorf("%s: is the part itself, and would be replaced; name another --out", path)
			}
		}
	}
	return o.probe(o.dir)
}

// above returns the nearest folder on the way to dir that exists.
func above(dir string) string {
	for {
		up := filepath.Dir(dir)
		if _, err := os.Lstat(up); err == nil || up == dir {
			return up
		}
		dir = up
	}
}

// probe tells whether a folder can be written to.
func (o *output) probe(dir string) error {
	stage, err := makeStage(dir)
	if err != nil {
		return o.refuse(err)
	}
	return o.refuse(os.Remove(stage))
}

// refuse words a failure to write.
func (o *output) refuse(err error) error {
	if err == nil {
		return nil
	}
	var at *fs.PathError
	var link *os.LinkError
	switch {
	case errors.As(err, &at):
		err = at.Err
	case errors.As(err, &link):
		err = link.Err
	}
	return fmt.Errorf("%s: cannot be written to (%w); name another --out", o.dir, err)
}

// makeStage makes a new folder in dir. Unlike os.MkdirTemp it leaves permissions
// to the user's umask, since the folder may become the output itself.
func makeStage(dir string) (string, error) {
	for n := 0; ; n++ {
		stage := filepath.Join(dir, fmt.Sprintf(".falsework-%d-%d", os.Getpid(), n))
		if err := os.Mkdir(stage, 0o777); !errors.Is(err, fs.ErrExist) {
			return stage, err
		}
	}
}

// place writes the files aside and moves them to their names. Earlier outputs
// among o.names that are not in files are removed too, since they would belong
// to another run. When it fails the folder is as it was.
func (o *output) place(files []file) error {
	if _, err := os.Stat(o.dir); err != nil {
		return o.refuse(o.placeNew(files))
	}
	// Again, since the work took a while.
	if err := o.check(); err != nil {
		return err
	}
	return o.refuse(o.placeAmong(files))
}

// placeNew writes to a folder that is not there yet: it is renamed from its
// stage, whole.
func (o *output) placeNew(files []file) (err error) {
	parent := filepath.Dir(o.dir)
	made := above(o.dir)
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return err
	}
	stage, err := makeStage(parent)
	defer func() {
		if err == nil {
			return
		}
		os.RemoveAll(stage)
		for up := parent; up != made && len(up) > len(made); up = filepath.Dir(up) {
			if os.Remove(up) != nil { // not empty: not ours
				break
			}
		}
	}()
	if err != nil {
		return err
	}
	if err := writeAll(stage, files); err != nil {
		return err
	}
	return os.Rename(stage, o.dir)
}

// placeAmong writes to a folder that exists.
func (o *output) placeAmong(files []file) (err error) {
	stage, err := makeStage(o.dir)
	if err != nil {
		return err
	}
	defer os.RemoveAll(stage)
	if err := writeAll(stage, files); err != nil {
		return err
	}
	old := filepath.Join(stage, "replaced")
	if err := os.Mkdir(old, 0o777); err != nil {
		return err
	}
	var undo []func() error
	defer func() {
		if err == nil {
			return
		}
		for i := len(undo) - 1; i >= 0; i-- {
			err = errors.Join(err, undo[i]())
		}
	}()
	move := func(from, to string) error {
		if err := os.Rename(from, to); err != nil {
			return err
		}
		undo = append(undo, func() error { return os.Rename(to, from) })
		return nil
	}
	for _, name := range o.names {
		err := move(filepath.Join(o.dir, name), filepath.Join(old, name))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	for _, f := range files {
		if err := move(filepath.Join(stage, f.name), filepath.Join(o.dir, f.name)); err != nil {
			return err
		}
	}
	return nil
}

func writeAll(dir string, files []file) error {
	for _, f := range files {
		w, err := os.OpenFile(filepath.Join(dir, f.name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if err != nil {
			return err
		}
		_, err = w.Write(f.data)
		if err := errors.Join(err, w.Close()); err != nil {
			return err
		}
	}
	return nil
}
