package prove_test

import (
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"
)

// The share of a proof that layouts are weighed by has the figures of the whole one: of
// supports that hold, sway, collide, sink into the part, or hang in the air.
func TestStandingHasTheProofsFigures(t *testing.T) {
	part := table(24)
	for name, c := range map[string]struct {
		s   supports.Settings
		sup *mesh.Mesh
	}{
		"a wall":      {supports.Settings{}, box(14.6, 0, 0, 15.2, 20, 9.8)},
		"a reed":      {supports.Settings{}, box(14.6, 9, 0, 15.2, 10, 9.8)},
		"a collision": {supports.Settings{}, join(box(14.6, 0, 0, 15.2, 20, 9.8), box(2, 4, 0, 6, 8, 5))},
		"fused":       {supports.Settings{Gap: -1}, join(box(14.6, 0, 0, 15.2, 20, 10.2), box(8, 0, 0, 8.6, 20, 10.8))},
		"in mid-air":  {supports.Settings{}, box(14.6, 0, 3, 15.2, 20, 9.8)},
		"nothing":     {supports.Settings{}, &mesh.Mesh{}},
	} {
		s, err := c.s.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		cut := raster.Section(part, raster.GridFor(part.Bounds(), s.Cell, 3), s.Layers(), 0)
		sup := raster.Section(c.sup, cut.Grid, cut.Layers, 0)
		whole, err := prove.ProveStacks(cut, sup, s, prove.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, workers := range []int{1, 3} {
			got, err := prove.Standing(cut, sup, s, prove.Options{Workers: workers})
			if err != nil {
				t.Fatal(err)
			}
			if got.UnheldMM2 != whole.UnheldMM2 || got.CollisionsMM3 != whole.CollisionsMM3 || len(got.Bodies) != len(whole.Bodies) {
				t.Errorf("%s: %g mm² unheld, %g mm³ collide, %d bodies; the proof says %g, %g, %d", name,
					got.UnheldMM2, got.CollisionsMM3, len(got.Bodies), whole.UnheldMM2, whole.CollisionsMM3, len(whole.Bodies))
				continue
			}
			for n, b := range whole.Bodies {
				if g := got.Bodies[n]; g.SwayMM != b.SwayMM || g.FootMPa != b.FootMPa || g.Bounds != b.Bounds {
					t.Errorf("%s: body %d sways %g mm, pulls with %g MPa; the proof says %g and %g", name, b.ID, g.SwayMM, g.FootMPa, b.SwayMM, b.FootMPa)
				}
			}
		}
		t.Logf("%s: %g mm² unheld, %g mm³ collide, %d bodies", name, whole.UnheldMM2, whole.CollisionsMM3, len(whole.Bodies))
	}
}
