package layout

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// A bead between two walls that spans L needs nothing, and one contact more for every
// L and t further; with a free end it hangs on one contact as far as L + t and a ledge
// go; with two it needs one even if it is short. By hand, t 0.48 and a ledge of 0.4 mm.
func TestContactsOfABead(t *testing.T) {
	s, err := supports.Settings{Bridge: 10, Wall: 0.48}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	site := &site{s: s, wall: 0.48}
	for _, c := range []struct {
		long float64
		free int
		want float64
	}{
		{10, 0, 0}, {10.1, 0, 1}, {20.4, 0, 1}, {20.6, 0, 2},
		{0.3, 1, 0}, {0.5, 1, 1}, {10.8, 1, 1}, {11, 1, 2},
		{1, 2, 1}, {1.2, 2, 1}, {1.4, 2, 2}, {11.7, 2, 2}, {11.9, 2, 3},
	} {
		if got := site.contacts(c.long, c.free); got != c.want {
			t.Errorf("a bead of %g mm with %d free ends: %g contacts, want %g", c.long, c.free, got, c.want)
		}
	}
}

// boundOf measures a slab on two walls, long mm apart and wide mm wide, with one wall a
// shelf, and a plan of 10 mm of contact.
func boundOf(t *testing.T, long, wide float64, walls int, d supports.Direction) Contact {
	t.Helper()
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 5, Y: wide, Z: 10}))
	end := 5 + long
	if walls == 2 {
		m.Append(meshtest.Box(r3.Vec{X: end}, r3.Vec{X: end + 5, Y: wide, Z: 10}))
		end += 5
	}
	m.Append(meshtest.Box(r3.Vec{Z: 10}, r3.Vec{X: end, Y: wide, Z: 13}))
	s, err := supports.Settings{Bridge: 10, Direction: d}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	n := need.Find(&m, part, s, 0)
	p := plan.Plan{Lines: []plan.Line{
		{At: [][3]float64{{10, 2, 10}, {10, 12, 10}}},             // 10 mm under the ceiling
		{At: [][3]float64{{10, 2, 5}, {10, 12, 5}}},               // at another height
		{At: [][3]float64{{10, 2, 9.4}, {10, 8, 9.4}}, Tie: true}, // holds nothing
	}}
	return ContactUnder(p, part, n, s)
}

// The formulas for a whole ceiling: the beads' count times the width across them, less
// the beads beside a wall that are within a ledge of it.
func TestBoundOfCeilings(t *testing.T) {
	along := supports.Direction{Stated: true}
	across := supports.Direction{Stated: true, Angle: math.Pi / 2}
	for _, c := range []struct {
		name       string
		long, wide float64
		walls      int
		d          supports.Direction
		want       float64
	}{
		{"between walls", 25, 20, 2, along, 2 * 20},                    // ⌈15/10.48⌉
		{"between walls, beads along them", 25, 20, 2, across, 3 * 25}, // ⌈(20+10−0.8)/10.48⌉
		{"a shelf", 15, 20, 1, along, 2 * 20},                          // ⌈14.6/10.48⌉
	} {
		got := boundOf(t, c.long, c.wide, c.walls, c.d)
		if got.BoundMM > c.want*1.001 || got.BoundMM < c.want*0.95 {
			t.Errorf("%s: bound %.1f mm, formula %.1f", c.name, got.BoundMM, c.want)
		}
		if math.Abs(got.LengthMM-10) > 0.2 {
			t.Errorf("%s: %.2f mm of contact, drawn 10", c.name, got.LengthMM)
		}
	}
	// In any direction at least as much as in either of these.
	if got := boundOf(t, 25, 20, 2, supports.Direction{}).BoundMM; got < 3*25*0.95 {
		t.Errorf("in any direction %.1f mm, less than the 75 of beads along the walls", got)
	}
}
