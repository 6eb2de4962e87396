package mesh

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Topology counts what the triangles of a mesh do to one another. Edges are
// pairs of vertex indices. Triangles that name a vertex twice have no edges and
// are counted as degenerate only.
type Topology struct {
	Edges        int // distinct edges
	Boundary     int // edges of one triangle: holes
	NonManifold  int // edges of more than two triangles
	Inconsistent int // edges of several triangles whose directions do not cancel
	Degenerate   int // triangles without area, see FlatTriangle
	Shells       int // sets of triangles connected by edges
}

// FlatTriangle is the ratio of twice a triangle's area to its longest edge
// squared (its height over its longest side) below which it counts as
// degenerate. Common practice, no source: far below what float32 corners can
// express on purpose, far above float64 rounding.
const FlatTriangle = 1e-9

// Watertight reports whether every edge is shared by exactly two triangles that
// run along it in opposite directions, as 3MF Core Specification 1.4, chapter
// 4.1, asks of a model.
func (t Topology) Watertight() bool {
	return t.Boundary == 0 && t.NonManifold == 0 && t.Inconsistent == 0
}

// Closed reports whether the directions cancel at every edge, so that the
// winding number of each point off the surface is a whole number. Closed is
// weaker than Watertight: shells may touch along an edge.
func (t Topology) Closed() bool {
	return t.Boundary == 0 && t.Inconsistent == 0
}

// Topology counts edges, defects and shells.
func (m *Mesh) Topology() Topology {
	t, _ := m.topology()
	return t
}

// side is one triangle's use of an edge, filed under the edge's lower vertex.
type side struct {
	high     uint32 // the edge's other vertex
	triangle uint32
	up       bool // runs from the lower vertex to the higher
}

// topology also returns the shell forest over the triangles.
func (m *Mesh) topology() (Topology, Disjoint[uint32]) {
	// Sides are filed by their lower vertex with a counting sort; the few in
	// each file are then sorted by the other vertex. Linear in practice.
	start := make([]uint32, len(m.Vertices)+1)
	for _, t := range m.Triangles {
		if repeats(t) {
			continue
		}
		for k := range 3 {
			start[min(t[k], t[(k+1)%3])+1]++
		}
	}
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	sides := make([]side, start[len(m.Vertices)])
	next := slices.Clone(start)
	var top Topology
	for i, t := range m.Triangles {
		if repeats(t) {
			top.Degenerate++
			continue
		}
		if m.flat(t) {
			top.Degenerate++
		}
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			lo, hi := min(a, b), max(a, b)
			sides[next[lo]] = side{high: hi, triangle: uint32(i), up: a < b}
			next[lo]++
		}
	}
	shells := NewDisjoint[uint32](len(m.Triangles))
	for v := range m.Vertices {
		file := sides[start[v]:start[v+1]]
		sortSides(file)
		for len(file) > 0 {
			n, up := 0, 0
			for n < len(file) && file[n].high == file[0].high {
				if file[n].up {
					up++
				}
				shells.Union(file[0].triangle, file[n].triangle)
				n++
			}
			top.Edges++
			switch {
			case n == 1:
				top.Boundary++
			case n > 2:
				top.NonManifold++
			}
			if n > 1 && 2*up != n {
				top.Inconsistent++
			}
			file = file[n:]
		}
	}
	for i := range shells {
		if shells[i] == uint32(i) {
			top.Shells++
		}
	}
	return top, shells
}

func sortSides(s []side) {
	if len(s) > 24 { // the hub of a fan; insertion would be quadratic
		slices.SortFunc(s, func(a, b side) int {
			return cmp.Or(cmp.Compare(a.high, b.high), cmp.Compare(a.triangle, b.triangle))
		})
		return
	}
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j].high < s[j-1].high; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
}

func repeats(t [3]uint32) bool { return t[0] == t[1] || t[1] == t[2] || t[2] == t[0] }

func (m *Mesh) flat(t [3]uint32) bool {
	a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
	u, v := r3.Sub(b, a), r3.Sub(c, a)
	long := max(r3.Norm2(u), r3.Norm2(v), r3.Norm2(r3.Sub(c, b)))
	return math.Sqrt(r3.Norm2(r3.Cross(u, v))) <= FlatTriangle*long
}

// Shells splits the mesh into its edge-connected parts, in the order of their
// first triangles. Vertices that several parts use are copied.
func (m *Mesh) Shells() []*Mesh {
	_, forest := m.topology()
	number := make([]uint32, len(forest)) // triangle → shell, set at roots first
	var sizes []int
	for i := range forest {
		root := forest.Find(uint32(i))
		if root == uint32(i) {
			number[i] = uint32(len(sizes))
			sizes = append(sizes, 0)
		}
		number[i] = number[root]
		sizes[number[i]]++
	}
	out := make([]*Mesh, len(sizes))
	for s, n := range sizes {
		out[s] = &Mesh{Triangles: make([][3]uint32, 0, n)}
	}
	for i, t := range m.Triangles {
		s := out[number[i]]
		s.Triangles = append(s.Triangles, t)
	}
	owner := make([]uint32, len(m.Vertices)) // shell + 1 that numbered the vertex last
	local := make([]uint32, len(m.Vertices))
	for s, shell := range out {
		for i, t := range shell.Triangles {
			for k, v := range t {
				if owner[v] != uint32(s)+1 {
					owner[v] = uint32(s) + 1
					local[v] = uint32(len(shell.Vertices))
					shell.Vertices = append(shell.Vertices, m.Vertices[v])
				}
				shell.Triangles[i][k] = local[v]
			}
		}
	}
	return out
}
