package plan

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"

	"falsework/supports"

	"github.com/goccy/go-yaml"
)

// Version is the version of the document that this package writes and reads.
const Version = 1

// Plan is a whole document. The zero value holds nothing.
type Plan struct {
	Version  int      `yaml:"falsework"`
	Part     Part     `yaml:"part"`
	Settings Settings `yaml:"settings"`
	Lines    []Line   `yaml:"lines"`
	Posts    []Post   `yaml:"posts"`
}

// Part names the part that a plan was drawn for.
type Part struct {
	Name      string     `yaml:"name"`
	Triangles int        `yaml:"triangles"`
	Size      [3]float64 `yaml:"size_mm,flow"`
}

// Author says whose a structure is.
type Author string

const (
	Tool     Author = "tool"     // laid out by the program, which may change it
	Designer Author = "designer" // placed by a person, never changed
)

// Line is a contact line under the part, and the wall below it.
type Line struct {
	ID string `yaml:"id"`
	// At lists the line's points: x, y, and the height of the underside that the
	// line holds there. The height picks the surface; where exactly the wall
	// ends below it is derived.
	At [][3]float64 `yaml:"at,flow"`
	// Posts names the posts that the wall gathers to; empty means any.
	Posts []string `yaml:"posts,flow,omitempty"`
	// Tie marks a line that holds no part of the model: it only joins walls. At
	// then gives the wall's top.
	Tie bool   `yaml:"tie,omitempty"`
	By  Author `yaml:"by"`
}

// Post is where walls gather and go down.
type Post struct {
	ID string     `yaml:"id"`
	At [2]float64 `yaml:"at,flow"`
	// Side is the outer width of a hollow square post. A sole has none: walls
	// within Reach go straight down, or all of the line that Under names, and
	// with it the walls that meet it as far as Reach. A sole whose line was
	// deleted stands at its own place again.
	Side  float64 `yaml:"side,omitempty"`
	Reach float64 `yaml:"reach,omitempty"`
	Under string  `yaml:"under,omitempty"`
	// Head is the height at which walls begin to spread.
	Head float64 `yaml:"head"`
	// Foot is the height that it stands at: 0 on the plate, else that of the
	// part's upper side below, which it keeps the gap from.
	Foot float64 `yaml:"foot"`
	By   Author  `yaml:"by"`
}

