package remedy

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Bore is a cylindrical hole, or the part of one that a mesh has: an open channel
// is a bore that covers less than a full turn.
type Bore struct {
	Axis   r3.Vec     // unit; its largest component is positive
	Point  r3.Vec     // on the axis, half way along the bore
	Radius float64    // of the true circle, through the corners of the facets
	Error  float64    // largest distance of a corner that was fitted from the cylinder
	Ends   [2]float64 // along the axis from Point, the further ones where oblique
	// Arcs are the stretches of the turn that have a wall somewhere along the
	// bore, as rising, disjoint angles from −π to π. Zero is the crown, the
	// highest line of the bore; of an upright bore, any.
	Arcs    [][2]float64
	Covered float64 // sum of Arcs
	Tilt    float64 // of the axis from the horizontal, 0 to π/2
	Faces   []int   // triangles of the mesh, rising
}

const (
	// facetTurn is the most that neighbouring facets of a bore differ in
	// direction: a polygon of ten sides. A hole of eight sides is taken for an
	// octagon that is meant.
	facetTurn = 36 * math.Pi / 180
	// patchTurn is how far the facets of a first guess may differ from the one
	// it starts with: small beside the quarter turn that a bore must have, so
	// that somewhere on it a patch lies clear of the walls that run on from it.
	patchTurn = 20 * math.Pi / 180
	// spentTurn marks the facets that need not be tried again when a patch
	// is no part of a bore.
	spentTurn = 14 * math.Pi / 180
	// turning is the least that the facets of a patch must differ to say
	// anything about a radius.
	turning = 5 * math.Pi / 180
	// alongAxis is the sine of the angle to the axis below which a facet runs
	// along it, 1.1°: room for rounding, and less than the rings of a dome lean.
	alongAxis = 0.02
	// patchFaces bounds a patch, so that a fine mesh takes no longer per triangle.
	patchFaces = 4096
	// patchLeast is the fewest triangles with leastPoints corners, in a strip.
	patchLeast = leastPoints - 2
	// patchPoints is how many corners of a patch the first guess is fitted to.
	patchPoints = 64
	// leastArc is the least that a bore covers. A facet may lack at either end
	// by rounding.
	leastArc = 89 * math.Pi / 180
	// A corner lies on the true circle to within slackLength + slackShare·r: a
	// text file with three decimals is off by 0.0005 mm per coordinate, and a
	// circle drawn through sampled points of a field by some 0.01 % of r. Far
	// below the sagitta that tells a flat from an arc.
	slackLength = 0.003
	slackShare  = 0.001
	// trims is how often a first guess drops corners that lie too far inside.
	trims = 4
	// trimmedSlack is the share of the slack that is left to those that remain.
	trimmedSlack = 1.0 / 8
	// growRounds bounds the rounds of growing and fitting anew.
	growRounds = 16
	// workShare bounds all visits of triangles, as a multiple of their number. A
	// smooth body without a bore takes about five.
	workShare = 128
)

// leastPoints is how many corners say that they lie on a cylinder: two more than
// it has unknowns. A circle runs through any three lines of two corners each.
const leastPoints = 7

// facetSagitta is how far inside the circle, as a share of its radius, the chord
// of the widest facet comes.
var facetSagitta = 1 - math.Cos(facetTurn/2)

func slack(radius float64) float64 { return slackLength + slackShare*radius }

