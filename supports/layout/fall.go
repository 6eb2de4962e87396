package layout

import (
	"math"
	"sort"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// fall draws contact lines down the fall of a slope, walking its layers upward.
type fall struct {
	*site
	done  []line
	heads []head
}

// head is the upper end of a line that is still being carried on.
type head struct {
	line line
	k    int // layer of its last point
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
	// crowd ends a line that comes this close to another, as a share of the span
	// between them.
	crowd = 0.35
)

// climb carries lines on to the outline of layer k where it is bare, and begins
// new ones if asked to.
func (f *fall) climb(k int, bare *raster.Bits, begin bool) {
	z := f.part.Bottom(k)
	asks := raster.Dilate(bare, raster.DiscOf(askReach/f.part.Cell))
	for _, arc := range f.fronts(k, bare) {
		f.front(k, z, arc, &asks, begin)
	}
	var live []head
	for _, h := range f.heads {
		if k-h.k > headLayers {
			f.done = append(f.done, h.line)
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
}

func newOutline(path []r2.Vec, tol float64) outline {
	o := outline{at: raster.Simplify(path, tol), closed: path[0] == path[len(path)-1]}
	o.along = make([]float64, len(o.at))
	for i := 1; i < len(o.at); i++ {
		o.along[i] = o.along[i-1] + distance(o.at[i-1], o.at[i])
	}
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

// radius estimates the radius of curvature about s.
func (o *outline) radius(s float64) float64 {
	const reach = 1.5 // mm to each side
	if o.closed {
		return o.bend(s-reach, s+reach)
	}
	return o.bend(max(s-reach, 0), min(s+reach, o.length()))
}

// bend returns the radius of the outline between lengths a and b, or of the
// middle of a long stretch, from a chord's sagitta: R = c²/8s.
func (o *outline) bend(a, b float64) float64 {
	const longest = 12.0 // mm
	m := (a + b) / 2
	a, b = max(a, m-longest/2), min(b, m+longest/2)
	p, _ := o.point(a)
	q, _ := o.point(b)
	top, _ := o.point(m)
	c := distance(p, q)
	sag := raster.SegmentDistance(top, p, q)
	if sag < 1e-6 || c == 0 {
		return math.Inf(1)
	}
	return max(c*c/(8*sag), 0.5)
}

// corners returns where along an outline in air it turns so sharply that the bead
// would cut the corner: half a wall past the corner, so that the wall's flank is
// flush with it.
func (f *fall) corners(o *outline) []float64 {
	const leg, apart = 0.8, 1.0 // mm over which a turn is measured, and between two
	total := o.length()
	var out []float64
	for i, p := range o.at {
		if i == 0 || !o.closed && i == len(o.at)-1 {
			continue
		}
		s := o.along[i]
		before, _ := o.point(s - leg)
		after, _ := o.point(s + leg)
		a, b := r2.Sub(p, before), r2.Sub(after, p)
		if math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b))) < cornerTurn+cornerSlack || len(out) > 0 && s-out[len(out)-1] < apart {
			continue
		}
		// The longer side of the corner is the one to stand under.
		next := total - s
		if i+1 < len(o.along) {
			next = o.along[i+1] - s
		}
		if next >= s-o.along[i-1] {
			s = min(s+f.wall/2, total)
		} else {
			s = max(s-f.wall/2, 0)
		}
		out = append(out, s)
	}
	return out
}

// stop is where a line crosses an outline: the index of the head that is carried
// on, −1 for a new line.
type stop struct {
	s    float64
	head int
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
			stops = append(stops, stop{s, n})
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
			stops = append(stops, stop{c, -1})
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
				stops = append(stops, stop{mid, -1})
			}
		}
	}
	sort.SliceStable(stops, func(a, b int) bool { return stops[a].s < stops[b].s })
	var extra []float64
	fill := func(a, b float64) {
		span := f.span(o.bend(a, b))
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
		p, tangent := o.point(s)
		f.heads = append(f.heads, head{line{at: []point{{f.inner(k, p, tangent), z}, {p, z}}}, k})
	}
	old := len(f.heads)
	for _, st := range stops {
		if st.head < 0 {
			begin(st.s)
			continue
		}
		h := &f.heads[st.head]
		p, _ := o.point(st.s)
		h.line.at = append(h.line.at, point{p, z})
		h.k = k
	}
	for _, s := range extra {
		p, _ := o.point(s)
		if asked(s) && !f.coveredBy(f.heads[:old], p, crowd*f.span(o.radius(s))) {
			begin(s)
		}
	}
}

// carry returns where a line goes on along an outline: straight on from its last
// stretch as nearly as it can.
func (f *fall) carry(h *head, k int, o *outline) (s float64, ok bool) {
	if h.k >= k {
		return 0, false
	}
	n := len(h.line.at) - 1
	tip, back := h.line.at[n].Vec, h.line.at[max(0, n-4)].Vec
	u := r2.Sub(tip, back)
	if l := math.Sqrt(r2.Norm2(u)); l > 0 {
		u = r2.Scale(1/l, u)
	}
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

// thin ends lines that crowd; of two, the one with the longer past goes on.
func (f *fall) thin(stops []stop, o *outline) []stop {
	kept := stops[:0]
	for _, st := range stops {
		if len(kept) > 0 {
			last := &kept[len(kept)-1]
			if st.s-last.s < crowd*f.span(o.radius(st.s)) && st.s-last.s < o.length()/2 {
				if f.heads[st.head].line.length() > f.heads[last.head].line.length() {
					*last = st
				}
				continue
			}
		}
		kept = append(kept, st)
	}
	return kept
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

// inner returns where a new line begins: square to the outline at p, at what holds
// the slope below, or a wall and a half in.
func (f *fall) inner(k int, p, tangent r2.Vec) r2.Vec {
	below := f.ground(k)
	// The layer is on the outline's left.
	u := r2.Vec{X: -tangent.Y, Y: tangent.X}
	want := 1.5 * f.wall
	for d := f.part.Cell; d < 2; d += f.part.Cell / 2 {
		if i, j := f.part.At(r2.Add(p, r2.Scale(d, u))); below.Has(i, j) {
			want = max(want, d)
			break
		}
	}
	return r2.Add(p, r2.Scale(want, u))
}

// lines ends all lines and returns them.
func (f *fall) lines() []line {
	for _, h := range f.heads {
		f.done = append(f.done, h.line)
	}
	f.heads = nil
	var out []line
	for _, l := range f.done {
		if l.length() < 0.5*f.wall {
			continue
		}
		out = append(out, smooth(l, traceTolerance*f.s.Line))
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
