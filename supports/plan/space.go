package plan

import (
	"fmt"
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// pickReach is how far from the point that picks a face, in mm, the face may be.
	pickReach = 1.0
	// pickTurn is how far the face may look away from the direction given.
	pickTurn = 30 * math.Pi / 180
	// smoothTurn is the turn between two facets up to which they are one face: a
	// round one of 18 sides or more is, a chamfer's edge is not. Common practice,
	// no source.
	smoothTurn = 20 * math.Pi / 180
	// patchBin is the edge of a bin of a face's facets in plan view, in mm.
	patchBin = 2.0
)

// Space is the zones of a plan as places. The zero value and nil have none.
type Space struct {
	zones []volume
}

// volume is one zone.
type volume struct {
	id     string
	kind   Kind
	bounds r3.Box
	// distance returns how far a point is from the zone, mm; 0 inside. Beyond
	// within it may return anything larger.
	distance func(p r3.Vec, within float64) float64
	facets   []int // of the part, where the zone is a face of it
}

// ZoneError is a zone that means no place.
type ZoneError struct {
	ID, Reason string
}

func (e *ZoneError) Error() string { return fmt.Sprintf("zone %s: %s", e.ID, e.Reason) }

// NewSpace finds the places that zones mean on part m. A face that is not there is a
// *ZoneError.
func NewSpace(zones []Zone, m *mesh.Mesh) (*Space, error) {
	s := &Space{}
	for _, z := range zones {
		v := volume{id: z.ID, kind: z.Kind}
		switch {
		case z.Box != nil:
			lo, hi := vec(z.Box.Min), vec(z.Box.Max)
			v.bounds = r3.Box{Min: lo, Max: hi}
			v.distance = func(p r3.Vec, _ float64) float64 { return boxDistance(p, lo, hi) }
		case z.Cylinder != nil:
			a, b, r := vec(z.Cylinder.From), vec(z.Cylinder.To), z.Cylinder.Radius
			v.bounds = r3.Box{
				Min: r3.Vec{X: min(a.X, b.X) - r, Y: min(a.Y, b.Y) - r, Z: min(a.Z, b.Z) - r},
				Max: r3.Vec{X: max(a.X, b.X) + r, Y: max(a.Y, b.Y) + r, Z: max(a.Z, b.Z) + r},
			}
			v.distance = func(p r3.Vec, _ float64) float64 { return cylinderDistance(p, a, b, r) }
		case z.Face != nil:
			facets := facetsOf(*z.Face, m)
			if len(facets) == 0 {
				return nil, &ZoneError{z.ID, fmt.Sprintf("no face within %g mm of %s looks along %s", pickReach, vector(z.Face.At[:]...), vector(z.Face.Normal[:]...))}
			}
			p := newPatch(m, facets)
			v.bounds, v.distance, v.facets = p.bounds, p.distance, facets
		}
		s.zones = append(s.zones, v)
	}
	return s, nil
}

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

// Has tells whether there is a zone of the kind.
func (s *Space) Has(kind Kind) bool {
	if s == nil {
		return false
	}
	for i := range s.zones {
		if s.zones[i].kind == kind {
			return true
		}
	}
	return false
}

// Near returns the first zone of the kind that comes within r mm of p, "" for none.
func (s *Space) Near(kind Kind, p r3.Vec, r float64) (id string) {
	if s == nil {
		return ""
	}
	for i := range s.zones {
		if z := &s.zones[i]; z.kind == kind && z.near(p, r) {
			return z.id
		}
	}
	return ""
}

func (z *volume) near(p r3.Vec, r float64) bool {
	b := &z.bounds
	if p.X < b.Min.X-r || p.X > b.Max.X+r || p.Y < b.Min.Y-r || p.Y > b.Max.Y+r || p.Z < b.Min.Z-r || p.Z > b.Max.Z+r {
		return false
	}
	return z.distance(p, r) <= r
}

// columnStep is the distance, in mm, at which a column is looked at: half a fine
// layer.
const columnStep = 0.05

// Column returns the height up to which zones of the kind come within r mm of the
// upright line through x, y of p between lo and hi, and the zone: lo and "" where
// they do not. It errs by up to columnStep upward.
func (s *Space) Column(kind Kind, p r3.Vec, r, lo, hi float64) (top float64, id string) {
	if s == nil {
		return lo, ""
	}
	top = lo
	for i := range s.zones {
		z := &s.zones[i]
		b := &z.bounds
		if z.kind != kind || p.X < b.Min.X-r || p.X > b.Max.X+r || p.Y < b.Min.Y-r || p.Y > b.Max.Y+r {
			continue
		}
		// Half a step to either side is covered by the wider reach.
		wide := math.Hypot(r, columnStep/2)
		p.Z = min(hi, b.Max.Z+r)
		for ; p.Z >= max(top, b.Min.Z-r); p.Z -= columnStep {
			if z.distance(p, wide) <= wide {
				top, id = min(p.Z+columnStep, hi), z.id
				break
			}
		}
	}
	return top, id
}

// boxDistance returns how far p is from a box.
func boxDistance(p, lo, hi r3.Vec) float64 {
	d := r3.Vec{
		X: max(lo.X-p.X, 0, p.X-hi.X),
		Y: max(lo.Y-p.Y, 0, p.Y-hi.Y),
		Z: max(lo.Z-p.Z, 0, p.Z-hi.Z),
	}
	return math.Sqrt(r3.Norm2(d))
}

