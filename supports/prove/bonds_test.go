package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/supports"
)

// Strength across layers 22.8 MPa (doi 10.1089/3dp.2020.0109): a tooth of 0.4² mm
// takes 3.6 N straight and snaps at 22.8 · 0.4³/6 = 0.24 N·mm, one of 0.8² 14.6 N, a
// fused line of 56 mm 511 N and, bent across it over 10 mm, 22.8·56·0.4²/6/10 N.
func TestBonds(t *testing.T) {
	const tension = 22.8
	part := join(box(-10, 0, 0, -4, 24, 12), box(-10, 0, 10, 70, 24, 12), box(64, 0, 0, 70, 24, 12))
	diagonal := math.Sqrt2 // a square's corner is farther off, and its axes are all alike
	for _, c := range []struct {
		x, y, w, d float64
		pull, snap float64
		held       bool
	}{
		{20, 10, 0.4, 0.4, 3.648, tension * 0.4 * 0.4 * 0.4 / 6 / 10 / diagonal, false},
		{20, 10, 0.8, 0.8, 14.592, tension * 0.8 * 0.8 * 0.8 / 6 / 10 / diagonal, false},
		{2, 10, 56, 0.4, 510.72, tension * 56 * 0.4 * 0.4 / 6 / 10, false},
		{2, 10, 56, 3, 22.8 * 168, tension * 56 * 9 / 6 / 10, true},
		{2, 10, 56, 2, 22.8 * 112, tension * 56 * 4 / 6 / 10, true},
		{20, 10, 20, 2, 22.8 * 40, tension * 20 * 4 / 6 / 10, false},
	} {
		r := proof(t, part, supports.Settings{Gap: supports.Fused, Bridge: 100}, box(c.x, c.y, 0, c.x+c.w, c.y+c.d, 10))
		b := r.Bodies[0]
		// The long side's own share tilts the worst corner's reading by less than 1 %.
		if math.Abs(b.PullN-c.pull) > 1e-6 || math.Abs(b.SnapN-c.snap) > 0.01*c.snap || strings.Contains(kinds(r), "held") != c.held {
			t.Errorf("%g × %g mm: %g N and %g N, failed %v; want %g, %g, %v", c.w, c.d, b.PullN, b.SnapN, strings.Contains(kinds(r), "held"), c.pull, c.snap, c.held)
		}
		// One layer into the part or not, the bond is the same; across a void there
		// is none known.
		sunk := proof(t, part, supports.Settings{Gap: supports.Fused, Bridge: 100}, box(c.x, c.y, 0, c.x+c.w, c.y+c.d, 10.2))
		if sunk.Bodies[0].BondMM2 != b.BondMM2 {
			t.Errorf("%g × %g mm: sunk into the part it holds over %g mm², want %g", c.w, c.d, sunk.Bodies[0].BondMM2, b.BondMM2)
		}
		if over := proof(t, part, supports.Settings{Bridge: 100}, box(c.x, c.y, 0, c.x+c.w, c.y+c.d, 9.8)); over.Bodies[0].PullN != 0 {
			t.Errorf("%g × %g mm across a void: %g N", c.w, c.d, over.Bodies[0].PullN)
		}
	}
	// What stands on the part holds there too.
	if r := proof(t, box(0, 0, 0, 20, 20, 5), supports.Settings{Gap: supports.Fused}, box(5, 5, 5, 9, 9, 12)); r.Bodies[0].BondMM2 != 16 {
		t.Errorf("a foot fused to the part: %g mm²", r.Bodies[0].BondMM2)
	}
}
