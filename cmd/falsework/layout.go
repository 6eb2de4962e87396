package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"

	"github.com/spf13/cobra"
)

// layoutOptions are what layout was asked for.
type layoutOptions struct {
	part    string
	input   inputOptions
	plan    string
	printer printerOptions
	json    bool

	delay time.Duration // until progress is told
}

const layoutHelp = `Layout keeps all that is yours in a plan and draws the rest anew around it. The file
that --plan names is updated in place, all at once, with your comments kept; where
there is none yet, one is written.

What is yours: every structure with "by: designer", every one that you changed, moved
or added since the program last drew, and what it names. What you deleted goes to
"struck" and is not drawn again. Zones are kept in any case:

  keep-clean  no contact and no landing touches the part there
  must-hold   gets contacts though the rules would let it pass
  no-go       no support enters

A zone is a box, a cylinder, or a face of the part, given by a point on it and the
direction in which it looks. The head of the file shows how each is written.

It tells what was added, moved and removed, by id, and which spots the plan leaves
bare, where and why. Bake proves and builds the plan afterwards:

    falsework bake bracket.stl --plan bracket.plan.yaml --out second

A wish that cannot be granted, such as a post through the part, is refused with its
id and the reason; nothing is written then.

The plan's settings count; an option that is given as well is put in their place, in
the file too. Exit codes: 0 the plan leaves nothing bare; 1 it was written and leaves
spots bare; 2 bad usage or input; 3 a wish cannot be granted.

--json prints one object:

  part       name, triangles, size_mm [x,y,z], volume_mm3
  plan       file, written (whether it changed), lines, posts, sheets, steps, zones,
             struck, yours (structures by the designer)
  changes[]  op, what, id, by, distance_mm, from, to
  bare[]     at_mm [x,y,z], area_mm2, because (id of a zone or structure), why
  seconds    read, need, layout, write
  warnings[]`

const layoutExample = `  falsework layout bracket.stl --plan bracket.plan.yaml
  falsework layout bracket.stl --plan bracket.plan.yaml --bridge 7
  falsework layout --print-schema > bracket.plan.schema.json`

