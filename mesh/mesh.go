package mesh

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mesh is an indexed triangle mesh in millimetres, +Z up. Triangles list three
// vertex indices counter-clockwise seen from outside. The zero value is an
// empty mesh. Overlapping closed shells are allowed; a point is inside where
// its winding number is positive (3MF Core Specification 1.4, fill rule
// "positive").
type Mesh struct {
	Vertices  []r3.Vec
	Triangles [][3]uint32
}

// Corners returns the three corner points of triangle t.
func (m *Mesh) Corners(t int) (a, b, c r3.Vec) {
	v := m.Triangles[t]
	return m.Vertices[v[0]], m.Vertices[v[1]], m.Vertices[v[2]]
}

// Bounds returns the smallest axis-aligned box round all vertices, in mm. An
// empty mesh has the zero box.
func (m *Mesh) Bounds() r3.Box {
	if len(m.Vertices) == 0 {
		return r3.Box{}
	}
	b := r3.Box{Min: m.Vertices[0], Max: m.Vertices[0]}
	for _, v := range m.Vertices[1:] {
		b.Min.X, b.Max.X = min(b.Min.X, v.X), max(b.Max.X, v.X)
		b.Min.Y, b.Max.Y = min(b.Min.Y, v.Y), max(b.Max.Y, v.Y)
		b.Min.Z, b.Max.Z = min(b.Min.Z, v.Z), max(b.Max.Z, v.Z)
	}
	return b
}

// Volume returns the signed volume in mm³ by the divergence theorem,
// V = 1/6·Σ a·(b×c). Shells that overlap count twice; inside-out shells count
// negative.
func (m *Mesh) Volume() float64 {
	if len(m.Vertices) == 0 {
		return 0
	}
	o := m.Vertices[0] // a near origin keeps the sum well conditioned
	sum := 0.0
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		sum += r3.Dot(r3.Sub(a, o), r3.Cross(r3.Sub(b, o), r3.Sub(c, o)))
	}
	return sum / 6
}

// Area returns the surface area in mm².
func (m *Mesh) Area() float64 {
	sum := 0.0
	for t := range m.Triangles {
		sum += math.Sqrt(r3.Norm2(m.AreaNormal(t)))
	}
	return sum
}

// AreaNormal returns the outward normal of triangle t, its length being the
// triangle's area in mm².
func (m *Mesh) AreaNormal(t int) r3.Vec {
	a, b, c := m.Corners(t)
	return r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
}

// Translate moves the mesh by d.
func (m *Mesh) Translate(d r3.Vec) {
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Add(v, d)
	}
}

// Append adds other's shells to m without sharing vertices.
func (m *Mesh) Append(other *Mesh) {
	n := uint32(len(m.Vertices))
	m.Vertices = append(m.Vertices, other.Vertices...)
	for _, t := range other.Triangles {
		m.Triangles = append(m.Triangles, [3]uint32{t[0] + n, t[1] + n, t[2] + n})
	}
}

// Clone returns a deep copy.
func (m *Mesh) Clone() *Mesh {
	return &Mesh{
		Vertices:  append([]r3.Vec(nil), m.Vertices...),
		Triangles: append([][3]uint32(nil), m.Triangles...),
	}
}

// Check returns an error that names the first triangle whose indices point past
// the vertices, or the first vertex that is not finite. Readers and builders of
// this package return meshes that pass.
func (m *Mesh) Check() error {
	for i, v := range m.Vertices {
		if s := v.X + v.Y + v.Z; math.IsNaN(s - s) {
			return fmt.Errorf("vertex %d at (%g, %g, %g) is not finite", i, v.X, v.Y, v.Z)
		}
	}
	n := uint32(len(m.Vertices))
	for i, t := range m.Triangles {
		if t[0] >= n || t[1] >= n || t[2] >= n {
			return fmt.Errorf("triangle %d uses vertices %d, but there are only %d", i, t, n)
		}
	}
	return nil
}
