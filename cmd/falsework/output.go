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
	option string // of the command line that names it, for errors
	dir    string
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
		return fmt.Errorf("%s: is a file, not a folder; name another %s", o.dir, o.option)
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
			return fmt.Errorf("%s: is a folder where a file should go; name another %s", path, o.option)
		}
		if !o.force {
			return fmt.Errorf("%s: exists already; name another %s, or --force to replace it", path, o.option)
		}
		for _, in := range inputs {
			if i, ierr := os.Stat(in); err == nil && ierr == nil && os.SameFile(there, i) {
				return fmt.Errorf("%s: is the part itself, and would be replaced; name another %s", path, o.option)
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
	return fmt.Errorf("%s: cannot be written to (%w); name another %s", o.dir, err, o.option)
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
// to another run. Then comes then, if there is one: what else has to succeed. When
// place fails the folder is as it was.
func (o *output) place(files []file, then func() error) error {
	var failed error // that of then, which has its own words
	last := func() error {
		if then != nil {
			failed = then()
		}
		return failed
	}
	if err := o.move(files, last); failed == nil {
		return err
	}
	return failed
}

func (o *output) move(files []file, then func() error) error {
	if _, err := os.Stat(o.dir); err != nil {
		if len(files) == 0 {
			return then()
		}
		return o.refuse(o.placeNew(files, then))
	}
	// Again, since the work took a while.
	if err := o.check(); err != nil {
		return err
	}
	return o.refuse(o.placeAmong(files, then))
}

// placeNew writes to a folder that is not there yet: it is renamed from its
// stage, whole.
func (o *output) placeNew(files []file, then func() error) (err error) {
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
	if err := os.Rename(stage, o.dir); err != nil {
		return err
	}
	if err := then(); err != nil {
		return errors.Join(err, os.Rename(o.dir, stage))
	}
	return nil
}

// placeAmong writes to a folder that exists.
func (o *output) placeAmong(files []file, then func() error) (err error) {
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
	return then()
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
