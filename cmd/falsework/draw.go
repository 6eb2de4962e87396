package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports"
	"falsework/supports/prove"

	"github.com/spf13/cobra"
)

// drawOptions are what draw was asked for.
type drawOptions struct {
	part, supports string // supports empty: in the part's file
	out            string
	input          inputOptions
	printer        printerOptions
	width, height  int
	background     string
	json           bool
	force          bool

	delay time.Duration // until progress is told
}

const drawHelp = `Draw makes the pictures that a page shows of a part and its supports:

  NAME-hero.png      part and supports in three quarters
  NAME-below.png     from below: the pads where supports meet the part
  NAME-exploded.png  the supports pulled away along their way out
  NAME-layers.png    from above, cut open at the layer where supports carry most
  NAME-first.png     from above, the first layer: what stands on the plate
  NAME-need.png      the bare part from below: how far each underside leans

PART and SUPPORTS are two files in one frame, or one 3MF file holds both, as for
"falsework prove"; its rules count, and a proof that fails is said across the
pictures. Of a part alone only the first, the second and the need map are drawn.

--background sheet is a drawing's sheet with dimensions, legend and title block;
plain is the figure on paper; transparent is the figure alone. Letters stay legible on
a picture 800 pixels wide. The same input gives the same bytes.

--json prints part, proof, files[], seconds{read,prove,draw} and warnings[], as bake
gives them.

The exit code is 0 when the pictures are drawn, 1 when the proof fails, 2 when nothing
was.`

const drawExample = `  falsework draw out/bracket.3mf --out pictures
  falsework draw bracket.stl my-supports.stl --out pictures --width 800 --height 800
  falsework draw out/bracket.3mf --out page --background transparent`

