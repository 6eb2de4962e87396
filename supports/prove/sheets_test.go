package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// disc is a round plate about the middle of the pockets below.
func disc(r, z0, z1 float64) *mesh.Mesh {
	return mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, r, 256, 0), z0, z1)
}

// pocket is a block with a pocket of radius R open below up to z 6, and a hole of
// radius r in its ceiling.
func pocket(R, r float64) *mesh.Mesh { return pocketTo(R, r, 6) }

func pocketTo(R, r, z float64) *mesh.Mesh {
	ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, r, 256, 0) }
	return join(mesh.Tube(ring(R+4), ring(R), 0, z), mesh.Tube(ring(R+4), ring(r), z, 12))
}

// segments are the lowest of bridging steps: what of a disc lies beyond two tangents
// of a hole, and with across beyond two more.
func segments(r, hole, z0, z1 float64, across bool) *mesh.Mesh {
	side := func(turn float64) *mesh.Mesh {
		var at []r2.Vec
		half := math.Acos(hole / r)
		sin, cos := math.Sincos(turn)
		for n := range 65 {
			s, c := math.Sincos(half * (float64(n)/32 - 1))
			at = append(at, r2.Vec{X: 20 + r*(c*cos-s*sin), Y: 20 + r*(c*sin+s*cos)})
		}
		return mesh.Prism(at, z0, z1)
	}
	m := join(side(math.Pi/2), side(3*math.Pi/2))
	if across {
		m = join(side(0), side(math.Pi))
	}
	return m
}

// A sheet across a pocket holds as a bridge does: up to the limit from wall to wall,
// 2·R. Then the ceiling lies on it; what is under the hole is told to be pierced.
func TestSheetIsABridge(t *testing.T) {
	for _, c := range []struct {
		R    float64
		want prove.Verdict
	}{{4.9, prove.Holds}, {5.2, prove.Fails}} {
		part := pocket(c.R, 3)
		if bare := proof(t, part, supports.Settings{}); bare.Verdict != prove.Fails {
			t.Fatal("the ring holds by itself")
		}
		r := proof(t, part, supports.Settings{}, disc(c.R+0.5, 5.8, 6))
		if r.Verdict != c.want {
			t.Errorf("pocket of radius %g: %s, want %s: %+v", c.R, r.Verdict, c.want, r.Reasons)
		}
		if len(r.Sheets) != 1 || len(r.Bodies) != 0 || r.BlockedBodies != 0 || r.CollisionsMM3 != 0 || r.FusedMM2 != 0 {
			t.Fatalf("%d sheets, %d bodies, %g mm³, %g mm² fused", len(r.Sheets), len(r.Bodies), r.CollisionsMM3, r.FusedMM2)
		}
		h := r.Sheets[0]
		if want := math.Pi * 9; h.Layers != 1 || math.Abs(h.PiercedMM2-want) > 0.02*want || r.PiercedMM2 != h.PiercedMM2 || !noted(r, prove.Pierced) {
			t.Errorf("%+v, want one layer and %g mm² to pierce", h, want)
		}
		if want := math.Pi * (c.R*c.R - 9); math.Abs(h.FusedMM2-want) > 0.02*want+0.5 {
			t.Errorf("fused over %g mm², want %g", h.FusedMM2, want)
		}
	}
}

// Steps hold where the chord that touches the hole, 2·√(R² − r²), is a bridge, and
// leave nothing to pierce.
func TestStepsAreBridges(t *testing.T) {
	for _, c := range []struct {
		R, r float64
		want prove.Verdict
	}{
		{5.9, 3.4, prove.Holds}, // chord 9.64, slot 6.8
		{6.3, 3.4, prove.Fails}, // chord 10.61
		{6.5, 5.3, prove.Holds}, // chord 7.5: the slot of 10.6 ends where the wall does
	} {
		lowest := segments(c.R+0.5, c.r, 5.4, 6, false)
		square := segments(c.R+0.5, c.r, 5.6, 6, true)
		round := join(mesh.Tube(mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, c.R+0.5, 8, math.Pi/8), mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, c.r/math.Cos(math.Pi/8), 8, math.Pi/8), 5.8, 6))
		r := proof(t, pocket(c.R, c.r), supports.Settings{}, lowest, square, round)
		if r.Verdict != c.want {
			t.Errorf("R %g, r %g: %s, want %s: %+v", c.R, c.r, r.Verdict, c.want, r.Reasons)
		}
		if len(r.Sheets) != 1 || r.Sheets[0].Layers != 3 || r.PiercedMM2 != 0 || noted(r, prove.Pierced) {
			t.Errorf("R %g, r %g: %+v", c.R, c.r, r.Sheets)
		}
	}
}