// cylinderDistance returns how far p is from a cylinder about the axis from a to b.
func cylinderDistance(p, a, b r3.Vec, r float64) float64 {
	axis := r3.Sub(b, a)
	l := math.Sqrt(r3.Norm2(axis))
	d := r3.Sub(p, a)
	along := r3.Dot(d, axis) / l
	aside := math.Sqrt(max(0, r3.Norm2(d)-along*along))
	return math.Hypot(max(-along, 0, along-l), max(0, aside-r))
}

// facetsOf returns the facets of a picked face.
func facetsOf(f Face, m *mesh.Mesh) []int {
	at, look := vec(f.At), r3.Unit(vec(f.Normal))
	normals := make([]r3.Vec, len(m.Triangles))
	first, best := -1, pickReach
	for t := range m.Triangles {
		n := m.AreaNormal(t)
		l := math.Sqrt(r3.Norm2(n))
		if l == 0 {
			continue
		}
		normals[t] = r3.Scale(1/l, n)
		if r3.Dot(normals[t], look) < math.Cos(pickTurn) {
			continue
		}
		a, b, c := m.Corners(t)
		if d := triangleDistance(at, a, b, c); d < best || first < 0 && d <= best {
			first, best = t, d
		}
	}
	if first < 0 {
		return nil
	}
	beside := map[[2]uint32][]int{}
	edge := func(a, b uint32) [2]uint32 { return [2]uint32{min(a, b), max(a, b)} }
	for t, c := range m.Triangles {
		for i := range c {
			e := edge(c[i], c[(i+1)%3])
			beside[e] = append(beside[e], t)
		}
	}
	seen := map[int]bool{first: true}
	out := []int{first}
	for i := 0; i < len(out); i++ {
		t := out[i]
		c := m.Triangles[t]
		for k := range c {
			for _, o := range beside[edge(c[k], c[(k+1)%3])] {
				if !seen[o] && r3.Dot(normals[t], normals[o]) >= math.Cos(smoothTurn) {
					seen[o] = true
					out = append(out, o)
				}
			}
		}
	}
	return out
}

// patch is facets sorted into bins in plan view.
type patch struct {
	m      *mesh.Mesh
	bounds r3.Box
	bins   map[[2]int][]int
}

func newPatch(m *mesh.Mesh, facets []int) *patch {
	p := &patch{m: m, bins: map[[2]int][]int{}}
	for n, t := range facets {
		a, b, c := m.Corners(t)
		box := r3.Box{
			Min: r3.Vec{X: min(a.X, b.X, c.X), Y: min(a.Y, b.Y, c.Y), Z: min(a.Z, b.Z, c.Z)},
			Max: r3.Vec{X: max(a.X, b.X, c.X), Y: max(a.Y, b.Y, c.Y), Z: max(a.Z, b.Z, c.Z)},
		}
		if n == 0 {
			p.bounds = box
		}
		p.bounds.Min = r3.Vec{X: min(p.bounds.Min.X, box.Min.X), Y: min(p.bounds.Min.Y, box.Min.Y), Z: min(p.bounds.Min.Z, box.Min.Z)}
		p.bounds.Max = r3.Vec{X: max(p.bounds.Max.X, box.Max.X), Y: max(p.bounds.Max.Y, box.Max.Y), Z: max(p.bounds.Max.Z, box.Max.Z)}
		for j := binOf(box.Min.Y); j <= binOf(box.Max.Y); j++ {
			for i := binOf(box.Min.X); i <= binOf(box.Max.X); i++ {
				p.bins[[2]int{i, j}] = append(p.bins[[2]int{i, j}], t)
			}
		}
	}
	return p
}

func binOf(v float64) int { return int(math.Floor(v / patchBin)) }

func (p *patch) distance(q r3.Vec, within float64) float64 {
	best := math.Inf(1)
	for j := binOf(q.Y - within); j <= binOf(q.Y+within); j++ {
		for i := binOf(q.X - within); i <= binOf(q.X+within); i++ {
			for _, t := range p.bins[[2]int{i, j}] {
				a, b, c := p.m.Corners(t)
				best = min(best, triangleDistance(q, a, b, c))
			}
		}
	}
	return best
}

// triangleDistance returns how far p is from a triangle: from its plane where p is
// over it, else from its nearest edge.
func triangleDistance(p, a, b, c r3.Vec) float64 {
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	if area := r3.Norm2(n); area > 0 {
		in := true
		for _, e := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
			in = in && r3.Dot(n, r3.Cross(r3.Sub(e[1], e[0]), r3.Sub(p, e[0]))) >= 0
		}
		if in {
			return math.Abs(r3.Dot(r3.Sub(p, a), n)) / math.Sqrt(area)
		}
	}
	return min(segmentDistance(p, a, b), segmentDistance(p, b, c), segmentDistance(p, c, a))
}

func segmentDistance(p, a, b r3.Vec) float64 {
	d := r3.Sub(b, a)
	t := 0.0
	if l := r3.Norm2(d); l > 0 {
		t = min(1, max(0, r3.Dot(r3.Sub(p, a), d)/l))
	}
	return math.Sqrt(r3.Norm2(r3.Sub(p, r3.Add(a, r3.Scale(t, d)))))
}
