// Command falsework designs the temporary supports of a printed part and bakes
// them into the model. It wires the libraries of this module together, prints
// and exits; every decision about supports is made in them.
//
// One file a command holds its options, its constructor and its run function.
// Streams are handed in, so that a test runs the whole program in its own
// process.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// A run makes many short-lived sets of cells and ends within seconds: let the heap
// grow before it is collected, up to less than a gigabyte.
const (
	collectAt   = 300 // percent over what is alive
	softCeiling = 800 << 20
)

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(collectAt)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(softCeiling)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, streams{in: os.Stdin, out: os.Stdout, err: os.Stderr}, os.Args[1:])
	stop()
	os.Exit(int(code))
}
