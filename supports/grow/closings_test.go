package grow_test

import (
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// sides of the circles of test parts: 0.01 mm within a radius of 11.
const sides = 128

// pocketed is a disc of radius outer, 10 mm tall, with a pocket open below up to
// height z, and a hole through what is left.
func pocketed(outer, pocket, hole, z float64) *mesh.Mesh {
	ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{X: 15, Y: 15}, r, sides, 0) }
	m := mesh.Tube(ring(outer), ring(pocket), 0, z)
	if hole > 0 {
		m.Append(mesh.Tube(ring(outer), ring(hole), z, 10))
	} else {
		m.Append(mesh.Prism(ring(outer), z, 10))
	}
	return m
}

func cutOf(t testing.TB, m *mesh.Mesh, s supports.Settings) (*raster.Stack, supports.Settings) {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), s
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: %.4g, want %.4g ± %.2g", what, got, want, within)
	}
}

// A sheet under the ceiling of a round pocket is one layer thick, ends at the ceiling
// and reaches a line into the wall.
func TestSheetIsOneLayer(t *testing.T) {
	for _, z := range []float64{5, 5.04, 5.1, 5.14} { // on the grid, and off it either way
		m := pocketed(14, 11, 4, z)
		part, s := cutOf(t, m, supports.Settings{})
		solids, err := grow.Sheet(plan.Sheet{At: [3]float64{15, 15, 5}}, part, grow.NewUndersides(m), s)
		if err != nil {
			t.Fatal(err)
		}
		if len(solids) != 1 || solids[0].Check() != nil {
			t.Fatalf("%d solids, %v", len(solids), solids[0].Check())
		}
		if open := solids[0].Topology(); !open.Closed() {
			t.Errorf("z %g: %+v", z, open)
		}
		box := solids[0].Bounds()
		near(t, "top", box.Max.Z, z, 1e-6)
		near(t, "reach", (box.Max.X-box.Min.X)/2, 11+s.Line, 2*s.Cell)
		cut := raster.Section(solids[0], part.Grid, part.Layers, 0)
		layers := 0
		for k := range cut.Cut {
			if n := cut.Cut[k].Count(); n > 0 {
				layers++
				near(t, "layer", part.Bottom(k+1), part.Bottom(part.Above(z)), 1e-9)
			}
		}
		if layers != 1 {
			t.Errorf("a sheet under z %g prints in %d layers", z, layers)
		}
		near(t, "volume", solids[0].Volume(), math.Pi*11.45*11.45*(box.Max.Z-box.Min.Z), 0.02*math.Pi*11*11*0.2)
	}
}

// Declared heights make it so thick that each prints it, wherever the planes fall.
func TestSheetPrintsAtDeclaredHeights(t *testing.T) {
	m := pocketed(14, 11, 4, 5.07)
	part, s := cutOf(t, m, supports.Settings{Heights: []float64{0.12, 0.28}})
	under := grow.NewUndersides(m)
	solids, err := grow.Steps(plan.Steps{At: [3]float64{15, 15, 5}}, part, under, s)
	if err != nil {
		t.Fatal(err)
	}
	bottoms := map[float64]bool{5.07: true}
	for _, one := range solids {
		bottoms[math.Round(one.Bounds().Min.Z*1e5)/1e5] = true
	}
	// Three levels of 0.28 mm and a hair, by the octagon: 4·(1/cos(π/8) − 1) = 0.33.
	for _, want := range []float64{5.07, 4.788, 4.506, 4.224} {
		if !bottoms[want] {
			t.Errorf("no level at z %g among %v", want, bottoms)
		}
	}
}

// What steps leave open, layer by layer: a slot between two segments of the pocket's
// circle, each R²·acos(r/R) − r·√(R² − r²); a square of side 2r; an octagon round the
// hole, 8·r²·tan(π/8) (any handbook of plane figures).
func TestStepsLeaveSlotSquareOctagon(t *testing.T) {
	const R, r = 11.0, 4.0
	m := pocketed(14, R, r, 5)
	part, s := cutOf(t, m, supports.Settings{})
	for _, turn := range []float64{0, 30, 77} {
		solids, err := grow.Steps(plan.Steps{At: [3]float64{15, 15, 5}, Bore: 2 * r, Direction: turn}, part, grow.NewUndersides(m), s)
		if err != nil {
			t.Fatal(err)
		}
		if len(solids) != 8 {
			t.Fatalf("%d solids for an octagon", len(solids))
		}
		var all mesh.Mesh
		for _, one := range solids {
			if one.Check() != nil || !one.Topology().Closed() {
				t.Errorf("turned by %g°: %v %+v", turn, one.Check(), one.Topology())
			}
			all.Append(one)
		}
		cut := raster.Section(&all, part.Grid, part.Layers, 0)
		k := part.Above(5)
		segments := 2 * (R*R*math.Acos(r/R) - r*math.Sqrt(R*R-r*r))
		for n, want := range []float64{8 * r * r * math.Tan(math.Pi/8), 4 * r * r, math.Pi*R*R - segments} {
			open := raster.AndNot(full(part), part.Layer(k-1-n))
			open = raster.AndNot(&open, cut.Layer(k-1-n))
			inside := 0.0
			for _, p := range raster.Pieces(&open) {
				if p.X0 > 0 {
					inside += float64(p.Area) * part.CellArea()
				}
			}
			near(t, "open", inside, want, 0.02*want+0.3)
		}
		if !cut.Layer(k-4).Empty() || !cut.Layer(k).Empty() {
			t.Error("steps print above or below their three layers")
		}
	}
}

func full(part *raster.Stack) *raster.Bits {
	b := raster.NewBits(0, 0, part.W, part.H)
	for j := range part.H {
		b.SetSpan(j, 0, part.W)
	}
	return &b
}

