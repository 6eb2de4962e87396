package grow_test

import (
	"math"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// walls grows two walls 20 mm tall and 6 mm apart that stand on soles, with one more line and more posts,
// and returns the heights of what is grown of that.
func walls(t *testing.T, more plan.Line, posts ...plan.Post) (z0, z1 float64, grown bool) {
	t.Helper()
	s, _ := supports.Settings{}.Resolve()
	m := meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 20, Y: 8, Z: 22})
	m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 2, Y: 8, Z: 21}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := plan.Plan{
		Settings: plan.FromSettings(s),
		Lines: []plan.Line{
			{ID: "L1", At: [][3]float64{{12, 0.5, 20}, {12, 7.5, 20}}},
			{ID: "L2", At: [][3]float64{{18, 0.5, 20}, {18, 7.5, 20}}},
			more,
		},
		Posts: append(posts, plan.Post{ID: "P1", At: [2]float64{12, 4}, Reach: 1.5}, plan.Post{ID: "P2", At: [2]float64{18, 4}, Reach: 1.5}),
	}
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range solids {
		if x.ID == more.ID {
			b := x.Mesh.Bounds()
			return b.Min.Z, b.Max.Z, true
		}
	}
	return 0, 0, false
}

// A tie far below the tops of the walls at both its ends is a beam between them, as high as a
// wall must be at least, though its ends are over soles. One that ends in the air is none.
func TestBraces(t *testing.T) {
	s, _ := supports.Settings{}.Resolve()
	z0, z1, ok := walls(t, plan.Line{ID: "T3", Tie: true, At: [][3]float64{{12, 4, 9}, {18, 4, 9}}})
	if !ok || math.Abs(z0-(9-grow.WallDepth(s))) > 1e-4 || math.Abs(z1-9) > 1e-4 {
		t.Errorf("a brace from z %g to %g (%v), want %g to 9", z0, z1, ok, 9-grow.WallDepth(s))
	}
	if z0, z1, ok = walls(t, plan.Line{ID: "T3", Tie: true, At: [][3]float64{{14, 4, 9}, {16, 4, 9}}}); ok {
		t.Errorf("a tie in the air was grown from z %g to %g", z0, z1)
	}
}

// A tie with a sole under it stands on the ground, though it passes two taller walls: it is no
// brace.
func TestRibsStand(t *testing.T) {
	rib := plan.Line{ID: "T3", Tie: true, At: [][3]float64{{11, 4, 6}, {19, 4, 6}}}
	z0, z1, ok := walls(t, rib, plan.Post{ID: "P3", At: [2]float64{15, 4}, Under: "T3", Reach: 0.05})
	if !ok || z0 > 1e-4 || math.Abs(z1-6) > 1e-4 {
		t.Errorf("a rib from z %g to %g (%v), want 0 to 6", z0, z1, ok)
	}
}

// A toe widens a sole's foot by itself to either side where there is room, and narrows upward
// by 45° to the wall. Beside the part it is as wide as leaves the clearance.
func TestToes(t *testing.T) {
	s, _ := supports.Settings{}.Resolve()
	for _, c := range []struct{ x, toe, left, right float64 }{
		{12, 0, 0, 0}, {12, 1, 1, 1}, {12, 2.4, 2.4, 2.4},
		{4, 2.4, 1.2, 2.4}, // of 2 mm to the part, less half a wall and the clearance, 1.26
	} {
		m := meshtest.Box(r3.Vec{Z: 10}, r3.Vec{X: 20, Y: 8, Z: 14})
		m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 2, Y: 8, Z: 13}))
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		p := plan.Plan{
			Settings: plan.FromSettings(s),
			Lines: []plan.Line{
				{ID: "L1", At: [][3]float64{{c.x, 1, 10}, {c.x, 7, 10}}},
				{ID: "L2", At: [][3]float64{{c.x, 1, 10}, {c.x + 8, 1, 10}}}, // so that it needs no flare
			},
			Posts: []plan.Post{{ID: "P1", At: [2]float64{c.x, 4}, Under: "L1", Reach: 8, Toe: c.toe}},
		}
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		left, right, tall := 0.0, 0.0, 0.0
		for _, x := range solids {
			if b := x.Mesh.Bounds(); x.ID == "P1" && b.Max.Y-b.Min.Y > 4 && b.Max.X < c.x+4 { // along L1
				left, right, tall = max(left, c.x-s.Wall/2-b.Min.X), max(right, b.Max.X-c.x-s.Wall/2), max(tall, b.Max.Z)
			}
		}
		if math.Abs(left-c.left) > 1e-4 || math.Abs(right-c.right) > 1e-4 || math.Abs(tall-c.toe) > 1e-4 {
			t.Errorf("a toe of %g mm at x %g: %g and %g mm wide, %g tall", c.toe, c.x, left, right, tall)
		}
	}
}

// A wall t thick and l long is pulled off the plate with F·z/W at its edge, W = l·t²/6 (any
// handbook of beams): a sole is flared once that is more than the plate is taken to hold.
func TestSolesThatLeverThemselvesOffAreFlared(t *testing.T) {
	s, _ := supports.Settings{}.Resolve()
	const long = 6.0
	most := s.Adhesion * long * s.Wall * s.Wall / 6 / s.Drag // height, mm
	s.Drag *= most / 10                                      // so that it is 10 mm
	for _, c := range []struct {
		z    float64
		want bool
	}{{9.5, false}, {10.5, true}} {
		m := meshtest.Box(r3.Vec{Z: c.z + 0.2}, r3.Vec{X: 20, Y: 8, Z: 14})
		m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 2, Y: 8, Z: 13}))
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		p := plan.Plan{
			Settings: plan.FromSettings(s),
			Lines:    []plan.Line{{ID: "L1", At: [][3]float64{{12, 1, c.z + 0.2}, {12, 1 + long, c.z + 0.2}}}},
			Posts:    []plan.Post{{ID: "P1", At: [2]float64{12, 4}, Reach: 3.2}},
		}
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		area := 0.0
		for _, x := range solids {
			if x.ID == "P1" {
				b := x.Mesh.Bounds()
				area += (b.Max.X - b.Min.X) * (b.Max.Y - b.Min.Y)
			}
		}
		if (area > 0) != c.want {
			t.Errorf("top at %g mm: %g mm² of flare, want any: %v", c.z, area, c.want)
		}
	}
}
