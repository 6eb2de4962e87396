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

// shelf is a slab 20 mm up with one contact line under it on one post.
func shelf(t *testing.T, edit func(*plan.Plan)) (*raster.Stack, *raster.Stack, supports.Settings) {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{X: -4, Y: -6}, r3.Vec{X: -2, Y: 6, Z: 22})
	m.Append(meshtest.Box(r3.Vec{X: -2, Y: -6, Z: 20}, r3.Vec{X: 20, Y: 6, Z: 22}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := plan.Plan{Settings: plan.FromSettings(s),
		Lines: []plan.Line{{ID: "L1", At: [][3]float64{{0, 0, 20}, {19, 0, 20}}, By: plan.Tool}},
		Posts: []plan.Post{{ID: "P1", At: [2]float64{4, 0}, Side: 5, Head: 3, By: plan.Designer}}}
	edit(&p)
	solids, err := Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	all := solids[0].Mesh
	for _, one := range solids[1:] {
		all.Append(one.Mesh)
	}
	return raster.Section(all, part.Grid, part.Layers, 0), part, s
}

// across counts the cells of layer k that supports fill along y at x.
func across(sup *raster.Stack, k int, x float64) float64 {
	n := 0
	sup.Layer(k).Each(func(i, j int) {
		if c := sup.Center(i, j); math.Abs(c.X-x) < sup.Cell/2+1e-9 {
			n++
		}
	})
	return float64(n) * sup.Cell
}

// A pad is as thick as asked for in the top layers, and the wall below as before.
func TestPadThickness(t *testing.T) {
	for _, pad := range []float64{0, 0.6, 0.8} {
		sup, _, s := shelf(t, func(p *plan.Plan) { p.Taste.Pad = pad })
		top := sup.Above(20) - 1 - s.VoidLayers()
		const x = 12.05 // the middle of a column of cells
		if got, want := across(sup, top, x), max(pad, s.Wall); math.Abs(got-want) > sup.Cell+1e-9 {
			t.Errorf("pad %g: top %.2f mm thick, want %.2f", pad, got, want)
		}
		if got := across(sup, top-padLayers, x); math.Abs(got-s.Wall) > sup.Cell+1e-9 {
			t.Errorf("pad %g: wall %.2f mm thick, want %.2f", pad, got, s.Wall)
		}
		if over := sup.Layer(top + 1); !over.Empty() {
			t.Errorf("pad %g: something in the void", pad)
		}
	}
}

// A wall goes over a zone, straight up from where it begins to, and not through.
func TestWallGoesOverAZone(t *testing.T) {
	zone := plan.Zone{ID: "Z", Kind: plan.NoGo, Box: &plan.Box{Min: [3]float64{10, -2, 0}, Max: [3]float64{12, 2, 15}}}
	free, _, s := shelf(t, func(p *plan.Plan) {})
	sup, _, _ := shelf(t, func(p *plan.Plan) { p.Zones = []plan.Zone{zone} })
	// It is lifted over the zone a station before it, to 15 mm and its margin, and
	// rises on from there: to 17.8 mm over the middle.
	for k := range sup.Cut {
		z := sup.Plane(k)
		if over := across(sup, k, 11.05); z < 15 && over > 0 || z > 18 && z < 20-s.Layer-0.2 && over == 0 {
			t.Errorf("z %.1f: %.2f mm of wall in the zone's middle", z, over)
		}
	}
	// The end at x 19, at z 19 less the wall's depth, asks for 1/tan(lean) less for each
	// mm: at 11 mm the wall begins below z 10.6 without the zone.
	if k := free.Above(10.6); across(free, k, 11.05) == 0 {
		t.Error("the wall is no lower without the zone: nothing was tested")
	}
}
