package cost

import (
	"encoding/json"
	"math"
	"runtime"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func settings(t testing.TB, s supports.Settings) supports.Settings {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func cut(m *mesh.Mesh, s supports.Settings) *raster.Stack {
	return raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 2), s.Layers(), 0)
}

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

// area returns the plan area in mm² of what is beyond the limit on any layer.
func area(st *raster.Stack, layers []raster.Bits) float64 {
	var all raster.Bits
	for k := range layers {
		all = raster.Or(&all, &layers[k])
	}
	return float64(all.Count()) * st.CellArea()
}

// An inverted cone is beyond the limit all over or not at all, whatever azimuth
// its wall faces.
func TestBeyondCone(t *testing.T) {
	for _, layer := range []float64{0.12, 0.2, 0.28} {
		s := settings(t, supports.Settings{Layer: layer})
		for _, c := range []struct {
			deg  float64
			all  bool
			rest float64 // plan area allowed to differ, share
		}{{30, false, 0}, {40, false, 0}, {45, false, 0}, {49, true, 0.08}, {60, true, 0.02}, {75, true, 0.02}, {85, true, 0.02}} {
			const r0 = 4.0
			rise := 8.0
			if c.deg > 70 {
				rise = 4
			}
			r1 := r0 + rise*math.Tan(c.deg*math.Pi/180)
			m := join(meshtest.Cone(0, r0, 3, r0, 180), meshtest.Cone(3, r0, 3+rise, r1, 180))
			st := cut(m, s)
			got := area(st, beyond(st, s))
			want := 0.0
			if c.all {
				top := r0 + (st.Plane(len(st.Cut)-1)-3)*math.Tan(c.deg*math.Pi/180)
				want = math.Pi * (top*top - r0*r0)
			}
			t.Logf("layer %g, %g°: %.2f of %.2f mm²", layer, c.deg, got, want)
			if math.Abs(got-want) > c.rest*want {
				t.Errorf("layer %g, %g°: %.2f mm² beyond the limit, want %.2f", layer, c.deg, got, want)
			}
		}
	}
}

// A sphere's cap that is steeper than 45° has the plan area π·r²·sin²45°.
func TestBeyondSphere(t *testing.T) {
	s := settings(t, supports.Settings{})
	for _, r := range []float64{6, 10, 20} {
		m := join(meshtest.Sphere(r3.Vec{Z: r + 3}, r, 60), meshtest.Cone(0, 1, 4, 1, 40))
		st := cut(m, s)
		got := area(st, beyond(st, s))
		// The stem holds what stands on it.
		want := math.Pi * (r*r/2 - 1)
		t.Logf("r %g: %.1f of %.1f mm² (%.3f)", r, got, want, got/want)
		// Over lookBack a small sphere's slope changes much: a slope of 45° at its
		// upper end was 13° steeper a millimetre below when r is 6.
		if e := 0.02 + 0.75*lookBack/r; math.Abs(got/want-1) > e {
			t.Errorf("r %g: cap of %.1f mm² beyond the limit, want %.1f", r, got, want)
		}
	}
}

// A ceiling, bridgeable or not, is beyond the limit up to its walls; an edge
// that grows gently above it is not; an island is.
func TestBeyondCeilings(t *testing.T) {
	s := settings(t, supports.Settings{})
	bridge := join(box(0, 0, 0, 4, 20, 10), box(10, 0, 0, 14, 20, 10), box(0, 0, 10, 14, 20, 14))
	st := cut(bridge, s)
	near(t, "bridge", area(st, beyond(st, s)), 6*20, 0.001)

	lip := join(box(0, 0, 0, 4, 20, 10), meshtest.Box(r3.Vec{Z: 10}, r3.Vec{X: 20, Y: 20, Z: 10.2}))
	flared := mesh.Frustum(
		[]r2.Vec{{}, {X: 20}, {X: 20, Y: 20}, {Y: 20}},
		[]r2.Vec{{}, {X: 24}, {X: 24, Y: 20}, {Y: 20}}, 10.2, 10.2+4/math.Tan(40*math.Pi/180))
	st = cut(join(lip, flared), s)
	near(t, "ceiling under a 40° flare", area(st, beyond(st, s)), 16*20, 0.001)

	tip := join(box(0, 0, 0, 4, 4, 20), box(0, 0, 18, 30, 4, 20), box(27, 1, 12, 28, 2, 18))
	st = cut(tip, s)
	near(t, "arm and hanging tip", area(st, beyond(st, s)), 26*4, 0.001)
}

