package pose

import (
	"math"
	"slices"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// outline returns the convex outline of points, counter-clockwise, without corners
// on a straight side (Andrew 1979, Information Processing Letters 9(5), 216–219).
// Points on one line give its two ends.
func outline(points []r2.Vec) []r2.Vec {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b r2.Vec) int {
		switch {
		case a.X != b.X:
			if a.X < b.X {
				return -1
			}
			return 1
		case a.Y < b.Y:
			return -1
		case a.Y > b.Y:
			return 1
		}
		return 0
	})
	p = slices.Compact(p)
	if len(p) < 3 {
		return p
	}
	half := func(p []r2.Vec) (ring []r2.Vec) {
		for _, q := range p {
			for n := len(ring); n > 1 && r2.Cross(r2.Sub(ring[n-1], ring[n-2]), r2.Sub(q, ring[n-1])) <= 0; n-- {
				ring = ring[:n-1]
			}
			ring = append(ring, q)
		}
		return ring[:len(ring)-1]
	}
	ring := half(p)
	slices.Reverse(p)
	return append(ring, half(p)...)
}

// stand is how a part stands when a direction of it is up.
type stand struct {
	low, high float64 // of the part along up, mm
	margin    float64 // angle in radians by which it may be tilted before it falls; 0 where it does not stand
}

// stands returns how the hull of a part with that centre of mass stands. What lies
// within depth (mm) of the lowest corner counts as on the plate.
func (h *Hull) stands(up, centre r3.Vec, depth float64) stand {
	s := stand{low: math.Inf(1), high: math.Inf(-1)}
	for _, p := range h.Points {
		z := r3.Dot(up, p)
		s.low, s.high = min(s.low, z), max(s.high, z)
	}
	e1, e2 := across(up)
	var foot []r2.Vec
	for _, p := range h.Points {
		if r3.Dot(up, p) <= s.low+depth {
			foot = append(foot, r2.Vec{X: r3.Dot(e1, p), Y: r3.Dot(e2, p)})
		}
	}
	ring := outline(foot)
	if len(ring) < 3 {
		return s
	}
	c := r2.Vec{X: r3.Dot(e1, centre), Y: r3.Dot(e2, centre)}
	inside := math.Inf(1)
	for i, p := range ring {
		d := r2.Sub(ring[(i+1)%len(ring)], p)
		inside = min(inside, r2.Cross(d, r2.Sub(c, p))/math.Sqrt(r2.Norm2(d)))
	}
	if inside > 0 {
		s.margin = math.Atan2(inside, r3.Dot(up, centre)-s.low)
	}
	return s
}

// A Rest is a side that a part may lie on.
type Rest struct {
	Up      r3.Vec  // the direction, of unit length, that is up then
	AreaMM2 float64 // of the side of the convex hull
	Tipping float64 // angle in radians by which it may be tilted before it falls; 0: it does not stand
}

// sameSide is the angle in radians within which triangles of a hull are one side:
// over 20 mm it is less than a layer's half. Common practice, no source.
const sameSide = 0.25 * math.Pi / 180

// Rests returns the sides of a hull that a part with that centre of mass (mm) stands
// on, the largest first. What lies within depth (mm) of the lowest corner counts as
// on the plate.
func (h *Hull) Rests(centre r3.Vec, depth float64) []Rest {
	type side struct{ sum, seed r3.Vec }
	normals := make([]r3.Vec, len(h.Faces))
	order := make([]int, len(h.Faces))
	for i, f := range h.Faces {
		a, b, c := h.Points[f[0]], h.Points[f[1]], h.Points[f[2]]
		normals[i], order[i] = r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a))), i
	}
	// Larger triangles have surer normals.
	slices.SortStableFunc(order, func(i, j int) int {
		switch a, b := r3.Norm2(normals[i]), r3.Norm2(normals[j]); {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	var sides []side
	near := newNear(sameSide)
	for _, i := range order {
		if r3.Norm2(normals[i]) == 0 {
			continue
		}
		n := r3.Unit(normals[i])
		k := near.find(n)
		if k < 0 {
			near.add(n)
			sides = append(sides, side{normals[i], n})
			continue
		}
		sides[k].sum = r3.Add(sides[k].sum, normals[i])
	}
	var out []Rest
	for _, s := range sides {
		// The mean normal, but for the noise of slivers that of the largest triangle.
		up := r3.Scale(-1, s.seed)
		if st := h.stands(up, centre, depth); st.margin > 0 {
			out = append(out, Rest{up, math.Sqrt(r3.Norm2(s.sum)), st.margin})
		}
	}
	slices.SortStableFunc(out, func(a, b Rest) int {
		switch {
		case a.AreaMM2 > b.AreaMM2:
			return -1
		case a.AreaMM2 < b.AreaMM2:
			return 1
		}
		return 0
	})
	return out
}

// near finds unit directions close to others, filed by cells.
type near struct {
	angle float64
	cell  float64
	files map[[3]int][]int
	dirs  []r3.Vec
}

func newNear(angle float64) *near {
	return &near{angle: angle, cell: 2 * angle, files: map[[3]int][]int{}}
}

func (n *near) file(d r3.Vec) [3]int {
	return [3]int{int(math.Floor(d.X / n.cell)), int(math.Floor(d.Y / n.cell)), int(math.Floor(d.Z / n.cell))}
}

func (n *near) add(d r3.Vec) {
	f := n.file(d)
	n.files[f] = append(n.files[f], len(n.dirs))
	n.dirs = append(n.dirs, d)
}

// find returns the first direction that was added within the angle of d, −1 if none.
func (n *near) find(d r3.Vec) int {
	best := -1
	f := n.file(d)
	for x := f[0] - 1; x <= f[0]+1; x++ {
		for y := f[1] - 1; y <= f[1]+1; y++ {
			for z := f[2] - 1; z <= f[2]+1; z++ {
				for _, k := range n.files[[3]int{x, y, z}] {
					if (best < 0 || k < best) && angleBetween(n.dirs[k], d) <= n.angle {
						best = k
					}
				}
			}
		}
	}
	return best
}

// angleBetween is exact for small angles too. Both are of unit length.
func angleBetween(a, b r3.Vec) float64 {
	return math.Atan2(math.Sqrt(r3.Norm2(r3.Cross(a, b))), r3.Dot(a, b))
}

// Centroid returns a solid's centre of mass in mm by the divergence theorem. Shells
// that overlap count twice. A mesh without volume has the middle of its bounds.
func Centroid(m *mesh.Mesh) r3.Vec {
	b := m.Bounds()
	mid := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	var sum r3.Vec
	volume := 0.0
	for t := range m.Triangles {
		p, q, r := m.Corners(t)
		p, q, r = r3.Sub(p, mid), r3.Sub(q, mid), r3.Sub(r, mid)
		v := r3.Dot(p, r3.Cross(q, r)) // six times the volume under the middle
		volume += v
		sum = r3.Add(sum, r3.Scale(v/4, r3.Add(p, r3.Add(q, r))))
	}
	size := r3.Sub(b.Max, b.Min)
	if c := r3.Scale(1/volume, sum); volume > 0 &&
		2*math.Abs(c.X) <= size.X && 2*math.Abs(c.Y) <= size.Y && 2*math.Abs(c.Z) <= size.Z {
		return r3.Add(mid, c)
	}
	return mid
}
