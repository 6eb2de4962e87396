package hold_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func box(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	return meshtest.Box(r3.Vec{X: x0, Y: y0, Z: z0}, r3.Vec{X: x1, Y: y1, Z: z1})
}

func join(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		out.Append(m)
	}
	return out
}

// unheld judges body over other and returns what is unheld, in mm², by the rule
// in force and each patch its best way.
func unheld(t testing.TB, s supports.Settings, body, other *mesh.Mesh, workers int) (area, best float64, islands int) {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	g := raster.GridFor(body.Bounds(), s.Cell, 3)
	in := hold.Input{Body: raster.Section(body, g, s.Layers(), workers), Settings: s, Workers: workers}
	if other != nil {
		in.Other = raster.Section(other, g, s.Layers(), workers)
	}
	for _, l := range hold.Judge(in) {
		area += float64(l.Unheld.Count()) * g.CellArea()
		best += float64(l.Best) * g.CellArea()
		islands += l.Islands
	}
	return
}

// ramp is a block whose one side leans out by angle from the vertical over 8 mm.
func ramp(angle float64) *mesh.Mesh {
	out := 8 * math.Tan(angle)
	foot := []r2.Vec{{X: 0, Y: 0}, {X: 10, Y: 0}, {X: 10, Y: 20}, {X: 0, Y: 20}}
	top := []r2.Vec{{X: 0, Y: 0}, {X: 10 + out, Y: 0}, {X: 10 + out, Y: 20}, {X: 0, Y: 20}}
	return mesh.Frustum(foot, top, 0, 8)
}

// Rule 1 is h·tan(limit) a layer; the limit is 45° (Mazlan 2020, JAITA, 38–47).
// A slope owes a line after 8 mm where it is past the limit by
// atan(1 + 0.3/8) − 45° = 1.1°, and cells may add one to a step.
func TestSlopes(t *testing.T) {
	for _, deg := range []float64{20, 40, 43, 45, 48, 50, 60, 70} {
		area, _, _ := unheld(t, supports.Settings{}, ramp(deg*math.Pi/180), nil, 0)
		if deg <= 45 && area > 0 {
			t.Errorf("%v°: %.2f mm² unheld, want none", deg, area)
		}
		if deg >= 48 && area == 0 {
			t.Errorf("%v°: nothing unheld", deg)
		}
	}
}

// Two walls and a lid: the chord is the limit's to judge, on both sides of it.
func TestBridgeLimit(t *testing.T) {
	for _, c := range []struct {
		span  float64
		holds bool
	}{{5, true}, {9.9, true}, {10.3, false}, {30, false}} {
		m := join(box(0, 0, 0, 4, 8, 6), box(4+c.span, 0, 0, 8+c.span, 8, 6), box(0, 0, 5, 8+c.span, 8, 6))
		area, _, _ := unheld(t, supports.Settings{}, m, nil, 0)
		if (area == 0) != c.holds {
			t.Errorf("span %v: %.2f mm² unheld", c.span, area)
		}
	}
}

// Between walls that flare towards a free edge the bead along that edge is the longest. Its
// middle runs half a line inside, where the opening is narrower: it holds up to L +
// w·tan(flare) of opening, and cells may give away one on either side.
func TestBeadAlongAFreeEdge(t *testing.T) {
	const bridge, line, cell = 10.0, 0.4, 0.1
	for _, deg := range []float64{0, 20, 45, 60} {
		tan := math.Tan(deg * math.Pi / 180)
		for _, c := range []struct {
			wide  float64
			holds bool
		}{{bridge + line*tan - cell, true}, {bridge + (line+2*cell)*tan + 2*cell, false}} {
			deep := 6.0
			if tan > 0 {
				deep = min(deep, (c.wide/2-1)/tan)
			}
			in := deep * tan
			right := []r2.Vec{{X: c.wide / 2}, {X: 12}, {X: 12, Y: deep}, {X: c.wide/2 - in, Y: deep}}
			left := []r2.Vec{{X: in - c.wide/2, Y: deep}, {X: -12, Y: deep}, {X: -12}, {X: -c.wide / 2}}
			m := join(mesh.Prism(right, 0, 6), mesh.Prism(left, 0, 6), box(-12, 0, 5, 12, deep, 6))
			if area, _, _ := unheld(t, supports.Settings{}, m, nil, 0); (area == 0) != c.holds {
				t.Errorf("walls that flare by %g°, %.2f mm apart at the edge: %.2f mm² unheld", deg, c.wide, area)
			}
		}
	}
}

func TestWhatNeedsNothing(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"cube":          box(0, 0, 0, 10, 10, 10),
		"stair":         join(box(0, 0, 0, 10, 10, 2), box(0, 0, 2, 7, 10, 4), box(0, 0, 4, 4, 10, 6)),
		"cone of 44°":   meshtest.Cone(0, 3, 8, 3+8*math.Tan(44*math.Pi/180), 96),
		"ledge, 0.4 mm": join(box(0, 0, 0, 10, 10, 4), box(0, 0, 2, 10.4, 10, 4)),
	} {
		if area, _, _ := unheld(t, supports.Settings{}, m, nil, 0); area > 0 {
			t.Errorf("%s: %.2f mm² unheld", name, area)
		}
	}
}