// The baseline of a table, counted by hand: a 56 × 40 mm ceiling at 30 mm on a
// wall along one long side.
func TestBaselineTable(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 56, 6, 36), box(0, 6, 30, 56, 46, 36)), s)
	region, e := Baseline(part, s, Machine{}, 2.5)

	// The ceiling is layer 150; one empty layer below it; the rest printed.
	top := 148
	for k := range region.Cut {
		if region.Cut[k].Empty() != (k > top) {
			t.Fatalf("layer %d empty: %v", k, region.Cut[k].Empty())
		}
	}
	// 56 mm wide; 40 mm deep less the clearance from the wall.
	const w, h = 0.4, 0.2
	lx, ly := 56.0, 40-s.Clearance
	near(t, "region", float64(region.Cut[10].Count())*part.CellArea(), lx*ly, 0.001)
	full := BeadArea(w, h) / h
	loop := 2 * (lx - w + ly - w)
	run := lx - w - 2*full
	// Within the outline, spread evenly.
	passes := math.Round((ly - w - full) / 2.5)
	pitch := (ly - w - full) / passes
	if passes != 15 {
		t.Fatalf("%g passes", passes)
	}
	sparse := loop + passes*run + (passes-1)*pitch
	near(t, "sparse layer", e.Layers[70].LengthMM, sparse, 0.01)
	if n := e.Layers[70].Paths; n != 2 {
		t.Errorf("sparse layer takes %d paths, want an outline and a zigzag", n)
	}
	rows := math.Round((ly - w - full) / full)
	dense := loop + rows*run + (rows-1)*full
	for k := top - 1; k <= top; k++ {
		near(t, "dense layer", e.Layers[k].LengthMM, dense, 0.01)
	}
	near(t, "below the dense layers", e.Layers[top-2].LengthMM, sparse, 0.01)
	near(t, "all", e.LengthMM, float64(top-1)*sparse+2*dense, 0.01)
	near(t, "plastic", e.VolumeMM3, e.LengthMM*BeadArea(w, h), 1e-9)
	near(t, "mass", e.MassG, e.VolumeMM3*1.25e-3, 1e-9)

	// By hand: each pass and each join runs between two corners at 9.83 mm/s, and
	// from rest at the ends.
	m := Machine{}.filled()
	c := m.cornerSpeed(Move{To: r2.Vec{X: 1}}, Move{From: r2.Vec{X: 1}, To: r2.Vec{X: 1, Y: 1}})
	move := func(d, v0, v1 float64) float64 { return trapezoid(d, v0, v1, 60, 2000) }
	zig := move(run, 0, c)*2 + (passes-2)*move(run, c, c) + (passes-1)*move(pitch, c, c)
	around := move(lx-w, 0, c) + move(lx-w, c, c) + move(ly-w, c, c) + move(ly-w, c, 0)
	// One travel from outline to zigzag, less than a spacing long; one visit.
	hop := trapezoid(1.2, 0, 0, 150, 2000)
	visit := 2 * (trapezoid(20, 0, 0, 150, 2000) + 0.15)
	near(t, "time of a sparse layer", e.Layers[70].TimeS, zig+around+hop+visit, 0.01)
	t.Logf("table: %.0f s, %.0f mm³, a sparse layer %.2f s", e.TimeS, e.VolumeMM3, e.Layers[70].TimeS)
}

