package grow

import (
	"math"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// A wall ends Relief layers lower on a relieved straight, from the far face of the wall that
// touches the part on: the part's underside prints over as many empty layers more as it takes
// for nothing to hold there (see hold). Fused, it has no teeth there.
func TestRelievedStraightsEndLower(t *testing.T) {
	for _, gap := range []float64{supports.Fused, 0.2} {
		s, err := supports.Settings{Gap: gap}.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 40, Z: 24})
		m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 44, Y: 40, Z: 24}))
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		p := plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s), Lines: []plan.Line{
			{ID: "L1", At: [][3]float64{{10, 5, 20}, {10, 30, 20}, {30, 30, 20}, {30, 5, 20}}, Relieved: []int{2}, By: plan.Designer},
		}}
		n := NewNetwork(p, s, NewUndersides(m), part, finePitch)
		high := n.Stations[n.Walls[0][0]].Top
		low := high - Relief*s.Layer
		touch, off := 0, 0
		for _, id := range n.Walls[0] {
			st := &n.Stations[id]
			want := high
			if st.P.Y == 30 && st.P.X > 10+n.pad/2+1e-6 && st.P.X < 30-n.pad/2-1e-6 {
				want = low
				off++
			} else {
				touch++
			}
			if math.Abs(st.Top-want) > 1e-9 {
				t.Errorf("gap %g: at %.2f, %.2f the wall ends at %.3f, want %.3f", gap, st.P.X, st.P.Y, st.Top, want)
			}
		}
		if touch < 90 || off < 30 {
			t.Fatalf("%d stations touch, %d do not", touch, off)
		}
		for i := range n.Stations {
			n.Stations[i].Low = 1 // as if built
		}
		for _, q := range n.teethOf(0, 4) {
			if q.p.Y == 30 && q.p.X > 11 && q.p.X < 29 {
				t.Errorf("gap %g: a tooth at %.2f, %.2f", gap, q.p.X, q.p.Y)
			}
		}
	}
}
