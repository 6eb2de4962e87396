package view

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"falsework/mesh"
)

// creaseAngle is the dihedral angle, in radians, from which an edge is drawn and
// shading breaks. It lets the facets of a cylinder of 15 or more sides run
// together (common practice, no source).
const creaseAngle = 25 * math.Pi / 180

// edge joins two welded vertices, a < b.
type edge struct{ a, b uint32 }

// surface is a mesh prepared for drawing: vertices welded by exact position, so
// that builders may leave shells unwelded.
type surface struct {
	at      []r3.Vec
	tris    [][3]uint32 // no triangle names a vertex twice
	normals []r3.Vec    // unit normal of each triangle, zero where it has no area
	creases []edge      // sharp and boundary edges, ordered
	closed  bool        // every edge has a face on both sides, outsides out
}

func newSurface(m *mesh.Mesh) *surface {
	s := &surface{}
	id := make(map[r3.Vec]uint32, len(m.Vertices))
	weld := make([]uint32, len(m.Vertices))
	for i, v := range m.Vertices {
		v = r3.Vec{X: v.X + 0, Y: v.Y + 0, Z: v.Z + 0} // -0 and 0 are one place
		k, ok := id[v]
		if !ok {
			k = uint32(len(s.at))
			id[v] = k
			s.at = append(s.at, v)
		}
		weld[i] = k
	}
	s.tris = make([][3]uint32, 0, len(m.Triangles))
	s.normals = make([]r3.Vec, 0, len(m.Triangles))
	for _, t := range m.Triangles {
		a, b, c := weld[t[0]], weld[t[1]], weld[t[2]]
		if a == b || b == c || c == a {
			continue
		}
		n := r3.Cross(r3.Sub(s.at[b], s.at[a]), r3.Sub(s.at[c], s.at[a]))
		if l := math.Sqrt(r3.Norm2(n)); l > 0 {
			n = r3.Scale(1/l, n)
		}
		s.tris = append(s.tris, [3]uint32{a, b, c})
		s.normals = append(s.normals, n)
	}
	s.findCreases()
	s.closed = s.closed && m.Volume() > 0
	return s
}

// findCreases sorts the half edges by their ends, so that the faces round each
// edge stand together.
func (s *surface) findCreases() {
	type half struct {
		ends uint64 // lower vertex above higher
		face uint32
		back bool // runs from the higher vertex to the lower
	}
	halves := make([]half, 0, 3*len(s.tris))
	for f, t := range s.tris {
		for i := range 3 {
			a, b := t[i], t[(i+1)%3]
			h := half{face: uint32(f), back: a > b}
			h.ends = uint64(min(a, b))<<32 | uint64(max(a, b))
			halves = append(halves, h)
		}
	}
	slices.SortFunc(halves, func(p, q half) int {
		if p.ends != q.ends {
			if p.ends < q.ends {
				return -1
			}
			return 1
		}
		return int(p.face) - int(q.face)
	})
	s.closed = true
	limit := math.Cos(creaseAngle)
	for i := 0; i < len(halves); {
		j := i + 1
		for j < len(halves) && halves[j].ends == halves[i].ends {
			j++
		}
		balance, sharp := 0, false
		for _, h := range halves[i:j] {
			if h.back {
				balance--
			} else {
				balance++
			}
			n := s.normals[h.face]
			// A face without area lies in an edge of its neighbours; it hides no
			// crease and makes none.
			if n != (r3.Vec{}) && s.normals[halves[i].face] != (r3.Vec{}) && r3.Dot(n, s.normals[halves[i].face]) < limit {
				sharp = true
			}
		}
		if balance != 0 {
			s.closed = false
		}
		if sharp || j-i == 1 {
			s.creases = append(s.creases, edge{uint32(halves[i].ends >> 32), uint32(halves[i].ends)})
		}
		i = j
	}
}

// cornerNormals returns the shading normal of each triangle's corners: the mean
// of the faces round the vertex that turn less than a crease from this one,
// weighted by area.
func (s *surface) cornerNormals() [][3]r3.Vec {
	start := make([]uint32, len(s.at)+1)
	for _, t := range s.tris {
		for _, v := range t {
			start[v+1]++
		}
	}
	for i := range s.at {
		start[i+1] += start[i]
	}
	around := make([]uint32, 3*len(s.tris))
	next := slices.Clone(start)
	areas := make([]float64, len(s.tris))
	for f, t := range s.tris {
		for _, v := range t {
			around[next[v]] = uint32(f)
			next[v]++
		}
		n := r3.Cross(r3.Sub(s.at[t[1]], s.at[t[0]]), r3.Sub(s.at[t[2]], s.at[t[0]]))
		areas[f] = math.Sqrt(r3.Norm2(n))
	}
	limit := math.Cos(creaseAngle)
	// The hub of a large fan has a flat or pointed neighbourhood either way, and
	// comparing all its faces with each other would take their square.
	const fan = 64
	out := make([][3]r3.Vec, len(s.tris))
	for f, t := range s.tris {
		n := s.normals[f]
		for i, v := range t {
			faces := around[start[v]:start[v+1]]
			if len(faces) > fan {
				out[f][i] = n
				continue
			}
			var sum r3.Vec
			for _, g := range faces {
				if r3.Dot(n, s.normals[g]) > limit {
					sum = r3.Add(sum, r3.Scale(areas[g], s.normals[g]))
				}
			}
			if l := math.Sqrt(r3.Norm2(sum)); l > 0 {
				out[f][i] = r3.Scale(1/l, sum)
			} else {
				out[f][i] = n
			}
		}
	}
	return out
}

// components groups triangles that share vertices and returns each group's box,
// ordered by its first triangle.
func (s *surface) components() []r3.Box {
	sets := mesh.NewDisjoint[uint32](len(s.at))
	for _, t := range s.tris {
		sets.Union(t[0], t[1])
		sets.Union(t[0], t[2])
	}
	index := map[uint32]int{}
	var boxes []r3.Box
	for _, t := range s.tris {
		root := sets.Find(t[0])
		k, ok := index[root]
		if !ok {
			k = len(boxes)
			index[root] = k
			boxes = append(boxes, r3.Box{Min: s.at[t[0]], Max: s.at[t[0]]})
		}
		b := &boxes[k]
		for _, i := range t {
			v := s.at[i]
			b.Min = r3.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y), Z: min(b.Min.Z, v.Z)}
			b.Max = r3.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y), Z: max(b.Max.Z, v.Z)}
		}
	}
	return boxes
}
