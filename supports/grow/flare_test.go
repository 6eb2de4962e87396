package grow

import (
	"math"
	"testing"

	"falsework/supports"
	"falsework/supports/plan"
)

// Handbook: a hollow square of side a and bore b has the section modulus
// (a⁴ − b⁴)/12/(a/√2) about its diagonal; F·H over that is the tension at its corner.
// Only where it is more than the plate holds has a post a flare.
func TestFlareOnlyWhereThePlateMightLetGo(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	const side = 5.0
	bore := side - 2*s.Wall
	modulus := (math.Pow(side, 4) - math.Pow(bore, 4)) / 12 / (side / math.Sqrt2)
	limit := footKept * s.Adhesion * modulus / s.Drag // the height
	for _, c := range []struct {
		z     float64
		flare bool
	}{{limit * 0.98, false}, {limit * 1.02, true}} {
		m, err := n.post(plan.Post{Side: side, Head: 20}, c.z)
		if err != nil {
			t.Fatal(err)
		}
		b := m.Bounds()
		if wide := b.Max.X - b.Min.X; (wide > side+1e-6) != c.flare {
			t.Errorf("under %.0f mm of support the foot is %.1f mm wide", c.z, wide)
		}
	}
}
