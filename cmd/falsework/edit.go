package main

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/desk"
	"falsework/supports/plan"
	"falsework/supports/pose"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"
)

// pageFiles is the built page. Without it the program builds, and edit says what to do.
//
//go:embed all:page/dist
var pageFiles embed.FS

// editOptions are what edit was asked for.
type editOptions struct {
	part      string
	plan      string
	turn      string
	listen    string
	port      int
	noBrowser bool
	input     inputOptions
	printer   printerOptions

	page  fs.FS // what the browser is given
	open  func(url string) error
	delay time.Duration // until progress is told
}

const editHelp = `Edit opens the plan of a part in your browser: the part with what would not hold
drawn on it, the supports as solids, and the verdict, which follows every change you
make. Place, move, pin or delete pillars and contact lines, mark faces that are to stay
clean, have the rest laid out around what is yours, and save.

The plan is the file that --plan names, or NAME.plan.yaml beside the part; where there is
none yet, saving writes one. Saving writes the plan and nothing else, keeps your
comments, and never goes over a file that someone else changed meanwhile. The same file may
be edited by hand, by "falsework layout" and here in turn:

    falsework edit bracket.stl
    falsework bake bracket.stl --plan bracket.plan.yaml --out out

What is not saved yet is kept in .NAME.plan.yaml.unsaved beside the plan. If the program or
the computer dies, the next edit of the plan takes it up again, as a step that can be
undone. It is removed when you save, and when you end with nothing unsaved.

The program serves the page itself, to this computer alone, at the address that it
prints. The address holds a token: whoever has it can edit the plan, so pass it to nobody.
--listen with another address lets other computers in that have the token; what goes
over the network then is not encrypted. End with Ctrl-C.

A plan belongs to a pose. One that was drawn for a turned part needs the same --pose, as
bake does. The options that describe the printer, given beside a plan, are put in it.`

const editExample = `  falsework edit bracket.stl
  falsework edit bracket.stl --plan out/bracket.plan.yaml
  falsework edit bracket.stl --no-browser --port 8000`

func newEditCommand(io streams) *cobra.Command {
	page, err := fs.Sub(pageFiles, "page/dist")
	if err != nil {
		page = pageFiles // the folder is embedded, so this does not happen
	}
	o := &editOptions{page: page, open: openBrowser, delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "edit PART",
		Short:   "Edit a plan by hand, in the browser",
		Long:    editHelp,
		Example: editExample,
		Args:    exactly(1, "one part"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			if cmd.Flags().Changed("plan") && o.plan == "" {
				return &usageError{cmd, errors.New("--plan is empty: name a plan, or leave it out to have the one beside the part")}
			}
			if o.plan == "" {
				o.plan = filepath.Join(filepath.Dir(o.part), outputsOf(stem(o.part)).plan)
			}
			if o.port < 0 || o.port > 65535 {
				return &usageError{cmd, fmt.Errorf("--port %d is outside 0 to 65535", o.port)}
			}
			if net.ParseIP(o.listen) == nil {
				return &usageError{cmd, fmt.Errorf("--listen %q is no address such as 127.0.0.1", o.listen)}
			}
			if o.turn != "" {
				if _, err := pose.ParseTurn(o.turn); err != nil {
					return &usageError{cmd, fmt.Errorf("--pose: %w", err)}
				}
			}
			if err := o.printer.check(); err != nil {
				return &usageError{cmd, err}
			}
			return runEdit(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.plan, "plan", "", "plan to edit (default NAME.plan.yaml beside the part)")
	fs.StringVar(&o.turn, "pose", "", "turn the part first by degrees about X, Y and Z, as 90,0,0")
	fs.IntVar(&o.port, "port", 0, "port to serve at (default one that is free)")
	fs.StringVar(&o.listen, "listen", "127.0.0.1", "address to serve at; another one lets other computers in")
	fs.BoolVar(&o.noBrowser, "no-browser", false, "only print the address")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	return cmd
}

// editing is one session.
type editing struct {
	o        *editOptions
	machine  printer
	part     *mesh.Mesh // as given
	plan     plan.Plan
	turn     pose.Turn
	file     planFile
	desk     *desk.Desk
	warnings []string
	recover  *unsaved
	seconds  float64
}

func runEdit(ctx context.Context, io streams, o *editOptions) error {
	if _, err := fs.Stat(o.page, "index.html"); err != nil {
		return errors.New("this program was built without the editor's page; run \"make page\" in its source folder and build it again")
	}
	e := &editing{o: o}
	p := newProgress(io.err, o.delay)
	defer p.close()
	if err := work(ctx, p, []stage{
		{"reading part and plan", &e.seconds, e.read},
		{"cutting layers", &e.seconds, e.lay},
	}); err != nil {
		return err
	}
	defer e.desk.Close()
	l, err := net.Listen("tcp", net.JoinHostPort(o.listen, strconv.Itoa(o.port)))
	if err != nil {
		return fmt.Errorf("cannot serve at %s, port %d: %w; name another --port", o.listen, o.port, err)
	}
	p.close()
	for _, w := range e.warnings {
		fmt.Fprintf(io.err, "warning: %s\n", w)
	}
	return e.serve(ctx, io, l)
}

func (e *editing) read() (err error) {
	o := e.o
	in := o.input
	in.loose = o.turn != ""
	if e.part, e.warnings, err = readPart(o.part, in); err != nil {
		return err
	}
	if e.machine, err = readPrinter(o.printer.file); err != nil {
		return err
	}
	placed := e.part
	if o.turn != "" {
		if e.turn, err = pose.ParseTurn(o.turn); err != nil {
			return err
		}
		if e.turn == (pose.Turn{}) {
			e.part = e.turn.Place(e.part)
		}
		placed = e.part
		if e.turn != (pose.Turn{}) {
			placed = e.turn.Place(e.part)
		}
	}
	e.file = planFile{path: o.plan}
	if _, err := os.Stat(o.plan); errors.Is(err, fs.ErrNotExist) {
		s, err := o.printer.settingsFor(e.machine)
		if err != nil {
			return err
		}
		e.plan = plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s), Taste: plan.Taste{Heights: s.Heights}}
	} else {
		p, text, warnings, err := readPlan(o.plan, o.part, placed)
		if err != nil {
			return err
		}
		e.file.text = text
		e.warnings = append(e.warnings, warnings...)
		changes, err := o.printer.overPlan(&p)
		if err != nil {
			return err
		}
		if len(changes) > 0 {
			e.warnings = append(e.warnings, "the plan's settings were changed: "+told(changes))
		}
		e.plan = p
	}
	e.recover, err = e.file.recover()
	return err
}

// lay puts part and plan on the desk.
func (e *editing) lay() (err error) {
	e.desk, err = desk.New(e.part, e.plan, desk.Options{
		Name: filepath.Base(e.o.part), Turn: e.turn, Machine: e.machine.Machine,
		Room: func(box r3.Box, s supports.Settings) error { return checkRoom(e.o.part, box, s) },
	})
	if err != nil {
		return err
	}
	if u := e.recover; u != nil {
		if err := e.desk.Recover(u.plan, u.turn, "taken up again: what was not saved when the editor ended last; undo goes back to the file"+u.note); err != nil {
			return fmt.Errorf("%s: cannot be taken up again: %w; move it away to begin with the plan as it was saved", e.file.unsavedPath(), err)
		}
	}
	return nil
}
