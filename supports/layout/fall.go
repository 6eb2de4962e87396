package layout

import (
	"math"
	"slices"
	"sort"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// fall draws contact lines down the fall of a slope, walking its layers downward:
// the outline is longest at the top, and there lines stand as far apart as can be.
type fall struct {
	*site
	done  []line
	heads []head
}

// head is the end of a line that is still being carried on.
type head struct {
	line line
	k    int    // layer of its last point
	way  r2.Vec // where it goes on
}

const (
	// headReach is how far, in mm, a line is carried from one layer's outline to
	// the next: a slope within 4° of level moves on by more in a layer.
	headReach = 3.0
	// headLayers is how many layers a line may pause: rule 1 lets a slope near
	// the limit ask only now and then.
	headLayers = 12
	// frontMargin is how far round what asks, in mm, its outline is walked.
	frontMargin = 6.0
	// askReach is how near, in mm, something must ask for a line to run there.
	askReach = 1.5
	// cornerSlack is what a corner of cells may seem to turn more than it does.
	cornerSlack = 10 * math.Pi / 180
	// gapSlack is how much wider than planned a gap may grow: inside the margin
	// that the span keeps.
	gapSlack = 1 + 0.8*sagittaMargin
	// crowd ends a line that comes this close to another, as a share of the span
	// between them.
	crowd = 0.35
)

// descend carries lines on to the outline of layer k where it is bare, and begins
// new ones if asked to.
func (f *fall) descend(k int, bare *raster.Bits, begin bool) {
	z := f.part.Bottom(k)
	asks := raster.Dilate(bare, raster.DiscOf(askReach/f.part.Cell))
	for _, arc := range f.fronts(k, bare) {
		f.front(k, z, arc, &asks, begin)
	}
	var live []head
	for _, h := range f.heads {
		if h.k-k > headLayers {
			f.done = append(f.done, f.end(h))
		} else {
			live = append(live, h)
		}
	}
	f.heads = live
}

// fronts returns the stretches of the layer's outline that bound bare cells.
func (f *fall) fronts(k int, bare *raster.Bits) [][]r2.Vec {
	x0, y0, x1, y1 := bare.Bounds()
	if x0 == x1 {
		return nil
	}
	m := int(frontMargin/f.part.Cell) + 1
	window := raster.NewBits(x0-m, y0-m, x1+m, y1+m)
	for j := y0 - m; j < y1+m; j++ {
		window.SetSpan(j, x0-m, x1+m)
	}
	local := raster.And(f.part.Layer(k), &window)
	// A slope near the limit asks here and there; all that is new is one front.
	near := raster.AndNot(&local, f.ground(k))
	wx0, wy0, wx1, wy1 := x0-m, y0-m, x1+m, y1+m
	var out [][]r2.Vec
	for _, loop := range raster.Contours(&local) {
		for _, arc := range arcs(loop, func(c raster.Corner) bool {
			if c.I <= wx0 || c.J <= wy0 || c.I >= wx1 || c.J >= wy1 {
				return false
			}
			return near.Has(c.I, c.J) || near.Has(c.I-1, c.J) || near.Has(c.I, c.J-1) || near.Has(c.I-1, c.J-1)
		}) {
			path := make([]r2.Vec, len(arc))
			for i, c := range arc {
				path[i] = f.part.Point(c)
			}
			out = append(out, path)
		}
	}
	return out
}

// outline is a stretch of a layer's outline, walkable by length.
type outline struct {
	at     []r2.Vec
	along  []float64
	closed bool
	breaks []float64 // where it turns sharply
}

func newOutline(path []r2.Vec, tol float64) outline {
	o := outline{at: raster.Simplify(path, tol), closed: path[0] == path[len(path)-1]}
	o.along = make([]float64, len(o.at))
	for i := 1; i < len(o.at); i++ {
		o.along[i] = o.along[i-1] + distance(o.at[i-1], o.at[i])
	}
	o.findBreaks()
	return o
}

func (o *outline) length() float64 { return o.along[len(o.along)-1] }

// point returns the place at length s and the direction of the outline there.
// Closed outlines wrap, open ones end.
func (o *outline) point(s float64) (p, tangent r2.Vec) {
	total := o.length()
	if o.closed {
		s = math.Mod(math.Mod(s, total)+total, total)
	}
	s = min(max(s, 0), total)
	i := min(max(sort.SearchFloat64s(o.along, s), 1), len(o.at)-1)
	d := r2.Sub(o.at[i], o.at[i-1])
	l := o.along[i] - o.along[i-1]
	if l == 0 {
		return o.at[i], r2.Vec{}
	}
	return r2.Add(o.at[i-1], r2.Scale((s-o.along[i-1])/l, d)), r2.Scale(1/l, d)
}

// fallReach is how far to each side, in mm, an outline is looked at for the direction of
// its fall: cells of 0.1 mm over 4 mm tell it to 3°.
const fallReach = 2.0

// inward returns the direction square to the outline about s, into the layer, which is
// on its left. A corner in reach ends what is looked at.
func (o *outline) inward(s float64) r2.Vec {
	a, b := s-fallReach, s+fallReach
	for _, c := range o.breaks {
		if c <= s {
			a = max(a, c)
		}
		if c >= s {
			b = min(b, c)
		}
	}
	if b-a < fallReach/2 {
		a, b = s, s // at a corner
	}
	p, t := o.point(a)
	q, _ := o.point(b)
	if d := r2.Sub(q, p); r2.Norm2(d) > 0 {
		t = r2.Scale(1/math.Sqrt(r2.Norm2(d)), d)
	}
	return r2.Vec{X: -t.Y, Y: t.X}
}

// radius estimates the radius of curvature about s.
func (o *outline) radius(s float64) float64 { return o.bend(s, s) }

const (
	// bendReach is how far to each side of its middle, in mm, a bend is measured
	// at least, as far as an eighth of the outline allows: over 8 mm a radius of
	// 20 mm has a sagitta of 0.4 mm, four cells, which tells the span to a tenth.
	bendReach = 4.0
	// bendMost bounds it: beyond, the outline may do something else.
	bendMost = 6.0
)

// bend returns the radius of the outline between lengths a and b, from a chord's
// sagitta: R = c²/8s.
func (o *outline) bend(a, b float64) float64 {
	m := (a + b) / 2
	reach := min(max((b-a)/2, min(bendReach, o.length()/8)), bendMost)
	if a, b = m-reach, m+reach; !o.closed {
		a, b = max(a, 0), min(b, o.length())
	}
	for _, s := range o.breaks { // a corner is no bend
		if s <= m {
			a = max(a, s)
		} else {
			b = min(b, s)
		}
	}
	p, _ := o.point(a)
	q, _ := o.point(b)
	top, _ := o.point((a + b) / 2)
	c := distance(p, q)
	sag := raster.SegmentDistance(top, p, q)
	if sag < 1e-6 || c == 0 {
		return math.Inf(1)
	}
	return max(c*c/(8*sag), 0.5)
}

// breaks finds where an outline turns so sharply that a bead would cut the corner.
func (o *outline) findBreaks() {
	const leg, apart = 0.8, 1.0 // mm over which a turn is measured, and between two
	for i, p := range o.at {
		if i == 0 || !o.closed && i == len(o.at)-1 {
			continue
		}
		s := o.along[i]
		before, _ := o.point(s - leg)
		after, _ := o.point(s + leg)
		a, b := r2.Sub(p, before), r2.Sub(after, p)
		if math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b))) < cornerTurn+cornerSlack || len(o.breaks) > 0 && s-o.breaks[len(o.breaks)-1] < apart {
			continue
		}
		o.breaks = append(o.breaks, s)
	}
}

