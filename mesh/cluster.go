package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Cluster returns a coarser mesh for looking at: all vertices in one cell of a grid become
// one, in their mean place, and triangles that lose an edge by it are left out (Rossignac
// and Borrel 1993, in Modeling in Computer Graphics, 455–465). Became says of each triangle
// of m which one of the new mesh it is, −1 where it was left out. Vertices move by no more
// than the cell's diagonal; the surface may touch itself. The cell is in mm and above 0.
func (m *Mesh) Cluster(cell float64) (out *Mesh, became []int) {
	out = &Mesh{}
	index := make(map[[3]int32]uint32, len(m.Vertices)/4)
	of := make([]uint32, len(m.Vertices))
	var count []float64
	low := m.Bounds().Min
	bin := func(v float64) int32 { return int32(math.Floor(v / cell)) }
	for i, v := range m.Vertices {
		k := [3]int32{bin(v.X - low.X), bin(v.Y - low.Y), bin(v.Z - low.Z)}
		n, ok := index[k]
		if !ok {
			n = uint32(len(out.Vertices))
			index[k] = n
			out.Vertices = append(out.Vertices, r3.Vec{})
			count = append(count, 0)
		}
		of[i] = n
		out.Vertices[n] = r3.Add(out.Vertices[n], v)
		count[n]++
	}
	for n := range out.Vertices {
		out.Vertices[n] = r3.Scale(1/count[n], out.Vertices[n])
	}
	became = make([]int, len(m.Triangles))
	for t, c := range m.Triangles {
		a, b, d := of[c[0]], of[c[1]], of[c[2]]
		if became[t] = -1; a == b || b == d || d == a {
			continue
		}
		became[t] = len(out.Triangles)
		out.Triangles = append(out.Triangles, [3]uint32{a, b, d})
	}
	return out, became
}