// Lines turn with the part, so its pose on the plate does not change the price.
func TestBaselineTurned(t *testing.T) {
	s := settings(t, supports.Settings{})
	_, a := Baseline(cut(join(box(0, 0, 0, 56, 6, 16), box(0, 6, 10, 56, 46, 16)), s), s, Machine{}, 0)
	_, b := Baseline(cut(join(box(0, 0, 0, 6, 56, 16), box(6, 0, 10, 46, 56, 16)), s), s, Machine{}, 0)
	near(t, "time", b.TimeS, a.TimeS, 0.01)
	near(t, "plastic", b.VolumeMM3, a.VolumeMM3, 0.01)
}

// A shelf over a shelf: the support between stands on the lower shelf, one layer
// clear of it, and the lower shelf gets its own.
func TestBaselineOnPart(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 5, 20, 30), box(0, 0, 10, 25, 20, 12), box(0, 0, 28, 25, 20, 30)), s)
	region, _ := Baseline(part, s, Machine{}, 0)
	at := func(z float64) bool {
		i, j := part.At(r2.Vec{X: 15, Y: 10})
		return region.Layer(part.Above(z)).Has(i, j)
	}
	for _, c := range []struct {
		z    float64
		want bool
	}{{0.1, true}, {9.5, true}, {9.75, false}, {11, false}, {12.05, false}, {12.25, true}, {27.5, true}, {27.75, false}, {29, false}} {
		if at(c.z) != c.want {
			t.Errorf("support at z %g: %v, want %v", c.z, !c.want, c.want)
		}
	}
	// Fused contacts have no void anywhere.
	region, _ = Baseline(part, settings(t, supports.Settings{Gap: supports.Fused}), Machine{}, 0)
	for _, z := range []float64{9.75, 12.05, 27.75} {
		if !at(z) {
			t.Errorf("no fused support at z %g", z)
		}
	}
	for k := range region.Cut {
		if both := raster.And(region.Layer(k), part.Layer(k)); !both.Empty() {
			t.Fatalf("layer %d: support inside the part", k)
		}
	}
}

// Wider lines cost less on whatever part, columns not much wider than the spacing
// included: the crown of the mast clamp is cut in two by its slit, and plates and
// hangers have narrow pockets. In a round pocket one line through the middle is longer
// than either of two beside it, hence a little to spare for plastic.
func TestSpacingOrder(t *testing.T) {
	s := settings(t, supports.Settings{})
	parts := map[string]*mesh.Mesh{"blob": meshtest.Blob(5000)}
	for _, name := range []string{"mast-clamp", "gutter-hanger", "nut-pocket-plate", "tine-row"} {
		m, _, err := mesh.ReadSTL("../../testdata/parts/" + name + ".stl")
		if err != nil {
			t.Fatal(err)
		}
		parts[name] = m
	}
	for name, m := range parts {
		part := cut(m, s)
		var last Estimate
		for i, sp := range Spacings {
			_, e := Baseline(part, s, Machine{}, sp)
			if i > 0 && (e.TimeS >= last.TimeS || e.VolumeMM3 >= 1.02*last.VolumeMM3) {
				t.Errorf("%s: wider lines at %g mm cost more: %.0f s and %.0f mm³ after %.0f s and %.0f mm³",
					name, sp, e.TimeS, e.VolumeMM3, last.TimeS, last.VolumeMM3)
			}
			last = e
		}
	}
}

// What the spacing changes is the lines between outlines and contacts: over a wide
// ceiling their length follows one over the spacing.
func TestSpacingSensitivity(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 80, 6, 36), box(0, 6, 30, 80, 86, 36)), s)
	const w, h = 0.4, 0.2
	full := BeadArea(w, h) / h
	lx, ly := 80.0, 80-s.Clearance
	for _, sp := range Spacings {
		_, e := Baseline(part, s, Machine{}, sp)
		l := e.Layers[70].LengthMM - 2*(lx-w+ly-w)
		across, along := ly-w-full, lx-w-2*full
		near(t, "lines", l, across*along/sp+across, 0.02)
	}
}

