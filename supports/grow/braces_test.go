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

// walls grows two walls 20 mm tall and 6 mm apart that stand on soles, with one more line,
// and returns the heights of what is grown of that.
func walls(t *testing.T, more plan.Line) (z0, z1 float64, grown bool) {
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
		Posts: []plan.Post{{ID: "P1", At: [2]float64{12, 4}, Reach: 1.5}, {ID: "P2", At: [2]float64{18, 4}, Reach: 1.5}},
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
