package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"falsework/supports/plan"
	"falsework/supports/pose"
)

// planFile is the plan's file and what is kept beside it until it is saved.
type planFile struct {
	path string

	mu   sync.Mutex
	text []byte // of the file as it was read or written last; nil where there is none
	kept bool   // there is something beside it
}

// unsaved is work that was not saved.
type unsaved struct {
	plan plan.Plan
	turn pose.Turn
	note string // something to know about it, beginning with a semicolon; may be empty
}

// unsavedPath is where work is kept that is not saved.
func (f *planFile) unsavedPath() string {
	return filepath.Join(filepath.Dir(f.path), "."+filepath.Base(f.path)+".unsaved")
}

// unsavedHead is the first line of such a file: the pose, and which text of the plan the
// work began with.
const unsavedHead = "# not saved yet; turned by %s degrees, of the plan with sha256 %s\n"

func sum(text []byte) string {
	s := sha256.Sum256(text)
	return hex.EncodeToString(s[:])
}

// save writes a plan over the file, if that still is what was read, and returns its text.
// Comments are kept, and what is kept beside it is removed.
func (f *planFile) save(p plan.Plan) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	fresh, err := f.document(p)
	if err != nil {
		return err
	}
	if f.text == nil || !bytes.Equal(fresh, f.text) {
		if err := replace(f.path, f.text, fresh); err != nil {
			return err
		}
		f.text = fresh
	}
	return f.drop()
}

// document returns the plan's text as saving writes it. The lock is held.
func (f *planFile) document(p plan.Plan) ([]byte, error) {
	if f.text == nil {
		return p.Encode()
	}
	return plan.Update(f.text, p)
}

// textOf returns the plan's text as saving would write it.
func (f *planFile) textOf(p plan.Plan) ([]byte, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.document(p)
}

// keep writes what is not saved beside the plan, all at once.
func (f *planFile) keep(p plan.Plan, t pose.Turn) error {
	text, err := p.Encode()
	if err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	path := f.unsavedPath()
	aside, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+"-*") // for its owner alone
	if err != nil {
		return fileError(path, err)
	}
	_, err = fmt.Fprintf(aside, unsavedHead+"%s", t, sum(f.text), text)
	if err = errors.Join(err, aside.Sync(), aside.Close()); err == nil {
		err = os.Rename(aside.Name(), path)
	}
	if err != nil {
		return errors.Join(fileError(path, err), os.Remove(aside.Name()))
	}
	f.kept = true
	return nil
}

// forget removes what was kept, since nothing is unsaved.
func (f *planFile) forget() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.drop()
}

func (f *planFile) drop() error {
	if !f.kept {
		return nil
	}
	f.kept = false
	if err := os.Remove(f.unsavedPath()); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fileError(f.unsavedPath(), err)
	}
	return nil
}

// recover reads what an earlier session left unsaved, nil for nothing. What cannot be read is an
// error: it is someone's work.
func (f *planFile) recover() (*unsaved, error) {
	path := f.unsavedPath()
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fileError(path, err)
	}
	var of, turned string
	if n, _ := fmt.Sscanf(string(data), unsavedHead, &turned, &of); n != 2 {
		return nil, fmt.Errorf("%s: is no work that was left unsaved; move it away", path)
	}
	u := &unsaved{}
	if u.turn, err = pose.ParseTurn(turned); err != nil {
		return nil, fmt.Errorf("%s: line 1: %w; move the file away", path, err)
	}
	if u.plan, err = plan.Decode(path, data); err != nil {
		return nil, fmt.Errorf("%w; move the file away to begin with the plan as it was saved", err)
	}
	if !strings.EqualFold(of, sum(f.text)) {
		u.note = "; the plan's file was changed since"
	}
	f.kept = true
	return u, nil
}