// corners returns where along an outline in air its corners are to be held: half a
// wall past the corner, on its longer side, so that the wall's flank is flush with
// it.
func (f *fall) corners(o *outline) []float64 {
	total := o.length()
	out := make([]float64, len(o.breaks))
	for i, s := range o.breaks {
		last, next := 0.0, total
		if i > 0 {
			last = o.breaks[i-1]
		}
		if i+1 < len(o.breaks) {
			next = o.breaks[i+1]
		}
		if next-s >= s-last {
			out[i] = min(s+f.wall/2, total)
		} else {
			out[i] = max(s-f.wall/2, 0)
		}
	}
	return out
}

// stop is where a line crosses an outline: the index of the head that is carried
// on, −1 for a new line. One that waits has not moved on from the last layer by
// more than cells can tell.
type stop struct {
	s     float64
	head  int
	waits bool
}

// front carries lines on to one stretch of outline and begins new ones.
func (f *fall) front(k int, z float64, path []r2.Vec, asks *raster.Bits, fresh bool) {
	o := newOutline(path, 1.5*f.part.Cell)
	asked := func(s float64) bool {
		p, _ := o.point(s)
		i, j := f.part.At(p)
		return asks.Has(i, j)
	}
	total := o.length()
	var stops []stop
	for n := range f.heads {
		if s, ok := f.carry(&f.heads[n], k, &o); ok && asked(s) {
			stops = append(stops, stop{s, n, false})
		} else if s, ok := f.rest(&f.heads[n], k, &o); ok && asked(s) {
			stops = append(stops, stop{s, n, true})
		}
	}
	sort.SliceStable(stops, func(a, b int) bool { return stops[a].s < stops[b].s })
	stops = f.thin(stops, &o)
	corners := f.corners(&o)
	if !fresh {
		corners = nil
	}
	for _, c := range corners {
		near := false
		for _, st := range stops {
			near = near || math.Abs(st.s-c) <= 2*f.s.Line
		}
		if p, _ := o.point(c); !near && asked(c) && !f.covered(p, 2*f.s.Line) {
			stops = append(stops, stop{c, -1, false})
		}
	}
	if len(stops) == 0 && fresh {
		// The middle of what asks.
		lo, hi := math.Inf(1), math.Inf(-1)
		for s := 0.0; s <= total; s += f.part.Cell {
			if asked(s) {
				lo, hi = min(lo, s), max(hi, s)
			}
		}
		if mid := (lo + hi) / 2; hi >= lo {
			if p, _ := o.point(mid); !f.covered(p, f.span(o.radius(mid))/2) {
				stops = append(stops, stop{mid, -1, false})
			}
		}
	}
	sort.SliceStable(stops, func(a, b int) bool { return stops[a].s < stops[b].s })
	// Between lines that are being carried on, a radius read a little smaller
	// than on the last layer is no reason for a line more.
	slack := 1.0
	if len(stops) > 0 && len(f.heads) > 0 {
		slack = gapSlack
	}
	var extra []float64
	fill := func(a, b float64) {
		span := slack * f.span(o.bend(a, b))
		for n, parts := 1.0, math.Ceil((b-a)/span); n < parts; n++ {
			extra = append(extra, a+(b-a)*n/parts)
		}
	}
	for i := 1; i < len(stops) && fresh; i++ {
		fill(stops[i-1].s, stops[i].s)
	}
	if len(stops) > 0 && fresh {
		if first, last := stops[0].s, stops[len(stops)-1].s; o.closed {
			fill(last, first+total)
		} else {
			fill(0, first)
			fill(last, total)
		}
	}
	begin := func(s float64) {
		p, _ := o.point(s)
		f.heads = append(f.heads, head{k: k, way: o.inward(s), line: line{at: []point{{p, z}}}})
	}
	old := len(f.heads)
	for _, st := range stops {
		if st.head < 0 {
			begin(st.s)
			continue
		}
		if st.waits {
			continue
		}
		h := &f.heads[st.head]
		p, _ := o.point(st.s)
		h.carry(point{p, z}, k, o.inward(st.s))
	}
	for _, s := range extra {
		p, _ := o.point(s)
		if asked(s) && !f.coveredBy(f.heads[:old], p, crowd*f.span(o.radius(s))) {
			begin(s)
		}
	}
}