// supportLike returns walls as supports are made of: two hollow posts, a wall
// across and three ribs.
func supportLike() *mesh.Mesh {
	m := &mesh.Mesh{}
	square := func(x, y, a float64) []r2.Vec {
		return []r2.Vec{{X: x - a, Y: y - a}, {X: x + a, Y: y - a}, {X: x + a, Y: y + a}, {X: x - a, Y: y + a}}
	}
	for _, x := range []float64{10, 46} {
		m.Append(mesh.Tube(square(x, 20, 2.5), square(x, 20, 2.02), 0, 29))
	}
	m.Append(box(10, 19.76, 20, 46, 20.24, 29.8))
	for _, x := range []float64{14, 28, 42} {
		m.Append(box(x-0.24, 2, 24, x+0.24, 38, 29.8))
	}
	return m
}

func TestSupports(t *testing.T) {
	s := settings(t, supports.Settings{})
	m := supportLike()
	sup := cut(m, s)
	e := Supports(sup, s, Machine{})
	// Two loops of 4·(5 − 0.48) mm below, and the walls' own lengths above.
	near(t, "posts", e.Layers[50].LengthMM, 2*4*(5-0.48), 0.02)
	if e.Layers[50].Paths != 2 {
		t.Errorf("posts take %d paths", e.Layers[50].Paths)
	}
	if e.Layers[148].Paths != 4 {
		t.Errorf("one wall across three take %d paths, want 4", e.Layers[148].Paths)
	}
	near(t, "walls", e.Layers[148].LengthMM, 36+3*36-4*0.48, 0.02)
	near(t, "solid", e.SolidMM3, sup.Volume(), 1e-12)
	// A bead is rounder than the wall it prints.
	if r := e.VolumeMM3 / e.SolidMM3; r < 0.85 || r > 1 {
		t.Errorf("beads hold %.3f of the walls", r)
	}
	n := 0
	for _, l := range e.Layers {
		if l.Paths > 0 {
			n++
		}
	}
	if e.TimeS < 0.5*float64(n)+e.LengthMM/60 {
		t.Errorf("%.1f s for %.0f mm on %d layers is too fast", e.TimeS, e.LengthMM, n)
	}
}

func TestRatioOfNothing(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(box(0, 0, 0, 20, 20, 10), s)
	none := &raster.Stack{Grid: part.Grid, Layers: part.Layers}
	c := Compare(none, part, s, Machine{}, 0)
	if !c.NoBaseline || c.PlasticRatio != 0 || c.TimeRatio != 0 || c.Baseline.TimeS != 0 || c.Supports.TimeS != 0 {
		t.Errorf("a block needs %+v", c)
	}
	if _, err := json.Marshal(c); err != nil {
		t.Error(err)
	}
	c = Compare(&raster.Stack{}, &raster.Stack{}, supports.Settings{}, Machine{}, 0)
	if _, err := json.Marshal(c); err != nil || !c.NoBaseline {
		t.Errorf("nothing at all: %+v, %v", c, err)
	}
}

func TestWorkersDoNotMatter(t *testing.T) {
	s := settings(t, supports.Settings{})
	part, sup := cut(meshtest.Blob(5000), s), cut(supportLike(), s)
	run := func(n int) Comparison {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(n))
		return Compare(sup, part, s, Machine{}, 0)
	}
	if d := cmp.Diff(run(1), run(4)); d != "" {
		t.Errorf("workers change the price (-1 +4):\n%s", d)
	}
}

