package grow

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// What is found by bins is what is found among all triangles: on coarse meshes and fine
// ones, over their edges and corners, at a triangle's own height and far from it.
func TestUndersidesAgainstAllTriangles(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 7))
	for _, c := range []struct {
		triangles int
		wide, big float64 // mm: the box, a triangle
	}{{1, 10, 10}, {40, 60, 50}, {400, 20, 3}, {6000, 15, 0.4}} {
		m := &mesh.Mesh{}
		for range c.triangles {
			at := r3.Vec{X: c.wide * r.Float64(), Y: c.wide * r.Float64(), Z: 8 * r.Float64()}
			n := uint32(len(m.Vertices))
			for range 3 {
				m.Vertices = append(m.Vertices, r3.Add(at, r3.Vec{X: c.big * r.Float64(), Y: c.big * r.Float64(), Z: r.Float64()}))
			}
			m.Triangles = append(m.Triangles, [3]uint32{n, n + 1, n + 2})
		}
		u := NewUndersides(m)
		found := 0
		for range 4000 {
			p := r2.Vec{X: -1 + (c.wide+c.big+2)*r.Float64(), Y: -1 + (c.wide+c.big+2)*r.Float64()}
			z, within := 9*r.Float64(), []float64{0.2, 1, 5, math.Inf(1)}[r.IntN(4)]
			if v := m.Vertices[r.IntN(len(m.Vertices))]; r.IntN(4) == 0 {
				w := m.Vertices[m.Triangles[r.IntN(len(m.Triangles))][0]]
				p, z = r2.Vec{X: v.X, Y: v.Y}, v.Z
				if r.IntN(2) == 0 {
					p = r2.Vec{X: (v.X + w.X) / 2, Y: (v.Y + w.Y) / 2}
				}
			}
			for _, down := range []bool{true, false} {
				height, level, ok := u.Find(p, z, within)
				if !down {
					height, level, ok = u.FindUpper(p, z, within)
				}
				h, l, is := findInAll(m, p, z, within, down)
				if h != height || l != level || is != ok {
					t.Fatalf("%d triangles, %v, z %g within %g, down %t: %g %t %t, want %g %t %t", c.triangles, p, z, within, down, height, level, ok, h, l, is)
				}
				if ok {
					found++
				}
			}
		}
		t.Logf("%d triangles: found %d times", c.triangles, found)
	}
}

// findInAll is the slow twin of Find and FindUpper.
func findInAll(m *mesh.Mesh, p r2.Vec, z, within float64, down bool) (height float64, level, ok bool) {
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		d := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		if d == 0 || (d < 0) != down {
			continue
		}
		l1 := ((p.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(p.Y-a.Y)) / d
		l2 := ((b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y)) / d
		if l1 < -onEdge || l2 < -onEdge || l1+l2 > 1+onEdge {
			continue
		}
		h := a.Z + l1*(b.Z-a.Z) + l2*(c.Z-a.Z)
		if off := math.Abs(h - z); off <= within {
			within, height, ok = off, h, true
			n := m.AreaNormal(t)
			level = math.Abs(n.Z) >= levelNormal*r3.Norm(n)
		}
	}
	return
}