func newDrawCommand(io streams) *cobra.Command {
	o := &drawOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "draw PART [SUPPORTS] --out DIR",
		Short:   "Draw the pictures for the page that a model is published on",
		Long:    drawHelp,
		Example: drawExample,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 && len(args) != 2 {
				return &usageError{cmd, fmt.Errorf("draw takes a part, or a part and its supports, but was given %d arguments", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			if len(args) > 1 {
				o.supports = args[1]
			}
			refuse := func(err error) error { return &usageError{cmd, err} }
			switch {
			case len(args) > 1 && o.supports == "":
				return refuse(errors.New("SUPPORTS is empty: name a file, or leave it out"))
			case o.out == "":
				return refuse(errors.New("--out is missing: name a folder to write to"))
			case o.width < leastWidth || o.width > mostWidth:
				return refuse(fmt.Errorf("--width %d is outside %d to %d", o.width, leastWidth, mostWidth))
			case o.height == 0:
				o.height = o.width * 3 / 4
			}
			if o.height < leastHeight || o.height > mostWidth {
				return refuse(fmt.Errorf("--height %d is outside %d to %d", o.height, leastHeight, mostWidth))
			}
			if _, ok := backgrounds[o.background]; !ok {
				return refuse(fmt.Errorf("--background %q is none of sheet, plain and transparent", o.background))
			}
			if err := o.printer.early(); err != nil {
				return refuse(err)
			}
			return runDraw(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write pictures to; made if it does not exist")
	fs.IntVar(&o.width, "width", 1600, "width in pixels")
	fs.IntVar(&o.height, "height", 0, "height in pixels (default three quarters of the width)")
	fs.StringVar(&o.background, "background", "sheet", "sheet, plain or transparent")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the summary")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	return cmd
}

// leastHeight bounds a picture, in pixels.
const leastHeight = 400

var backgrounds = map[string]view.Background{"sheet": view.Sheet, "plain": view.Plain, "transparent": view.Clear}

// drawOutputs are the names of the files that draw writes for one part.
type drawOutputs struct{ hero, below, exploded, layers, first, need string }

func drawOutputsOf(name string) drawOutputs {
	return drawOutputs{name + "-hero.png", name + "-below.png", name + "-exploded.png", name + "-layers.png", name + "-first.png", name + "-need.png"}
}

func (o drawOutputs) all() []string {
	return []string{o.hero, o.below, o.exploded, o.layers, o.first, o.need}
}

// picturing is what one run has made so far, stage by stage.
type picturing struct {
	o        *drawOptions
	name     string
	settings supports.Settings
	warnings []string
	seconds  drawSeconds

	part, supports *mesh.Mesh
	layers         *raster.Stack
	proof          prove.Report
	files          []file
}

// drawReport is what draw prints with --json. Its fields stay what they are; more may
// come.
type drawReport struct {
	Part     partReport  `json:"part"`
	Proof    proofReport `json:"proof"`
	Files    []string    `json:"files"`
	Seconds  drawSeconds `json:"seconds"`
	Warnings []string    `json:"warnings"`
}

// drawSeconds is the time that each stage took.
type drawSeconds struct {
	Read  float64 `json:"read"`
	Prove float64 `json:"prove"`
	Draw  float64 `json:"draw"`
}

func runDraw(ctx context.Context, io streams, o *drawOptions) error {
	v := &picturing{o: o, name: stem(o.part)}
	p := newProgress(io.err, o.delay)
	defer p.close()
	target := output{option: "--out", dir: filepath.Clean(o.out), names: drawOutputsOf(v.name).all(), force: o.force}
	err := work(ctx, p, []stage{
		{"reading part and supports", &v.seconds.Read, func() error {
			if err := v.read(); err != nil {
				return err
			}
			return target.check(o.part, o.supports)
		}},
		{"proving", &v.seconds.Prove, v.prove},
		{"drawing", &v.seconds.Draw, v.draw},
	})
	if err != nil {
		return err
	}
	p.enter("writing " + o.out)
	if err := target.place(v.files, nil); err != nil {
		return err
	}
	p.close()

	r := drawReport{Part: partOf(v.name, v.part), Proof: shortProof(v.proof), Warnings: append([]string{}, v.warnings...),
		Seconds: drawSeconds{to(v.seconds.Read, 4), to(v.seconds.Prove, 4), to(v.seconds.Draw, 4)}}
	for _, f := range v.files {
		r.Files = append(r.Files, filepath.Join(o.out, f.name))
	}
	if o.json {
		if err := tellJSON(io, r, r.Warnings); err != nil {
			return err
		}
	} else {
		l := lines{io.out}
		l.part(r.Part, r.Warnings)
		l.tell("proof", "%s", r.Proof.words(v.settings.Layer))
		l.tell("files", "%s", fileList(r.Files))
	}
	if v.proof.Verdict != prove.Holds {
		return errProofFails
	}
	return nil
}

func (v *picturing) read() (err error) {
	if v.part, v.supports, v.warnings, err = readPair(v.o.part, v.o.supports, v.o.input); err != nil {
		return err
	}
	if v.supports == nil {
		v.supports = &mesh.Mesh{}
	}
	v.settings, err = v.o.printer.settings()
	return err
}

func (v *picturing) prove() (err error) {
	room := v.part.Bounds()
	if len(v.supports.Triangles) > 0 {
		room = union(room, v.supports.Bounds())
	}
	if err := checkRoom(v.o.part, room, v.settings); err != nil {
		return err
	}
	if v.layers, err = cut(v.o.part, v.part, v.settings, 0); err != nil {
		return err
	}
	if v.proof, err = prove.ProveCut(v.layers, []*mesh.Mesh{v.supports}, v.settings, prove.Options{}); err != nil {
		return fmt.Errorf("%s: %w", v.o.part, err)
	}
	return nil
}

func (v *picturing) draw() (err error) {
	names := drawOutputsOf(v.name)
	d := proofDrawing(v.name, v.part, v.supports, v.layers.Layers, v.proof, v.settings)
	if d.failed {
		d.notes = append([]string{"Do not publish this: see falsework prove."}, d.notes...)
	}
	s := d.scene()
	look := func(name string, s view.Scene, c view.Camera) shot {
		return shot{name, s, view.Options{Camera: c, Background: backgrounds[v.o.background], Width: v.o.width, Height: v.o.height}}
	}
	list := []shot{
		look(names.hero, s, view.Facing(s, view.ThreeQuarter())),
		look(names.below, s, view.Facing(s, view.FromBelow())),
	}
	if len(v.proof.Bodies) > 0 {
		exploded, camera := d.exploded(v.proof.Bodies)
		list = append(list, look(names.exploded, exploded, camera))
	}
	if len(v.supports.Triangles) > 0 {
		for _, k := range []struct {
			name  string
			layer int
		}{{names.layers, d.busiest()}, {names.first, 0}} {
			if k.layer >= 0 {
				list = append(list, look(k.name, d.layerScene(v.layers, k.layer), view.Top()))
			}
		}
	}
	need := needScene(d, v.settings)
	list = append(list, look(names.need, need, view.Facing(need, view.FromBelow())))
	v.files, err = drawShots(list...)
	return err
}
