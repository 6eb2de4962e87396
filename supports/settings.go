package supports

import (
	"errors"
	"fmt"
	"math"

	"falsework/raster"
)

// Settings says what the printer can do and how its owner likes supports. Lengths
// are mm, angles radians from the vertical. A zero field means its default; call
// Resolve before use.
type Settings struct {
	Nozzle float64 // bore of the nozzle
	Line   float64 // width of one printed line
	Layer  float64 // layer height
	First  float64 // thickness of the first layer
	Limit  float64 // steepest overhang that holds, from the vertical
	Bridge float64 // longest bridge that holds, landing to landing
	Gap    float64 // void between a contact and the part; negative means fused

	Direction Direction // directions a bridge over gapped contacts may be laid in

	Wall      float64 // thickness of a support wall, one printed line
	Clearance float64 // sideways distance from walls of the part
	Lean      float64 // furthest a support wall may lean
	Margin    float64 // share of Bridge kept in hand when planning
	Cell      float64 // edge of a raster cell

	LoneLedge float64 // how far one lone layer was seen to stand out and hold; 0: a line
	Drag      float64 // sideways pull of a passing nozzle, N
	Adhesion  float64 // tension that the plate holds the first layer with, MPa

	// Heights are further layer heights that the supports are declared to print
	// well at, with the same first layer.
	Heights []float64
}

// Direction is the direction that bridges are laid in: any, or one stated.
type Direction struct {
	Stated bool
	Angle  float64 // from +X towards +Y, used when Stated
}

func (d Direction) String() string {
	if !d.Stated {
		return "any"
	}
	return fmt.Sprintf("%g°", math.Round(d.Angle*180/math.Pi*1e6)/1e6)
}

// Defaults for a 0.4 mm nozzle. Common practice, no source, unless said.
const (
	DefaultNozzle = 0.4
	DefaultLimit  = 45 * math.Pi / 180 // also Mazlan 2020, JAITA, 38–47
	DefaultBridge = 10.0
	DefaultGap    = 0.2

	// wallLines makes a wall that prints as one line for every line width from
	// the nozzle's own to 1.2 times it. Common practice, no source.
	wallLines = 1.2
	// defaultClearance keeps a wall from fusing sideways: a line width and a bit.
	defaultClearance = 0.5
	// defaultMargin is planned for, so that a plan still holds on a printer that
	// bridges a tenth less.
	defaultMargin = 0.1
	// defaultDrag and defaultAdhesion are assumptions: no measured value was found
	// for a nozzle's pull, and plates differ by more than tenfold.
	defaultDrag, defaultAdhesion = 0.5, 2.0
	// leanError is what the layer proof may misjudge a slope by, in radians: one
	// cell in the millimetre or so over which it adds a slope up.
	leanError = 2 * math.Pi / 180
	// cellsPerLine makes a cell a quarter of a line: half of the least landing.
	cellsPerLine = 4
	// thinGap is the widest gap, in mm, for which no void may print thicker than
	// thickVoid mm, whatever the layers. Common practice, no source.
	thinGap, thickVoid = 0.2, 0.4
	// maxLayerShare is the thickest layer a nozzle can lay, as a share of its
	// bore. Common practice, no source.
	maxLayerShare = 0.8
)

// Fused is the Gap of contacts that are printed onto the part.
const Fused = -1.0