// Bores returns the cylindrical holes of a mesh, in the order of their first
// triangles: connected facets that face an axis, at most 36° from one to the
// next, whose corners lie on one circular cylinder and which cover at least a
// quarter turn. Corners on the chord between two of them, where another face
// cuts a facet, belong to the bore but are not fitted. Axes may run any way; see
// [Bore.Horizontal]. Pieces side by side on one cylinder, as a slit leaves them,
// are one bore; pieces one behind the other are several. Facets end at edges of
// other than two triangles. A mesh that does not pass [mesh.Mesh.Check] has no
// bores.
//
// Facets may be skewed, as long as they are not much broader than long: those
// of a lantern lean along the axis more than they turn round it.
//
// The concave fillet of a quarter turn is a bore here too, for its faces do not
// differ from those of a channel; [Bore.Crown] tells it from a crown.
//
// Spheres, cones and bent tubes pass for cylinders over a narrow belt; belts
// are left out where their corners deviate as those of a sphere would, or the
// hollow goes on at both ends. The search ends early on a mesh so rough that it
// would take out of proportion to its triangles.
func Bores(m *mesh.Mesh) []Bore {
	if len(m.Triangles) == 0 || m.Check() != nil {
		return nil
	}
	f := newFinder(m)
	var out []Bore
	for t := range m.Triangles {
		if f.mark[t] == fresh && f.work > 0 {
			if b, ok := f.try(int32(t)); ok {
				out = append(out, b)
			}
		}
	}
	out = f.join(out)
	slices.SortFunc(out, func(a, b Bore) int { return cmp.Compare(a.Faces[0], b.Faces[0]) })
	return out
}

// join makes one bore of the pieces that lie side by side on one cylinder.
func (f *finder) join(list []Bore) []Bore {
	// Pieces of one bore share the point of the axis that is nearest the origin.
	foot := func(b *Bore) r3.Vec { return r3.Sub(b.Point, r3.Scale(r3.Dot(b.Point, b.Axis), b.Axis)) }
	slices.SortStableFunc(list, func(a, b Bore) int { return cmp.Compare(foot(&a).X, foot(&b).X) })
	var out []Bore
	used := make([]bool, len(list))
	for i := range list {
		if used[i] {
			continue
		}
		a := &list[i]
		within := 2 * slack(a.Radius)
		f.queue = f.queue[:0]
		for j := i; j < len(list) && foot(&list[j]).X-foot(a).X <= within; j++ {
			b := &list[j]
			d := r3.Sub(b.Point, a.Point)
			along := r3.Dot(d, a.Axis)
			same := math.Abs(a.Radius-b.Radius) <= within &&
				length(r3.Sub(d, r3.Scale(along, a.Axis))) <= within &&
				length(r3.Cross(a.Axis, b.Axis))*b.Length() <= 2*within &&
				math.Abs(along) < (a.Length()+b.Length())/2-within
			if i == j || !used[j] && same {
				used[j] = true
				for _, t := range b.Faces {
					f.queue = append(f.queue, int32(t))
				}
			}
		}
		if len(f.queue) > len(a.Faces) {
			c := cylinder{axis: a.Axis, point: a.Point, radius: a.Radius}
			f.collect(&c, len(f.m.Vertices))
			c = c.refine(f.points)
			if b, ok := f.measure(&c); ok {
				out = append(out, b)
				continue
			}
		}
		out = append(out, *a)
	}
	return out
}

// What has become of a triangle.
const (
	fresh = iota
	spent // no bore begins here, but one may grow over it
	taken
)

// finder holds what the search for bores needs of a mesh.
type finder struct {
	m      *mesh.Mesh
	normal []r3.Vec   // unit, zero for a triangle without area
	beside [][3]int32 // triangle over each edge, or −1
	mark   []uint8
	seen   []uint32 // rounds that reached a triangle last
	met    []uint32 // and a vertex
	round  uint32
	queue  []int32
	points []r3.Vec
	bend   float64 // of the last patch, mm: negative in a hollow
	widest float64 // largest radius that makes sense
	work   int     // visits left
}

func newFinder(m *mesh.Mesh) *finder {
	n := len(m.Triangles)
	box := m.Bounds()
	f := &finder{
		m:      m,
		normal: make([]r3.Vec, n),
		beside: neighbours(m),
		mark:   make([]uint8, n),
		seen:   make([]uint32, n),
		met:    make([]uint32, len(m.Vertices)),
		widest: length(r3.Sub(box.Max, box.Min)) / 2,
		work:   workShare * n,
	}
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		u, v := r3.Sub(b, a), r3.Sub(c, a)
		d := r3.Cross(u, v)
		size := length(d)
		if long := max(r3.Norm2(u), r3.Norm2(v)); size > mesh.FlatTriangle*long {
			f.normal[t] = r3.Scale(1/size, d)
		} else {
			f.mark[t] = spent
		}
	}
	return f
}

