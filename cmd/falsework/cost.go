package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"

	"github.com/spf13/cobra"
)

// costOptions are what cost was asked for.
type costOptions struct {
	part, supports string // supports empty: none, or in the part's file
	out            string // empty: nothing is written
	price          float64
	priced         bool
	input          inputOptions
	printer        printerOptions
	json           bool
	force          bool
	pictures       pictureOptions

	delay time.Duration // until progress is told
}

const costHelp = `Cost says what a part and its supports take to print, in time and in plastic, beside
what dense lines would take for the same part. The README defines that baseline.

PART and SUPPORTS are STL in one frame, as bake writes them, or PART is one 3MF
file with both: the supports are the body whose name says so, or whose object type
is solidsupport. Without supports part and baseline are priced. Give the same
--layer, --line, --gap and so on as to bake.

It prints one row for the part, one for the supports and one for the dense lines at
each spacing, and then the same for the whole print, least layer times included:

  time         of supports alone, travel, retraction and the way to and fro included
  mm³, g, filament mm
               what is extruded: path length × bead area
  travel mm    between lines that are printed
  islands      pieces that do not touch, summed over the layers; of dense supports
               those at least a line wide
  paths        lines printed without lifting
  price        with --price or the printer file's, for a kilogram, in the same money
  ours/dense   time and plastic of the supports over those of this row

Nothing is written unless you ask for it:

  --out DIR    NAME-cost.png, time of each layer against height, the part, the supports
               and the dense lines every 2.5 mm; NAME-cost.csv, a row for each layer

A printer is a small YAML file; --print-printer prints the default one with the
source of each number, shell and filling of the part among them. Times are a
planner's, good for comparing: your printer's clock will show something else. The
exit code is 0 when the costs are told, 2 when input or usage was refused.

--json prints one object:

  part       name, triangles, size_mm [x,y,z], volume_mm3
  printer    name, and the fields of a printer file
  body       the part: time_s, volume_mm3, mass_g, filament_mm, length_mm, travel_mm,
             islands, paths, price (null without one), and print{time_s,mass_g,
             filament_mm,price}, the whole print
  supports   the same; print is that of part and supports; null without supports
  baselines[]
             the same, and spacing_mm, ratio{time,plastic}, ours over this one, and
             print_ratio, that of the whole prints; null where there is nothing to
             compare
  seconds    read, cut, cost, write
  files[], warnings[]`

const costExample = `  falsework cost out/bracket-part.stl out/bracket-supports.stl
  falsework cost out/bracket.3mf --out out --price 24
  falsework cost bracket.stl --json
  falsework cost --print-printer > mine.yaml
  falsework cost out/bracket.3mf --printer mine.yaml`

