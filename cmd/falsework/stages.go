package main

import (
	"context"
	"errors"
	"time"
)

// stage is one step of a command's work. It touches no file but its inputs.
type stage struct {
	name    string
	seconds *float64 // what its time is added to
	run     func() error
}

// work runs stages one after the other and tells what it is at. An interrupt ends
// it at once: nothing has been written, so the stage at work may be left where it
// is.
func work(ctx context.Context, p *progress, stages []stage) error {
	done := make(chan error, 1)
	go func() { done <- inTurn(ctx, p, stages) }()
	select {
	case err := <-done:
		if err != nil && ctx.Err() == nil {
			return err
		}
	case <-ctx.Done():
	}
	if ctx.Err() != nil {
		return errors.New("interrupted; nothing was written")
	}
	return nil
}

func inTurn(ctx context.Context, p *progress, stages []stage) error {
	for _, s := range stages {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		p.enter(s.name)
		start := time.Now()
		if err := s.run(); err != nil {
			return err
		}
		*s.seconds += time.Since(start).Seconds()
	}
	return nil
}

// put places what a command made, if it was to write anything, and adds the time that
// it took to seconds.
func put(p *progress, target output, files []file, seconds *float64) error {
	if len(files) == 0 {
		return nil
	}
	p.enter("writing " + target.dir)
	start := time.Now()
	if err := target.place(files, nil); err != nil {
		return err
	}
	*seconds += time.Since(start).Seconds()
	return nil
}
