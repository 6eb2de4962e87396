package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"falsework/supports"
	"falsework/supports/plan"

	"github.com/spf13/pflag"
)

// printerOptions are the options that describe printer and taste, alike in every
// command. Lengths are mm, angles degrees.
type printerOptions struct {
	layer, first, nozzle, line float64
	limit, bridge, gap         float64
	drag, adhesion             float64
	heights                    []float64
	direction                  string
	file                       string // of the printer; empty: the default one
	set                        *pflag.FlagSet
}

func (o *printerOptions) addTo(fs *pflag.FlagSet) {
	o.set = fs
	fs.StringVar(&o.file, "printer", "", "YAML file of what your printer does and a coupon told; options stand in for its numbers")
	fs.Float64Var(&o.layer, "layer", 0, "layer height in mm (default half the nozzle)")
	fs.Float64Var(&o.first, "first-layer", 0, "thickness of the first layer in mm (default the layer height)")
	fs.Float64Var(&o.nozzle, "nozzle", 0, "bore of the nozzle in mm (default 0.4)")
	fs.Float64Var(&o.line, "line", 0, "width of a printed line in mm (default the nozzle)")
	fs.Float64Var(&o.limit, "limit", 0, "steepest overhang that holds, in degrees from the vertical (default 45)")
	fs.Float64Var(&o.bridge, "bridge", 0, "longest bridge that holds, in mm (default 10)")
	fs.Float64Var(&o.gap, "gap", 0, "void between support and part in mm; 0 fuses them by teeth (default 0.2)")
	fs.Float64SliceVar(&o.heights, "heights", nil, "further layer heights at which gaps must print well, as `0.16,0.28`")
	fs.Float64Var(&o.drag, "drag", 0, "sideways pull of a passing nozzle in N (default 0.5)")
	fs.Float64Var(&o.adhesion, "adhesion", 0, "tension that the plate holds a foot with in MPa (default 2)")
	fs.StringVar(&o.direction, "direction", "any", "direction that bridges are laid in: any, or degrees from +X")
	fs.SortFlags = false
}

// override puts the options that were given in place of a plan's settings and tells
// which ones changed something, as "--bridge 9 in place of 10".
func (o *printerOptions) override(p *plan.Plan) (changes []string, err error) {
	d, heights := &p.Settings, &p.Taste.Heights
	var errs []error
	for _, f := range []struct {
		name  string
		value float64
		to    *float64
		zero  bool // 0 means something
	}{
		{"layer", o.layer, &d.Layer, false}, {"first-layer", o.first, &d.First, false},
		{"nozzle", o.nozzle, &d.Nozzle, false}, {"line", o.line, &d.Line, false},
		{"limit", o.limit, &d.Limit, false}, {"bridge", o.bridge, &d.Bridge, false}, {"gap", o.gap, &d.Gap, true},
		{"drag", o.drag, &d.Drag, false}, {"adhesion", o.adhesion, &d.Adhesion, false},
	} {
		switch {
		case !o.set.Changed(f.name):
		case math.IsNaN(f.value) || math.IsInf(f.value, 0) || f.value < 0 || f.value == 0 && !f.zero:
			errs = append(errs, fmt.Errorf("--%s %g is not a size", f.name, f.value))
		case f.value != *f.to:
			changes = append(changes, fmt.Sprintf("--%s %g in place of %g", f.name, f.value, *f.to))
			*f.to = f.value
		}
	}
	if o.set.Changed("heights") && !slices.Equal(o.heights, *heights) {
		if slices.ContainsFunc(o.heights, func(h float64) bool { return !(h > 0) }) {
			errs = append(errs, fmt.Errorf("--heights %v has what is not a size", o.heights))
		}
		changes = append(changes, fmt.Sprintf("--heights %v in place of %v", o.heights, *heights))
		*heights = o.heights
	}
	if o.set.Changed("direction") {
		dir, err := plan.ParseDirection(o.direction)
		if err != nil || o.direction == "" {
			errs = append(errs, fmt.Errorf("--direction %q is neither any nor an angle in degrees", o.direction))
		}
		was, _ := plan.ParseDirection(d.Direction)
		if err == nil && dir != was {
			changes = append(changes, fmt.Sprintf("--direction %s in place of %s", o.direction, d.Direction))
			d.Direction = o.direction
		}
	}
	return changes, errors.Join(errs...)
}

// check refuses options that mean nothing whatever the others are.
func (o *printerOptions) check() error {
	if o.set.Changed("printer") && o.file == "" {
		return errors.New("--printer is empty: name a file, or leave it out to have the default printer")
	}
	_, err := o.override(&plan.Plan{})
	return err
}

// early refuses what is known to be wrong before any file is read.
func (o *printerOptions) early() error {
	if err := o.check(); err != nil || o.file != "" {
		return err
	}
	_, err := o.settings()
	return err
}

// settings returns the settings that the printer file describes with the options
// that were given in its place.
func (o *printerOptions) settings() (supports.Settings, error) {
	p, err := readPrinter(o.file)
	if err != nil {
		return supports.Settings{}, err
	}
	return o.settingsFor(p)
}

// settingsFor does so with the printer file read.
func (o *printerOptions) settingsFor(p printer) (supports.Settings, error) {
	d := plan.Plan{Settings: plan.Settings{Gap: supports.DefaultGap}}
	p.Readings.put(&d.Settings)
	if _, err := o.override(&d); err != nil {
		return supports.Settings{}, err
	}
	s, err := d.Resolve()
	if err != nil {
		if o.file != "" {
			err = fmt.Errorf("%s with the options given: %w", o.file, err)
		}
		return s, err
	}
	// The way through the document drops the last digits of angles. Taken at
	// once, settings read back from the plan are the very same.
	d.Settings = plan.FromSettings(s)
	return d.Resolve()
}

// overPlan sets the settings of a plan with the options that were given in
// their place. What the plan derives from others, such as the wall, stays.
func (o *printerOptions) overPlan(p *plan.Plan) (changes []string, err error) {
	if changes, err = o.override(p); err != nil {
		return nil, err
	}
	s, err := p.Settings.Supports()
	if err != nil {
		return nil, fmt.Errorf("with %s the plan's settings cannot be printed: %w; give another value", told(changes), err)
	}
	p.Settings = plan.FromSettings(s)
	return changes, nil
}

// pictureOptions say whether and how large pictures are drawn, alike in every
// command.
type pictureOptions struct {
	none  bool
	width int // pixels
}

func (o *pictureOptions) addTo(fs *pflag.FlagSet) {
	fs.BoolVar(&o.none, "no-pictures", false, "draw no pictures")
	fs.IntVar(&o.width, "picture-width", 1600, "width of the pictures in pixels; they are 4 : 3")
}

func (o *pictureOptions) check() error {
	if o.width < leastWidth || o.width > mostWidth {
		return fmt.Errorf("--picture-width %d is outside %d to %d", o.width, leastWidth, mostWidth)
	}
	return nil
}

// told lists the options that were given, for messages.
func told(changes []string) string { return strings.Join(changes, ", ") }