func newCostCommand(io streams) *cobra.Command {
	o := &costOptions{delay: progressDelay}
	printDefault := false
	cmd := &cobra.Command{
		Use:     "cost PART [SUPPORTS]",
		Short:   "Tell time and plastic of supports beside dense ones",
		Long:    costHelp,
		Example: costExample,
		Args: func(cmd *cobra.Command, args []string) error {
			switch n := len(args); {
			case printDefault && n > 0:
				return &usageError{cmd, errors.New("--print-printer takes no part")}
			case !printDefault && n != 1 && n != 2:
				return &usageError{cmd, fmt.Errorf("cost takes a part, or a part and its supports, but was given %d arguments", n)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			refuse := func(err error) error { return &usageError{cmd, err} }
			if printDefault {
				p, err := readPrinter("")
				if err != nil {
					return err
				}
				return encodePrinter(io.out, p)
			}
			o.part = args[0]
			if len(args) > 1 {
				o.supports = args[1]
			}
			fs := cmd.Flags()
			o.priced = fs.Changed("price")
			switch {
			case len(args) > 1 && o.supports == "":
				return refuse(errors.New("SUPPORTS is empty: name a file, or leave it out"))
			case fs.Changed("out") && o.out == "":
				return refuse(errors.New("--out is empty: name a folder, or leave it out to have nothing written"))
			case !(o.price >= 0 && o.price <= math.MaxFloat32):
				return refuse(fmt.Errorf("--price %g is no price of a kilogram", o.price))
			}
			if err := o.pictures.check(); err != nil {
				return refuse(err)
			}
			if err := o.printer.early(); err != nil {
				return refuse(err)
			}
			return runCost(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write picture and table to; made if it does not exist")
	fs.BoolVar(&printDefault, "print-printer", false, "print the default printer file and do nothing else")
	fs.Float64Var(&o.price, "price", 0, "price of a kilogram of filament, in any money, in place of the printer file's")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the table")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

// costOutputs are the names of the files that cost writes for one part.
type costOutputs struct{ picture, layers string }

func costOutputsOf(name string) costOutputs {
	return costOutputs{picture: name + "-cost.png", layers: name + "-cost.csv"}
}

func (o costOutputs) all() []string { return []string{o.picture, o.layers} }

// priced is one thing that was priced.
type priced struct {
	cost.Estimate
	islands int
	spacing float64 // mm, of the baseline's lines; 0 for the supports
}

// costing is what one run has made so far, stage by stage.
type costing struct {
	o        *costOptions
	name     string
	settings supports.Settings
	machine  printer
	warnings []string
	seconds  costSeconds

	part, supports       *mesh.Mesh    // supports nil: none given
	partCut, supportsCut *raster.Stack // likewise
	body                 priced
	ours                 *priced  // nil: none given
	dense                []priced // in the order of cost.Spacings
	files                []file
}

func runCost(ctx context.Context, io streams, o *costOptions) error {
	c := &costing{o: o, name: stem(o.part)}
	p := newProgress(io.err, o.delay)
	defer p.close()
	target := output{option: "--out", dir: filepath.Clean(o.out), names: costOutputsOf(c.name).all(), force: o.force}

	if err := work(ctx, p, c.stages(target)); err != nil {
		return err
	}
	if err := put(p, target, c.files, &c.seconds.Write); err != nil {
		return err
	}
	p.close()
	return c.tell(io)
}

// stages are the job up to the files in memory.
func (c *costing) stages(target output) []stage {
	return []stage{
		{"reading part and supports", &c.seconds.Read, func() error {
			if err := c.read(); err != nil || c.o.out == "" {
				return err
			}
			return target.check(c.o.part, c.o.supports, c.o.printer.file)
		}},
		{"cutting layers", &c.seconds.Cut, c.cut},
		{"costing", &c.seconds.Cost, c.price},
		{"drawing and packing", &c.seconds.Write, c.pack},
	}
}

func (c *costing) read() (err error) {
	if c.machine, err = readPrinter(c.o.printer.file); err != nil {
		return err
	}
	if c.o.priced {
		c.machine.Price = &c.o.price
	}
	if c.part, c.supports, c.warnings, err = readPair(c.o.part, c.o.supports, c.o.input); err != nil {
		return err
	}
	c.settings, err = c.o.printer.settingsFor(c.machine)
	return err
}

func (c *costing) cut() (err error) {
	if c.partCut, err = cut(c.o.part, c.part, c.settings, 0); err != nil || c.supports == nil {
		return err
	}
	path := c.o.supports
	if path == "" {
		path = c.o.part
	}
	// On a grid of their own: a foot may stand out beyond the part's.
	c.supportsCut, err = cut(path, c.supports, c.settings, 0)
	return err
}

func (c *costing) price() error {
	c.body = priced{Estimate: cost.Part(c.partCut, c.settings, c.machine.Machine), islands: islands(c.partCut, 0)}
	if c.supportsCut != nil {
		e := cost.Supports(c.supportsCut, c.settings, c.machine.Machine)
		c.ours = &priced{Estimate: e, islands: islands(c.supportsCut, 0)}
	}
	region, dense := cost.Baselines(c.partCut, c.settings, c.machine.Machine, cost.Spacings[:]...)
	pieces := islands(region, c.settings.Line)
	for i, e := range dense {
		c.dense = append(c.dense, priced{Estimate: e, islands: pieces, spacing: cost.Spacings[i]})
	}
	return nil
}

// islands counts pieces that do not touch, layer by layer, without those narrower
// than a line, in mm.
func islands(s *raster.Stack, line float64) int {
	total, here := 0, 0
	room := raster.DiscOf(line / 2 / s.Cell)
	for k := range s.Cut {
		if k == 0 || !raster.Equal(s.Layer(k), s.Layer(k-1)) {
			b := *s.Layer(k)
			if line > 0 {
				b = raster.Erode(&b, room)
			}
			here = len(raster.Pieces(&b))
		}
		total += here
	}
	return total
}

// pack makes every file in memory.
func (c *costing) pack() error {
	if c.o.out == "" {
		return nil
	}
	names := costOutputsOf(c.name)
	if !c.o.pictures.none {
		data, err := c.draw(c.o.pictures.width)
		if err != nil {
			return fmt.Errorf("%s: %w", names.picture, err)
		}
		c.files = append(c.files, file{names.picture, data})
	}
	data, err := c.table()
	if err != nil {
		return fmt.Errorf("%s: %w", names.layers, err)
	}
	c.files = append(c.files, file{names.layers, data})
	return nil
}