// try looks for a bore round triangle t.
func (f *finder) try(t int32) (Bore, bool) {
	f.mark[t] = spent
	if !f.patch(t, patchTurn) {
		f.patch(t, facetTurn+1e-3)
	}
	like := math.Cos(spentTurn)
	for _, q := range f.queue {
		if f.mark[q] == fresh && r3.Dot(f.normal[q], f.normal[t]) >= like {
			f.mark[q] = spent
		}
	}
	c, ok := f.guess()
	if !ok {
		return Bore{}, false
	}
	start := slices.IndexFunc(f.queue, func(q int32) bool { return f.normal[q] != r3.Vec{} && f.lies(&c, q) })
	if start < 0 {
		return Bore{}, false
	}
	t = f.queue[start]
	// Each round grows over what the cylinder so far touches, and fits it anew.
	size := 0
	for range growRounds {
		f.flood(t, len(f.normal), func(_, q int32) bool { return f.lies(&c, q) })
		f.collect(&c, len(f.m.Vertices))
		if len(f.queue) <= size || len(f.points) < leastPoints {
			break
		}
		size = len(f.queue)
		c = c.refine(f.points)
	}
	b, ok := f.measure(&c)
	for _, q := range f.queue {
		switch {
		case ok:
			f.mark[q] = taken
		case b.Covered >= leastArc: // a belt; it would be found again all round
			f.mark[q] = spent
		}
	}
	return b, ok
}

// patch gathers in the queue the connected triangles round t whose normals lie
// within turn of its own, and tells whether there is enough of it to fit. Bend
// sums how normals turn along the way: against it in a hollow.
func (f *finder) patch(t int32, turn float64) bool {
	within, turned := math.Cos(turn), math.Cos(turning)
	least := 1.0
	f.bend = 0
	f.flood(t, patchFaces, func(from, q int32) bool {
		d := r3.Dot(f.normal[q], f.normal[t])
		if d < within {
			return false
		}
		least = min(least, d)
		f.bend += r3.Dot(r3.Sub(f.normal[q], f.normal[from]), r3.Sub(f.centre(q), f.centre(from)))
		return true
	})
	return least <= turned && len(f.queue) >= patchLeast
}

// flood gathers in the queue up to limit connected triangles for which ok holds,
// beginning with t. It passes over triangles without area as if they were not
// there; ok sees each with the one that it was reached from.
func (f *finder) flood(t int32, limit int, ok func(from, q int32) bool) {
	f.round++
	f.queue = append(f.queue[:0], t)
	f.seen[t] = f.round
	for i := 0; i < len(f.queue) && len(f.queue) < limit; i++ {
		from := f.queue[i]
		for _, q := range f.beside[from] {
			if q < 0 || f.seen[q] == f.round {
				continue
			}
			f.seen[q] = f.round
			if f.mark[q] != taken && (f.normal[q] == r3.Vec{} || ok(from, q)) {
				f.queue = append(f.queue, q)
			}
		}
	}
	f.work -= len(f.queue)
}

// collect gathers the corners of the queue's triangles, up to limit of them,
// evenly; given a cylinder, those on it.
func (f *finder) collect(c *cylinder, limit int) {
	f.round++
	f.points = f.points[:0]
	for _, t := range f.queue {
		if f.normal[t] == (r3.Vec{}) {
			continue
		}
		for _, v := range f.m.Triangles[t] {
			if f.met[v] != f.round {
				f.met[v] = f.round
				if p := f.m.Vertices[v]; c == nil || math.Abs(c.off(p)) <= slack(c.radius) {
					f.points = append(f.points, p)
				}
			}
		}
	}
	if n := len(f.points); n > limit {
		for i := range limit {
			f.points[i] = f.points[i*n/limit]
		}
		f.points = f.points[:limit]
	}
}