// Resolve fills the zero fields with defaults and refuses what cannot be printed.
func (s Settings) Resolve() (Settings, error) {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&s.Nozzle, DefaultNozzle)
	def(&s.Line, s.Nozzle)
	def(&s.Layer, s.Nozzle/2)
	def(&s.First, s.Layer)
	def(&s.Limit, DefaultLimit)
	def(&s.Bridge, DefaultBridge)
	def(&s.Gap, DefaultGap)
	def(&s.Wall, wallLines*max(s.Nozzle, s.Line/wallLines))
	def(&s.Clearance, max(defaultClearance, 1.25*s.Line))
	def(&s.Margin, defaultMargin)
	def(&s.Cell, s.Line/cellsPerLine)
	def(&s.Drag, defaultDrag)
	def(&s.Adhesion, defaultAdhesion)
	// A bead that keeps half its width on the one below leans atan(w/2h).
	def(&s.Lean, min(s.Limit, math.Atan(s.Line/(2*s.Layer)))-leanError)

	deg := 180 / math.Pi
	var errs []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	for _, f := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"nozzle", s.Nozzle, 0.1, 2}, {"line", s.Line, 0.1, 3}, {"layer", s.Layer, 0.03, 2},
		{"first-layer", s.First, 0.03, 2}, {"bridge", s.Bridge, 2, 200},
		{"wall", s.Wall, 0.8 * s.Nozzle, 4 * s.Nozzle}, {"clearance", s.Clearance, 0.1, 5},
		{"cell", s.Cell, s.Line / 16, s.Line / 2},
	} {
		check(f.v >= f.lo && f.v <= f.hi, "%s %g mm is outside %g to %g mm", f.name, f.v, f.lo, f.hi)
	}
	check(s.Limit*deg >= 10 && s.Limit*deg <= 80, "limit %.4g° is outside 10° to 80° from the vertical", s.Limit*deg)
	check(s.Lean*deg >= 5 && s.Lean <= s.Limit+1e-9, "lean %.4g° is outside 5° to the limit of %.4g°", s.Lean*deg, s.Limit*deg)
	check(s.Margin >= 0 && s.Margin <= 0.5, "margin %g is outside 0 to 0.5", s.Margin)
	check(s.Gap == Fused || s.Gap > 0 && s.Gap <= 1, "gap %g mm is outside 0 (fused) to 1 mm", s.Gap)
	check(s.LoneLedge >= 0 && s.LoneLedge <= 5, "ledge %g mm is outside 0 to 5 mm", s.LoneLedge)
	check(s.Drag > 0 && s.Drag <= 20, "drag %g N is outside 0 to 20 N", s.Drag)
	check(s.Adhesion > 0 && s.Adhesion <= 50, "adhesion %g MPa is outside 0 to 50 MPa", s.Adhesion)
	check(s.Layer <= maxLayerShare*s.Nozzle+1e-9, "layer %g mm is thicker than %g × the %g mm nozzle", s.Layer, maxLayerShare, s.Nozzle)
	check(s.First <= maxLayerShare*s.Nozzle+1e-9, "first-layer %g mm is thicker than %g × the %g mm nozzle", s.First, maxLayerShare, s.Nozzle)
	check(s.Line >= s.Nozzle*0.8-1e-9 && s.Line <= s.Nozzle*2+1e-9, "line %g mm does not come out of a %g mm nozzle; give 0.8 to 2 times the nozzle", s.Line, s.Nozzle)
	for _, h := range s.Heights {
		check(h >= 0.03 && h <= maxLayerShare*s.Nozzle+1e-9, "declared height %g mm is outside 0.03 mm to %g × the %g mm nozzle", h, maxLayerShare, s.Nozzle)
	}
	return s, errors.Join(errs...)
}

// Layers returns how the print is cut.
func (s Settings) Layers() raster.Layers { return raster.Layers{First: s.First, Height: s.Layer} }

// IsFused tells whether contacts are printed onto the part.
func (s Settings) IsFused() bool { return s.Gap < 0 }

// Void returns the gap, in mm, that contact lines keep from the part. Fused ones keep
// the default gap, and teeth cross it.
func (s Settings) Void() float64 {
	if s.IsFused() {
		return DefaultGap
	}
	return s.Gap
}

// ThickestVoid returns the thickest void, in mm as printed, that still carries: the gap
// and half a layer, where a single layer is the least there can be; under a slope one
// layer more; and never above 0.4 mm for gaps of up to 0.2 mm. Common practice, no
// source.
func (s Settings) ThickestVoid(slope bool) float64 {
	gap := s.Void()
	most := max(s.Layer, gap+s.Layer/2)
	if slope {
		most += s.Layer
	}
	if gap <= thinGap+1e-9 {
		most = min(most, thickVoid)
	}
	return most
}

// VoidLayers returns the number of empty layers between a contact and a level
// ceiling: the most that carry, at least one.
func (s Settings) VoidLayers() int { return s.voidLayers(false) }

// SlopeVoidLayers returns how many layers may be empty between a contact and a slope.
func (s Settings) SlopeVoidLayers() int { return s.voidLayers(true) }

func (s Settings) voidLayers(slope bool) int {
	return max(1, int(math.Floor(s.ThickestVoid(slope)/s.Layer+1e-9)))
}

// Reach returns how far a layer may stand out beyond the one below and hold:
// layer height × tan(limit).
func (s Settings) Reach() float64 { return s.Layer * math.Tan(s.Limit) }

// Ledge returns how far a single layer may stand out before it fails rather than
// being marginal: one line, or what was seen to hold.
func (s Settings) Ledge() float64 {
	most := s.LoneLedge
	if most == 0 {
		most = s.Line
	}
	return max(most, s.Reach())
}