// What is no sheet is judged as any support is, and a sheet that does not land fails.
func TestWhatIsNoSheet(t *testing.T) {
	part := pocket(4.9, 3)
	aside := disc(5.4, 5.8, 6)
	aside.Translate(r3.Vec{X: 1})
	post := join(disc(5.4, 5.8, 6), box(19.5, 15.4, 0, 20.5, 16.4, 5.9))
	for _, c := range []struct {
		name string
		body *mesh.Mesh
		is   int // sheets
		want string
	}{
		{"a layer too low", disc(5.4, 5.6, 5.8), 0, "collision"},
		{"a layer too high", disc(5.4, 6, 6.2), 0, "part-unheld"},
		{"1 mm aside", aside, 0, "collision"},
		{"no bed in the wall", disc(4.88, 5.8, 6), 0, "support-unheld"},
		{"a bed of a cell", disc(5.02, 5.8, 6), 1, "support-unheld"},
		{"deep in the wall", disc(7, 5.8, 6), 0, "collision"},
		{"on a post from the plate", post, 0, "collision"},
		{"thicker than six layers", disc(5.4, 3.8, 6), 0, "collision"},
		{"on the plate", disc(5.4, 0, 0.2), 0, "collision"},
	} {
		r := proof(t, part, supports.Settings{}, c.body)
		if r.Verdict != prove.Fails || !strings.Contains(kinds(r), c.want) || len(r.Sheets) != c.is {
			t.Errorf("%s: %s (%s), %d sheets", c.name, r.Verdict, kinds(r), len(r.Sheets))
		}
	}
	// A slab under a ceiling that is open at the side closes no opening.
	r := proof(t, table(9), supports.Settings{}, box(2.5, 0, 9.8, 12.5, 20, 10))
	if len(r.Sheets) != 0 || !strings.Contains(kinds(r), "collision") {
		t.Errorf("a slab between two walls: %d sheets, %s", len(r.Sheets), kinds(r))
	}
}

// A sheet must print at every declared height. Under a ceiling at z 5.92 one from 5.8
// has the plane at 5.9 of layers of 0.2 mm in it, and none of layers of 0.28 mm, cut at
// 0.2 + 0.28·(k − ½) = 5.66 and 5.94.
func TestSheetAtOtherHeights(t *testing.T) {
	part := pocketTo(4.9, 3, 5.92)
	thin, thick := disc(5.4, 5.798, 5.92), disc(5.4, 5.638, 5.92)
	area := math.Pi * 4.9 * 4.9 // in the opening; in the wall it is the part that prints
	v := row(t, voids(t, part, thin, supports.Settings{}), 0.2, 0.2)
	if v.Grade != prove.VoidNone || v.SheetMM2[1] < area || v.SheetMM2[0]+v.SheetMM2[2]+v.SheetMM2[3] != 0 {
		t.Errorf("own layers: %+v", v)
	}
	if v = row(t, voids(t, part, thin, supports.Settings{}), 0.28, 0.2); v.Grade != prove.VoidGone || v.SheetMM2[0] < area || v.At == nil {
		t.Errorf("layers of 0.28 mm: %+v", v)
	}
	declared := supports.Settings{Heights: []float64{0.28}}
	for _, c := range []struct {
		sheet *mesh.Mesh
		want  prove.Verdict
	}{{thin, prove.Fails}, {thick, prove.Holds}} {
		r := proof(t, part, declared, c.sheet)
		list := voids(t, part, c.sheet, declared)
		r.Bind(list)
		if r.Verdict != c.want {
			t.Errorf("declared: %s, want %s: %+v", r.Verdict, c.want, r.Reasons)
		}
		if c.want == prove.Fails && !strings.Contains(r.Reasons[0].Text, "prints in no layer") {
			t.Errorf("%q", r.Reasons[0].Text)
		}
	}
}

// Supports beside a sheet are judged as if it were of the part.
func TestSupportsUnderASheet(t *testing.T) {
	part := pocket(6, 3)
	sheet := disc(6.5, 5.8, 6)
	cross := func(top float64) *mesh.Mesh {
		return join(box(19.76, 14.6, 0, 20.24, 25.4, top), box(14.6, 19.76, 0, 25.4, 20.24, top))
	}
	// The cross under it halves its span of 12 mm, and keeps a layer off it.
	r := proof(t, part, supports.Settings{}, sheet, cross(5.6))
	if r.Verdict != prove.Holds || len(r.Sheets) != 1 || len(r.Bodies) != 1 || r.ContactMM2 == 0 {
		t.Errorf("%s, %d sheets, %d bodies: %+v", r.Verdict, len(r.Sheets), len(r.Bodies), r.Reasons)
	}
	list := voids(t, part, join(sheet, cross(5.6)), supports.Settings{})
	if list[0].Grade != prove.VoidGood || list[0].AreaMM2[1] == 0 || list[0].SheetMM2[1] == 0 {
		t.Errorf("%+v", list[0])
	}
	// Printed onto it, it is one body with it, and no sheet.
	if r = proof(t, part, supports.Settings{}, sheet, cross(5.8)); r.Verdict != prove.Fails || len(r.Sheets) != 0 {
		t.Errorf("fused: %s, %d sheets", r.Verdict, len(r.Sheets))
	}
}

// The report does not depend on the workers.
func TestSheetsForAnyNumberOfWorkers(t *testing.T) {
	part, sup := pocket(4.9, 3), disc(5.4, 5.8, 6)
	var first prove.Report
	for n := range 3 {
		r, err := prove.Prove(part, []*mesh.Mesh{sup}, supports.Settings{}, prove.Options{Workers: n + 1})
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			first = r
		}
		if len(r.Sheets) != 1 || r.Sheets[0] != first.Sheets[0] || r.Verdict != first.Verdict {
			t.Errorf("%d workers: %+v", n+1, r.Sheets)
		}
	}
}
