package cost

import (
	"errors"
	"fmt"
	"math"
)

// Machine says how fast a printer is, what it prints with and how it fills a part. A
// zero field means its default; where noted, a negative one means none. The nozzle is not lifted for
// travels.
type Machine struct {
	Speed         float64 `json:"speed_mm_s"`           // printing supports, mm/s
	FirstSpeed    float64 `json:"first_speed_mm_s"`     // printing the first layer, mm/s
	TravelSpeed   float64 `json:"travel_speed_mm_s"`    // moving without printing, mm/s
	Accel         float64 `json:"accel_mm_s2"`          // mm/s²
	CornerTol     float64 `json:"corner_tolerance_mm"`  // how far a corner may be cut, mm
	Retract       float64 `json:"retract_s"`            // pulling filament back, and again priming, s each; negative: none
	RetractBeyond float64 `json:"retract_beyond_mm"`    // shorter travels do not retract, mm; negative: all do
	Visit         float64 `json:"visit_mm"`             // travel from part to supports, and again back, mm each; negative: none
	MinLayer      float64 `json:"min_layer_s"`          // least time of a whole layer, s; negative: none
	OuterSpeed    float64 `json:"outer_speed_mm_s"`     // printing the outermost outline of a part, mm/s
	Loops         int     `json:"loops"`                // outlines of a part
	Solid         int     `json:"solid_layers"`         // full layers at a part's undersides and tops; negative: none
	Infill        float64 `json:"infill_share"`         // of the room inside a part that lines take; negative: none
	Density       float64 `json:"density_g_cm3"`        // of the material
	Filament      float64 `json:"filament_diameter_mm"` // mm
}

// Defaults of Machine.
const (
	// Common practice for a desk-top printer, no source.
	defaultSpeed       = 60.0
	defaultFirstSpeed  = 30.0
	defaultTravelSpeed = 150.0
	defaultAccel       = 2000.0
	// A right-angled corner is taken at 9.8 mm/s. Common practice, no source.
	defaultCornerTol = 0.02
	// Some 3 mm of filament at 40 mm/s. Common practice, no source.
	defaultRetract = 0.075
	// Common practice, no source.
	defaultRetractBeyond = 1.5
	// An assumption, the same for every support: a layer's supports cost two
	// travels that the part alone would not have made.
	defaultVisit = 20.0
	// Common practice, no source.
	defaultMinLayer = 5.0
	// Half as fast as the rest, for looks. Common practice, no source.
	outerShare = 0.5
	// Two outlines, four full layers and 15 % of lines: a part to look at and to
	// handle. Common practice, no source.
	defaultLoops  = 2
	defaultSolid  = 4
	defaultInfill = 0.15
	// PLA. Processes 2025, 13(9), 2733, section 2.1.
	defaultDensity = 1.25
	// The usual of two sizes on sale. Common practice, no source.
	defaultFilament = 1.75
)

// leastSpeed is the slowest speed that is no mistake, mm/s.
const leastSpeed = 1.0

// Resolve fills the zero fields with defaults and refuses numbers that no
// printer has.
func (m Machine) Resolve() (Machine, error) {
	f := m.filled()
	var errs []error
	for _, c := range []struct {
		name   string
		v      float64
		lo, hi float64
		unit   string
	}{
		{"speed", m.Speed, leastSpeed, 1000, "mm/s"}, {"first-layer speed", m.FirstSpeed, leastSpeed, 1000, "mm/s"},
		{"travel speed", m.TravelSpeed, leastSpeed, 2000, "mm/s"}, {"acceleration", m.Accel, 50, 100000, "mm/s²"},
		{"corner tolerance", m.CornerTol, 1e-4, 1, "mm"}, {"density", m.Density, 0.1, 20, "g/cm³"},
		{"filament diameter", m.Filament, 0.5, 5, "mm"}, {"speed of outer outlines", m.OuterSpeed, leastSpeed, 1000, "mm/s"},
		{"outlines", float64(m.Loops), 1, 100, "in number"},
	} {
		if c.v != 0 && !(c.v >= c.lo && c.v <= c.hi) {
			errs = append(errs, fmt.Errorf("%s %g %s is outside %g to %g", c.name, c.v, c.unit, c.lo, c.hi))
		}
	}
	for _, c := range []struct {
		name string
		v    float64
	}{{"retract time", m.Retract}, {"retract distance", m.RetractBeyond}, {"visit", m.Visit}, {"least layer time", m.MinLayer}} {
		if math.IsNaN(c.v) || c.v > 1000 {
			errs = append(errs, fmt.Errorf("%s %g is not below 1000", c.name, c.v))
		}
	}
	if m.Solid > 1000 {
		errs = append(errs, fmt.Errorf("%d full layers are not below 1000", m.Solid))
	}
	if math.IsNaN(m.Infill) || m.Infill > 1 {
		errs = append(errs, fmt.Errorf("infill %g is more than the whole, 1", m.Infill))
	}
	return f, errors.Join(errs...)
}

// filled returns m with defaults in place of zero fields and of fields that
// would divide by zero, and zero in place of those that mean none.
func (m Machine) filled() Machine {
	pos := func(v *float64, d float64) {
		if !(*v > 0) || math.IsInf(*v, 0) {
			*v = d
		}
	}
	none := func(v *float64, d float64) {
		switch {
		case *v == 0 || math.IsNaN(*v) || math.IsInf(*v, 1):
			*v = d
		case *v < 0:
			// Kept negative so that filling twice changes nothing; read through
			// max(0, ·).
			*v = -1
		}
	}
	pos(&m.Speed, defaultSpeed)
	pos(&m.FirstSpeed, min(defaultFirstSpeed, m.Speed))
	pos(&m.TravelSpeed, defaultTravelSpeed)
	pos(&m.Accel, defaultAccel)
	pos(&m.CornerTol, defaultCornerTol)
	none(&m.Retract, defaultRetract)
	none(&m.RetractBeyond, defaultRetractBeyond)
	none(&m.Visit, defaultVisit)
	none(&m.MinLayer, defaultMinLayer)
	pos(&m.OuterSpeed, max(leastSpeed, outerShare*m.Speed))
	if m.Loops < 1 {
		m.Loops = defaultLoops
	}
	switch {
	case m.Solid == 0:
		m.Solid = defaultSolid
	case m.Solid < 0:
		m.Solid = -1
	}
	none(&m.Infill, defaultInfill)
	pos(&m.Density, defaultDensity)
	pos(&m.Filament, defaultFilament)
	return m
}

// MassG returns the mass in g of a volume in mm³.
func (m Machine) MassG(volume float64) float64 { return volume * m.filled().Density / 1000 }

// FilamentMM returns the length of filament in mm that holds a volume in mm³.
func (m Machine) FilamentMM(volume float64) float64 {
	d := m.filled().Filament
	return volume / (math.Pi / 4 * d * d)
}

// visitS returns what it costs to reach a layer's supports and to come back.
func (m Machine) visitS() float64 {
	if m.Visit < 0 {
		return 0
	}
	return 2 * (trapezoid(m.Visit, 0, 0, m.TravelSpeed, m.Accel) + 2*max(0, m.Retract))
}

// BeadArea returns the cross-section in mm² of a line of width w ≥ h laid in a
// layer h thick, both in mm: (w−h)·h + π·h²/4, a rectangle between two half
// circles.
func BeadArea(w, h float64) float64 { return (w-h)*h + math.Pi*h*h/4 }