func newLayoutCommand(io streams) *cobra.Command {
	o := &layoutOptions{delay: progressDelay}
	schema := false
	cmd := &cobra.Command{
		Use:     "layout PART --plan FILE",
		Short:   "Draw a plan anew round what is yours in it",
		Long:    layoutHelp,
		Example: layoutExample,
		Args: func(cmd *cobra.Command, args []string) error {
			if schema && len(args) > 0 {
				return &usageError{cmd, errors.New("--print-schema takes no part")}
			}
			if schema {
				return nil
			}
			return exactly(1, "one part")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if schema {
				if _, err := io.out.Write(plan.Schema()); err != nil {
					return fmt.Errorf("printing the schema: %w", err)
				}
				return nil
			}
			o.part = args[0]
			if o.plan == "" {
				return &usageError{cmd, errors.New("--plan is missing: name the plan to update, or a new one")}
			}
			if err := o.printer.check(); err != nil {
				return &usageError{cmd, err}
			}
			return runLayout(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.plan, "plan", "", "plan to update in place; written anew if it does not exist")
	fs.BoolVar(&schema, "print-schema", false, "print the JSON Schema of a plan and do nothing else")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the summary")
	return cmd
}

// laying is what one run has made so far.
type laying struct {
	o        *layoutOptions
	settings supports.Settings
	warnings []string
	seconds  layoutSeconds

	part   *mesh.Mesh
	layers *raster.Stack
	need   need.Need
	was    plan.Plan
	text   []byte // of the file as it was read, nil if there is none
	plan   plan.Plan
	bare   []layout.Spot
	fresh  []byte // of the file as it will be
}

// layoutSeconds is the time that each stage of a run took.
type layoutSeconds struct {
	Read   float64 `json:"read"`
	Need   float64 `json:"need"`
	Layout float64 `json:"layout"`
	Write  float64 `json:"write"`
}

func runLayout(ctx context.Context, io streams, o *layoutOptions) error {
	l := &laying{o: o}
	p := newProgress(io.err, o.delay)
	defer p.close()
	if err := work(ctx, p, []stage{
		{"reading part and plan", &l.seconds.Read, l.read},
		{"finding what does not hold", &l.seconds.Need, l.find},
		{"laying out around what is yours", &l.seconds.Layout, l.layOut},
	}); err != nil {
		return err
	}
	start := time.Now()
	if string(l.fresh) != string(l.text) {
		if err := replace(o.plan, l.text, l.fresh); err != nil {
			return err
		}
	}
	l.seconds.Write = time.Since(start).Seconds()
	p.close()
	return l.tell(io)
}

func (l *laying) read() (err error) {
	if l.part, l.warnings, err = readPart(l.o.part, l.o.input); err != nil {
		return err
	}
	if _, err := os.Stat(l.o.plan); errors.Is(err, fs.ErrNotExist) {
		if l.settings, err = l.o.printer.settings(); err != nil {
			return err
		}
		l.plan = plan.Plan{Version: plan.Version, Settings: plan.FromSettings(l.settings), Taste: plan.Taste{Heights: l.settings.Heights}}
		l.was = l.plan
		return nil
	}
	p, text, warnings, err := readPlan(l.o.plan, l.o.part, l.part)
	if err != nil {
		return err
	}
	l.was, l.text = p, text
	l.warnings = append(l.warnings, warnings...)
	changes, err := l.o.printer.overPlan(&p)
	if err != nil {
		return err
	}
	if len(changes) > 0 {
		l.warnings = append(l.warnings, "the plan's settings were changed: "+told(changes))
	}
	l.plan = p
	l.settings, err = p.Resolve()
	return err
}

func (l *laying) find() (err error) {
	if l.layers, err = cut(l.o.part, l.part, l.settings, 0); err != nil {
		return err
	}
	l.need = need.Find(l.part, l.layers, l.settings, 0)
	return nil
}

func (l *laying) layOut() (err error) {
	if l.plan, l.bare, err = layout.Around(l.plan, filepath.Base(l.o.part), l.part, l.layers, l.need, 0); err != nil {
		return wish(l.o.plan, err)
	}
	if l.text == nil {
		l.fresh, err = l.plan.Encode()
	} else {
		l.fresh, err = plan.Update(l.text, l.plan)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", l.o.plan, err)
	}
	return nil
}

// wish says of which plan a wish is that cannot be granted.
func wish(path string, err error) error {
	return fmt.Errorf("%s: %w; change what is named, or take it out of the plan", path, err)
}

// replace puts new content in a file's place at once. Nothing is done if the file is
// no longer what was read: someone is at work on it. A nil old content means that
// there was none.
func replace(path string, old, fresh []byte) (err error) {
	mode := fs.FileMode(0o666)
	if old != nil {
		// A link stays one.
		if path, err = filepath.EvalSymlinks(path); err != nil {
			return fileError(path, err)
		}
		info, err := os.Stat(path)
		if err != nil {
			return fileError(path, err)
		}
		mode = info.Mode().Perm()
	}
	stage, err := makeStage(filepath.Dir(path))
	if err != nil {
		return fileError(path, err)
	}
	defer os.RemoveAll(stage)
	aside := filepath.Join(stage, filepath.Base(path))
	w, err := os.OpenFile(aside, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return fileError(path, err)
	}
	_, err = w.Write(fresh)
	if err = errors.Join(err, w.Sync(), w.Close()); err != nil {
		return fileError(path, err)
	}
	if old != nil {
		if err := os.Chmod(aside, mode); err != nil {
			return fileError(path, err)
		}
	}
	now, err := os.ReadFile(path)
	switch {
	case old == nil && err == nil, old != nil && (err != nil || string(now) != string(old)):
		return fmt.Errorf("%s: was changed by someone else meanwhile, and is left as it is; run again", path)
	}
	return fileError(path, os.Rename(aside, path))
}
