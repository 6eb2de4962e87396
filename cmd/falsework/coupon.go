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
	"falsework/supports/cost"
	"falsework/supports/coupon"

	"github.com/spf13/cobra"
)

// couponOptions are what coupon was asked for.
type couponOptions struct {
	out      string
	printer  printerOptions
	json     bool
	force    bool
	pictures pictureOptions

	delay time.Duration // until progress is told
}

const couponHelp = `Coupon writes a small print that tells what your own printer can do, and a form to
write it down in. Print it once with each filament, at the layer height that you will
publish for; what you read off it goes into a printer file, and --printer FILE then
makes it the default of every command:

  ramps     by angle           → limit_deg
  bridges   by span            → bridge_mm
  walls     by thickness       → line_mm
  ledges    by reach           → ledge_mm
  voids     by empty layers    → gap_mm
  feet      to pull off with a scale and a string  → adhesion_mpa

Ticks on each rail count its items: a wide tick is five, a narrow one is one. It
writes into the folder --out:

  coupon.3mf                part and supports: print this, automatic supports off
  coupon-part.stl, coupon-supports.stl
                            the same for programs without 3MF
  coupon-form.md            what to look at, and the lines for the printer file
  coupon-below.png, coupon-three-quarter.png

The supports under the voids are drawn in. The other items have none: they are meant
to fail from some number on. The exit code is 0 when the files are written.`

const couponExample = `  falsework coupon --out coupon
  falsework coupon --out coupon-28 --layer 0.28
  falsework cost --print-printer > mine.yaml`

