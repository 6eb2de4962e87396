package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/supports"
	"falsework/supports/prove"
)

// Ledges past the limit but less than a line out are listed with their places and fail
// nothing; shorter ones are not worth a word, and wider ones fail. The limit is 45°, a
// reach of one layer's height.
func TestMarginalLedgesAreListed(t *testing.T) {
	for _, c := range []struct {
		out            float64 // mm beyond the wall, at z 5
		listed, failed bool
	}{{0.15, false, false}, {0.38, true, false}, {1.2, true, true}} {
		r := proof(t, join(box(0, 0, 0, 10, 20, 10), box(10, 0, 5, 10+c.out, 20, 10)), supports.Settings{})
		if noted(r, prove.Marginal) != c.listed || (r.Verdict == prove.Fails) != c.failed {
			t.Errorf("%g mm out: %s, notes %v", c.out, r.Verdict, r.Notes)
		}
		for _, n := range r.Notes {
			if n.Kind != prove.Marginal || c.failed {
				continue
			}
			// Twenty millimetres of what is beyond the reach, and at the ledge's place.
			if math.Abs(n.AreaMM2-20*(c.out-0.2)) > 20*0.11 || n.AreaMM2 != r.MarginalMM2 || math.Abs(n.At.X-10.3) > 0.3 || n.LayerZ != 5 || !strings.Contains(n.Text, "z 5.0 mm") {
				t.Errorf("%g mm out: %+v, %g mm² in all", c.out, n, r.MarginalMM2)
			}
		}
	}
}
