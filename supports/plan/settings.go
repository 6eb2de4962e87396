package plan

import (
	"fmt"
	"math"

	"falsework/supports"
)

// Settings mirrors supports.Settings at the document's edge: degrees, and the
// gap as people say it (0 is fused).
type Settings struct {
	Nozzle    float64 `yaml:"nozzle_mm"`
	Line      float64 `yaml:"line_mm"`
	Layer     float64 `yaml:"layer_mm"`
	First     float64 `yaml:"first_layer_mm"`
	Limit     float64 `yaml:"limit_deg"`
	Bridge    float64 `yaml:"bridge_mm"`
	Gap       float64 `yaml:"gap_mm"`
	Direction string  `yaml:"direction"`
	Wall      float64 `yaml:"wall_mm"`
	Clearance float64 `yaml:"clearance_mm"`
	Lean      float64 `yaml:"lean_deg"`
	Margin    float64 `yaml:"margin"`
	Cell      float64 `yaml:"cell_mm"`
	LoneLedge float64 `yaml:"ledge_mm,omitempty"`
	Drag      float64 `yaml:"drag_n"`
	Adhesion  float64 `yaml:"adhesion_mpa"`
}

// trim drops the digits that a trip through radians leaves behind.
func trim(v float64) float64 { return math.Round(v*1e9) / 1e9 }

// FromSettings returns the document's form of resolved settings.
func FromSettings(s supports.Settings) Settings {
	deg := 180 / math.Pi
	d := Settings{
		Nozzle: s.Nozzle, Line: s.Line, Layer: s.Layer, First: s.First,
		Limit: trim(s.Limit * deg), Bridge: s.Bridge, Gap: max(0, s.Gap),
		Direction: "any", Wall: trim(s.Wall), Clearance: s.Clearance,
		Lean: trim(s.Lean * deg), Margin: s.Margin, Cell: trim(s.Cell),
		Drag: s.Drag, Adhesion: s.Adhesion, LoneLedge: s.LoneLedge,
	}
	if s.Direction.Stated {
		d.Direction = fmt.Sprint(trim(s.Direction.Angle * deg))
	}
	return d
}

// Supports returns the settings in memory form, resolved.
func (d Settings) Supports() (supports.Settings, error) {
	rad := math.Pi / 180
	s := supports.Settings{
		Nozzle: d.Nozzle, Line: d.Line, Layer: d.Layer, First: d.First,
		Limit: d.Limit * rad, Bridge: d.Bridge, Gap: d.Gap, Wall: d.Wall,
		Clearance: d.Clearance, Lean: d.Lean * rad, Margin: d.Margin, Cell: d.Cell,
		Drag: d.Drag, Adhesion: d.Adhesion, LoneLedge: d.LoneLedge,
	}
	if d.Gap == 0 {
		s.Gap = supports.Fused
	}
	dir, err := ParseDirection(d.Direction)
	if err != nil {
		return s, err
	}
	s.Direction = dir
	return s.Resolve()
}

// ParseDirection reads "any" or an angle in degrees.
func ParseDirection(text string) (supports.Direction, error) {
	if text == "any" || text == "" {
		return supports.Direction{}, nil
	}
	var deg float64
	var rest string
	if n, err := fmt.Sscanf(text+" .", "%g %s", &deg, &rest); n != 2 || err != nil || rest != "." || math.IsNaN(deg) || math.IsInf(deg, 0) {
		return supports.Direction{}, fmt.Errorf("direction %q is neither any nor an angle in degrees", text)
	}
	half := math.Mod(math.Mod(deg, 180)+180, 180) // a bridge runs both ways
	return supports.Direction{Stated: true, Angle: half * math.Pi / 180}, nil
}

// Resolve returns the settings that the plan is drawn and built by, in memory form:
// walls lean no further than the thickest layers that it must hold at let them.
func (p Plan) Resolve() (supports.Settings, error) {
	s, err := p.Settings.Supports()
	if err != nil {
		return s, err
	}
	for _, h := range p.Taste.Heights {
		o, err := at(s, h)
		if err != nil {
			return s, fmt.Errorf("layer_heights_mm: %w", err)
		}
		s.Lean = min(s.Lean, o.Lean)
	}
	s.Heights = p.Taste.Heights
	return s, nil
}

// At returns the plan's settings for someone who prints layers of h mm.
func (p Plan) At(h float64) (supports.Settings, error) {
	s, err := p.Resolve()
	if err != nil {
		return s, err
	}
	return at(s, h)
}

// at returns settings at another layer height, with the lean that it allows.
func at(s supports.Settings, h float64) (supports.Settings, error) {
	if !(h > 0) {
		return s, fmt.Errorf("%g mm is no layer height", h)
	}
	s.Layer, s.Lean, s.Heights = h, 0, nil
	return s.Resolve()
}
