package grow_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// A wall of thin lines goes on to where the part's clearance ends, wherever its stations
// are, from either side; one of thick lines to the last station before.
func TestWallsEndAtTheClearance(t *testing.T) {
	for _, nozzle := range []float64{0.25, 0.4} {
		s, err := supports.Settings{Nozzle: nozzle}.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 20, Z: 24})
		m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 34, Y: 20, Z: 24}))
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		for end := 12.0; end < 12.5; end += 0.07 {
			for _, back := range []bool{false, true} {
				at := [][3]float64{{2, 10, 20}, {end, 10, 20}}
				if back {
					at[0], at[1] = at[1], at[0]
				}
				p := plan.Plan{
					Version: plan.Version, Settings: plan.FromSettings(s),
					Lines: []plan.Line{{ID: "L1", At: at, By: plan.Designer}},
					Posts: []plan.Post{{ID: "P1", At: [2]float64{9, 10}, Under: "L1", Reach: 10, By: plan.Designer}},
				}
				solids, err := grow.Grow(p, m, part)
				if err != nil {
					t.Fatal(err)
				}
				first := math.Inf(1)
				var all mesh.Mesh
				for _, x := range solids {
					first = min(first, x.Mesh.Bounds().Min.X)
					all.Append(x.Mesh)
				}
				// A cell less than the clearance is kept, and cells are known to one of them.
				least, most := 4+s.Clearance-2*part.Cell, 4+s.Clearance+part.Cell
				if nozzle == 0.4 {
					most += 0.5
				}
				if first < least || first > most {
					t.Errorf("nozzle %g, line to %.2f, back %v: it ends at %.3f, want %.3f to %.3f", nozzle, end, back, first, least, most)
				}
			}
		}
	}
}
