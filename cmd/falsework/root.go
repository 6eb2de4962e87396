package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"falsework/supports/layout"

	"github.com/spf13/cobra"
)

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// exitCode is what every command tells its caller.
type exitCode int

const (
	exitHolds   exitCode = 0 // it holds, or what was asked is done
	exitFails   exitCode = 1 // done and written, but the proof fails
	exitRefused exitCode = 2 // bad usage or input, nothing written
	// exitImpossible says that a plan asks for what cannot be; nothing written.
	exitImpossible exitCode = 3
)

// errProofFails ends a command whose result was written and told, and does not
// hold.
var errProofFails = errors.New("the proof fails")

// usageError is a mistake on the command line, the only kind that is answered
// with the command's usage.
type usageError struct {
	command *cobra.Command
	err     error
}

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// run is the whole program: it obeys args and returns the exit code.
func run(ctx context.Context, io streams, args []string) exitCode {
	root := newRootCommand(io)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	var usage *usageError
	var impossible *layout.Impossible
	switch {
	case err == nil:
		return exitHolds
	case errors.Is(err, errProofFails):
		return exitFails
	case errors.As(err, &impossible):
		fmt.Fprintf(io.err, "falsework: %s\n", oneLine(err))
		return exitImpossible
	case errors.As(err, &usage):
		fmt.Fprintf(io.err, "falsework: %s\n\n%s", oneLine(err), usage.command.UsageString())
	default:
		fmt.Fprintf(io.err, "falsework: %s\n", oneLine(err))
	}
	return exitRefused
}

// oneLine makes one line of an error that may be several joined ones.
func oneLine(err error) string {
	lines := strings.FieldsFunc(err.Error(), func(r rune) bool { return r == '\n' || r == '\r' })
	for i := range lines {
		lines[i] = strings.TrimSpace(lines[i])
	}
	return strings.Join(lines, "; ")
}

const rootHelp = `A layer of molten plastic needs something below it. Falsework finds what of a
part has nothing, draws the sparsest supports that hold it, proves layer by layer
that they do and that they come off again, and writes part and supports as one
model to publish: whoever prints it turns automatic supports off.

The job, from an exported part to a published model:

  1. Export the part from CAD in millimetres, as STL or as 3MF, standing on the
     plate (lowest point at z = 0) the way up it will be printed.
  2. Ask what does not hold, why, and what change in CAD would do away with it. The
     best support is none:

         falsework survey bracket.stl --out out

  3. Bake what is left:

         falsework bake bracket.stl --out out

  4. Look at the pictures in out: what is hatched is where a support meets the
     part. The summary says whether everything holds, and what the supports take
     in time and plastic beside a dense grid of lines.
  5. Not quite as you want it? Every contact line and post is in
     out/bracket.plan.yaml; its head says how to edit it. Move, add or delete them,
     mark faces to keep clean, have the rest drawn anew around what is yours, and
     build exactly that:

         falsework layout bracket.stl --plan out/bracket.plan.yaml
         falsework bake bracket.stl --plan out/bracket.plan.yaml --out second

     Or do all of that by hand, in the browser:

         falsework edit bracket.stl --plan out/bracket.plan.yaml

  6. You drew supports yourself, or have those of another program? The same proof
     judges them, and tells what strangers' layer heights make of their gap:

         falsework prove bracket.stl my-supports.stl

  7. Publish out/bracket.3mf with the print sheet, out/bracket-sheet.html, for those
     who print it; out/bracket-listing.md is text for the page, and these are
     pictures for it:

         falsework draw out/bracket.3mf --out page

A scene of defaults: nozzle 0.4, layers 0.2, overhangs to 45° from the vertical,
bridges to 10, a gap of 0.2 (all mm), bridges laid in any direction. Tell it what
your printer can really do; the proof is worth what these numbers are. "falsework
coupon" writes a print to read them off, for a file that every command takes as
--printer.

Exit codes: 0 it holds; 1 it was written but the proof fails; 2 bad usage or
input; 3 a plan asks for what cannot be. Nothing was written after 2 and 3.`

func newRootCommand(io streams) *cobra.Command {
	root := &cobra.Command{
		Use:           "falsework",
		Short:         "Bake sparse, proven supports into a model for 3D printing",
		Long:          rootHelp,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			problem := fmt.Sprintf("there is no command %q", args[0])
			if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
				problem += "; did you mean " + strings.Join(near, " or ") + "?"
			}
			return &usageError{cmd, errors.New(problem)}
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SuggestionsMinimumDistance = 2
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetIn(io.in)
	root.SetOut(io.out)
	root.SetErr(io.err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return &usageError{cmd, err} })
	root.AddCommand(newSurveyCommand(io), newPoseCommand(io), newBakeCommand(io), newLayoutCommand(io), newEditCommand(io), newDiffCommand(io), newCostCommand(io), newProveCommand(io), newBenchCommand(io), newCouponCommand(io), newDrawCommand(io))
	return root
}

// exactly asks for n arguments, which what describes.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return &usageError{cmd, fmt.Errorf("%s takes %s, but was given %d arguments", cmd.Name(), what, len(args))}
		}
		return nil
	}
}