// The longest bridge under steps is the chord that touches the hole, 2·√(R² − r²).
func TestStepsSpan(t *testing.T) {
	for _, c := range []struct{ R, r float64 }{{11, 4}, {4.5, 2.5}, {5, 4.9}} {
		ring := mesh.RegularPolygon(r2.Vec{X: 3, Y: 4}, c.R, 720, 0)
		want := 2 * math.Sqrt(c.R*c.R-c.r*c.r)
		for _, a := range []float64{0, 0.4, 1.7} {
			near(t, "span", grow.StepsSpan(ring, r2.Vec{X: 3, Y: 4}, 2*c.r, a), want, 0.01)
		}
	}
	// A hexagon of width 10.2 over Ø6.5: along two of its sides, 2·(10.2/√3 − 3.25/√3).
	hex := mesh.RegularPolygon(r2.Vec{}, 10.2/math.Sqrt(3), 6, 0)
	near(t, "hexagon", grow.StepsSpan(hex, r2.Vec{}, 6.5, 0), 2*(10.2-3.25)/math.Sqrt(3), 1e-9)
}

// What cannot be is refused with the reason.
func TestClosingsRefuse(t *testing.T) {
	open := pocketed(14, 11, 4, 5)
	// A slot as wide as the pocket opens it to the front.
	slot := meshtest.Box(r3.Vec{X: 1, Y: 1}, r3.Vec{X: 6, Y: 29, Z: 5})
	slot.Append(meshtest.Box(r3.Vec{X: 24, Y: 1}, r3.Vec{X: 29, Y: 29, Z: 5}))
	slot.Append(mesh.Tube(square(28), square(8), 5, 10))
	// A pocket in the shape of an L.
	corner := mesh.Tube([]r2.Vec{{X: 0, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 30}, {X: 20, Y: 30}, {X: 10, Y: 30}, {X: 0, Y: 30}},
		[]r2.Vec{{X: 5, Y: 5}, {X: 25, Y: 5}, {X: 25, Y: 15}, {X: 15, Y: 15}, {X: 15, Y: 25}, {X: 5, Y: 25}}, 0, 5)
	corner.Append(mesh.Tube(square(30), square(6), 5, 10))
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		at    [3]float64
		steps bool
		want  string
	}{
		{"no hole", pocketed(14, 11, 0, 5), [3]float64{15, 15, 5}, false, "no ceiling with a hole"},
		{"another height", open, [3]float64{15, 15, 8}, false, "no ceiling with a hole"},
		{"beside the part", open, [3]float64{0.2, 0.2, 5}, false, "not closed all round"},
		{"open in front", slot, [3]float64{15, 15, 5}, false, "not closed all round"},
		{"thin wall", pocketed(11.3, 11, 4, 5), [3]float64{15, 15, 5}, false, "thinner than a line"},
		{"near the plate", pocketed(14, 11, 4, 0.4), [3]float64{15, 15, 0.4}, true, "too near the plate"},
		{"in the wall", open, [3]float64{15 + 12.5, 15, 5}, false, "no ceiling with a hole"},
		{"beside the hole", open, [3]float64{15 + 8, 15, 5}, true, "no hole in the ceiling"},
		{"corner that stands in", corner, [3]float64{13, 13, 5}, true, "a sheet closes any"},
	} {
		part, s := cutOf(t, c.m, supports.Settings{})
		var err error
		if under := grow.NewUndersides(c.m); c.steps {
			_, err = grow.Steps(plan.Steps{At: c.at}, part, under, s)
		} else {
			_, err = grow.Sheet(plan.Sheet{At: c.at}, part, under, s)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	// A sheet closes the pocket with the corner all the same.
	part, s := cutOf(t, corner, supports.Settings{})
	solids, err := grow.Sheet(plan.Sheet{At: [3]float64{13, 13, 5}}, part, grow.NewUndersides(corner), s)
	if err != nil || !solids[0].Topology().Closed() {
		t.Errorf("an L-shaped sheet: %v", err)
	}
}

// square is one about the middle of the test parts.
func square(side float64) []r2.Vec {
	h := side / 2
	return []r2.Vec{{X: 15 - h, Y: 15 - h}, {X: 15 + h, Y: 15 - h}, {X: 15 + h, Y: 15 + h}, {X: 15 - h, Y: 15 + h}}
}

// A plan's sheets are grown in its order after the rest, and walls keep off them.
func TestGrowClosings(t *testing.T) {
	m := pocketed(14, 11, 4, 5)
	part, s := cutOf(t, m, supports.Settings{})
	p := plan.Plan{Settings: plan.FromSettings(s),
		Lines:  []plan.Line{{ID: "L1", At: [][3]float64{{6, 15, 5}, {9, 15, 5}}, By: plan.Designer}},
		Posts:  []plan.Post{{ID: "P1", At: [2]float64{7.5, 15}, Reach: 3, By: plan.Designer}},
		Sheets: []plan.Sheet{{ID: "S1", At: [3]float64{15, 15, 5}, By: plan.Designer}, {ID: "S2", At: [3]float64{15, 15, 9}, By: plan.Designer}}}
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	last := solids[len(solids)-1]
	if last.ID != "S1" {
		t.Fatalf("the last solid is %s's", last.ID)
	}
	whole := grow.With(part, solids[len(solids)-1:])
	for _, one := range solids[:len(solids)-1] {
		cut := raster.Section(one.Mesh, part.Grid, part.Layers, 0)
		for k := range cut.Cut {
			if both := raster.And(&cut.Cut[k], whole.Layer(k)); !both.Empty() {
				t.Errorf("%s stands in the sheet in layer %d", one.ID, k)
			}
		}
	}
}