// turnShare is how much of a line's direction the outline that it reaches makes up:
// one layer's is a few cells, which tell it badly.
const turnShare = 0.2

// carry takes the line on to a point of layer k, and turns it to the fall there.
func (h *head) carry(p point, k int, fall r2.Vec) {
	way := r2.Add(r2.Scale(1-turnShare, h.way), r2.Scale(turnShare, fall))
	if l := math.Sqrt(r2.Norm2(way)); l > 0 {
		h.way = r2.Scale(1/l, way)
	}
	h.line.at = append(h.line.at, p)
	h.k = k
}

// carry returns where a line goes on along an outline: straight on from its last
// stretch as nearly as it can.
func (f *fall) carry(h *head, k int, o *outline) (s float64, ok bool) {
	if h.k <= k {
		return 0, false
	}
	tip, u := h.line.at[len(h.line.at)-1].Vec, h.way
	best := math.Inf(1)
	for q := 0.0; q <= o.length(); q += f.part.Cell {
		p, _ := o.point(q)
		d := r2.Sub(p, tip)
		ahead, aside := r2.Dot(d, u), math.Abs(r2.Cross(d, u))
		if ahead <= 0 || ahead > headReach || aside > ahead/2+f.part.Cell {
			continue
		}
		if cost := ahead + 8*aside; cost < best {
			best, s, ok = cost, q, true
		}
	}
	return
}

