package main

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// progressDelay is how long a command may be silent, and progressPulse how long
// a stage may be before it says again that it is at work; each time it waits twice
// as long.
const (
	progressDelay = time.Second
	progressPulse = 5 * time.Second
)

// progress tells on w what a command is at, a line a stage, once the command has
// taken longer than a moment. Its methods may be called from any goroutine.
type progress struct {
	w     io.Writer
	start time.Time

	mu     sync.Mutex
	stage  string
	since  time.Time
	told   bool // this stage was told
	pulse  time.Duration
	closed bool
	timer  *time.Timer
}

func newProgress(w io.Writer, delay time.Duration) *progress {
	p := &progress{w: w, start: time.Now()}
	// The first tick may come before the timer is stored: it waits for the lock.
	p.mu.Lock()
	defer p.mu.Unlock()
	p.timer = time.AfterFunc(delay, p.tick)
	return p
}

// enter says that a stage begins.
func (p *progress) enter(stage string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stage, p.since, p.told, p.pulse = stage, time.Now(), false, progressPulse
}

// tick runs after the delay and then at every change worth telling.
func (p *progress) tick() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return
	}
	switch at := time.Since(p.since); {
	case p.stage == "":
	case !p.told:
		fmt.Fprintf(p.w, "%s …\n", p.stage)
		p.told = true
		p.since = time.Now()
	case at >= p.pulse:
		fmt.Fprintf(p.w, "%s … %.0f s so far\n", p.stage, time.Since(p.start).Seconds())
		p.since = time.Now()
		p.pulse *= 2
	}
	p.timer.Reset(progressDelay / 4)
}

// close says no more. It may be called twice.
func (p *progress) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	p.timer.Stop()
}
