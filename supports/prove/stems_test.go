package prove_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

func standOf(t *testing.T, sup *mesh.Mesh) prove.Stance {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := box(-30, 0, 0, -20, 10, 5)
	all := part.Bounds()
	all.Max.X, all.Max.Y = 30, 30
	cut := raster.Section(part, raster.GridFor(all, s.Cell, 3), s.Layers(), 0)
	out, err := prove.Stand(cut, raster.Section(sup, cut.Grid, cut.Layers, 0), s, prove.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A wall 1 mm thick and 20 mm tall is a cantilever: F·h³/3EI, and since a slice at z adds
// F·(h − z)²·dz/EI the middle of its bending is at h/4 (any handbook of beams).
func TestStemsOfAWall(t *testing.T) {
	const h = 20.0
	got := standOf(t, box(0, 0, 0, 10, 1, h))
	if len(got.Stems) != 1 {
		t.Fatalf("%d stems, want 1", len(got.Stems))
	}
	st := got.Stems[0]
	if want := tipSway(h, 10.0/12); math.Abs(st.SwayMM-want) > 0.001*want {
		t.Errorf("sways %g mm, want %g", st.SwayMM, want)
	}
	if math.Abs(st.Bends.Z-h/4) > 0.1 || math.Abs(st.At.Z-h) > 1e-6 {
		t.Errorf("bends at z %g, top %g, want %g and %g", st.Bends.Z, st.At.Z, h/4, h)
	}
	if math.Abs(st.Way.Y) < 0.999 {
		t.Errorf("gives way along %v, want across the wall", st.Way)
	}
	// It gives a fifth of a tenth of a millimetre at the cube root's share of its height.
	if want := h * math.Cbrt(0.02/tipSway(h, 10.0/12)); math.Abs(st.Begins-want) > 0.2 {
		t.Errorf("begins to bend at z %g, want %g", st.Begins, want)
	}
	if p, body := got.Pieces(5.1)(r2.Vec{X: 5, Y: 0.5}); p != got.Piece(&st, 5.1) || body != st.Body {
		t.Errorf("piece %d of body %d at the wall, want %d of %d", p, body, got.Piece(&st, 5.1), st.Body)
	}
	if p, _ := got.Pieces(5.1)(r2.Vec{X: 15, Y: 5}); p >= 0 {
		t.Errorf("piece %d beside the wall", p)
	}
}

// An arm on a column, by hand: the column's mass is 4 × 4 × 10 at x 2, the arm's L × 4 × 2 at
// L/2, and the foot, on the plate or on the part, ends at x 4.
func TestTipsOfAnArm(t *testing.T) {
	for _, c := range []struct {
		x, z, long float64
		tips       bool
	}{{0, 0, 10, false}, {0, 0, 16, true}, {-28, 5.2, 8, false}, {-28, 5.2, 16, true}} {
		got := standOf(t, join(box(c.x, 0, c.z, c.x+4, 4, c.z+10), box(c.x, 0, c.z+10, c.x+c.long, 4, c.z+12)))
		out := (160*2+8*c.long*c.long/2)/(160+8*c.long) - 4
		if len(got.Tips) > 0 != c.tips || got.Firm() == c.tips {
			t.Errorf("an arm of %g mm on a column at z %g: %+v, by hand it is %.2g mm out", c.long, c.z, got.Tips, out)
			continue
		}
		if c.tips && (math.Abs(got.Tips[0].OutMM-out) > 0.1 || math.Abs(got.Tips[0].At.X-c.x-4-out) > 0.1 || got.ExcessMM <= 0) {
			t.Errorf("an arm of %g mm on a column at z %g is %g mm out at %v, by hand %g", c.long, c.z, got.Tips[0].OutMM, got.Tips[0].At, out)
		}
	}
}

// What stands firmly has no stems, and what braces a wall makes less of its excess.
func TestExcessIsLessOfWhatIsBraced(t *testing.T) {
	firm := box(0, 0, 0, 10, 10, 10)
	if got := standOf(t, firm); len(got.Stems) > 0 || got.ExcessMM > 0 {
		t.Errorf("a block has %d stems and %g mm in excess", len(got.Stems), got.ExcessMM)
	}
	wall := join(box(0, 12, 0, 10, 22, 12), box(0, 0, 0, 10, 1, 20))
	alone := standOf(t, wall)
	braced := standOf(t, join(wall, box(4, 0.5, 9, 6, 12.5, 10)))
	if !(braced.ExcessMM < alone.ExcessMM/2) {
		t.Errorf("%g mm in excess braced to a block, %g alone", braced.ExcessMM, alone.ExcessMM)
	}
}
