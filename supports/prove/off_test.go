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

// Areas per face, by hand: a wall under a level ceiling, and one that stands on a step.
func TestFaces(t *testing.T) {
	// The step's top and the ceiling are faces of their own, as are the two halves of a
	// roof that meet at 90°.
	part := join(box(0, 0, 0, 30, 10, 4), box(0, 0, 4, 2, 10, 20), box(0, 0, 18, 30, 10, 20))
	r := proof(t, part, supports.Settings{Bridge: 40}, box(10, 2, 4.2, 12, 8, 17.8), box(20, 2, 4.2, 21, 8, 17.8))
	r.Faces(part)
	for n, want := range []float64{12, 6} {
		list := r.Bodies[n].Touches
		if len(list) != 2 {
			t.Fatalf("body %d touches %+v", n+1, list)
		}
		for _, q := range list {
			normal, z, face := r3.Vec{Z: -1}, 18.0, 300.0
			if q.Landing {
				normal, z = r3.Vec{Z: 1}, 4.2 // the layer that stands on it
			}
			if math.Abs(q.AreaMM2-want) > 1e-6 || q.Normal != normal || math.Abs(q.At.Z-z) > 1e-6 || math.Abs(q.FaceMM2-face) > 1e-6 {
				t.Errorf("body %d: %+v, want %g mm² at z %g", n+1, q, want, z)
			}
		}
	}
	// What it touches in all is what the proof counts.
	contact, landing := 0.0, 0.0
	for _, b := range r.Bodies {
		for _, q := range b.Touches {
			if q.Landing {
				landing += q.AreaMM2
			} else {
				contact += q.AreaMM2
			}
		}
	}
	if math.Abs(contact-r.ContactMM2) > 1e-6 || math.Abs(landing-r.LandingMM2) > 1e-6 {
		t.Errorf("faces sum up to %g and %g mm², the proof has %g and %g", contact, landing, r.ContactMM2, r.LandingMM2)
	}
	// A round underside in facets of 7.5° is one face; a box has six.
	drum := mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 10, 48, 0), 0, 4)
	for i, v := range drum.Vertices {
		drum.Vertices[i] = r3.Vec{X: v.X, Y: v.Z, Z: v.Y + 12}
	}
	for i, q := range drum.Triangles { // turned over by swapping two axes
		drum.Triangles[i] = [3]uint32{q[0], q[2], q[1]}
	}
	r = proof(t, drum, supports.Settings{}, box(-3, 0.5, 0, 3, 3.5, 1.9))
	r.Faces(drum)
	if list := r.Bodies[0].Touches; len(list) != 1 || math.Abs(list[0].FaceMM2-2*48*10*math.Sin(math.Pi/48)*4) > 1e-6 || list[0].Normal.Z > -0.99 {
		t.Errorf("under a drum: %+v", list)
	}
}

// Pliers take 3 × 3 mm and a blade 3 × 0.5 mm, straight from the side.
func TestRoom(t *testing.T) {
	// A slot of so much under a plate, open on one side, the rod in it 10 mm deep.
	slot := func(wide, high float64) *mesh.Mesh {
		y0, y1 := 10-wide/2, 10+wide/2
		return join(box(0, 0, 0, 20, 20, 5), box(0, 0, 5+high, 20, 20, 9+high),
			box(0, 0, 5, 4, 20, 5+high), box(4, 0, 5, 20, y0, 5+high), box(4, y1, 5, 20, 20, 5+high))
	}
	for _, c := range []struct {
		wide, high float64
		want       prove.Tool
	}{
		{3.6, 3.6, prove.Pliers}, {3.6, 2.4, prove.Blade}, {2.6, 3.6, ""}, {3.6, 0.8, prove.Blade}, {8, 8, prove.Pliers},
	} {
		part := slot(c.wide, c.high)
		r := proof(t, part, supports.Settings{Bridge: 20}, box(9, 9.8, 5.2, 9.4, 10.2, 5+c.high-0.2))
		got := prove.Tool("")
		if q := r.Bodies[0].Room; q != nil {
			got = q.Tool
			if q.From != "0°" {
				t.Errorf("slot of %g × %g mm: from %s", c.wide, c.high, q.From)
			}
		}
		if got != c.want || noted(r, prove.NoRoom) != (c.want == "") {
			t.Errorf("slot of %g × %g mm: %q, want %q", c.wide, c.high, got, c.want)
		}
	}
	// From below, where the plate was.
	well := join(box(0, 0, 0, 4, 20, 12), box(16, 0, 0, 20, 20, 12), box(4, 0, 0, 16, 4, 12), box(4, 16, 0, 16, 20, 12), box(0, 0, 10, 20, 20, 12))
	r := proof(t, well, supports.Settings{Bridge: 20}, box(9, 9, 0, 10, 10, 9.8))
	if q := r.Bodies[0].Room; q == nil || q.Tool != prove.Pliers || q.From != "down" {
		t.Errorf("in a well: %+v", q)
	}
}

