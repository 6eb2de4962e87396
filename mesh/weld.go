package mesh

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// point32 is a corner as STL stores it.
type point32 [3]float32

// welder gathers loose triangles into an indexed mesh. Corners whose float32
// coordinates are equal become one vertex; vertices are numbered in order of
// first use, so the result depends on the input alone.
type welder struct {
	mesh    Mesh
	keys    []point32
	slots   []uint32 // vertex index + 1; 0 is free
	mask    uint32
	dropped int // triangles left out because two corners coincide
}

// newWelder prepares for about n triangles; a closed surface has half as many
// vertices (Euler's formula).
func newWelder(n int) *welder {
	slots := 64
	for slots < n { // load factor one half for a closed surface
		slots <<= 1
	}
	w := &welder{slots: make([]uint32, slots), mask: uint32(slots - 1)}
	w.keys = make([]point32, 0, n/2+4)
	w.mesh.Triangles = make([][3]uint32, 0, n)
	return w
}

func hash32(p point32) uint32 {
	h := uint64(math.Float32bits(p[0]))*0x9E3779B97F4A7C15 ^
		uint64(math.Float32bits(p[1]))*0xC2B2AE3D27D4EB4F ^
		uint64(math.Float32bits(p[2]))*0x165667B19E3779F9
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9
	return uint32(h >> 32)
}

// vertex returns the index of p, which must not hold NaN.
func (w *welder) vertex(p point32) uint32 {
	for i, c := range p {
		if c == 0 {
			p[i] = 0 // -0 and 0 are one place but not one bit pattern
		}
	}
	i := hash32(p) & w.mask
	for w.slots[i] != 0 {
		if k := w.slots[i] - 1; w.keys[k] == p {
			return k
		}
		i = (i + 1) & w.mask
	}
	k := uint32(len(w.keys))
	w.keys = append(w.keys, p)
	w.slots[i] = k + 1
	if len(w.keys)*4 > len(w.slots)*3 {
		w.grow()
	}
	return k
}

func (w *welder) grow() {
	w.slots = make([]uint32, 2*len(w.slots))
	w.mask = uint32(len(w.slots) - 1)
	for k, p := range w.keys {
		i := hash32(p) & w.mask
		for w.slots[i] != 0 {
			i = (i + 1) & w.mask
		}
		w.slots[i] = uint32(k) + 1
	}
}

func (w *welder) add(a, b, c point32) {
	// Compared before welding so that a dropped triangle leaves no vertex behind.
	if a == b || b == c || c == a {
		w.dropped++
		return
	}
	w.mesh.Triangles = append(w.mesh.Triangles, [3]uint32{w.vertex(a), w.vertex(b), w.vertex(c)})
}

// finish returns the welded mesh; the welder must not be used afterwards.
func (w *welder) finish() *Mesh {
	w.slots = nil
	w.mesh.Vertices = make([]r3.Vec, len(w.keys))
	for i, k := range w.keys {
		w.mesh.Vertices[i] = r3.Vec{X: float64(k[0]), Y: float64(k[1]), Z: float64(k[2])}
	}
	w.keys = nil
	return &w.mesh
}

func toPoint32(v r3.Vec) point32 {
	return point32{float32(v.X), float32(v.Y), float32(v.Z)}
}

// Round32 moves every vertex to the nearest float32 position, which is what STL
// stores and 3MF readers keep, so that what is measured is what is written.
// Where that brings the ends of an edge together the edge is contracted and its
// triangles are left out; their number is returned. Vertices that coincide
// without sharing an edge stay apart, so touching shells stay separate.
func (m *Mesh) Round32() (dropped int) {
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Vec{X: float64(float32(v.X)), Y: float64(float32(v.Y)), Z: float64(float32(v.Z))}
	}
	return m.contract()
}

// contract joins the ends of every edge of no length, leaves out the triangles
// that lose a corner by it, and then the vertices that nothing uses any more.
// A closed surface stays closed. It returns how many triangles went.
func (m *Mesh) contract() (dropped int) {
	var joined Disjoint[uint32]
	for _, t := range m.Triangles {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if a != b && m.Vertices[a] == m.Vertices[b] {
				if joined == nil {
					joined = NewDisjoint[uint32](len(m.Vertices))
				}
				joined.Union(a, b)
			}
		}
	}
	kept := m.Triangles[:0]
	for _, t := range m.Triangles {
		if joined != nil {
			t = [3]uint32{joined.Find(t[0]), joined.Find(t[1]), joined.Find(t[2])}
		}
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			dropped++
			continue
		}
		kept = append(kept, t)
	}
	m.Triangles = kept
	if dropped > 0 {
		m.compact()
	}
	return dropped
}

// compact removes unused vertices, keeping the order of the others.
func (m *Mesh) compact() {
	const unused = math.MaxUint32
	number := make([]uint32, len(m.Vertices))
	for i := range number {
		number[i] = unused
	}
	for _, t := range m.Triangles {
		for _, v := range t {
			number[v] = 0
		}
	}
	kept := m.Vertices[:0]
	for i, v := range m.Vertices {
		if number[i] != unused {
			number[i] = uint32(len(kept))
			kept = append(kept, v)
		}
	}
	m.Vertices = kept
	for i, t := range m.Triangles {
		m.Triangles[i] = [3]uint32{number[t[0]], number[t[1]], number[t[2]]}
	}
}
