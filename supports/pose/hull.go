package pose

import (
	"errors"
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrFlat is the error for points that lie in one plane, and so have no hull with
// a volume.
var ErrFlat = errors.New("the points lie in one plane")

// Hull is the convex hull of points.
type Hull struct {
	Points []r3.Vec    // its corners, and maybe some on its edges and sides, mm, in the order of the points given
	Faces  [][3]uint32 // triangles, counter-clockwise seen from outside; a flat side is several
}

// gridBits is how many steps of the grid the widest extent of the points has, as a
// power of two. A step is 1/2^29 of it: finer than a 32-bit float beyond a
// hundredth of the extent. With less than 2^29 steps a face's normal stays below
// 2^59 and its product with a difference below 2^90, so all signs are exact in 128
// bits.
const gridBits = 29

// sure is the value from which the sign of a height in floating point is certain:
// three products below 2^88, each off by no more than 2^-51 of itself, and two sums.
const sure = 1 << 41

// lattice is a point in steps of the grid.
type lattice [3]int64

func (a lattice) minus(b lattice) lattice { return lattice{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a lattice) cross(b lattice) lattice {
	return lattice{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// wide is a signed number of 128 bits.
type wide struct {
	hi int64
	lo uint64
}

func (w wide) plus(a, b int64) wide {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	hi -= uint64(a>>63)&uint64(b) + uint64(b>>63)&uint64(a) // the factors are signed
	lo, carry := bits.Add64(w.lo, lo, 0)
	sum, _ := bits.Add64(uint64(w.hi), hi, carry)
	return wide{int64(sum), lo}
}

func (w wide) sign() int {
	switch {
	case w.hi < 0:
		return -1
	case w.hi == 0 && w.lo == 0:
		return 0
	}
	return 1
}

// facet is a triangle of a hull that grows.
type facet struct {
	v       [3]int32
	next    [3]int32 // across the edge from v[i] to v[i+1]
	origin  lattice
	normal  lattice
	outside []int32 // points above it, for it alone to deal with
	gone    bool
}

// height is how far above the facet a point lies, times the normal's length; the
// sign is exact.
func (f *facet) height(p lattice) (value float64, sign int) {
	d := p.minus(f.origin)
	value = float64(f.normal[0])*float64(d[0]) + float64(f.normal[1])*float64(d[1]) + float64(f.normal[2])*float64(d[2])
	if value > sure {
		return value, 1
	}
	if value < -sure {
		return value, -1
	}
	return value, wide{}.plus(f.normal[0], d[0]).plus(f.normal[1], d[1]).plus(f.normal[2], d[2]).sign()
}

// hulling is the work on one hull: quickhull (Barber, Dobkin, Huhdanpaa 1996, ACM
// TOMS 22(4), 469–483) with exact signs, so that points in the plane of a face are
// never above it and no face has to be merged.
type hulling struct {
	at     []lattice
	facets []facet
}

// HullOf returns the convex hull of points in mm, all of them finite. The points are
// taken on a grid of 1/2^29 of their widest extent. It returns ErrFlat for points in
// one plane.
func HullOf(points []r3.Vec) (*Hull, error) {
	h := &hulling{at: onGrid(points)}
	first, err := h.simplex()
	if err != nil {
		return nil, err
	}
	h.begin(first)
	for work := []int32{0, 1, 2, 3}; len(work) > 0; {
		i := work[len(work)-1]
		if f := &h.facets[i]; f.gone || len(f.outside) == 0 {
			work = work[:len(work)-1]
			continue
		}
		work = append(work, h.grow(i)...)
	}
	return h.finish(points), nil
}

func onGrid(points []r3.Vec) []lattice {
	if len(points) == 0 {
		return nil
	}
	lo, hi := points[0], points[0]
	for _, p := range points {
		lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y), Z: min(lo.Z, p.Z)}
		hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y), Z: max(hi.Z, p.Z)}
	}
	extent := max(hi.X-lo.X, hi.Y-lo.Y, hi.Z-lo.Z)
	if extent == 0 {
		return make([]lattice, len(points))
	}
	// A power of two keeps what is on a grid already where it is.
	_, e := math.Frexp(extent)
	scale := math.Ldexp(1, gridBits-e)
	out := make([]lattice, len(points))
	for i, p := range points {
		d := r3.Sub(p, lo)
		out[i] = lattice{int64(math.Round(d.X * scale)), int64(math.Round(d.Y * scale)), int64(math.Round(d.Z * scale))}
	}
	return out
}

func (a lattice) norm2() float64 {
	x, y, z := float64(a[0]), float64(a[1]), float64(a[2])
	return x*x + y*y + z*z
}