// guess fits a cylinder to the patch in the queue.
func (f *finder) guess() (cylinder, bool) {
	if f.bend >= 0 {
		return cylinder{}, false
	}
	var moment [6]float64
	for _, t := range f.queue {
		n := f.normal[t]
		area := length(f.m.AreaNormal(int(t)))
		moment[0] += area * n.X * n.X
		moment[1] += area * n.X * n.Y
		moment[2] += area * n.X * n.Z
		moment[3] += area * n.Y * n.Y
		moment[4] += area * n.Y * n.Z
		moment[5] += area * n.Z * n.Z
	}
	axis, ratio, ok := flattest(&moment)
	if !ok || ratio > 0.5 { // it bends both ways
		return cylinder{}, false
	}
	f.collect(nil, patchPoints)
	if len(f.points) < leastPoints {
		return cylinder{}, false
	}
	c, ok := fitCircle(f.points, axis)
	if !ok {
		return c, false
	}
	all := len(f.points)
	within := 1.0 // of the slack
	for range trims {
		c = c.refine(f.points)
		worst := c.worst(f.points)
		if c.radius > f.widest || worst > c.radius*facetSagitta+slack(c.radius) {
			return c, false
		}
		if worst <= within*slack(c.radius) {
			return c, true
		}
		// The innermost may lie on chords, or on a dome that closes the bore:
		// the rest must do without them, and be many or the most of all.
		f.points = slices.DeleteFunc(f.points, func(p r3.Vec) bool { return c.off(p) < -worst/4 })
		if n := len(f.points); n < leastPoints || n < leastPoints+3 && 2*n < all {
			return c, false
		}
		within = trimmedSlack
	}
	return c, false
}

func (f *finder) centre(t int32) r3.Vec {
	a, b, c := f.m.Corners(int(t))
	return r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
}

// lies tells whether triangle q lies on the cylinder: its corners within the
// slack, its normal towards the axis, and no wider than a facet. On a facet
// that runs along the axis, corners may be on the chord.
func (f *finder) lies(c *cylinder, q int32) bool {
	n := f.normal[q]
	within := slack(c.radius)
	inside := within
	if math.Abs(r3.Dot(n, c.axis)) <= alongAxis {
		inside += c.radius * facetSagitta
	}
	var corners [3]r3.Vec
	corners[0], corners[1], corners[2] = f.m.Corners(int(q))
	var sum r3.Vec
	for i, p := range corners {
		corners[i] = c.radial(p)
		if off := length(corners[i]) - c.radius; off > within || off < -inside {
			return false
		}
		sum = r3.Add(sum, corners[i])
	}
	if -r3.Dot(sum, n) < math.Cos(facetTurn)*length(sum) {
		return false
	}
	// Corners a facet apart: their chord is 2r·sin of half the turn.
	chord := 2*c.radius*math.Sin(facetTurn/2) + within
	for i, p := range corners {
		if length(r3.Sub(p, corners[(i+1)%3])) > chord {
			return false
		}
	}
	return true
}

