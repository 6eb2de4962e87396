package prove

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// oneFace is the most that a face turns by over an edge, in radians: 20°, more
	// than any fair facet of a round face turns, less than any edge that is meant.
	oneFace = 20 * math.Pi / 180
	// faceReach is how far, in mm, a touched cell may lie from the face that it is of:
	// a layer at which the part's surface is known, and a void of two more.
	faceReach = 1.0
)

// Touch is what one body touches of one face of the part: facets that are joined over
// edges that turn by no more than 20°.
type Touch struct {
	Face    int     `json:"face"` // the first of its triangles in the part's mesh, from 0
	Normal  r3.Vec  `json:"-"`    // normal in JSON: outward, where it is touched most
	At      r3.Vec  `json:"-"`    // at_mm in JSON: the middle of what is touched, or the cell nearest to it
	AreaMM2 float64 `json:"area_mm2"`
	FaceMM2 float64 `json:"face_mm2"` // area of the whole face
	Landing bool    `json:"landing"`  // the support stands on it
}

// scar is a row's run of cells where a body carries the part, or stands on it.
type scar struct {
	body       int32
	k, j       int32
	i0, i1     int32
	standingOn bool
}

// Faces tells for every body which faces of the part it touches, and over what area seen
// from above: the marks that it leaves. The part's mesh is the one that was proved.
func (r *Report) Faces(part *mesh.Mesh) {
	if len(r.scars) == 0 {
		return
	}
	j := jointsOf(part)
	face, whole := map[int32]int32{}, map[int32]float64{}
	// The cells that are touched, and the facets above and below each.
	g := r.Grid
	touched := raster.NewBits(0, 0, g.W, g.H)
	for _, s := range r.scars {
		touched.SetSpan(int(s.j), int(s.i0), int(s.i1))
	}
	list := surfaces(part, g, &touched)
	type key struct {
		body    int32
		face    int32
		landing bool
	}
	type heap struct {
		cells  int
		sum    r3.Vec
		at     []r3.Vec
		facets map[int32]int
	}
	heaps := map[key]*heap{}
	for _, s := range r.scars {
		z := r.layers.Bottom(int(s.k))
		for i := s.i0; i < s.i1; i++ {
			cell := s.j*int32(g.W) + i
			from, _ := slices.BinarySearchFunc(list, cell, func(f surface, c int32) int { return cmp.Compare(f.cell, c) })
			best, facet := faceReach, int32(-1)
			for _, f := range list[from:] {
				if f.cell != cell {
					break
				}
				// Supports carry undersides, and stand on upper sides.
				if d := math.Abs(f.z - z); d < best && (f.turn > 0) != s.standingOn {
					best, facet = d, f.facet
				}
			}
			if facet < 0 {
				continue
			}
			if _, known := face[facet]; !known {
				first, mm2 := j.grow(facet, face)
				whole[first] = mm2
			}
			q := key{s.body, face[facet], s.standingOn}
			h := heaps[q]
			if h == nil {
				h = &heap{facets: map[int32]int{}}
				heaps[q] = h
			}
			c := g.Center(int(i), int(s.j))
			at := r3.Vec{X: c.X, Y: c.Y, Z: z}
			h.cells++
			h.sum = r3.Add(h.sum, at)
			h.at = append(h.at, at)
			h.facets[facet]++
		}
	}
	for n := range r.Bodies {
		r.Bodies[n].Touches = nil
	}
	for q, h := range heaps {
		middle := r3.Scale(1/float64(h.cells), h.sum)
		best := slices.MinFunc(h.at, func(a, b r3.Vec) int {
			return cmp.Or(cmp.Compare(r3.Norm2(r3.Sub(a, middle)), r3.Norm2(r3.Sub(b, middle))), cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X), cmp.Compare(a.Z, b.Z))
		})
		most := int32(-1)
		for facet, cells := range h.facets {
			if most < 0 || cells > h.facets[most] || cells == h.facets[most] && facet < most {
				most = facet
			}
		}
		normal := r3.Unit(part.AreaNormal(int(most)))
		b := &r.Bodies[q.body]
		b.Touches = append(b.Touches, Touch{
			Face: int(q.face), Landing: q.landing, AreaMM2: tidy(float64(h.cells) * g.CellArea()), FaceMM2: tidy(whole[q.face]),
			At:     r3.Vec{X: tidy(best.X), Y: tidy(best.Y), Z: tidy(best.Z)},
			Normal: r3.Vec{X: tidy(normal.X), Y: tidy(normal.Y), Z: tidy(normal.Z)},
		})
	}
	for n := range r.Bodies {
		slices.SortFunc(r.Bodies[n].Touches, func(a, b Touch) int {
			return cmp.Or(-cmp.Compare(a.AreaMM2, b.AreaMM2), cmp.Compare(a.Face, b.Face))
		})
	}
}

// joints lists the triangles at each vertex: vertex v's are list[start[v]:start[v+1]].
type joints struct {
	m           *mesh.Mesh
	start, list []int32
}

func jointsOf(m *mesh.Mesh) joints {
	j := joints{m, make([]int32, len(m.Vertices)+1), make([]int32, 3*len(m.Triangles))}
	for _, tri := range m.Triangles {
		for _, v := range tri {
			j.start[v+1]++
		}
	}
	for v := range m.Vertices {
		j.start[v+1] += j.start[v]
	}
	next := slices.Clone(j.start)
	for t, tri := range m.Triangles {
		for _, v := range tri {
			j.list[next[v]] = int32(t)
			next[v]++
		}
	}
	return j
}

// grow puts the face of triangle t in face, by its first triangle, and returns that
// one and the face's area.
func (j *joints) grow(t int32, face map[int32]int32) (first int32, mm2 float64) {
	todo, all := []int32{t}, []int32{}
	face[t] = t
	first = t
	for len(todo) > 0 {
		t := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		all = append(all, t)
		first = min(first, t)
		n := j.m.AreaNormal(int(t))
		mm2 += r3.Norm(n)
		tri := j.m.Triangles[t]
		for e := range tri {
			a, b := tri[e], tri[(e+1)%3]
			for _, o := range j.list[j.start[a]:j.start[a+1]] {
				if _, seen := face[o]; seen || !slices.Contains(j.m.Triangles[o][:], b) {
					continue
				}
				if p := j.m.AreaNormal(int(o)); r3.Dot(n, p) >= math.Cos(oneFace)*r3.Norm(n)*r3.Norm(p) {
					face[o] = t
					todo = append(todo, o)
				}
			}
		}
	}
	for _, o := range all {
		face[o] = first
	}
	return first, mm2
}
