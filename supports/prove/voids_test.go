package prove_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/spatial/r3"
)

func voids(t *testing.T, part, sup *mesh.Mesh, s supports.Settings) []prove.Void {
	t.Helper()
	list, err := prove.Voids(part, sup, s)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// tilt lets the corners of m at height z, which are rounded to float32, rise with x.
func tilt(m *mesh.Mesh, z, gradient float64) *mesh.Mesh {
	for n, v := range m.Vertices {
		if math.Abs(v.Z-z) < 1e-5 {
			m.Vertices[n].Z += gradient * v.X
		}
	}
	return m
}

// A ceiling at z 10 over a top at 9.8. Layer k is cut at first + (k − ½)·h, and
// prints empty where that is between the two. The quotients are counted by hand.
func TestVoidsAtEachHeight(t *testing.T) {
	const wall = 0.4 * 10 // mm²
	list := voids(t, table(12), box(9, 5, 0, 9.4, 15, 9.8), supports.Settings{})
	want := []struct {
		layer, first float64
		empty        int
		void         float64
		grade        prove.Grade
	}{
		{0.20, 0.2, 1, 0.20, prove.VoidGood}, // planes 0.10 + 0.20 k: 9.8 → 48.5, 10 → 49.5
		{0.12, 0.2, 2, 0.24, prove.VoidGood}, // 0.14 + 0.12 k: 80.5, 82.2; good to 0.26
		{0.12, 0.3, 2, 0.24, prove.VoidGood}, // 0.24 + 0.12 k: 79.7, 81.3
		{0.16, 0.2, 1, 0.16, prove.VoidGood}, // 0.12 + 0.16 k: 60.5, 61.8
		{0.16, 0.3, 2, 0.32, prove.VoidFar},  // 0.22 + 0.16 k: 59.9, 61.1; good to 0.28
		{0.20, 0.3, 0, 0, prove.VoidFused},   // 0.20 + 0.20 k: 48, 49: both on a plane
		{0.28, 0.2, 1, 0.28, prove.VoidGood}, // 0.06 + 0.28 k: 34.8, 35.5; good to 0.34
		{0.28, 0.3, 1, 0.28, prove.VoidGood}, // 0.16 + 0.28 k: 34.4, 35.1
	}
	if len(list) != len(want) {
		t.Fatalf("%d rows, want %d", len(list), len(want))
	}
	for n, w := range want {
		v := prove.Void{Layer: w.layer, First: w.first, Own: n == 0, Binds: n == 0, Grade: w.grade, VoidMM: [2]float64{w.void, w.void}}
		v.AreaMM2[w.empty] = wall
		switch w.grade {
		case prove.VoidGood:
			v.GoodMM2 = wall
		case prove.VoidFused:
			v.FusedMM2 = wall
		case prove.VoidFar:
			v.FarMM2 = wall
		}
		if w.grade != prove.VoidGood {
			v.At = &[3]float64{9.05, 5.05, 10}
			v.Faces = []prove.VoidFace{{Grade: w.grade, At: *v.At, AreaMM2: wall, Level: true}}
		}
		list[n].Places = nil // see TestVoidsOfEveryContact
		if d := cmp.Diff(v, list[n]); d != "" {
			t.Errorf("layers of %g mm, first %g mm (-want +got):\n%s", w.layer, w.first, d)
		}
	}
}

// row returns the row of a layer height and first layer.
func row(t *testing.T, list []prove.Void, layer, first float64) prove.Void {
	t.Helper()
	for _, v := range list {
		if v.Layer == layer && v.First == first {
			return v
		}
	}
	t.Fatalf("no row for layers of %g mm, first %g mm", layer, first)
	return prove.Void{}
}

// Each limit from both sides. The ceiling is at z 10.
func TestVoidLimits(t *testing.T) {
	wide := func(h, gap float64) supports.Settings {
		return supports.Settings{Nozzle: 0.6, Layer: h, First: h, Gap: gap}
	}
	for _, c := range []struct {
		name         string
		top          float64
		s            supports.Settings
		layer, first float64 // 0: its own
		want         prove.Grade
	}{
		{"one layer", 9.8, supports.Settings{}, 0, 0, prove.VoidGood},
		{"none", 10, supports.Settings{}, 0, 0, prove.VoidFused},
		{"inside the part", 10.5, supports.Settings{}, 0, 0, prove.VoidFused},
		// Across how many layers hold lets a contact carry: gap / layer, rounded.
		{"two layers, gap 0.2", 9.6, supports.Settings{}, 0, 0, prove.VoidNone},
		{"two layers, gap 0.3", 9.6, supports.Settings{Gap: 0.3}, 0, 0, prove.VoidGood},
		{"three layers, gap 0.3", 9.4, supports.Settings{Gap: 0.3}, 0, 0, prove.VoidNone},
		// Two layers of 0.16 mm, as counted above, and gap + h/2.
		{"0.32 mm, good to 0.31", 9.8, supports.Settings{Gap: 0.23}, 0.16, 0.3, prove.VoidFar},
		{"0.32 mm, good to 0.32", 9.8, supports.Settings{Gap: 0.24}, 0.16, 0.3, prove.VoidGood},
		{"one layer of 0.28 is the least, gap 0.1", 9.8, supports.Settings{Gap: 0.1}, 0.28, 0.2, prove.VoidGood},
		{"two layers of 0.12, gap 0.1", 9.8, supports.Settings{Gap: 0.1}, 0.12, 0.2, prove.VoidFar},
		// Planes 0.2 + 0.4 k: 9.8 is one, so the top is below it.
		{"0.4 mm, gap 0.2", 9.7, wide(0.4, 0.2), 0, 0, prove.VoidGood},
		// Planes 0.205 + 0.41 k: 9.635 and 10.045.
		{"0.41 mm, gap 0.2", 9.5, wide(0.41, 0.2), 0, 0, prove.VoidFar},
		{"0.41 mm, gap 0.205", 9.5, wide(0.41, 0.205), 0, 0, prove.VoidGood},
		{"to be fused, is", 10, supports.Settings{Gap: supports.Fused}, 0, 0, prove.VoidGood},
		// Lines that are to be fused keep the default gap, and teeth cross it.
		{"to be fused, a layer off", 9.8, supports.Settings{Gap: supports.Fused}, 0, 0, prove.VoidGood},
		{"to be fused, two layers off", 9.6, supports.Settings{Gap: supports.Fused}, 0, 0, prove.VoidNone},
	} {
		list := voids(t, table(12), box(9, 5, 0, 9.4, 15, c.top), c.s)
		v := list[0]
		if c.layer > 0 {
			v = row(t, list, c.layer, c.first)
		}
		if v.Grade != c.want {
			t.Errorf("%s: %s, want %s: %+v", c.name, v.Grade, c.want, v)
		}
	}
	// What is fused over no more than a bead's footprint breaks like a thread.
	for _, c := range []struct {
		length float64
		want   prove.Grade
	}{{0.4, prove.VoidGood}, {0.5, prove.VoidFused}} {
		own := voids(t, table(12), box(9, 5, 0, 9.4, 5+c.length, 10), supports.Settings{})[0]
		if own.Grade != c.want || math.Abs(own.FusedMM2-0.4*c.length) > 1e-6 {
			t.Errorf("fused over %g mm: %s, %g mm²; want %s", c.length, own.Grade, own.FusedMM2, c.want)
		}
	}
}

func TestVoidUnderSlope(t *testing.T) {
	pair := func(gradient, drop float64) (part, sup *mesh.Mesh) {
		part = join(box(-3, 0, 0, 0, 10, 30), tilt(box(0, 0, 10, 10, 10, 30), 10, gradient))
		return part, tilt(box(0.5, 4, 0, 9.5, 4.4, 10-drop), 10-drop, gradient)
	}
	// 45°, 0.3 mm apart: where z − 0.3 and z have one plane of 0.1 + 0.2 k between
	// them a layer is empty, elsewhere two are; each is half the length.
	part, sup := pair(1, 0.3)
	own := voids(t, part, sup, supports.Settings{})[0]
	if want := [4]float64{0, 1.8, 1.8, 0}; !cmp.Equal(own.AreaMM2, want) || own.Grade != prove.VoidGood || own.VoidMM != [2]float64{0.2, 0.4} {
		t.Errorf("45°: %+v, want areas %v", own, want)
	}
	// Two layers empty: a contact under a slope of 1.7°, none under one of 0.6°.
	for gradient, want := range map[float64]float64{0.03: 3.6, 0.01: 0} {
		part, sup := pair(gradient, 0.4)
		if own := voids(t, part, sup, supports.Settings{})[0]; own.AreaMM2 != [4]float64{2: want} || own.GoodMM2 != want {
			t.Errorf("gradient %g: %+v, want %g mm²", gradient, own, want)
		}
	}
	for _, c := range []struct {
		gradient, drop, gap float64
		want                prove.Grade
	}{
		{1, 0.3, 0.2, prove.VoidGood},     // two or three layers of 0.12 mm; good to 0.2 + 0.06 + 0.12
		{0.05, 0.39, 0.25, prove.VoidFar}, // three or four; good to 0.43
		{0.05, 0.39, 0.3, prove.VoidGood}, // good to 0.48
		{1, 0.39, 0.25, prove.VoidGood},   // four over 0.03 mm, then three: less than half a line
	} {
		part, sup := pair(c.gradient, c.drop)
		v := row(t, voids(t, part, sup, supports.Settings{Gap: c.gap}), 0.12, 0.2)
		if v.Grade != c.want {
			t.Errorf("gradient %g, %g mm apart, gap %g, layers of 0.12 mm: %+v, want %s", c.gradient, c.drop, c.gap, v, c.want)
		}
		// Four layers are between in a quarter of every 0.12 mm of height.
		if v.At != nil && !(v.At[2] > 10 && v.At[2] < 10.2) {
			t.Errorf("the lowest place too far is at z %g, want it in the first fifth of a millimetre", v.At[2])
		}
	}
}

// Shells that touch are one; what is too thin for any layer is not there; only
// winding above 0 is inside.
func TestVoidsOfShells(t *testing.T) {
	hole := box(8, 4, 9.82, 11, 16, 9.98)
	for n, c := range hole.Triangles {
		hole.Triangles[n] = [3]uint32{c[0], c[2], c[1]}
	}
	for _, c := range []struct {
		name  string
		part  *mesh.Mesh
		sup   *mesh.Mesh
		gap   float64
		empty int
	}{
		{"stacked", table(12), join(box(9, 5, 0, 9.4, 15, 9.75), box(9, 5, 9.75, 9.4, 15, 9.8)), 0.2, 1},
		{"crossing", table(12), join(box(9, 5, 0, 9.4, 15, 9.8), box(8, 9, 0, 10, 11, 9.5)), 0.2, 1},
		{"a flange between the planes 9.7 and 9.9", table(12), join(box(9, 5, 0, 9.4, 15, 9.65), box(9, 5, 9.72, 9.4, 15, 9.8)), 0.3, 2},
		{"a sheet of the part between them", join(table(12), box(8, 4, 9.72, 11, 16, 9.8)), box(9, 5, 0, 9.4, 15, 9.65), 0.3, 2},
		{"an inside-out shell between", join(table(12), hole), box(9, 5, 0, 9.4, 15, 9.8), 0.2, 1},
	} {
		own := voids(t, c.part, c.sup, supports.Settings{Gap: c.gap})[0]
		want := [4]float64{}
		want[c.empty] = 4
		if own.AreaMM2 != want {
			t.Errorf("%s: %+v, want %v", c.name, own, want)
		}
	}
}

// What the voids call a contact at the settings' own layers is what the proof does.
func TestVoidsKnowTheProofsContacts(t *testing.T) {
	part, sup := table(18), join(box(11.8, 0, 0, 12.2, 20, 9.8), box(5, 8, 0, 6, 9, 9.8))
	r := proof(t, part, supports.Settings{}, sup)
	own := voids(t, part, sup, supports.Settings{})[0]
	if own.GoodMM2 != r.ContactMM2 || own.GoodMM2 != 0.4*20+1 {
		t.Errorf("%g mm² of contact, the proof has %g, by hand %g", own.GoodMM2, r.ContactMM2, 0.4*20+1)
	}
}

func TestVoidsWithoutContact(t *testing.T) {
	for name, sup := range map[string]*mesh.Mesh{
		"no supports": nil, "empty supports": {}, "beside the part": box(40, 0, 0, 42, 2, 9.8), "far below": box(9, 5, 0, 10, 6, 4),
		// The upper one shades the lower.
		"between": join(box(9, 5, 0, 10, 6, 9.2), box(9, 5, 9.3, 10, 6, 9.8)),
	} {
		list := voids(t, table(12), sup, supports.Settings{})
		total := 0.0
		for _, a := range list[0].AreaMM2 {
			total += a
		}
		want := 0.0
		if name == "between" {
			want = 1
		}
		if len(list) != 8 || total != want {
			t.Errorf("%s: %d rows, own %+v; want %g mm²", name, len(list), list[0], want)
		}
	}
	if list := voids(t, table(12), nil, supports.Settings{Layer: 0.25}); len(list) != 9 || !list[0].Own {
		t.Errorf("layers of 0.25 mm: %d rows, want them and eight", len(list))
	}
	for name, f := range map[string]func() error{
		"no part":  func() error { _, err := prove.Voids(nil, nil, supports.Settings{}); return err },
		"settings": func() error { _, err := prove.Voids(table(12), nil, supports.Settings{Layer: 9}); return err },
		"below plate": func() error {
			_, err := prove.Voids(table(12), box(0, 0, -1, 1, 1, 1), supports.Settings{})
			return err
		},
	} {
		if f() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// A support that stands on a ledge at z 5, its underside at 5.2, counted by hand on
// the planes of TestVoidsAtEachHeight. It ends far below the ceiling.
func TestLandingVoids(t *testing.T) {
	const foot = 0.4 * 10 // mm²
	part, sup := join(table(12), box(8, 4, 0, 11, 16, 5)), box(9, 5, 5.2, 9.4, 15, 7)
	list := voids(t, part, sup, supports.Settings{})
	for _, w := range []struct {
		layer, first float64
		empty        int
		grade        prove.Grade
	}{
		{0.20, 0.2, 1, prove.VoidGood},  // 0.10 + 0.20 k: 5 → 24.5, 5.2 → 25.5
		{0.12, 0.2, 2, prove.VoidGood},  // 0.14 + 0.12 k: 40.5, 42.2; good to 0.26
		{0.12, 0.3, 2, prove.VoidGood},  // 0.24 + 0.12 k: 39.7, 41.3
		{0.16, 0.2, 1, prove.VoidGood},  // 0.12 + 0.16 k: 30.5, 31.75
		{0.16, 0.3, 2, prove.VoidFar},   // 0.22 + 0.16 k: 29.9, 31.1; good to 0.28
		{0.20, 0.3, 0, prove.VoidFused}, // 0.20 + 0.20 k: 24, 25: both on a plane
		{0.28, 0.2, 1, prove.VoidGood},  // 0.06 + 0.28 k: 17.6, 18.4
		{0.28, 0.3, 0, prove.VoidFused}, // 0.16 + 0.28 k: 17.3, 18: on a plane
	} {
		v := row(t, list, w.layer, w.first)
		var want [4]float64
		want[w.empty] = foot
		if v.LandingMM2 != want || v.AreaMM2 != [4]float64{} || v.Grade != w.grade {
			t.Errorf("layers of %g mm, first %g mm: %+v, want %s and %d empty layers under the foot", w.layer, w.first, v, w.grade, w.empty)
		}
	}
	// Meant to be fused, a foot may touch or keep the default gap.
	for z, want := range map[float64]prove.Grade{5: prove.VoidGood, 5.2: prove.VoidGood, 5.4: prove.VoidNone} {
		if v := voids(t, part, box(9, 5, z, 9.4, 15, 7), supports.Settings{Gap: supports.Fused})[0]; v.Grade != want {
			t.Errorf("fused, foot at %g: %+v, want %s", z, v, want)
		}
	}
}

// The heights that are declared bind the verdict, others are told.
func TestDeclaredHeights(t *testing.T) {
	part, sup := table(12), box(9, 5, 0, 9.4, 15, 9.8) // as in TestVoidsAtEachHeight
	for _, c := range []struct {
		heights []float64
		first   float64
		want    string // kinds of reasons
		rows    int
	}{
		{nil, 0.2, "", 8},
		{[]float64{0.28}, 0.2, "", 8},
		{[]float64{0.12, 0.28}, 0.2, "", 8},
		{[]float64{0.25}, 0.2, "", 9}, // 0.075 + 0.25 k: 38.9, 39.7
		// With a first layer of 0.3 mm both ends lie on planes of 0.2 mm layers, and two
		// of 0.16 mm are too many.
		{nil, 0.3, "fused", 8},
		{[]float64{0.16}, 0.3, "fused void", 8},
	} {
		s := supports.Settings{Bridge: 20, Heights: c.heights, First: c.first}
		r := proof(t, part, s, sup)
		list := voids(t, part, sup, s)
		r.Bind(list)
		binding := 0
		for _, v := range list {
			if v.Binds {
				binding++
			}
		}
		if kinds(r) != c.want || (r.Verdict == prove.Fails) != (c.want != "") || len(list) != c.rows || binding != 1+len(c.heights) {
			t.Errorf("heights %v, first %g: %s (%s), %d rows of which %d bind; want %q, %d", c.heights, c.first, r.Verdict, kinds(r), len(list), binding, c.want, c.rows)
		}
	}
	if _, err := (supports.Settings{Heights: []float64{0.5}}).Resolve(); err == nil {
		t.Error("layers of 0.5 mm from a nozzle of 0.4 mm")
	}
}

// Each level face that lies on a plane is told by its height, with its area, and a first
// layer that helps: with it, supports that end where a layer below the ceilings is empty are good. At 0.16 mm, the first
// as thick, planes are at 0.16·(n + ½): 6.00 and 14.00 are, 12.00 is not.
func TestFacesOnPlanes(t *testing.T) {
	s := supports.Settings{Nozzle: 0.25, Layer: 0.16, Bridge: 20}
	ceilings := func(zs ...float64) *mesh.Mesh {
		m := box(0, 0, 0, 2, 20, 20)
		for n, z := range zs {
			x := float64(2 + 10*n)
			m = join(m, box(x, 0, z, x+10, 20, 20))
		}
		return m
	}
	supportsOf := func(first float64, zs ...float64) *mesh.Mesh {
		m := &mesh.Mesh{}
		lay := raster.Layers{First: first, Height: s.Layer}
		for n, z := range zs {
			x := float64(5 + 10*n)
			m.Append(box(x, 5, 0, x+0.3, 15, lay.Bottom(lay.Above(z-1e-6)-1)))
		}
		return m
	}
	zs := []float64{6, 12, 14}
	list := voids(t, ceilings(zs...), supportsOf(0.16, zs...), s)
	var at []float64
	for _, f := range list[0].Faces {
		at = append(at, f.At[2])
		if !f.Level || math.Abs(f.AreaMM2-0.3*10) > 0.3 || f.Grade != prove.VoidFar {
			t.Errorf("%+v, want a level face with 3 mm² too far", f)
		}
	}
	if d := cmp.Diff([]float64{6, 14}, at); d != "" {
		t.Errorf("faces (-want +got):\n%s", d)
	}
	var r prove.Report
	r.Bind(list)
	if len(r.Reasons) != 2 || r.Verdict != prove.Fails || !strings.Contains(r.Reasons[0].Remedy, "first layer of 0.2 mm") {
		t.Errorf("%s: %+v", r.Verdict, r.Reasons)
	}
	s.First = list[0].BetterFirst
	for _, z := range zs {
		off := math.Mod(z-s.First-0.08, 0.16)
		if off = min(off, 0.16-off); off < 0.04-1e-9 {
			t.Errorf("with a first layer of %g mm the face at %g is %g mm off a plane", s.First, z, off)
		}
	}
	if v := voids(t, ceilings(zs...), supportsOf(s.First, zs...), s)[0]; v.Grade != prove.VoidGood {
		t.Errorf("with a first layer of %g mm: %+v", s.First, v)
	}
	// Faces a quarter of a layer apart leave no first layer that suits all of them.
	zs = []float64{6, 6.04, 6.08, 6.12}
	if v := voids(t, ceilings(zs...), supportsOf(0.16, zs...), supports.Settings{Nozzle: 0.25, Layer: 0.16})[0]; v.BetterFirst != 0 {
		t.Errorf("a first layer of %g mm is to suit faces at %v", v.BetterFirst, zs)
	}
}

// Where the part holds in the same layers, what stays wrong is what prints together and what a
// level face may do: slopes that are too far from a top are held without it.
func TestCarried(t *testing.T) {
	level := prove.VoidFace{Grade: prove.VoidFar, At: [3]float64{0, 0, 9}, AreaMM2: 2, Level: true}
	slope := prove.VoidFace{Grade: prove.VoidFar, At: [3]float64{0, 0, 5}, AreaMM2: 2}
	fused := prove.VoidFace{Grade: prove.VoidFused, At: [3]float64{0, 0, 7}, AreaMM2: 2}
	for _, c := range []struct {
		faces, want []prove.VoidFace
		grade       prove.Grade
	}{
		{[]prove.VoidFace{slope}, nil, prove.VoidGood},
		{[]prove.VoidFace{slope, level}, []prove.VoidFace{level}, prove.VoidFar},
		{[]prove.VoidFace{slope, fused, level}, []prove.VoidFace{fused, level}, prove.VoidFused},
	} {
		v := prove.Void{Layer: 0.16, First: 0.2, Grade: prove.VoidFar, At: &c.faces[0].At, Faces: c.faces, Binds: true}
		got := v.Carried()
		if d := cmp.Diff(c.want, got.Faces, cmpopts.EquateEmpty()); d != "" || got.Grade != c.grade || (got.At == nil) != (c.want == nil) {
			t.Errorf("%+v: %s at %v (-want +got):\n%s", c.faces, got.Grade, got.At, d)
		}
		var r prove.Report
		if r.Bind([]prove.Void{got}); len(r.Reasons) != len(c.want) {
			t.Errorf("%+v: %d reasons, want %d", c.faces, len(r.Reasons), len(c.want))
		}
		if len(v.Faces) != len(c.faces) || v.Grade != prove.VoidFar {
			t.Error("the void itself was changed")
		}
	}
}

// inside tells by a ray along +X whether p lies in m; no corner may be level with it.
func inside(m *mesh.Mesh, p r3.Vec) bool {
	winding := 0
	for n := range m.Triangles {
		a, b, c := m.Corners(n)
		side := func(u, v r3.Vec) float64 { return (u.Y-p.Y)*(v.Z-p.Z) - (v.Y-p.Y)*(u.Z-p.Z) }
		e, f, g := side(a, b), side(b, c), side(c, a)
		turn := 0
		switch {
		case e > 0 && f > 0 && g > 0:
			turn = 1
		case e < 0 && f < 0 && g < 0:
			turn = -1
		default:
			continue
		}
		if x := (f*a.X + g*b.X + e*c.X) / (e + f + g); x > p.X {
			winding += turn
		}
	}
	return winding > 0
}

// twin counts, cell by cell and layer by layer, how many contact cells have so many
// empty layers. A top at other layers is the one nearest to that at the own.
func twin(part, sup *mesh.Mesh, g raster.Grid, own, lay raster.Layers, reach func(empty int) bool) (counts [4]int) {
	fill := func(m *mesh.Mesh, lay raster.Layers, x, y float64) (in []bool) {
		for k := 0; k < lay.Count(16); k++ {
			in = append(in, inside(m, r3.Vec{X: x, Y: y, Z: lay.Plane(k)}))
		}
		return in
	}
	// tops returns the layers of tops, and of the part's above them.
	tops := func(s, p []bool) (list [][2]int) {
		for k := range s {
			if !s[k] || k+1 < len(s) && s[k+1] {
				continue
			}
			for up := k; up < len(p) && (up == k || !s[up]); up++ {
				if p[up] {
					list = append(list, [2]int{k, max(up, k+1)})
					break
				}
			}
		}
		return list
	}
	for j := 0; j < g.H; j++ {
		for i := 0; i < g.W; i++ {
			c := g.Center(i, j)
			theirs := tops(fill(sup, lay, c.X, c.Y), fill(part, lay, c.X, c.Y))
			for _, o := range tops(fill(sup, own, c.X, c.Y), fill(part, own, c.X, c.Y)) {
				if !reach(o[1] - o[0] - 1) {
					continue
				}
				best := -1
				for n := range theirs {
					off := func(n int) float64 { return math.Abs(lay.Top(theirs[n][0]) - own.Top(o[0])) }
					if off(n) < 0.4 && (best < 0 || off(n) < off(best)) {
						best = n
					}
				}
				if best >= 0 {
					counts[min(3, theirs[best][1]-theirs[best][0]-1)]++
				}
			}
		}
	}
	return counts
}

func TestVoidsAgainstTwin(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for _, gradient := range []float64{0, 0.7} {
		for round := 0; round < 6; round++ {
			// Coordinates that lie on no plane and no cell's centre.
			at := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
			ceiling := at(7, 9)
			part := join(box(-0.537, -0.531, 0, -0.013, 3.517, 13.03), tilt(box(-0.537, -0.531, ceiling, 3.513, 3.517, 15.5031), ceiling, gradient))
			sup := &mesh.Mesh{}
			for n := 0; n < 4; n++ {
				x, y, top := at(0.1, 3), at(0, 3), ceiling-at(-0.1, 0.5)
				sup.Append(tilt(box(x, y, 0, x+at(0.2, 0.9), y+at(0.2, 0.9), top), top, gradient))
			}
			s := supports.Settings{}
			list := voids(t, part, sup, s)
			g := raster.GridFor(sup.Bounds(), 0.1, 0)
			reach := func(empty int) bool { return empty <= 1 }
			if gradient > 0 {
				reach = func(empty int) bool { return empty <= 2 }
			}
			for _, v := range list {
				var got [4]int
				for n, a := range v.AreaMM2 {
					got[n] = int(math.Round(a / 0.01))
				}
				want := twin(part, sup, g, raster.Layers{First: 0.2, Height: 0.2}, raster.Layers{First: v.First, Height: v.Layer}, reach)
				if got != want {
					t.Errorf("gradient %g, round %d, layers %g, first %g: %v cells, want %v", gradient, round, v.Layer, v.First, got, want)
				}
			}
		}
	}
}

func BenchmarkVoids(b *testing.B) {
	for _, c := range []struct {
		name      string
		triangles int
		scale     float64
	}{{"blob-100k", 100_000, 1}, {"blob-1M-150mm", 1_000_000, 2.5}} {
		b.Run(c.name, func(b *testing.B) {
			part, sup := posted(c.triangles, c.scale)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := prove.Voids(part, sup, supports.Settings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
