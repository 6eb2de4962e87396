package plan

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// The slow twin looks at the middles of many equal pieces of a triangle.
func TestSharesAgainstSlowTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := func(name string) [3]float64 {
			f := rapid.Float64Range(-6, 6)
			return [3]float64{f.Draw(t, name+".x"), f.Draw(t, name+".y"), f.Draw(t, name+".z")}
		}
		a, b, c, p, q := v("a"), v("b"), v("c"), v("p"), v("q")
		m := &mesh.Mesh{Vertices: []r3.Vec{vec(a), vec(b), vec(c)}, Triangles: [][3]uint32{{0, 1, 2}}}
		long := 0.0
		for k := range 3 {
			long = max(long, math.Sqrt(r3.Norm2(r3.Sub(m.Vertices[k], m.Vertices[(k+1)%3]))))
		}
		if math.Sqrt(r3.Norm2(m.AreaNormal(0))) < 0.3*long {
			t.Skip("a sliver")
		}
		z := Zone{ID: "Z1", Kind: KeepClean, Cylinder: &Cylinder{p, q, 2.5}}
		if rapid.Bool().Draw(t, "box") {
			box := Box{}
			for k := range 3 {
				box.Min[k], box.Max[k] = min(p[k], q[k]), max(p[k], q[k])+2
			}
			z = Zone{ID: "Z1", Kind: KeepClean, Box: &box}
		} else if r3.Norm2(r3.Sub(vec(p), vec(q))) < 0.1 {
			t.Skip("hardly an axis")
		}
		s, err := NewSpace([]Zone{z}, m)
		if err != nil {
			t.Fatal(err)
		}
		const n = 120
		in := 0
		piece := func(i, j, third int) {
			x, y := (float64(i)+float64(third)/3)/n, (float64(j)+float64(third)/3)/n
			at := r3.Add(m.Vertices[0], r3.Add(r3.Scale(x, r3.Sub(m.Vertices[1], m.Vertices[0])), r3.Scale(y, r3.Sub(m.Vertices[2], m.Vertices[0]))))
			if s.Near(KeepClean, at, onZone) != "" {
				in++
			}
		}
		for i := range n {
			for j := range n - i {
				piece(i, j, 1)
				if i+j < n-1 {
					piece(i, j, 2)
				}
			}
		}
		want := float64(in) / (n * n)
		if got := s.Shares(KeepClean, m)[0]; math.Abs(got-want) > 0.02 {
			t.Fatalf("share %.4f, pieces have %.4f", got, want)
		}
	})
}

// A face counts whole, other kinds of zones and no space at all give nothing.
func TestSharesOfFaces(t *testing.T) {
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 20, Z: 5})
	top := Zone{ID: "Z1", Kind: KeepClean, Face: &Face{At: [3]float64{5, 5, 5}, Normal: [3]float64{0, 0, 1}}}
	all := Zone{ID: "Z2", Kind: NoGo, Box: &Box{Min: [3]float64{-1, -1, -1}, Max: [3]float64{20, 30, 9}}}
	s, err := NewSpace([]Zone{top, all}, m)
	if err != nil {
		t.Fatal(err)
	}
	for tri, share := range s.Shares(KeepClean, m) {
		want := 0.0
		if m.AreaNormal(tri).Z > 0 {
			want = 1
		}
		if share != want {
			t.Errorf("triangle %d: share %g, want %g", tri, share, want)
		}
	}
	var none *Space
	for tri, share := range none.Shares(KeepClean, m) {
		if share != 0 {
			t.Errorf("no zones: triangle %d has a share of %g", tri, share)
		}
	}
}

// A cylinder through a plate takes its disc of both sides, πr².
func TestSharesOfACylinder(t *testing.T) {
	m := mesh.Prism([]r2.Vec{{}, {X: 30}, {X: 30, Y: 20}, {Y: 20}}, 0, 2)
	z := Zone{ID: "Z1", Kind: KeepClean, Cylinder: &Cylinder{[3]float64{12, 9, -1}, [3]float64{12, 9, 3}, 5}}
	s, err := NewSpace([]Zone{z}, m)
	if err != nil {
		t.Fatal(err)
	}
	area := 0.0
	for tri, share := range s.Shares(KeepClean, m) {
		area += share * math.Sqrt(r3.Norm2(m.AreaNormal(tri)))
	}
	r := 5 + onZone
	if want := 2 * math.Pi * r * r; math.Abs(area-want) > 0.005*want {
		t.Errorf("%.2f mm² in the cylinder, want %.2f", area, want)
	}
}
