package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/desk"
	"falsework/supports/grow"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"github.com/spf13/cobra"
)

// proveOptions are what prove was asked for.
type proveOptions struct {
	part, supports string // supports empty: in the part's file
	out            string // empty: nothing is written
	plan           string // empty: structures have no names
	input          inputOptions
	printer        printerOptions
	json           bool
	force          bool
	pictures       pictureOptions

	delay time.Duration // until progress is told
}

const proveHelp = `Prove judges a part and its supports as they would print together, whoever or
whatever drew the supports: does every layer have something below it, and does
every support come off again? It sees the two solids and your printer's numbers,
nothing else.

PART and SUPPORTS are STL in one frame, in millimetres, the part standing on the
plate; or one 3MF file holds both. In it the supports are the bodies whose name
has "support" in it, or whose object type is solidsupport, and one more is the part.
A file with the part alone is proved so.

It prints the verdict, and then:

  bodies    the pieces that the supports fall into as printed: where each is, its
            volume, its area under the part, on the plate and standing on the
            part, the straight ways by which it comes off, where a tool gets at
            it (pliers 3 × 3 mm, a blade 3 × 0.5 mm), the faces of the part that it
            marks, and, where it does not come off whole, the pieces that it breaks
            into, in order, each with the places to break it at
  reasons   why it fails, the most harmful first, each with its place and a remedy:
            part-unheld    the part is laid in mid-air
            support-unheld a support is
            collision      both claim one place
            blocked        no straight way out, nor in pieces
            held           a hand cannot break it off, nor in pieces
            fused          printed onto the part across no empty layer
            side-fused     printed against a wall of the part
            void           fused or too far at a layer height that counts
  notes     what may go wrong and is not failed: supports that sway under the
            nozzle, feet that may let go, what stands out of balance, what comes off
            in pieces, where no tool gets, walls that are thin or near
  voids     what prints between supports and part at other layer heights, for
            strangers print with theirs. A gap prints as whole empty layers: none
            is fused by accident; good is one at least, up to the gap and half a
            layer, one layer more under slopes, never more than 0.4 mm for gaps
            up to 0.2 mm; more is too far. Areas in mm² by number of empty
            layers, at the places where supports carry the part, or stand on
            it, at your own layers. Your own layers and those that --heights
            declares count for the verdict; the rest is told.

Give the options that the supports were drawn with, or the plan: then its settings
count, options stand in for them, and each reason and note has the id of the
structure that is nearest to it. Nothing is written unless you ask for it:

  --out DIR  NAME-proof.json, the proof in full; NAME-proof-below.png, the part from
             below with what supports meet and what would fall; and
             NAME-proof-three-quarter.png, part and supports, the part as glass.
             If it fails, NAME-proof-layers.png too: for each of the first six
             reasons the layer that it is about, seen from above

Exit codes: 0 it holds; 1 the proof fails; 2 refused, and nothing was written.

--json prints one object:

  part, settings, proof
             as bake writes them to NAME-proof.json
  voids[]    layer_mm, first_layer_mm, own (your settings' layers), binds (counts for
             the verdict), grade (good, fused, too far, no contact), area_mm2[4] (0,
             1, 2, 3 or more empty layers), landing_mm2[4] (the same under supports
             on the part), fused_mm2, good_mm2, far_mm2, void_mm [thinnest,
             thickest], at_mm [x,y,z] (a place, where the grade is not good)
  seconds    read, prove, voids, write
  files[], warnings[]`

const proveExample = `  falsework prove bracket.stl my-supports.stl
  falsework prove out/bracket.3mf --out out
  falsework prove bracket.stl bracket-supports.stl --plan bracket.plan.yaml
  falsework prove bracket.stl my-supports.stl --layer 0.16 --bridge 7 --json`