// An island is found down to one line's footprint.
func TestIsland(t *testing.T) {
	m := join(box(0, 0, 0, 10, 10, 9), box(9, 4, 8, 16, 6, 9), box(14, 4.8, 5, 14.4, 5.2, 8.5))
	_, _, islands := unheld(t, supports.Settings{}, m, nil, 0)
	if islands != 1 {
		t.Errorf("%d islands, want 1", islands)
	}
}

// A flange with a free edge round a column has no bridge: radial beads land
// nowhere. Nearly all of it is bare whatever the direction.
func TestFreeRingIsNoBridge(t *testing.T) {
	column := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 10, Y: 10}, 4, 64, 0), 0, 8)
	flange := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 10, Y: 10}, 9, 64, 0), 6, 8)
	_, best, _ := unheld(t, supports.Settings{}, join(column, flange), nil, 0)
	if ring := math.Pi * (81 - 16); best < 0.6*ring {
		t.Errorf("%.0f mm² of %.0f unheld in the best direction", best, ring)
	}
}

// A lid 16 mm wide between walls holds on a wall under its middle only across
// the void that the gap allows, one layer.
func TestVoid(t *testing.T) {
	lid := join(box(0, 0, 0, 4, 8, 8), box(20, 0, 0, 24, 8, 8), box(0, 0, 6, 24, 8, 8))
	for layers, holds := range map[int]bool{1: true, 3: false} {
		top := 6 - 0.2*float64(layers)
		ribs := join(box(11.76, 0, 0, 12.24, 8, top), box(4.5, 0, 0, 19.5, 0.48, top), box(4.5, 7.52, 0, 19.5, 8, top))
		area, _, _ := unheld(t, supports.Settings{}, lid, ribs, 0)
		if (area == 0) != holds {
			t.Errorf("void of %d layers: %.2f mm² unheld", layers, area)
		}
	}
}

// Parallel ribs are perfect one way and fail the other: any direction is the
// rule for contacts across a void unless one is stated.
func TestDirection(t *testing.T) {
	table := join(box(0, 0, 0, 2, 30, 10), box(0, 0, 8, 26, 30, 10))
	var ribs mesh.Mesh
	for _, x := range []float64{10, 18, 25.52} {
		ribs.Append(box(x, 0, 0, x+0.48, 30, 7.8))
	}
	any, _, _ := unheld(t, supports.Settings{}, table, &ribs, 0)
	across, _, _ := unheld(t, supports.Settings{Direction: supports.Direction{Stated: true}}, table, &ribs, 0)
	along, _, _ := unheld(t, supports.Settings{Direction: supports.Direction{Stated: true, Angle: math.Pi / 2}}, table, &ribs, 0)
	if across > 0 || any < 100 || along < 100 {
		t.Errorf("unheld across %.1f, any %.1f, along %.1f mm²", across, any, along)
	}
}

// One worker climbs from the plate up; more climb stretches side by side. Slopes
// just past the limit owe from one stretch to the next.
func TestWorkersDoNotMatter(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	tall := func(angle float64) *mesh.Mesh {
		out := 60 * math.Tan(angle*math.Pi/180)
		at := func(x float64) []r2.Vec { return []r2.Vec{{X: 0}, {X: x}, {X: x, Y: 6}, {X: 0, Y: 6}} }
		return mesh.Frustum(at(10), at(10+out), 0, 60)
	}
	for name, m := range map[string]*mesh.Mesh{
		"blob": meshtest.Blob(4000), "45.2°": tall(45.2), "46°": tall(46), "52°": tall(52), "44°": tall(44),
		"upright": box(0, 0, 0, 10, 10, 60),
	} {
		body := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		want := hold.Judge(hold.Input{Body: body, Settings: s, Workers: 1})
		for _, workers := range []int{2, 3, 4} {
			got := hold.Judge(hold.Input{Body: body, Settings: s, Workers: workers})
			if len(got) != len(want) {
				t.Errorf("%s: %d layers by %d workers, %d by one", name, len(got), workers, len(want))
				continue
			}
			for i := range want {
				g, w := &got[i], &want[i]
				if g.K != w.K || g.Best != w.Best || g.Islands != w.Islands ||
					!raster.Equal(&g.New, &w.New) || !raster.Equal(&g.Asks, &w.Asks) || !raster.Equal(&g.Unheld, &w.Unheld) ||
					!raster.Equal(&g.Contacts, &w.Contacts) || !raster.Equal(&g.Marginal, &w.Marginal) {
					t.Errorf("%s: layer %d differs by %d workers", name, w.K, workers)
					break
				}
			}
		}
	}
}

func BenchmarkJudge(b *testing.B) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	m := meshtest.Blob(100000)
	st := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			hold.Judge(hold.Input{Body: st, Settings: s})
		}
	})
}

// A void of a layer over the plate is bridged by sagging onto the plate, as over a
// contact; one of two layers is not, under a level ceiling. Physically the gap of
// a contact, common practice, no source.
func TestPlateCarriesAcrossAGap(t *testing.T) {
	for _, c := range []struct {
		z     float64
		holds bool
	}{{0.2, true}, {0.4, false}, {1, false}} {
		m := join(box(0, 0, 0, 4, 20, 10), box(4, 0, c.z, 20, 20, 10))
		got, _, _ := unheld(t, supports.Settings{}, m, nil, 0)
		if (got == 0) != c.holds {
			t.Errorf("ceiling %g mm over the plate: %.2f mm² unheld, want it held: %v", c.z, got, c.holds)
		}
	}
}
