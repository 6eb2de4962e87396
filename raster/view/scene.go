package view

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"falsework/mesh"
)

// Role says what an item is to the builder, and so how it is drawn.
type Role int

const (
	Part    Role = iota // the designer's solid: stone, ink edges
	Support             // what is taken away afterwards: dark, light edges
	Pad                 // where a support meets the part: ochre, hatched one way
	Unheld              // what would fall: vermilion, hatched both ways, ringed
	Region              // what would fall of a bare part: violet, hatched one way, heavily outlined
	Ground              // flat areas on the plate, drawn pale
	Near                // undersides that just hold: straw
	Over                // undersides that lean too far: rust, hatched one way
	Level               // undersides that are all but level: plum, hatched both ways
	roles
)

// String returns the legend's word for the role.
func (r Role) String() string {
	switch r {
	case Part:
		return "part"
	case Support:
		return "support"
	case Pad:
		return "contact pad"
	case Unheld:
		return "does not hold"
	case Region:
		return "would fall"
	case Ground:
		return "on the plate"
	case Near:
		return "near the limit"
	case Over:
		return "past the limit"
	case Level:
		return "nearly level"
	}
	return fmt.Sprintf("role %d", int(r))
}

// Item is one mesh of a scene. A nil or empty mesh is left out.
type Item struct {
	Mesh *mesh.Mesh // mm
	Role Role
	Name string // for errors
	// Flat leaves out the item's own edges, as of areas put together from pieces;
	// its outline is inked all the same.
	Flat bool
}

// Label is a balloon whose leader ends at a point of the scene. Text is short,
// usually a number.
type Label struct {
	At   r3.Vec // mm
	Text string
}

// isMark tells whether a role is laid over the part rather than being a solid.
func (r Role) isMark() bool { return r == Pad || r == Unheld || r == Region || r >= Near }

// tints tells whether a mark tints the part, whose own shading tells its shape.
func (r Role) tints() bool { return r == Region || r >= Near }

// Trail is a chain line from one place of the scene to another, in mm, such as the way
// that something was moved by.
type Trail struct{ From, To r3.Vec }

// Scene is what a sheet shows. The zero value is an empty sheet.
type Scene struct {
	Title    string
	Subtitle string
	// LayerHeight is the layer height in mm that the verdict binds; 0 leaves
	// its cell of the title block with a dash.
	LayerHeight float64
	// Verdict goes into the title block word for word. Empty is a dash, or
	// "fails" where Failed is set.
	Verdict string
	// Failed puts a band across the sheet that says so.
	Failed bool
	Items  []Item
	Labels []Label
	Trails []Trail
	// Notes are lines beside the legend, wrapped where they are long.
	Notes []string
}

// check refuses what cannot be projected.
func (s *Scene) check() error {
	for i, it := range s.Items {
		if it.Role < 0 || it.Role >= roles {
			return fmt.Errorf("view: item %d (%s): unknown %v", i, it.Name, it.Role)
		}
		if it.Mesh == nil {
			continue
		}
		for j, v := range it.Mesh.Vertices {
			if !finite(v) {
				return fmt.Errorf("view: item %d (%s): vertex %d at (%g, %g, %g) is not finite", i, it.Name, j, v.X, v.Y, v.Z)
			}
		}
		n := uint32(len(it.Mesh.Vertices))
		for j, t := range it.Mesh.Triangles {
			if t[0] >= n || t[1] >= n || t[2] >= n {
				return fmt.Errorf("view: item %d (%s): triangle %d names vertex %d of %d", i, it.Name, j, max(t[0], t[1], t[2]), n)
			}
		}
	}
	for i, l := range s.Labels {
		if !finite(l.At) {
			return fmt.Errorf("view: label %d (%s) at (%g, %g, %g) is not finite", i, l.Text, l.At.X, l.At.Y, l.At.Z)
		}
	}
	for i, t := range s.Trails {
		if !finite(t.From) || !finite(t.To) {
			return fmt.Errorf("view: trail %d is not finite", i)
		}
	}
	return nil
}

// finite also refuses magnitudes whose squares would overflow.
func finite(v r3.Vec) bool {
	const limit = 1e100
	return math.Abs(v.X) < limit && math.Abs(v.Y) < limit && math.Abs(v.Z) < limit
}

// bounds returns the box round all items of the roles, and whether there is any.
func (s *Scene) bounds(keep func(Role) bool) (r3.Box, bool) {
	var b r3.Box
	found := false
	for _, it := range s.Items {
		if it.Mesh == nil || len(it.Mesh.Triangles) == 0 || !keep(it.Role) {
			continue
		}
		m := it.Mesh.Bounds()
		if !found {
			b, found = m, true
			continue
		}
		b.Min = r3.Vec{X: min(b.Min.X, m.Min.X), Y: min(b.Min.Y, m.Min.Y), Z: min(b.Min.Z, m.Min.Z)}
		b.Max = r3.Vec{X: max(b.Max.X, m.Max.X), Y: max(b.Max.Y, m.Max.Y), Z: max(b.Max.Z, m.Max.Z)}
	}
	return b, found
}
