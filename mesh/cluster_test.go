package mesh_test

import (
	"math"
	"testing"

	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// A clustered sphere keeps its volume and area, 4/3·πr³ and 4πr², within what moving corners by
// a cell may change, has no triangle that names a corner twice, and tells what became of each.
func TestCluster(t *testing.T) {
	const r, cell = 20.0, 1.0
	m := meshtest.Sphere(r3.Vec{X: 5, Z: r}, r, 80)
	out, became := m.Cluster(cell)
	if n := len(out.Triangles); n == 0 || n >= len(m.Triangles)/2 {
		t.Fatalf("%d triangles became %d", len(m.Triangles), n)
	}
	if err := out.Check(); err != nil {
		t.Fatal(err)
	}
	if top := out.Topology(); top.Degenerate > 0 || top.Boundary > 0 {
		t.Errorf("clustered: %+v", top)
	}
	if v := 4.0 / 3 * math.Pi * r * r * r; math.Abs(out.Volume()-v) > 4*math.Pi*r*r*cell/2 {
		t.Errorf("volume %g, want about %g", out.Volume(), v)
	}
	if a := 4 * math.Pi * r * r; math.Abs(out.Area()-a) > 0.1*a {
		t.Errorf("area %g, want about %g", out.Area(), a)
	}
	if len(became) != len(m.Triangles) {
		t.Fatalf("told of %d triangles", len(became))
	}
	kept := 0
	for i, k := range became {
		if k < 0 {
			continue
		}
		kept++
		a, _, _ := m.Corners(i)
		b, _, _ := out.Corners(k)
		if d := r3.Norm(r3.Sub(a, b)); d > cell*math.Sqrt(3) {
			t.Fatalf("corner of triangle %d moved by %g mm", i, d)
		}
	}
	if kept != len(out.Triangles) {
		t.Errorf("%d triangles were kept, %d are there", kept, len(out.Triangles))
	}
}
