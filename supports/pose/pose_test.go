package pose

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// standing returns an outline in x and z, drawn out along y.
func standing(depth float64, outline ...r2.Vec) *mesh.Mesh {
	return Turn{XDeg: 90}.Place(mesh.Prism(outline, 0, depth))
}

// bracket is an L with legs of 40 mm, 5 mm thick and 25 mm wide, its upright leg up.
func bracket() *mesh.Mesh {
	return standing(25, r2.Vec{}, r2.Vec{X: 40}, r2.Vec{X: 40, Y: 5}, r2.Vec{X: 5, Y: 5}, r2.Vec{X: 5, Y: 40}, r2.Vec{Y: 40})
}

// tee is a bar of 40 mm on a stem, the stem down.
func tee() *mesh.Mesh {
	return standing(15, r2.Vec{X: 16}, r2.Vec{X: 24}, r2.Vec{X: 24, Y: 20}, r2.Vec{X: 40, Y: 20}, r2.Vec{X: 40, Y: 26},
		r2.Vec{Y: 26}, r2.Vec{Y: 20}, r2.Vec{X: 16, Y: 20})
}

// table is a top of 40 × 30 mm on four legs 20 mm high.
func table() *mesh.Mesh {
	m := meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 40, Y: 30, Z: 24})
	for _, x := range []float64{0, 34} {
		for _, y := range []float64{0, 24} {
			m.Append(meshtest.Box(r3.Vec{X: x, Y: y}, r3.Vec{X: x + 6, Y: y + 6, Z: 21}))
		}
	}
	return m
}

// tube is 70 mm long, 16 mm across outside and 12 inside, lying.
func tube() *mesh.Mesh {
	return Turn{XDeg: 90}.Place(mesh.Tube(mesh.RegularPolygon(r2.Vec{}, 8, 48, 0), mesh.RegularPolygon(r2.Vec{}, 6, 48, 0), 0, 70))
}

func part(t *testing.T, name string) *mesh.Mesh {
	t.Helper()
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// laidOut finds, lays out and ranks; only the given pose and the best few others by
// sums, 0 for all.
func laidOut(t *testing.T, m *mesh.Mesh, o Options, few int) []Pose {
	t.Helper()
	poses, err := Find(m, o)
	if err != nil {
		t.Fatal(err)
	}
	if few > 0 {
		poses = poses[:min(len(poses), few+1)]
	}
	if err := LayOut(context.Background(), m, poses, o, nil); err != nil {
		t.Fatal(err)
	}
	Rank(poses, o.Weights)
	return poses
}

// The pose that anyone who prints would take comes first, with the default weights.
func TestKnownAnswers(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	few := 3
	if os.Getenv("FALSEWORK_MODELS") != "" {
		few = 0 // the whole ranking, which takes minutes
	}
	for _, c := range []struct {
		name  string
		m     *mesh.Mesh
		loads []Load
		up    []r3.Vec // any of them
		why   string
	}{
		{"L-bracket pulled along both legs", bracket(), []Load{{r3.Vec{X: 1}, 1}, {r3.Vec{Z: 1}, 1}}, []r3.Vec{{Y: 1}, {Y: -1}},
			"on its side layers run along both legs and round the corner, and nothing overhangs"},
		{"T", tee(), nil, []r3.Vec{{Y: 1}, {Y: -1}}, "on its side nothing overhangs, and it is lower than upside down"},
		{"T pulled along its width", tee(), []Load{{r3.Vec{Y: 1}, 1}}, []r3.Vec{{Z: -1}}, "upside down nothing overhangs and no layer lies across the pull"},
		{"cone on its tip", meshtest.Cone(0, 0, 25, 15, 48), nil, []r3.Vec{{Z: -1}}, "on its base it stands broadly and each layer is smaller than the one below"},
		{"table", table(), nil, []r3.Vec{{Z: -1}}, "on its top the legs rise from a broad foot"},
		{"tube that lies", tube(), nil, []r3.Vec{{Y: 1}, {Y: -1}}, "upright it is round all along and needs nothing inside or out"},
		{"plate with hexagonal pockets below", part(t, "nut-pocket-plate"), nil, []r3.Vec{{Z: -1}}, "pockets that are open upward have no ceiling"},
	} {
		poses := laidOut(t, c.m, Options{Loads: c.loads}, few)
		best := poses[0]
		if !slices.ContainsFunc(c.up, func(up r3.Vec) bool { return angleBetween(best.Turn.Up(), up) < 1e-3 }) {
			t.Errorf("%s: the best is turned by %v, up %.3f (%.2f points), want up %.0f: %s", c.name, best.Turn, best.Turn.Up(), best.Points, c.up, c.why)
		}
		if best.Laid.Supports.TimeS != 0 || !best.Front {
			t.Errorf("%s: the best takes %g s of supports, on the front: %t", c.name, best.Laid.Supports.TimeS, best.Front)
		}
		given := slices.IndexFunc(poses, func(p Pose) bool { return p.Kind == Given })
		if given < 0 || poses[given].Turn != (Turn{}) {
			t.Errorf("%s: the given pose is missing", c.name)
		}
		t.Logf("%s: %.2f points, the given pose %.2f as number %d of %d", c.name, best.Points, poses[given].Points, given+1, len(poses))
	}
}

// jack is three bars through one middle, 24 mm long and 8 mm square: every side is
// like every other.
func jack() *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, half := range []r3.Vec{{X: 12, Y: 4, Z: 4}, {X: 4, Y: 12, Z: 4}, {X: 4, Y: 4, Z: 12}} {
		m.Append(meshtest.Box(r3.Scale(-1, half), half))
	}
	m.Translate(r3.Vec{Z: 12})
	return m
}