func newCouponCommand(io streams) *cobra.Command {
	o := &couponOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "coupon --out DIR",
		Short:   "Write a test print and the form for its readings",
		Long:    couponHelp,
		Example: couponExample,
		Args:    exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.out == "" {
				return &usageError{cmd, errors.New("--out is missing: name a folder to write to")}
			}
			if err := o.pictures.check(); err != nil {
				return &usageError{cmd, err}
			}
			if err := o.printer.early(); err != nil {
				return &usageError{cmd, err}
			}
			return runCoupon(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write to; made if it does not exist")
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the summary")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

// couponNames are the files that coupon writes.
var couponNames = struct{ model, part, supports, form, below, threeQuarter string }{
	"coupon.3mf", "coupon-part.stl", "coupon-supports.stl", "coupon-form.md", "coupon-below.png", "coupon-three-quarter.png",
}

// couponReport is what coupon prints with --json. Its fields stay what they are;
// more may come.
type couponReport struct {
	Part   partReport    `json:"part"`
	Print  printReport   `json:"print"`
	Groups []couponGroup `json:"groups"`
	Files  []string      `json:"files"`
}

type couponGroup struct {
	Name    string    `json:"name"`
	Reading string    `json:"reading"` // the field of a printer file
	Values  []float64 `json:"values"`  // by number of ticks, from one
}

// reading says what a group of the coupon tells.
type reading struct {
	field string
	look  string // what to look for
	value string // how an item's value is written
}

var couponReadings = map[coupon.Kind]reading{
	coupon.Ramps: {"limit_deg", "Turn it over. The last ramp, from the steepest on, whose underside is as clean as those before it: no curl, no loose strands.",
		"%g° from the vertical"},
	coupon.Bridges: {"bridge_mm", "The longest bridge whose strands all hold and sag by less than a layer or two.",
		"%g mm"},
	coupon.Walls: {"line_mm", "The thinnest wall that is there over its whole length and does not split under a fingernail.",
		"%g mm"},
	coupon.Ledges: {"ledge_mm", "The widest ledge with no strand hanging from its underside.",
		"%g mm"},
	coupon.Voids: {"gap_mm", "The smallest void whose support comes off by hand in one piece, and leaves a ceiling that you would show.",
		"%g mm"},
	coupon.Feet: {"adhesion_mpa", "While the print is cold and still on its plate: a string through the eye, a luggage scale, pull straight up. Newtons, or kilograms × 9.81, divided by the foot's area in mm². Take the least of the three.",
		"%g mm² on the plate"},
}

func runCoupon(ctx context.Context, io streams, o *couponOptions) error {
	target := output{option: "--out", dir: filepath.Clean(o.out), force: o.force,
		names: []string{couponNames.model, couponNames.part, couponNames.supports, couponNames.form, couponNames.below, couponNames.threeQuarter}}
	p := newProgress(io.err, o.delay)
	defer p.close()
	var r couponReport
	var files []file
	var took float64
	err := work(ctx, p, []stage{
		{"looking at the folder", &took, func() error { return target.check(o.printer.file) }},
		{"drawing the coupon", &took, func() (err error) {
			r, files, err = makeCoupon(o)
			return err
		}},
	})
	if err != nil {
		return err
	}
	if err := target.place(files, nil); err != nil {
		return err
	}
	for _, f := range files {
		r.Files = append(r.Files, filepath.Join(o.out, f.name))
	}
	p.close()
	if o.json {
		return tellJSON(io, r, nil)
	}
	line := lines{io.out}.tell
	lines{io.out}.part(r.Part, nil)
	line("print", "%s, %.1f g and %.1f m of filament", duration(r.Print.TimeS), r.Print.MassG, r.Print.FilamentMM/1000)
	for _, g := range r.Groups {
		line(g.Name, "%d items, %g to %g → %s", len(g.Values), g.Values[0], g.Values[len(g.Values)-1], g.Reading)
	}
	line("files", "%s", fileList(r.Files))
	line("caution", "%s", caution)
	return nil
}

// makeCoupon draws the coupon and makes every file in memory.
func makeCoupon(o *couponOptions) (r couponReport, files []file, err error) {
	machine, err := readPrinter(o.printer.file)
	if err != nil {
		return r, nil, err
	}
	s, err := o.printer.settingsFor(machine)
	if err != nil {
		return r, nil, err
	}
	c, err := coupon.New(s)
	if err != nil {
		return r, nil, err
	}
	part, err := cut("the coupon", c.Part, s, 0)
	if err != nil {
		return r, nil, err
	}
	sup := raster.Section(c.Supports, part.Grid, part.Layers, 0)
	r.Part = partOf("coupon", c.Part)
	r.Print = machine.printOf(cost.Part(part, s, machine.Machine), cost.Supports(sup, s, machine.Machine))
	for _, g := range c.Groups {
		group := couponGroup{Name: string(g.Kind), Reading: couponReadings[g.Kind].field}
		for _, i := range g.Items {
			group.Values = append(group.Values, valueOf(g.Kind, i.Value, s))
		}
		r.Groups = append(r.Groups, group)
	}

	pack := mesh.Package{Title: "Falsework coupon", Application: "Falsework", Part: mesh.Body{Name: "part", Mesh: c.Part},
		Supports: []mesh.Body{{Name: "supports", Mesh: c.Supports}},
		Description: fmt.Sprintf("A test print for layers of %g mm (the first %g mm) and lines of %g mm. Print it in this pose with automatic supports off. "+
			"Some of it is meant to fail: that is what it tells. ", s.Layer, s.First, s.Line) + caution}
	var model, solid, under bytes.Buffer
	if err := errors.Join(mesh.Encode3MF(&model, pack), mesh.EncodeSTL(&solid, c.Part, "coupon, part"),
		mesh.EncodeSTL(&under, c.Supports, "coupon, supports")); err != nil {
		return r, nil, err
	}
	files = []file{{couponNames.model, model.Bytes()}, {couponNames.part, solid.Bytes()}, {couponNames.supports, under.Bytes()},
		{couponNames.form, []byte(r.form(s))}}
	if o.pictures.none {
		return r, files, nil
	}
	d := drawing{title: "coupon", subtitle: fmt.Sprintf("%s, %.1f g", duration(r.Print.TimeS), r.Print.MassG), part: c.Part, supports: c.Supports,
		grid: part.Grid, layers: part.Layers, verdict: "a test print: some of it is meant to fail",
		notes: []string{"Print in this pose, automatic supports off.", "Ticks count the items: a wide one is five.", shortCaution}}
	pictures, err := d.draw(couponNames.below, couponNames.threeQuarter, o.pictures.width)
	return r, append(files, pictures...), err
}

// valueOf returns an item's value as its reading goes into a printer file.
func valueOf(kind coupon.Kind, v float64, s supports.Settings) float64 {
	if kind == coupon.Voids {
		return to(v*s.Layer, 6)
	}
	return v
}

// form is the paper to write readings down on, in Markdown.
func (r couponReport) form(s supports.Settings) string {
	var b strings.Builder
	fmt.Fprintf(&b, `# Coupon

Printer: ____________________  Filament: ____________________  Date: ____________

Printed with layers of %g mm (the first %g mm) and lines of %g mm. Readings belong to
these: another layer height has another limit.

1. Print coupon.3mf in its pose, automatic supports off, as you print parts.
2. Let it cool on the plate. Pull the three feet off first, then take the rest off.
3. Break the supports out from under the voids, mind the blade and wear eye protection.
4. For each rail find the item described and count its ticks: a wide tick is five, a
   narrow one is one.

Readings say that layers hold while printing; this is no strength calculation.
`, s.Layer, s.First, s.Line)
	for _, g := range r.Groups {
		read := couponReadings[coupon.Kind(g.Name)]
		fmt.Fprintf(&b, "\n## %s%s\n\n%s\n\n| ticks | item | seen |\n|---:|---|---|\n", strings.ToUpper(g.Name[:1]), g.Name[1:], read.look)
		for i, v := range g.Values {
			item := fmt.Sprintf(read.value, v)
			if coupon.Kind(g.Name) == coupon.Voids {
				item += fmt.Sprintf(" (%s)", count(i+1, "empty layer", "empty layers"))
			}
			ticks := fmt.Sprint(i + 1)
			if coupon.Kind(g.Name) == coupon.Feet {
				ticks = "–" // alike, and without a rail
			}
			fmt.Fprintf(&b, "| %s | %s | |\n", ticks, item)
		}
		fmt.Fprintf(&b, "\n%s: ________\n", read.field)
	}
	b.WriteString("\n## Into the printer file\n\n\"falsework cost --print-printer > mine.yaml\" writes one to begin with. Take the \"#\" from these\n" +
		"lines in it, put your readings in, and give --printer mine.yaml to every command:\n\n```yaml\n")
	for _, f := range printerFields {
		for _, g := range r.Groups {
			if g.Reading == f.name {
				fmt.Fprintf(&b, "# %s: %s\n", f.name, number(f.open))
			}
		}
	}
	b.WriteString("```\n")
	return b.String()
}