// simplex returns four points that span a volume, far apart.
func (h *hulling) simplex() (s [4]int32, err error) {
	farthest := func(measure func(p lattice) float64) int32 {
		best, most := int32(0), math.Inf(-1)
		for i, p := range h.at {
			if m := measure(p); m > most {
				best, most = int32(i), m
			}
		}
		return best
	}
	if len(h.at) < 4 {
		return s, ErrFlat
	}
	s[0] = farthest(func(p lattice) float64 { return -float64(p[0]) })
	a := h.at[s[0]]
	s[1] = farthest(func(p lattice) float64 { return p.minus(a).norm2() })
	b := h.at[s[1]].minus(a)
	s[2] = farthest(func(p lattice) float64 { return b.cross(p.minus(a)).norm2() })
	f := facet{origin: a, normal: b.cross(h.at[s[2]].minus(a))}
	s[3] = farthest(func(p lattice) float64 {
		v, sign := f.height(p)
		if sign == 0 {
			return 0
		}
		return math.Abs(v) + 1
	})
	switch _, sign := f.height(h.at[s[3]]); sign {
	case 0:
		return s, ErrFlat
	case 1:
		s[1], s[2] = s[2], s[1] // the fourth lies below the first three
	}
	return s, nil
}

func (h *hulling) begin(s [4]int32) {
	// Neighbours are written out: face i lies opposite to the corner that it lacks.
	for _, f := range []struct{ v, next [3]int32 }{
		{[3]int32{s[0], s[1], s[2]}, [3]int32{1, 2, 3}},
		{[3]int32{s[1], s[0], s[3]}, [3]int32{0, 3, 2}},
		{[3]int32{s[2], s[1], s[3]}, [3]int32{0, 1, 3}},
		{[3]int32{s[0], s[2], s[3]}, [3]int32{0, 2, 1}},
	} {
		h.add(f.v, f.next)
	}
	all := make([]int32, len(h.at))
	for i := range all {
		all[i] = int32(i)
	}
	h.share(all, []int32{0, 1, 2, 3})
}

func (h *hulling) add(v, next [3]int32) int32 {
	a, b, c := h.at[v[0]], h.at[v[1]], h.at[v[2]]
	h.facets = append(h.facets, facet{v: v, next: next, origin: a, normal: b.minus(a).cross(c.minus(a))})
	return int32(len(h.facets) - 1)
}

// share gives each point to the first of the faces that it lies above.
func (h *hulling) share(points, faces []int32) {
	for _, p := range points {
		for _, i := range faces {
			f := &h.facets[i]
			if _, sign := f.height(h.at[p]); sign > 0 {
				f.outside = append(f.outside, p)
				break
			}
		}
	}
}

// grow takes the farthest point above face i into the hull and returns the new
// faces. Whatever lay above a face that goes is above a new one or inside: a line
// from it to that face enters the hull through a place that is new.
func (h *hulling) grow(i int32) []int32 {
	apex, most := int32(-1), math.Inf(-1)
	for _, p := range h.facets[i].outside {
		if v, _ := h.facets[i].height(h.at[p]); v > most {
			apex, most = p, v
		}
	}
	type edge struct{ from, to, beyond int32 }
	var horizon []edge
	h.facets[i].gone = true
	seen := []int32{i}
	var orphans []int32
	for n := 0; n < len(seen); n++ {
		f := h.facets[seen[n]]
		orphans = append(orphans, f.outside...)
		for k := range 3 {
			j := f.next[k]
			g := &h.facets[j]
			if g.gone {
				continue
			}
			if _, sign := g.height(h.at[apex]); sign > 0 {
				g.gone = true
				seen = append(seen, j)
				continue
			}
			horizon = append(horizon, edge{f.v[k], f.v[(k+1)%3], j})
		}
		h.facets[seen[n]].outside = nil
	}
	// The horizon is one loop, so each of its corners begins one edge.
	begins := make(map[int32]int32, len(horizon))
	fresh := make([]int32, len(horizon))
	for n, e := range horizon {
		fresh[n] = h.add([3]int32{e.from, e.to, apex}, [3]int32{e.beyond, 0, 0})
		begins[e.from] = fresh[n]
		g := &h.facets[e.beyond]
		for k := range 3 {
			if g.v[k] == e.to && g.v[(k+1)%3] == e.from {
				g.next[k] = fresh[n]
			}
		}
	}
	for n, e := range horizon {
		after := begins[e.to]
		h.facets[fresh[n]].next[1] = after
		h.facets[after].next[2] = fresh[n]
	}
	h.share(orphans, fresh)
	return fresh
}

func (h *hulling) finish(points []r3.Vec) *Hull {
	number := make([]uint32, len(points))
	for i := range h.facets {
		if f := &h.facets[i]; !f.gone {
			for _, v := range f.v {
				number[v] = 1
			}
		}
	}
	out := &Hull{}
	for i := range number {
		if number[i] != 0 {
			number[i] = uint32(len(out.Points))
			out.Points = append(out.Points, points[i])
		}
	}
	for i := range h.facets {
		if f := &h.facets[i]; !f.gone {
			out.Faces = append(out.Faces, [3]uint32{number[f.v[0]], number[f.v[1]], number[f.v[2]]})
		}
	}
	return out
}
