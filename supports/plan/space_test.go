package plan

import (
	"errors"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// The slow twin: a solid is as near as the nearest of many points in it. They miss
// the truth by half their spacing's diagonal at most.
func TestDistances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := func(name string) r3.Vec {
			f := rapid.Float64Range(-4, 4)
			return r3.Vec{X: f.Draw(t, name+".x"), Y: f.Draw(t, name+".y"), Z: f.Draw(t, name+".z")}
		}
		p, a, b, c := v("p"), v("a"), v("b"), v("c")
		r := rapid.Float64Range(0.3, 2).Draw(t, "r")
		if math.Sqrt(r3.Norm2(r3.Sub(a, b))) < 0.5 {
			t.Skip("hardly an axis")
		}
		lo := r3.Vec{X: min(a.X, b.X), Y: min(a.Y, b.Y), Z: min(a.Z, b.Z)}
		hi := r3.Vec{X: max(a.X, b.X), Y: max(a.Y, b.Y), Z: max(a.Z, b.Z)}
		const n = 30
		box, cyl, tri := math.Inf(1), math.Inf(1), math.Inf(1)
		axis := r3.Sub(b, a)
		u := r3.Unit(r3.Cross(axis, r3.Vec{X: 0.3, Y: -0.7, Z: 0.1}))
		w := r3.Unit(r3.Cross(axis, u))
		far := func(q r3.Vec) float64 { return math.Sqrt(r3.Norm2(r3.Sub(p, q))) }
		for i := 0; i <= n; i++ {
			for j := 0; j <= n; j++ {
				x, y := float64(i)/n, float64(j)/n
				if x+y <= 1 {
					tri = min(tri, far(r3.Add(a, r3.Add(r3.Scale(x, r3.Sub(b, a)), r3.Scale(y, r3.Sub(c, a))))))
				}
				for k := 0; k <= n; k++ {
					z := float64(k) / n
					box = min(box, far(r3.Vec{X: lo.X + x*(hi.X-lo.X), Y: lo.Y + y*(hi.Y-lo.Y), Z: lo.Z + z*(hi.Z-lo.Z)}))
					sin, cos := math.Sincos(2 * math.Pi * y)
					cyl = min(cyl, far(r3.Add(r3.Add(a, r3.Scale(x, axis)), r3.Scale(r*z, r3.Add(r3.Scale(cos, u), r3.Scale(sin, w))))))
				}
			}
		}
		// A step of the sampling across: 8·√3/30 of the box, less of the others but
		// for the cylinder's arc, 2π·2/30.
		const slack = 0.47
		for _, c := range []struct {
			name      string
			got, want float64
		}{{"box", boxDistance(p, lo, hi), box}, {"cylinder", cylinderDistance(p, a, b, r), cyl}, {"triangle", triangleDistance(p, a, b, c), tri}} {
			if c.got > c.want+1e-9 || c.got < c.want-slack {
				t.Fatalf("%s: %.4f mm away, samples %.4f", c.name, c.got, c.want)
			}
		}
	})
}

// A face is what one sees as one: all round a cylinder, one side of a box.
func TestPickedFaces(t *testing.T) {
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 20, Z: 5})
	m.Append(mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 40}, 6, 48, 0), 0, 8))
	for _, c := range []struct {
		name string
		face Face
		area float64 // mm²
	}{
		{"underside of the box", Face{At: [3]float64{5, 5, 0}, Normal: [3]float64{0, 0, -1}}, 200},
		{"side of the box, roughly", Face{At: [3]float64{10.4, 5, 2}, Normal: [3]float64{2, 0.3, 0}}, 100},
		// The polygon's outline: 48 sides of 2·6·sin(π/48).
		{"round", Face{At: [3]float64{46, 0, 4}, Normal: [3]float64{1, 0, 0}}, 48 * 2 * 6 * math.Sin(math.Pi/48) * 8},
		{"nothing there", Face{At: [3]float64{5, 5, 2.5}, Normal: [3]float64{0, 0, 1}}, 0},
		{"looks the other way", Face{At: [3]float64{5, 5, 0}, Normal: [3]float64{0, 0, 1}}, 0},
	} {
		area := 0.0
		for _, f := range facetsOf(c.face, m) {
			area += math.Sqrt(r3.Norm2(m.AreaNormal(f)))
		}
		if math.Abs(area-c.area) > 1e-3 {
			t.Errorf("%s: %.3f mm², want %.3f", c.name, area, c.area)
		}
	}
	_, err := NewSpace([]Zone{{ID: "Z7", Kind: KeepClean, Face: &Face{At: [3]float64{-50, 0, 0}, Normal: [3]float64{0, 0, 1}}}}, m)
	var zone *ZoneError
	if !errors.As(err, &zone) || zone.ID != "Z7" {
		t.Errorf("a face that is not there: %v", err)
	}
}

// The column's answer is the highest place that is near, to a step.
func TestColumn(t *testing.T) {
	s, err := NewSpace([]Zone{
		{ID: "A", Kind: NoGo, Box: &Box{Min: [3]float64{0, 0, 3}, Max: [3]float64{4, 4, 7}}},
		{ID: "B", Kind: NoGo, Cylinder: &Cylinder{From: [3]float64{2, 2, 10}, To: [3]float64{2, 20, 10}, Radius: 1}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		x, y, r, lo, hi, want float64
		id                    string
	}{
		{2, 2, 0.5, 0, 8.4, 7.5, "A"},     // reach upward too
		{2, 3, 0.5, 0, 30, 11.5, "B"},     // the higher of the two
		{4.4, 2, 0.5, 0, 9, 7.3, "A"},     // √(0.5² − 0.4²) above its edge
		{4.6, 2, 0.5, 0, 9, 0, ""},        // beside it
		{2, 2, 0.5, 0, 5, 5, "A"},         // no further up than asked
		{2, 2, 0.5, 7.6, 8.4, 7.6, ""},    // between the two
		{2, 19, 0.5, 0, 30, 11.5, "B"},    // along the axis
		{2, 21, 0.5, 0, 30, 0, ""},        // past its end
		{-0.3, -0.3, 0.5, 0, 8, 7.3, "A"}, // at a corner: √(0.5² − 0.18)
	} {
		top, id := s.Column(NoGo, r3.Vec{X: c.x, Y: c.y}, c.r, c.lo, c.hi)
		if id != c.id || top < c.want-0.04 || top > c.want+2*columnStep {
			t.Errorf("at %g, %g: %.3f mm by %q, want %.3f by %q", c.x, c.y, top, id, c.want, c.id)
		}
	}
}
