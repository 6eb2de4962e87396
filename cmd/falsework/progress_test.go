package main

import (
	"strings"
	"sync"
	"testing"
	"time"
)

// lockedText may be written from several goroutines.
type lockedText struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *lockedText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func TestProgressSpeaksAfterAMoment(t *testing.T) {
	var said lockedText
	quick := newProgress(&said, time.Hour)
	quick.enter("cutting")
	quick.close()
	if said.String() != "" {
		t.Errorf("a quick command said %q", said.String())
	}

	slow := newProgress(&said, time.Nanosecond)
	slow.enter("cutting")
	slow.tick() // what the timer does, now
	slow.tick()
	slow.enter("proving")
	slow.tick()
	slow.close()
	slow.close()
	slow.enter("afterwards")
	slow.tick()
	if got, want := said.String(), "cutting …\nproving …\n"; got != want {
		t.Errorf("said %q, want %q", got, want)
	}
}
