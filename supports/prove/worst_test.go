package prove_test

import (
	"math/rand/v2"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"
)

// The share of a proof that poses are told apart by says what the whole one does: of
// supports that hold, and of each kind of reason alone and with others, also where bodies
// are blocked that come off in pieces, and of random boxes in and round a table.
func TestWorstSaysWhatTheProofDoes(t *testing.T) {
	plain := table(24)
	// A post in a hole through which it has no way, and one that is let go in pieces.
	shut := join(box(0, 0, 0, 4, 20, 12), box(20, 0, 0, 24, 20, 12), box(4, 0, 0, 20, 4, 12), box(4, 16, 0, 20, 20, 12), box(0, 0, 10, 24, 20, 12), box(0, 0, 0, 24, 20, 1))
	type pair struct {
		s         supports.Settings
		part, sup *mesh.Mesh
	}
	cases := map[string]pair{
		"a wall":      {supports.Settings{}, plain, box(14.6, 0, 0, 15.2, 20, 9.8)},
		"nothing":     {supports.Settings{Bridge: 40}, plain, &mesh.Mesh{}},
		"a collision": {supports.Settings{Bridge: 40}, plain, join(box(14.6, 0, 0, 15.2, 20, 9.8), box(2, 4, 0, 6, 8, 5))},
		"in mid-air":  {supports.Settings{Bridge: 40}, plain, box(14.6, 0, 3, 15.2, 20, 9.8)},
		"fused":       {supports.Settings{Bridge: 40}, plain, box(14.6, 0, 0, 15.2, 20, 10)},
		"by teeth":    {supports.Settings{Gap: -1, Bridge: 40}, plain, join(box(14.6, 0, 0, 15.2, 20, 10.2), box(8, 0, 0, 8.6, 20, 10.8))},
		"beside":      {supports.Settings{Bridge: 60}, box(0, 0, 0, 10, 20, 20), box(10.1, 4, 0, 12, 16, 10)},
		"shut in":     {supports.Settings{Bridge: 40}, shut, join(box(8, 8, 1.2, 9, 12, 9.8), box(12, 6, 1.2, 14, 13, 9.8))},
		"shut, fused": {supports.Settings{Bridge: 40}, shut, join(box(8, 8, 1, 9, 12, 10), box(12, 6, 1.2, 14, 13, 9.8))},
		"all of it":   {supports.Settings{}, plain, join(box(14.6, 0, 3, 15.2, 20, 10), box(2, 4, 0, 6, 8, 5))},
	}
	r := rand.New(rand.NewPCG(11, 2))
	for range 40 {
		var list []*mesh.Mesh
		for range 1 + r.IntN(4) {
			x, y, z := 26*r.Float64(), 20*r.Float64(), float64(r.IntN(2))*6*r.Float64()
			list = append(list, box(x, y, z, x+0.5+4*r.Float64(), y+0.5+6*r.Float64(), z+1+9*r.Float64()))
		}
		part := plain
		if r.IntN(2) == 0 {
			part = shut
		}
		cases[string(rune('A'+len(cases)))] = pair{supports.Settings{Bridge: 40, Gap: float64(-r.IntN(2))}, part, join(list...)}
	}
	said := map[prove.Kind]int{}
	for name, c := range cases {
		s, err := c.s.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		cut := raster.Section(c.part, raster.GridFor(c.part.Bounds(), s.Cell, 5), s.Layers(), 0)
		part, sup, err := prove.Cut(cut, []*mesh.Mesh{c.sup}, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, steady := range []prove.Steadiness{prove.SteadinessDefault, prove.SteadinessBinds} {
			whole, err := prove.ProveStacks(part, sup, s, prove.Options{Steadiness: steady})
			if err != nil {
				t.Fatal(err)
			}
			got, err := prove.Worst(part, sup, s, prove.Options{Steadiness: steady})
			if err != nil {
				t.Fatal(err)
			}
			if got.Verdict != whole.Verdict || got.ContactMM2 != whole.ContactMM2 || len(got.Reasons) != min(1, len(whole.Reasons)) {
				t.Errorf("%s: %s, %g mm², %d reasons; the proof says %s, %g, %d", name, got.Verdict, got.ContactMM2, len(got.Reasons), whole.Verdict, whole.ContactMM2, len(whole.Reasons))
				continue
			}
			if len(got.Reasons) > 0 {
				if got.Reasons[0] != whole.Reasons[0] {
					t.Errorf("%s: %+v, the proof says %+v", name, got.Reasons[0], whole.Reasons[0])
				}
				said[got.Reasons[0].Kind]++
			} else {
				said[""]++
			}
		}
	}
	for _, k := range []prove.Kind{"", prove.PartUnheld, prove.SupportUnheld, prove.Collision, prove.Blocked, prove.Fused, prove.SideFused} {
		if said[k] == 0 {
			t.Errorf("no case came to %q: %v", k, said)
		}
	}
	t.Log(said)
}