// Layers that are copied from the one below have the price they would have had.
func TestCopiedLayers(t *testing.T) {
	s := settings(t, supports.Settings{})
	sup := cut(supportLike(), s)
	m := Machine{}.filled()
	e := Supports(sup, s, m)
	slow := price(len(sup.Cut), m, func(int) int { return -1 }, func(k int) []path {
		return wallPaths(sup.Layer(k), sup.Grid, s, sup.Thickness(k))
	})
	slow.SolidMM3 = e.SolidMM3
	if d := cmp.Diff(slow, e); d != "" {
		t.Errorf("copies differ (-fresh +copied):\n%s", d)
	}
}

// One layer of four tells what all of them take: exactly of a prism, and to a hundredth of
// walls that grow longer from layer to layer, 40 mm at a lean of 45° below, then all of it.
func TestSampledLayers(t *testing.T) {
	s := settings(t, supports.Settings{})
	prism := cut(box(0, 0, 0, 20, s.Wall, 12), s)
	if d := cmp.Diff(Supports(prism, s, Machine{}), Sampled(prism, s, Machine{}, 4)); d != "" {
		t.Errorf("a prism (-all +sampled):\n%s", d)
	}
	var walls []*mesh.Mesh
	for n := range 5 {
		y := 6 * float64(n)
		m, err := mesh.Wall([]mesh.Station{{P: r2.Vec{Y: y}, Low: 0, High: 60}, {P: r2.Vec{X: 40, Y: y}, Low: 40, High: 60}}, s.Wall)
		if err != nil {
			t.Fatal(err)
		}
		walls = append(walls, m)
	}
	grown := cut(join(walls...), s)
	all, some := Supports(grown, s, Machine{}), Sampled(grown, s, Machine{}, 4)
	for _, c := range [][2]float64{{all.TimeS, some.TimeS}, {all.VolumeMM3, some.VolumeMM3}, {float64(all.Paths), float64(some.Paths)}} {
		if math.Abs(c[1]/c[0]-1) > 0.01 {
			t.Errorf("sampled %g, of all layers %g", c[1], c[0])
		}
	}
	if some.SolidMM3 != all.SolidMM3 {
		t.Errorf("solids of %g mm³, want %g", some.SolidMM3, all.SolidMM3)
	}
}

func TestTotal(t *testing.T) {
	a := Estimate{Layers: []Layer{{TimeS: 1, VolumeMM3: 2, Paths: 1}, {TimeS: 9, VolumeMM3: 2, Paths: 1}, {}}}
	b := Estimate{Layers: []Layer{{TimeS: 1, VolumeMM3: 3, Paths: 1}}}
	e := Machine{MinLayer: 5}.Total(a, b)
	if e.TimeS != 5+9 || e.VolumeMM3 != 7 || e.Layers[0].TimeS != 5 || e.Layers[2].TimeS != 0 {
		t.Errorf("total %+v", e)
	}
}

func BenchmarkBaseline(b *testing.B) {
	s := settings(b, supports.Settings{})
	m := meshtest.Blob(100000)
	part := cut(m, s)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			Baseline(part, s, Machine{}, 0)
		}
	})
}

func BenchmarkSupports(b *testing.B) {
	s := settings(b, supports.Settings{})
	// A lattice of walls whose every layer differs: the worst for copying.
	m := &mesh.Mesh{}
	for i := 0; i < 9; i++ {
		x := 3 + 6.5*float64(i)
		m.Append(box(x-0.24, 0, 0, x+0.24, 56, 60))
		m.Append(mesh.Frustum(
			[]r2.Vec{{X: 28, Y: x - 0.24}, {X: 29, Y: x - 0.24}, {X: 29, Y: x + 0.24}, {X: 28, Y: x + 0.24}},
			[]r2.Vec{{X: 0, Y: x - 0.24}, {X: 56, Y: x - 0.24}, {X: 56, Y: x + 0.24}, {X: 0, Y: x + 0.24}}, 0, 60))
	}
	sup := cut(m, s)
	b.Run("lattice/300-layers", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			Supports(sup, s, Machine{})
		}
	})
}
