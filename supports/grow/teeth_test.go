package grow_test

import (
	"fmt"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// rake is a lid on a leg, its underside at 6 mm, with a long line under it that many short
// ones cross, so that what stands on one sole holds on by a tooth for each of them.
func rake(t *testing.T, prongs int) (*mesh.Mesh, *raster.Stack, plan.Plan, supports.Settings) {
	t.Helper()
	s, err := supports.Settings{Gap: supports.Fused}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	long := 4*float64(prongs) + 8
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 20, Z: 10})
	m.Append(meshtest.Box(r3.Vec{Z: 6}, r3.Vec{X: long, Y: 20, Z: 10}))
	p := plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}
	p.Lines = append(p.Lines, plan.Line{ID: "L0", At: [][3]float64{{6, 10, 6}, {long - 1, 10, 6}}, By: plan.Designer})
	p.Posts = append(p.Posts, plan.Post{ID: "P0", At: [2]float64{long / 2, 10}, Under: "L0", Reach: long, By: plan.Designer})
	for n := range prongs {
		x := 8 + 4*float64(n)
		p.Lines = append(p.Lines, plan.Line{ID: fmt.Sprintf("L%d", n+1), At: [][3]float64{{x, 4, 6}, {x, 16, 6}}, By: plan.Designer})
	}
	return m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), p, s
}

// A hand breaks off what hangs together, by the proof's own count, however many lines it
// has; no fewer teeth are left to it than that takes; and what the designer asks for
// is done.
func TestTeethByHand(t *testing.T) {
	for _, c := range []struct {
		prongs int
		apart  float64
		some   bool // some teeth have to go
	}{{2, 0, false}, {12, 0, true}, {40, 0, true}, {12, 3, false}} {
		m, part, p, s := rake(t, c.prongs)
		p.Taste.Teeth = c.apart
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		var all mesh.Mesh
		for _, x := range solids {
			all.Append(x.Mesh)
		}
		r, err := prove.Prove(m, []*mesh.Mesh{&all}, s, prove.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Bodies) != 1 {
			t.Fatalf("%d prongs: %d bodies", c.prongs, len(r.Bodies))
		}
		b := r.Bodies[0]
		force := min(b.PullN, b.SnapN)
		t.Logf("%d prongs, %g mm apart: %.2f mm², pull %.0f N, snap %.0f N", c.prongs, c.apart, b.BondMM2, b.PullN, b.SnapN)
		switch wished := c.apart > 0; {
		case wished && force <= supports.ByHand:
			t.Errorf("%d prongs with teeth %g mm apart take %.0f N: some of those wished for are left out", c.prongs, c.apart, force)
		case !wished && force > supports.ByHand:
			t.Errorf("%d prongs take %.0f N to break off, a hand gives %g N", c.prongs, force, supports.ByHand)
		case c.some && force < 0.6*supports.ByHand:
			t.Errorf("%d prongs take %.0f N to break off, and could have more teeth", c.prongs, force)
		}
		// Lines of 12 mm have two teeth each, the long one one in 8 mm.
		if each := s.Line * s.Line; !c.some && c.apart == 0 && b.BondMM2 < 0.85*each*float64(2*c.prongs) {
			t.Errorf("%d prongs hold on by %.2f mm² alone", c.prongs, b.BondMM2)
		}
	}
}