// The turns that bring a cube onto itself leave every sum as it is, in any
// direction; the jack's bars are cut differently into triangles on each side.
func TestSymmetricPosesHaveEqualSums(t *testing.T) {
	o, err := Options{}.resolve()
	if err != nil {
		t.Fatal(err)
	}
	w, err := newSummer(jack(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range []r3.Vec{{Z: 1}, {X: 1, Z: 1}, {X: 1, Y: 1, Z: 1}, {X: 0.3, Y: 0.5, Z: 0.8}, {X: -0.1, Y: 0.2, Z: 0.9}} {
		d = r3.Unit(d)
		var ups []r3.Vec
		for _, p := range [][3]float64{{d.X, d.Y, d.Z}, {d.Y, d.Z, d.X}, {d.Z, d.X, d.Y}, {d.Y, d.X, d.Z}, {d.X, d.Z, d.Y}, {d.Z, d.Y, d.X}} {
			for sign := range 8 {
				v := r3.Vec{X: p[0], Y: p[1], Z: p[2]}
				for bit, f := range []*float64{&v.X, &v.Y, &v.Z} {
					if sign>>bit&1 != 0 {
						*f = -*f
					}
				}
				ups = append(ups, v)
			}
		}
		sums := w.sum(ups)
		first := w.sign(ups[0], sums[0])
		for i, s := range sums {
			for _, v := range [][2]float64{{s.NeedMM2, sums[0].NeedMM2}, {s.RiseMM3, sums[0].RiseMM3}, {s.FootMM2, sums[0].FootMM2}, {s.HeightMM, sums[0].HeightMM}, {s.Tipping, sums[0].Tipping}} {
				if math.Abs(v[0]-v[1]) > 0.01*max(v[0], 1e-6) {
					t.Errorf("up %.3f: sums %+v, but for %.3f %+v", ups[i], s, ups[0], sums[0])
				}
			}
			if !first.same(w.sign(ups[i], s)) {
				t.Errorf("up %.3f is not known to be like %.3f", ups[i], ups[0])
			}
		}
	}
}

// So do real layouts, and poses that are alike count once.
func TestSymmetricPosesHaveEqualLayouts(t *testing.T) {
	m := jack()
	o, err := Options{}.resolve()
	if err != nil {
		t.Fatal(err)
	}
	h, err := HullOf(m.Vertices)
	if err != nil {
		t.Fatal(err)
	}
	var poses []Pose
	for _, up := range []r3.Vec{{Z: 1}, {X: 1}, {Y: -1}} {
		poses = append(poses, Pose{Turn: turnUp(up, h.longSide(up))})
	}
	if err := LayOut(context.Background(), m, poses, o, nil); err != nil {
		t.Fatal(err)
	}
	for _, p := range poses[1:] {
		for _, c := range []Criterion{Time, Plastic, Contact} {
			if a, b := p.Measures[c], poses[0].Measures[c]; !(math.Abs(a-b) <= 0.01*b) || b == 0 {
				t.Errorf("turned by %v: %v %g, turned by %v %g", p.Turn, c, a, poses[0].Turn, b)
			}
		}
	}
	found, err := Find(m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if found[0].Kind != Given || found[0].Twins != 5 {
		t.Errorf("the given pose is %s with %d like it, want 5", found[0].Kind, found[0].Twins)
	}
}

// needOn judges a pose on layers.
func needOn(m *mesh.Mesh, t Turn, s supports.Settings) float64 {
	q := t.Place(m)
	return need.Find(q, raster.Section(q, raster.GridFor(q.Bounds(), s.Cell, margin), s.Layers(), 0), s, 0).AreaMM2
}

// spearman is the rank correlation of two samples, ties at their mean rank (Spearman
// 1904, American Journal of Psychology 15, 72–101).
func spearman(a, b []float64) float64 {
	ranks := func(v []float64) []float64 {
		r := make([]float64, len(v))
		for i := range v {
			for _, o := range v {
				if o < v[i] {
					r[i]++
				} else if o == v[i] {
					r[i] += 0.5
				}
			}
		}
		return r
	}
	x, y := ranks(a), ranks(b)
	mid := float64(len(a)) / 2
	var xy, xx, yy float64
	for i := range x {
		xy += (x[i] - mid) * (y[i] - mid)
		xx += (x[i] - mid) * (x[i] - mid)
		yy += (y[i] - mid) * (y[i] - mid)
	}
	return xy / math.Sqrt(xx*yy)
}

// Sums rank poses as layers do, to a rank correlation of 0.9: directions all round,
// and sides that the part rests on.
func TestSumsRankAsLayersDo(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	o, err := Options{}.resolve()
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string]*mesh.Mesh{"tall-arm": part(t, "tall-arm"), "mast-clamp": part(t, "mast-clamp")}
	spread := 10
	if files := ownModels(t); len(files) > 0 {
		spread = 24
		for _, path := range files {
			parts[filepath.Base(path)] = readModel(t, path)
		}
	}
	for name, m := range parts {
		if m == nil {
			continue
		}
		w, err := newSummer(m, o)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		ups := Spread(spread)
		rests := w.hull.Rests(w.centre, w.plane)
		for _, r := range rests[:min(len(rests), spread/2)] {
			ups = append(ups, r.Up)
		}
		var fast, exact []float64
		for i, s := range w.sum(ups) {
			fast = append(fast, s.NeedMM2)
			exact = append(exact, needOn(m, turnUp(ups[i], w.hull.longSide(ups[i])), o.Settings))
		}
		r := spearman(fast, exact)
		t.Logf("%s: %.3f over %d poses", name, r, len(ups))
		if r < 0.9 {
			t.Errorf("%s: rank correlation %.3f over %d poses, want 0.9", name, r, len(ups))
		}
	}
}

// Where one face shields another, sums take short supports between shelves for tall
// ones from the plate: here they prefer the pose with one ledge high above the plate.
// Layouts put it right.
func TestLayoutsRepairWhatShieldsHide(t *testing.T) {
	// Shelves close over a plinth 40 mm high, and a ledge beside its foot.
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 20, Y: 30, Z: 40})
	m.Append(meshtest.Box(r3.Vec{X: -20}, r3.Vec{Y: 30, Z: 48}))
	m.Append(meshtest.Box(r3.Vec{X: -1, Z: 41.6}, r3.Vec{X: 14, Y: 30, Z: 43}))
	m.Append(meshtest.Box(r3.Vec{X: -1, Z: 44.6}, r3.Vec{X: 14, Y: 30, Z: 46}))
	m.Append(meshtest.Box(r3.Vec{X: 12, Y: 29}, r3.Vec{X: 20, Y: 44, Z: 22}))
	m.Translate(r3.Vec{X: 20})
	o := Options{Weights: Weights{Time: 1}}
	r, err := o.resolve()
	if err != nil {
		t.Fatal(err)
	}
	w, err := newSummer(m, r)
	if err != nil {
		t.Fatal(err)
	}
	poses := []Pose{{Kind: Given}, {Turn: turnUp(r3.Vec{X: 1}, r3.Vec{Y: 1})}}
	for i, s := range w.sum([]r3.Vec{poses[0].Turn.Up(), poses[1].Turn.Up()}) {
		poses[i].Sums, poses[i].Measures = s, s.estimate()
	}
	Rank(poses, o.Weights)
	if poses[0].Kind == Given {
		t.Fatalf("by sums shelves take %.0f s, the ledge %.0f s: not misled", poses[0].Measures[Time], poses[1].Measures[Time])
	}
	by := [2]float64{poses[1].Measures[Time], poses[0].Measures[Time]}
	if err := LayOut(context.Background(), m, poses, o, nil); err != nil {
		t.Fatal(err)
	}
	Rank(poses, o.Weights)
	t.Logf("shelves and ledge: by sums %.0f and %.0f s, laid out %.0f and %.0f s", by[0], by[1], poses[0].Measures[Time], poses[1].Measures[Time])
	if poses[0].Kind != Given || poses[0].Measures[Time] == 0 {
		t.Errorf("laid out shelves take %.0f s, the ledge %.0f s", poses[1].Measures[Time], poses[0].Measures[Time])
	}
}

// All poses of a part are drawn on cells of one size: those of the settings, or half a
// line where much is in need.
func TestCellsGrowWithTheNeed(t *testing.T) {
	o, err := Options{}.resolve()
	if err != nil {
		t.Fatal(err)
	}
	poses := []Pose{{Sums: Sums{NeedMM2: fineNeed / 2}}, {Sums: Sums{NeedMM2: fineNeed / 2}}}
	if c := CellFor(poses, o.Settings); c != o.Settings.Cell {
		t.Errorf("cells of %g mm for little need, want %g", c, o.Settings.Cell)
	}
	poses[0].Sums.NeedMM2++
	if c := CellFor(poses, o.Settings); c != o.Settings.Line/2 {
		t.Errorf("cells of %g mm for much need, want %g", c, o.Settings.Line/2)
	}
}

func TestLayOutStops(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	poses, err := Find(tee(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	err = LayOut(ctx, tee(), poses, Options{Workers: 1}, func(int) {
		told++
		stop()
	})
	if !errors.Is(err, context.Canceled) || told > 2 {
		t.Errorf("after the interrupt %d of %d poses were laid out: %v", told, len(poses), err)
	}
}
