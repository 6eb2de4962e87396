package layout

import (
	"math"
	"sort"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
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
	// crowd ends a line that comes this close to another, as a share of the span
	// between them.
	crowd = 0.35
)

// climb carries lines on to the outline of layer k where it is bare.
func (f *fall) climb(k int, bare *raster.Bits) {
	layer := f.part.Layer(k)
	z := f.part.Bottom(k)
	for _, arc := range f.fronts(layer, bare) {
		f.front(k, z, arc)
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
func (f *fall) fronts(layer, bare *raster.Bits) [][]r2.Vec {
	x0, y0, x1, y1 := bare.Bounds()
	if x0 == x1 {
		return nil
	}
	m := int(3/f.part.Cell) + 1
	window := raster.NewBits(x0-m, y0-m, x1+m, y1+m)
	for j := y0 - m; j < y1+m; j++ {
		window.SetSpan(j, x0-m, x1+m)
	}
	local := raster.And(layer, &window)
	wx0, wy0, wx1, wy1 := x0-m, y0-m, x1+m, y1+m
	var out [][]r2.Vec
	for _, loop := range raster.Contours(&local) {
		for _, arc := range arcs(loop, func(c raster.Corner) bool {
			if c.I <= wx0 || c.J <= wy0 || c.I >= wx1 || c.J >= wy1 {
				return false
			}
			return bare.Has(c.I, c.J) || bare.Has(c.I-1, c.J) || bare.Has(c.I, c.J-1) || bare.Has(c.I-1, c.J-1)
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

// front carries lines on to one stretch of outline and begins new ones.
func (f *fall) front(k int, z float64, path []r2.Vec) {
	along := make([]float64, len(path))
	for i := 1; i < len(path); i++ {
		along[i] = along[i-1] + distance(path[i-1], path[i])
	}
	total := along[len(along)-1]
	closed := path[0] == path[len(path)-1]
	half := f.wall / 2

	// Where lines must be: at corners in air and at free ends.
	type stop struct {
		s    float64
		head int // −1: a new line
	}
	var stops []stop
	for n := range f.heads {
		h := &f.heads[n]
		if h.k >= k {
			continue
		}
		tip := h.line.at[len(h.line.at)-1].Vec
		best, at := headReach, -1
		for i, p := range path {
			if d := distance(p, tip); d < best {
				best, at = d, i
			}
		}
		if at >= 0 {
			stops = append(stops, stop{along[at], n})
		}
	}
	sort.SliceStable(stops, func(a, b int) bool { return stops[a].s < stops[b].s })
	// Lines that crowd end here; the one with the longer past goes on.
	kept := stops[:0]
	for _, st := range stops {
		if len(kept) > 0 {
			last := &kept[len(kept)-1]
			if st.s-last.s < crowd*f.span(radius(path, along, st.s)) && st.s-last.s < total/2 {
				if f.heads[st.head].line.length() > f.heads[last.head].line.length() {
					*last = st
				}
				continue
			}
		}
		kept = append(kept, st)
	}
	stops = kept
	need := func(s float64, within float64) {
		for _, st := range stops {
			if math.Abs(st.s-s) <= within {
				return
			}
		}
		stops = append(stops, stop{s, -1})
	}
	poly := raster.Simplify(path, 1.5*f.part.Cell)
	at := 0.0
	for i := 1; i+1 < len(poly); i++ {
		at += distance(poly[i-1], poly[i])
		a, b := r2.Sub(poly[i], poly[i-1]), r2.Sub(poly[i+1], poly[i])
		turn := math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b)))
		// A short chord of a round outline turns too; a corner turns between
		// two legs longer than a line.
		if turn > cornerTurn && min(math.Sqrt(r2.Norm2(a)), math.Sqrt(r2.Norm2(b))) > 2*f.s.Line {
			s := total * at / polyLength(poly)
			need(min(max(s+half, half), total), 2*f.s.Line)
		}
	}
	if len(stops) == 0 {
		need(total/2, 0)
	}
	sort.SliceStable(stops, func(a, b int) bool { return stops[a].s < stops[b].s })
	// Fill the gaps.
	var fresh []float64
	fill := func(a, b float64) {
		gap := b - a
		span := f.span(radius(path, along, (a+b)/2))
		for n, parts := 1.0, math.Ceil(gap/span); n < parts; n++ {
			fresh = append(fresh, math.Mod(a+gap*n/parts, total))
		}
	}
	for i := 1; i < len(stops); i++ {
		fill(stops[i-1].s, stops[i].s)
	}
	first, last := stops[0].s, stops[len(stops)-1].s
	if closed {
		fill(last, first+total)
	} else {
		fill(0, first)
		fill(last, total)
	}
	for _, st := range stops {
		p := pointAt(path, along, st.s)
		if st.head >= 0 {
			h := &f.heads[st.head]
			h.line.at = append(h.line.at, point{p, z})
			h.k = k
			continue
		}
		fresh = append(fresh, st.s)
	}
	for _, s := range fresh {
		p := pointAt(path, along, s)
		f.heads = append(f.heads, head{line{[]point{{f.inner(k, p), z}, {p, z}}}, k})
	}
}

// inner returns where a new line begins: at what holds the slope below p, or a
// wall's width in.
func (f *fall) inner(k int, p r2.Vec) r2.Vec {
	ci, cj := f.part.At(p)
	below := f.ground(k)
	reach := int(2 / f.part.Cell)
	best, at := math.Inf(1), p
	for dj := -reach; dj <= reach; dj++ {
		for di := -reach; di <= reach; di++ {
			d := float64(di*di + dj*dj)
			if d < best && d <= float64(reach*reach) && below.Has(ci+di, cj+dj) {
				best, at = d, f.part.Center(ci+di, cj+dj)
			}
		}
	}
	d := distance(at, p)
	if d == 0 || math.IsInf(best, 1) {
		return p
	}
	// At least a wall long, so that it has a direction.
	want := max(d, 1.5*f.wall)
	return r2.Add(p, r2.Scale(want/d, r2.Sub(at, p)))
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

// smooth drops points of a line that stay within tol of what is left.
func smooth(l line, tol float64) line {
	flat := make([]r2.Vec, len(l.at))
	for i, p := range l.at {
		flat[i] = p.Vec
	}
	keep := raster.Simplify(flat, tol)
	out := line{}
	n := 0
	for _, p := range l.at {
		if n < len(keep) && p.Vec == keep[n] {
			out.at = append(out.at, p)
			n++
		}
	}
	return out
}

func polyLength(p []r2.Vec) float64 {
	sum := 0.0
	for i := 1; i < len(p); i++ {
		sum += distance(p[i-1], p[i])
	}
	return sum
}

func pointAt(path []r2.Vec, along []float64, s float64) r2.Vec {
	i := sort.SearchFloat64s(along, s)
	return path[min(i, len(path)-1)]
}

// radius estimates the outline's radius of curvature about s: from the sagitta of
// a chord of a few millimetres, R = c²/8s.
func radius(path []r2.Vec, along []float64, s float64) float64 {
	const reach = 1.5 // mm to each side
	total := along[len(along)-1]
	a := pointAt(path, along, max(0, s-reach))
	b := pointAt(path, along, min(total, s+reach))
	m := pointAt(path, along, (max(0, s-reach)+min(total, s+reach))/2)
	c := distance(a, b)
	sag := raster.SegmentDistance(m, a, b)
	if sag < 1e-6 || c == 0 {
		return math.Inf(1)
	}
	return max(c*c/(8*sag), 0.5)
}
