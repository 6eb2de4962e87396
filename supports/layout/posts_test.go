package layout

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

// crossed is a network of one line along x and short ones across it, and the
// stations that stand as far as reach beside it.
func crossed(t *testing.T, reach float64) (*structure, []int) {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{X: -20, Y: -20, Z: 30}, r3.Vec{X: 20, Y: 20, Z: 33}))
	p := plan.Plan{Lines: []plan.Line{{ID: "L1", At: [][3]float64{{-15, 0, 30}, {15, 0, 30}}}}}
	for _, x := range []float64{-10, 0, 10} {
		p.Lines = append(p.Lines, plan.Line{ID: "M", At: [][3]float64{{x, -6, 30}, {x, 6, 30}}})
	}
	part := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	n := grow.NewNetwork(p, s, grow.NewUndersides(&m), part, 0.5)
	g := newSite(part, s).structures(n, p.Lines)[0]
	return g, n.Afoot(p.Lines, plan.Post{Under: "L1", Reach: reach})
}

// Handbook: a strip L long and t thick has L·t³/12 about its length, and each of
// three strips 2r long across it t·(2r)³/12 more.
func TestInertiaOfCrossedWalls(t *testing.T) {
	for _, reach := range []float64{0, 2, 4} {
		g, afoot := crossed(t, reach)
		want := 30 * math.Pow(g.wall, 3) / 12
		if reach > 0 {
			want = (30+6*reach)*math.Pow(g.wall, 3)/12 + 3*g.wall*math.Pow(2*reach, 3)/12
		}
		if got := g.inertia(afoot); math.Abs(got/want-1) > 0.01 {
			t.Errorf("reach %g mm: %.3f mm⁴, formula %.3f", reach, got, want)
		}
	}
}

// Handbook: a cantilever of one section bends F·h³/(3·E·I) at its end; one that is
// bent along h only, and straight from there to H, by what the lower part's end
// moves and turns: F·h³/3 + F·(H−h)·h²/2, and the moment F·(H−h) there once more,
// (H−h)·h²/2 + (H−h)²·h.
func TestGives(t *testing.T) {
	const inertia = 3.0
	for _, c := range []struct{ h, all float64 }{{10, 10}, {5, 30}, {20, 30}} {
		d := c.all - c.h
		want := drag / (modulus * inertia) * (math.Pow(c.h, 3)/3 + d*c.h*c.h/2 + d*c.h*c.h/2 + d*d*c.h)
		if got := gives(c.h, c.all, inertia); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("h %g, H %g mm: %.4f mm, formula %.4f", c.h, c.all, got, want)
		}
	}
}