// rest returns where a line's end lies on the outline of a layer that has hardly
// moved on from it.
func (f *fall) rest(h *head, k int, o *outline) (s float64, ok bool) {
	if h.k <= k {
		return 0, false
	}
	tip := h.line.at[len(h.line.at)-1].Vec
	best := 3 * f.part.Cell // two outlines, each off by as much as simplifying allows
	for q := 0.0; q <= o.length(); q += f.part.Cell {
		p, _ := o.point(q)
		if d := distance(p, tip); d < best {
			best, s, ok = d, q, true
		}
	}
	return
}

// thin ends lines that the outline does without: those whose neighbours on either
// side are within a span of each other, the most crowded first.
func (f *fall) thin(stops []stop, o *outline) []stop {
	total := o.length()
	corners := f.corners(o)
	fewest := 1 // an open outline ends where the layer below carries it
	if o.closed {
		fewest = 2
	}
	for len(stops) > fewest {
		drop, least := -1, math.Inf(1)
		for i := range stops {
			lo, hi := 0.0, total
			if o.closed {
				lo, hi = stops[len(stops)-1].s-total, stops[0].s+total
			}
			if i > 0 {
				lo = stops[i-1].s
			}
			if i+1 < len(stops) {
				hi = stops[i+1].s
			}
			if slices.ContainsFunc(corners, func(c float64) bool { return math.Abs(c-stops[i].s) <= 2*f.s.Line }) {
				continue
			}
			if gap := hi - lo; gap < least && gap <= f.span(o.bend(lo, hi)) {
				drop, least = i, gap
			}
		}
		if drop < 0 {
			break
		}
		stops = slices.Delete(stops, drop, drop+1)
	}
	return stops
}

// covered tells whether a line that is being carried on ends within r of p.
func (f *fall) covered(p r2.Vec, r float64) bool { return f.coveredBy(f.heads, p, r) }

func (f *fall) coveredBy(heads []head, p r2.Vec, r float64) bool {
	for i := range heads {
		if tip := heads[i].line.at[len(heads[i].line.at)-1]; distance(tip.Vec, p) < r {
			return true
		}
	}
	return false
}

// end takes a line on to what holds the slope below its last layer, or a wall and a
// half in.
func (f *fall) end(h head) line {
	below := f.ground(h.k)
	p := h.line.at[len(h.line.at)-1]
	want := 1.5 * f.wall
	for d := f.part.Cell; d < 2; d += f.part.Cell / 2 {
		if i, j := f.part.At(r2.Add(p.Vec, r2.Scale(d, h.way))); below.Has(i, j) {
			want = max(want, d)
			break
		}
	}
	h.line.at = append(h.line.at, point{r2.Add(p.Vec, r2.Scale(want, h.way)), p.z})
	return h.line
}

// lines ends all lines and returns them.
func (f *fall) lines() []line {
	for _, h := range f.heads {
		f.done = append(f.done, f.end(h))
	}
	f.heads = nil
	var out []line
	for _, l := range f.done {
		if l.length() < 0.5*f.wall {
			continue
		}
		l = smooth(l, traceTolerance*f.s.Line)
		l.arm = true
		out = append(out, l)
	}
	return out
}

// smooth drops points of a line that stay within tol of what is left, in plan and
// in height (Douglas and Peucker 1973, Cartographica 10(2) 112–122).
func smooth(l line, tol float64) line {
	keep := make([]bool, len(l.at))
	var part func(a, b int)
	part = func(a, b int) {
		far, at := tol, -1
		d := l.at[b].sub(l.at[a])
		for i := a + 1; i < b; i++ {
			e := l.at[i].sub(l.at[a])
			t := 0.0
			if n := r3.Norm2(d); n > 0 {
				t = min(1, max(0, r3.Dot(e, d)/n))
			}
			if off := math.Sqrt(r3.Norm2(r3.Sub(e, r3.Scale(t, d)))); off > far {
				far, at = off, i
			}
		}
		keep[a], keep[b] = true, true
		if at >= 0 {
			part(a, at)
			part(at, b)
		}
	}
	part(0, len(l.at)-1)
	out := line{}
	for i, p := range l.at {
		if keep[i] {
			out.at = append(out.at, p)
		}
	}
	return out
}

func (p point) sub(q point) r3.Vec { return r3.Vec{X: p.X - q.X, Y: p.Y - q.Y, Z: p.z - q.z} }