// measure makes a bore of the triangles in the queue and their corners in
// points, and tells whether it is one.
func (f *finder) measure(c *cylinder) (Bore, bool) {
	b := Bore{Axis: c.axis, Radius: c.radius}
	if !(c.radius > 0) || c.radius > f.widest || len(f.points) < leastPoints {
		return b, false
	}
	b.Error = c.worst(f.points)
	within := slack(c.radius)
	if !(b.Error <= within) {
		return b, false
	}
	if a := b.Axis; -min(a.X, a.Y, a.Z) > max(a.X, a.Y, a.Z) {
		b.Axis = r3.Scale(-1, a)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, t := range f.queue {
		for _, v := range f.m.Triangles[t] {
			z := r3.Dot(r3.Sub(f.m.Vertices[v], c.point), b.Axis)
			lo, hi = min(lo, z), max(hi, z)
		}
	}
	b.Point = r3.Add(c.point, r3.Scale((lo+hi)/2, b.Axis))
	b.Ends = [2]float64{(lo - hi) / 2, (hi - lo) / 2}
	b.Tilt = math.Asin(min(1, math.Abs(b.Axis.Z)))
	f.arcs(&b)
	if b.Covered < leastArc || f.belt(&b) {
		return b, false
	}
	for _, t := range f.queue {
		b.Faces = append(b.Faces, int(t))
	}
	slices.Sort(b.Faces)
	return b, true
}

// belt tells whether the triangles in the queue are a belt round a body that goes
// on smoothly, and not a bore.
func (f *finder) belt(b *Bore) bool {
	// A sphere of radius r rises by l²/8r over a belt of length l, which a
	// cylinder halves: it stays within the slack up to l = 4√(r·slack). Such a
	// belt grows until it almost fills the slack; a true bore does not.
	within := slack(b.Radius)
	if b.Length() < max(5*math.Sqrt(b.Radius*within), b.Radius) && b.Error > within/16 {
		return true
	}
	if b.Length() >= 2*b.Radius {
		return false
	}
	// A sphere of few facets has true belts, but hollows on beyond both ends.
	f.round++
	for _, t := range f.queue {
		f.seen[t] = f.round
	}
	hollow, ends := 0.0, 0.0
	for _, t := range f.queue {
		for k, q := range f.beside[t] {
			p := f.m.Vertices[f.m.Triangles[t][k]]
			edge := r3.Sub(f.m.Vertices[f.m.Triangles[t][(k+1)%3]], p)
			size := length(edge)
			if q >= 0 && f.seen[q] == f.round || math.Abs(r3.Dot(edge, b.Axis)) > 0.9*size {
				continue
			}
			ends += size
			if q >= 0 && r3.Dot(f.normal[t], f.normal[q]) > math.Cos(facetTurn) &&
				r3.Dot(f.normal[t], r3.Sub(f.centre(q), p)) > 0 {
				hollow += size
			}
		}
	}
	return hollow > 0.75*ends
}

// arcs measures the turn that the triangles in the queue cover.
func (f *finder) arcs(b *Bore) {
	x, up := b.section()
	angle := func(v uint32) float64 {
		d := r3.Sub(f.m.Vertices[v], b.Point)
		return math.Atan2(r3.Dot(d, x), r3.Dot(d, up))
	}
	var list [][2]float64
	for _, q := range f.queue {
		if f.normal[q] == (r3.Vec{}) {
			continue
		}
		t := f.m.Triangles[q]
		a := angle(t[0])
		lo, hi := a, a
		for _, v := range t[1:] {
			turn := a + math.Remainder(angle(v)-a, 2*math.Pi)
			lo, hi = min(lo, turn), max(hi, turn)
		}
		switch {
		case lo < -math.Pi:
			list = append(list, [2]float64{lo + 2*math.Pi, math.Pi}, [2]float64{-math.Pi, hi})
		case hi > math.Pi:
			list = append(list, [2]float64{lo, math.Pi}, [2]float64{-math.Pi, hi - 2*math.Pi})
		default:
			list = append(list, [2]float64{lo, hi})
		}
	}
	slices.SortFunc(list, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	const joint = 1e-3 // rad; facets that meet do so to within rounding
	for _, a := range list {
		if n := len(b.Arcs); n > 0 && a[0] <= b.Arcs[n-1][1]+joint {
			b.Arcs[n-1][1] = max(b.Arcs[n-1][1], a[1])
		} else {
			b.Arcs = append(b.Arcs, a)
		}
	}
	for _, a := range b.Arcs {
		b.Covered += a[1] - a[0]
	}
}

// section returns the unit directions across the bore and up, both square to the
// axis, so that across, up and axis are right-handed. Of an upright bore, up is
// any.
func (b *Bore) section() (x, up r3.Vec) {
	up = r3.Sub(r3.Vec{Z: 1}, r3.Scale(b.Axis.Z, b.Axis))
	if length(up) < 1e-6 {
		up, _ = across(b.Axis)
	}
	up = r3.Unit(up)
	return r3.Cross(up, b.Axis), up
}

// Length returns the length along the axis, in mm.
func (b *Bore) Length() float64 { return b.Ends[1] - b.Ends[0] }

// Horizontal tells whether the bore lies flat enough for its crown to be beyond
// the limit: its highest line leans π/2 − tilt from the vertical.
func (b *Bore) Horizontal(limit float64) bool {
	return math.Cos(b.Tilt) > math.Sin(limit)+1e-9
}

// Crown returns what of the bore's top is beyond the limit. It is empty where
// the bore is not [Bore.Horizontal], where what covers the top is not this
// bore's wall, and for a quarter turn that ends at the top, as the fillet
// between a wall and a ceiling does: a slit in the top leaves a crown.
//
// On a bore tilted by τ, the wall at angle φ from the crown has a normal that
// rises cos φ·cos τ, so in its own section it goes beyond a limit of which the
// sine is sin(limit)/cos τ; for a level bore that is the limit itself.
func (b *Bore) Crown(limit float64) Crown {
	if !b.Horizontal(limit) {
		return Crown{}
	}
	c := Crown{Radius: b.Radius, Limit: math.Asin(math.Sin(limit) / math.Cos(b.Tilt))}
	half := c.Angle() / 2
	var left, right float64
	for _, a := range b.Arcs {
		left += max(0, min(a[1], 0)-max(a[0], -half))
		right += max(0, min(a[1], half)-max(a[0], 0))
	}
	const facet = facetTurn / 2 // a fillet's last facet may pass the top
	oneSided := min(left, right) < min(facet, half/2)
	if left+right == 0 || oneSided && b.Covered < math.Pi/2+2*facet {
		return Crown{}
	}
	return c
}

func (b *Bore) String() string {
	deg := 180 / math.Pi
	return fmt.Sprintf("bore of %.2f mm diameter, %.1f mm long, at %.1f, %.1f, %.1f, %.0f° round, tilted %.1f°",
		2*b.Radius, b.Length(), b.Point.X, b.Point.Y, b.Point.Z, b.Covered*deg, b.Tilt*deg)
}

// neighbours returns for every triangle the one over each of its edges (edge k
// runs from corner k), or −1 where the edge is not shared by exactly two that
// run along it in opposite directions.
func neighbours(m *mesh.Mesh) [][3]int32 {
	type side struct {
		high uint32 // the edge's other vertex
		at   uint32 // 3·triangle + edge
	}
	// A counting sort by the lower vertex, as mesh.Topology does it.
	start := make([]uint32, len(m.Vertices)+1)
	each := func(visit func(lo uint32, s side)) {
		for i, t := range m.Triangles {
			if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
				continue
			}
			for k := range 3 {
				a, b := t[k], t[(k+1)%3]
				visit(min(a, b), side{max(a, b), uint32(3*i + k)})
			}
		}
	}
	each(func(lo uint32, _ side) { start[lo+1]++ })
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	sides := make([]side, start[len(m.Vertices)])
	next := slices.Clone(start)
	each(func(lo uint32, s side) {
		sides[next[lo]] = s
		next[lo]++
	})
	out := make([][3]int32, len(m.Triangles))
	for i := range out {
		out[i] = [3]int32{-1, -1, -1}
	}
	for v := range m.Vertices {
		file := sides[start[v]:start[v+1]]
		slices.SortFunc(file, func(a, b side) int { return cmp.Compare(a.high, b.high) })
		for len(file) > 0 {
			n := 1
			for n < len(file) && file[n].high == file[0].high {
				n++
			}
			if n == 2 {
				p, q := file[0].at, file[1].at
				if m.Triangles[p/3][p%3] != m.Triangles[q/3][q%3] {
					out[p/3][p%3], out[q/3][q%3] = int32(q/3), int32(p/3)
				}
			}
			file = file[n:]
		}
	}
	return out
}