// Settings mirrors supports.Settings at the document's edge: degrees, and the
// gap as people say it (0 is fused).
type Settings struct {
	Nozzle    float64   `yaml:"nozzle_mm"`
	Line      float64   `yaml:"line_mm"`
	Layer     float64   `yaml:"layer_mm"`
	First     float64   `yaml:"first_layer_mm"`
	Limit     float64   `yaml:"limit_deg"`
	Bridge    float64   `yaml:"bridge_mm"`
	Gap       float64   `yaml:"gap_mm"`
	Direction string    `yaml:"direction"`
	Wall      float64   `yaml:"wall_mm"`
	Clearance float64   `yaml:"clearance_mm"`
	Lean      float64   `yaml:"lean_deg"`
	Margin    float64   `yaml:"margin"`
	Cell      float64   `yaml:"cell_mm"`
	Heights   []float64 `yaml:"heights_mm,flow,omitempty"`
	Drag      float64   `yaml:"drag_n"`
	Adhesion  float64   `yaml:"adhesion_mpa"`
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
		Heights: s.Heights, Drag: s.Drag, Adhesion: s.Adhesion,
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
		Heights: d.Heights, Drag: d.Drag, Adhesion: d.Adhesion,
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

const header = `# Falsework plan: what holds the part up while it prints.
# Lengths are mm, +Z is up, the plate is z = 0. Edit freely; "bake --plan" builds
# exactly this. lines: contact lines under the part, each point x, y and the height
# of the underside there. posts: where the walls below the lines gather and go
# down; a post without a side is a sole, a stretch of wall on the ground.
`

// Encode writes the document. The same plan gives the same bytes.
func (p Plan) Encode() ([]byte, error) {
	p.Version = Version
	body, err := yaml.MarshalWithOptions(p, yaml.Indent(2))
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	return append([]byte(header), body...), nil
}

// Stranded returns the posts that stand under a line which the plan lacks.
func (p *Plan) Stranded() []string {
	lines := map[string]bool{"": true}
	for _, l := range p.Lines {
		lines[l.ID] = true
	}
	var out []string
	for _, q := range p.Posts {
		if !lines[q.Under] {
			out = append(out, q.ID)
		}
	}
	return out
}

// Decode reads a document and checks it. The name is used in errors only.
func Decode(name string, data []byte) (Plan, error) {
	var p Plan
	dec := yaml.NewDecoder(bytes.NewReader(data), yaml.Strict())
	if err := dec.Decode(&p); err != nil {
		return Plan{}, fmt.Errorf("%s: not a plan: %w", name, err)
	}
	if p.Version != Version {
		return Plan{}, fmt.Errorf("%s: falsework: %d is not a version that this program reads (it reads %d)", name, p.Version, Version)
	}
	if err := p.Validate(); err != nil {
		return Plan{}, fmt.Errorf("%s: %w", name, err)
	}
	return p, nil
}

// maxCoordinate bounds every number of a plan, in mm; the largest printer would
// fit many times over.
const maxCoordinate = 1e4

// Validate tells everything that is wrong with the plan itself.
func (p Plan) Validate() error {
	var errs []error
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	finite := func(v float64) bool { return math.Abs(v) <= maxCoordinate } // false for NaN
	if _, err := p.Settings.Supports(); err != nil {
		bad("settings: %w", err)
	}
	ids := map[string]bool{}
	posts := map[string]bool{}
	claim := func(kind, id string) {
		if id == "" {
			bad("a %s has no id", kind)
		} else if ids[id] {
			bad("id %s is used twice", id)
		}
		ids[id] = true
	}
	author := func(id string, by Author) {
		if by != Tool && by != Designer {
			bad("%s: by: %q is neither %s nor %s", id, by, Tool, Designer)
		}
	}
	for _, q := range p.Posts {
		claim("post", q.ID)
		author(q.ID, q.By)
		posts[q.ID] = true
		if !finite(q.At[0]) || !finite(q.At[1]) || !finite(q.Head) || !finite(q.Foot) || !finite(q.Side) || !finite(q.Reach) {
			bad("post %s: a number is beyond ±%g mm", q.ID, float64(maxCoordinate))
		}
		if q.Side == 0 && q.Reach <= 0 && q.Under == "" {
			bad("post %s: needs a side (a hollow post), a reach or the line that it is under (a sole)", q.ID)
		}
		if q.Side != 0 && q.Side < 2*p.Settings.Wall {
			bad("post %s: side %g mm leaves no room inside walls of %g mm", q.ID, q.Side, p.Settings.Wall)
		}
		if q.Foot < 0 || q.Head < q.Foot {
			bad("post %s: head %g mm is below its foot %g mm, or the foot below the plate", q.ID, q.Head, q.Foot)
		}
	}
	for _, l := range p.Lines {
		claim("line", l.ID)
		author(l.ID, l.By)
		if len(l.At) < 2 {
			bad("line %s: needs two points or more", l.ID)
		}
		for n, q := range l.At {
			if !finite(q[0]) || !finite(q[1]) || !finite(q[2]) {
				bad("line %s: point %d is beyond ±%g mm", l.ID, n+1, float64(maxCoordinate))
			}
		}
		for _, id := range l.Posts {
			if !posts[id] {
				bad("line %s: there is no post %s", l.ID, id)
			}
		}
	}
	stranded := p.Stranded()
	for _, q := range p.Posts {
		if slices.Contains(stranded, q.ID) && q.Reach <= 0 {
			bad("post %s: there is no line %s to stand under", q.ID, q.Under)
		}
	}
	return errors.Join(errs...)
}