func newProveCommand(io streams) *cobra.Command {
	o := &proveOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "prove PART SUPPORTS | prove FILE.3mf",
		Short:   "Judge any supports: does all hold, and come off again?",
		Long:    proveHelp,
		Example: proveExample,
		Args: func(cmd *cobra.Command, args []string) error {
			const want = "prove takes a part and its supports, or one 3MF file with both, but was given "
			switch n := len(args); {
			case n != 1 && n != 2:
				return &usageError{cmd, fmt.Errorf(want+"%d arguments", n)}
			case n == 1 && !is3MF(args[0]):
				return &usageError{cmd, fmt.Errorf(want+"%s alone", args[0])}
			case n == 2 && args[1] == "":
				return &usageError{cmd, errors.New("SUPPORTS is empty: name a file, or leave it out")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			if len(args) > 1 {
				o.supports = args[1]
			}
			if cmd.Flags().Changed("out") && o.out == "" {
				return &usageError{cmd, errors.New("--out is empty: name a folder, or leave it out to have nothing written")}
			}
			if cmd.Flags().Changed("plan") && o.plan == "" {
				return &usageError{cmd, errors.New("--plan is empty: name a file, or leave it out")}
			}
			if err := o.pictures.check(); err != nil {
				return &usageError{cmd, err}
			}
			if err := o.printer.early(); err != nil {
				return &usageError{cmd, err}
			}
			return runProve(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write proof and pictures to; made if it does not exist")
	fs.StringVar(&o.plan, "plan", "", "plan that the supports were built from: its settings count, and reasons name its structures")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the tables")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

func is3MF(path string) bool { return strings.EqualFold(filepath.Ext(path), ".3mf") }

// proveOutputs are the names of the files that prove writes for one part.
type proveOutputs struct{ proof, below, threeQuarter, layers string }

func proveOutputsOf(name string) proveOutputs {
	return proveOutputs{proof: outputsOf(name).proof, below: name + "-proof-below.png", threeQuarter: name + "-proof-three-quarter.png", layers: name + "-proof-layers.png"}
}

func (o proveOutputs) all() []string { return []string{o.proof, o.below, o.threeQuarter, o.layers} }

// proving is what one run has made so far, stage by stage.
type proving struct {
	o        *proveOptions
	name     string
	settings supports.Settings
	warnings []string
	seconds  proveSeconds

	part, supports *mesh.Mesh
	plan           plan.Plan // where one was given
	layers         *raster.Stack
	proof          prove.Report
	voids          []prove.Void
	files          []file
}

func runProve(ctx context.Context, io streams, o *proveOptions) error {
	v := &proving{o: o, name: stem(o.part)}
	p := newProgress(io.err, o.delay)
	defer p.close()
	target := output{option: "--out", dir: filepath.Clean(o.out), names: proveOutputsOf(v.name).all(), force: o.force}

	if err := work(ctx, p, v.stages(target)); err != nil {
		return err
	}
	if err := put(p, target, v.files, &v.seconds.Write); err != nil {
		return err
	}
	p.close()
	return v.tell(io)
}

// stages are the job up to the files in memory.
func (v *proving) stages(target output) []stage {
	return []stage{
		{"reading part and supports", &v.seconds.Read, func() error {
			if err := v.read(); err != nil || v.o.out == "" {
				return err
			}
			return target.check(v.o.part, v.o.supports)
		}},
		{"proving", &v.seconds.Prove, v.prove},
		{"counting empty layers", &v.seconds.Voids, v.count},
		{"drawing and packing", &v.seconds.Write, v.pack},
	}
}

func (v *proving) read() (err error) {
	if v.part, v.supports, v.warnings, err = readPair(v.o.part, v.o.supports, v.o.input); err != nil {
		return err
	}
	if v.supports == nil {
		v.supports = &mesh.Mesh{}
		v.warnings = append(v.warnings, "the file holds no supports by name or type; the part is proved alone")
	}
	if v.o.plan == "" {
		v.settings, err = v.o.printer.settings()
		return err
	}
	p, _, warnings, err := readPlan(v.o.plan, v.o.part, v.part)
	if err != nil {
		return err
	}
	v.warnings = append(v.warnings, warnings...)
	changes, err := v.o.printer.overPlan(&p)
	if err != nil {
		return err
	}
	if len(changes) > 0 {
		v.warnings = append(v.warnings, "the plan's settings do not all count: "+told(changes))
	}
	v.plan = p
	v.settings, err = p.Resolve()
	return err
}

// mostNames bounds the bodies that a refusal names.
const mostNames = 8

func (v *proving) prove() error {
	room := v.part.Bounds()
	if len(v.supports.Triangles) > 0 {
		room = union(room, v.supports.Bounds())
	}
	if err := checkRoom(v.o.part, room, v.settings); err != nil {
		return err
	}
	layers, err := cut(v.o.part, v.part, v.settings, 0)
	if err != nil {
		return err
	}
	v.layers = layers
	v.proof, err = prove.ProveCut(layers, []*mesh.Mesh{v.supports}, v.settings, prove.Options{})
	return v.placed(err)
}

func (v *proving) count() (err error) {
	v.voids, err = prove.Voids(v.part, v.supports, v.settings)
	if err != nil {
		return v.placed(err)
	}
	v.proof.Bind(v.voids)
	v.proof.Faces(v.part)
	if err := v.proof.Walls(v.supports, v.settings); err != nil {
		return v.placed(err)
	}
	if v.o.plan == "" {
		return nil
	}
	solids, err := grow.Grow(v.plan, v.part, v.layers)
	if err != nil {
		return fmt.Errorf("%s: %w", v.o.plan, err)
	}
	v.proof.Name(desk.Structures(solids))
	return nil
}

// placed says which file an error is about.
func (v *proving) placed(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", v.o.part, err)
}

func (v *proving) document() proofDocument {
	return proofDocument{Part: filepath.Base(v.o.part), Settings: proofSettings(plan.FromSettings(v.settings)), Heights: v.settings.Heights, Proof: v.proof, Voids: v.voids}
}

// pack makes every file in memory.
func (v *proving) pack() error {
	if v.o.out == "" {
		return nil
	}
	names := proveOutputsOf(v.name)
	var b bytes.Buffer
	if err := v.document().encode(&b); err != nil {
		return fmt.Errorf("%s: %w", names.proof, err)
	}
	v.files = []file{{names.proof, b.Bytes()}}
	if v.o.pictures.none {
		return nil
	}
	d := proofDrawing(v.name, v.part, v.supports, v.layers.Layers, v.proof, v.settings)
	pictures, err := d.draw(names.below, names.threeQuarter, v.o.pictures.width)
	v.files = append(v.files, pictures...)
	if err != nil || v.proof.Verdict == prove.Holds {
		return err
	}
	sheet, err := layerSheet(names.layers, v.name, v.layers, v.supports, v.proof, max(v.o.pictures.width, leastSheet))
	v.files = append(v.files, sheet)
	return err
}

// tell prints the result and returns whether it holds.
func (v *proving) tell(io streams) error {
	r := v.result()
	if v.o.json {
		if err := tellJSON(io, r, r.Warnings); err != nil {
			return err
		}
	} else {
		r.print(io.out, partOf(v.name, v.part), v.settings)
	}
	if v.proof.Verdict != prove.Holds {
		return errProofFails
	}
	return nil
}