// Reasons are given the id of the structure at fault, and every kind a remedy.
func TestNames(t *testing.T) {
	part := join(box(0, 0, 0, 4, 20, 12), box(0, 0, 10, 40, 20, 12))
	list := []prove.Structure{
		{ID: "wall", Mesh: box(3, 2, 0, 5, 8, 9)},        // in the part
		{ID: "near", Mesh: box(4.1, 12, 0, 4.6, 18, 8)},  // beside it
		{ID: "high", Mesh: box(20, 2, 0, 21, 18, 10)},    // fused
		{ID: "float", Mesh: box(30, 2, 4, 33, 5, 6)},     // in mid-air
		{ID: "low", Mesh: box(36, 2, 0, 37, 18, 9)},      // too low to carry
		{ID: "twin", Mesh: box(38.5, 2, 0, 39, 18, 8.6)}, // likewise, further from what hangs
	}
	var all []*mesh.Mesh
	for _, q := range list {
		all = append(all, q.Mesh)
	}
	r := proof(t, part, supports.Settings{}, all...)
	r.Name(list)
	want := map[prove.Kind]string{prove.Collision: "wall", prove.SideFused: "near", prove.Fused: "high", prove.SupportUnheld: "float"}
	for _, q := range append(r.Reasons, r.Notes...) {
		if id, ok := want[q.Kind]; ok && q.ID == id {
			delete(want, q.Kind)
		}
		if q.Remedy == "" || q.Text == "" || !strings.HasSuffix(q.Text, ".") {
			t.Errorf("%s: %q, %q", q.Kind, q.Text, q.Remedy)
		}
		if q.ID == "" && q.Kind != prove.Tips {
			t.Errorf("%s at %v has no id", q.Kind, q.At)
		}
	}
	if len(want) > 0 {
		t.Errorf("not named: %v in %+v", want, r.Reasons)
	}
	// The nearest point of a triangle, against a fine grid of its points.
	tri := box(0, 0, 0, 3, 2, 1)
	tri.Triangles = tri.Triangles[:1]
	for n := range 200 {
		f := func(k int) float64 { return math.Mod(float64(n*k)*0.6180339887, 1)*8 - 4 }
		p, best := r3.Vec{X: f(1), Y: f(7), Z: f(13)}, math.Inf(1)
		a, b, c := tri.Corners(0)
		const steps = 60
		for u := 0; u <= steps; u++ {
			for v := 0; u+v <= steps; v++ {
				q := r3.Add(a, r3.Add(r3.Scale(float64(u)/steps, r3.Sub(b, a)), r3.Scale(float64(v)/steps, r3.Sub(c, a))))
				best = min(best, r3.Norm(r3.Sub(p, q)))
			}
		}
		if got := prove.DistanceTo(p, tri); got > best+1e-9 || got < best-0.06 {
			t.Errorf("%v: %g mm from the triangle, its points are %g away", p, got, best)
		}
	}
}
