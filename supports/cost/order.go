package cost

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// path is a line printed without lifting, in mm. A closed one ends where it
// began; its first point is not repeated and it may begin at any point.
type path struct {
	pts    []r2.Vec
	closed bool
	area   float64 // of the bead's cross-section, mm²
	speed  float64 // mm/s; 0: that of supports
}

// leg is a path with the way it is run: from point start of a closed one, or
// backwards along an open one.
type leg struct {
	*path
	start    int
	backward bool
}

func (l leg) in() r2.Vec {
	switch {
	case l.closed:
		return l.pts[l.start]
	case l.backward:
		return l.pts[len(l.pts)-1]
	}
	return l.pts[0]
}

func (l leg) out() r2.Vec {
	if l.closed {
		return l.in()
	}
	l.backward = !l.backward
	return l.in()
}

// Beyond maxImprove paths a layer's order is left as nearest neighbour found it.
const maxImprove = 250

// Up to maxStarts paths every beginning is tried.
const maxStarts = 8

// order arranges paths for little travel: the nearest next one from where the
// last ended, then reversals of stretches and moves of single paths as long as
// they shorten the way. Ties go to the earlier path.
func order(paths []path) []leg {
	if len(paths) == 0 {
		return nil
	}
	if len(paths) > maxStarts {
		// Begin at a corner rather than in the middle.
		first, best := leg{}, math.Inf(1)
		for i := range paths {
			for _, l := range [2]leg{{path: &paths[i]}, {path: &paths[i], backward: true}} {
				if v := l.in(); v.X+v.Y < best {
					best, first = v.X+v.Y, l
				}
			}
		}
		legs := nearest(paths, first)
		if len(legs) <= maxImprove {
			improve(legs)
		}
		return legs
	}
	var legs []leg
	best := math.Inf(1)
	for i := range paths {
		for _, l := range [2]leg{{path: &paths[i]}, {path: &paths[i], backward: true}} {
			if l.backward && l.closed {
				continue
			}
			try := nearest(paths, l)
			improve(try)
			d := 0.0
			for k := 1; k < len(try); k++ {
				d += dist(try[k-1].out(), try[k].in())
			}
			if d < best-1e-9 {
				best, legs = d, try
			}
		}
	}
	return legs
}

// nearest goes on from first to the nearest path that is left.
func nearest(paths []path, first leg) []leg {
	legs := make([]leg, 0, len(paths))
	used := make([]bool, len(paths))
	next := first
	for {
		legs = append(legs, next)
		for i := range paths {
			if &paths[i] == next.path {
				used[i] = true
			}
		}
		if len(legs) == len(paths) {
			return legs
		}
		from := next.out()
		best := math.Inf(1)
		for i := range paths {
			if used[i] {
				continue
			}
			p := &paths[i]
			if p.closed {
				for k, v := range p.pts {
					if d := r2.Norm2(r2.Sub(v, from)); d < best {
						best, next = d, leg{path: p, start: k}
					}
				}
				continue
			}
			if d := r2.Norm2(r2.Sub(p.pts[0], from)); d < best {
				best, next = d, leg{path: p}
			}
			if d := r2.Norm2(r2.Sub(p.pts[len(p.pts)-1], from)); d < best {
				best, next = d, leg{path: p, backward: true}
			}
		}
	}
}

// way is legs with where each begins and ends at hand, and how far each, and what comes after
// the last, is from the one before it, nothing beyond the ends.
type way struct {
	legs    []leg
	in, out []r2.Vec
	hops    []float64
}

// improve shortens the travel between legs in place.
func improve(legs []leg) {
	n := len(legs)
	w := way{legs, make([]r2.Vec, n), make([]r2.Vec, n), make([]float64, n+1)}
	for i := range legs {
		w.in[i], w.out[i] = legs[i].in(), legs[i].out()
	}
	w.measure(0, n)
	for round, better := 0, true; better && round < 30; round++ {
		better = w.turn()
		for i := range n {
			if w.move(i) {
				better = true
			}
		}
		if w.begin() {
			better = true
		}
	}
}

// gain is the least saving that counts, in mm.
const gain = 1e-9

// hop is the travel between two legs, nothing beyond the ends.
func (w *way) hop(a, b int) float64 {
	if a < 0 || b >= len(w.legs) {
		return 0
	}
	return dist(w.out[a], w.in[b])
}

// measure sets the hops to legs from ≤ i ≤ to.
func (w *way) measure(from, to int) {
	for i := from; i <= to; i++ {
		w.hops[i] = w.hop(i-1, i)
	}
}

// turn reverses stretches of legs that are better run the other way.
func (w *way) turn() (better bool) {
	n, hops := len(w.legs), w.hops
	for i := range n {
		in := w.in[i]
		for j := i; j < n; j++ {
			was := hops[i] + hops[j+1]
			now := 0.0
			if i > 0 {
				// Most are out of the question for this hop alone.
				if further(w.out[i-1], w.out[j], was) {
					continue
				}
				now = dist(w.out[i-1], w.out[j])
			}
			if j+1 < n {
				now += dist(in, w.in[j+1])
			}
			if now < was-gain {
				w.reverse(i, j+1)
				w.measure(i, j+1)
				in = w.in[i]
				better = true
			}
		}
	}
	return better
}

// begin lets closed legs begin where that saves travel.
func (w *way) begin() (better bool) {
	for i := range w.legs {
		l := &w.legs[i]
		if !l.closed {
			continue
		}
		was := w.hops[i] + w.hops[i+1]
		for k := range l.pts {
			keep := l.start
			l.start = k
			w.in[i], w.out[i] = l.pts[k], l.pts[k]
			if now := w.hop(i-1, i) + w.hop(i, i+1); now < was-gain {
				was, better = now, true
			} else {
				l.start = keep
			}
		}
		w.in[i], w.out[i] = l.in(), l.out()
		w.measure(i, i+1)
	}
	return better
}

// move takes leg i out and puts it where it costs the least travel.
func (w *way) move(i int) bool {
	n := len(w.legs)
	in, out, closed := w.in[i], w.out[i], w.legs[i].closed
	saved := w.hops[i] + w.hops[i+1]
	if i > 0 && i+1 < n {
		saved -= dist(w.out[i-1], w.in[i+1])
	}
	best, to, flip := saved-gain, -1, false
	for k := 0; k <= n; k++ { // before leg k
		if k == i || k == i+1 {
			continue
		}
		now := w.hops[k]
		for f := range 2 {
			a, b := in, out
			if f == 1 {
				if closed {
					break
				}
				a, b = out, in
			}
			c := 0.0
			if k > 0 {
				if further(w.out[k-1], a, best+now) {
					continue
				}
				c = dist(w.out[k-1], a)
			}
			if k < n {
				c += dist(b, w.in[k])
			}
			if c -= now; c < best {
				best, to, flip = c, k, f == 1
			}
		}
	}
	if to < 0 {
		return false
	}
	l := w.legs[i]
	if flip {
		l.backward = !l.backward
		in, out = out, in
	}
	shift(w.legs, i, to, l)
	shift(w.in, i, to, in)
	shift(w.out, i, to, out)
	w.measure(min(i, to), max(i+1, to))
	return true
}

// shift takes element i out of a list and puts v before element to.
func shift[T any](list []T, i, to int, v T) {
	if to > i {
		copy(list[i:], list[i+1:to])
		list[to-1] = v
	} else {
		copy(list[to+1:], list[to:i])
		list[to] = v
	}
}

// reverse runs legs from ≤ i < to the other way.
func (w *way) reverse(from, to int) {
	slices.Reverse(w.legs[from:to])
	slices.Reverse(w.in[from:to])
	slices.Reverse(w.out[from:to])
	for i := from; i < to; i++ {
		w.legs[i].backward = !w.legs[i].backward
		w.in[i], w.out[i] = w.out[i], w.in[i]
	}
}

// further tells whether two places are certainly no nearer than most.
func further(a, b r2.Vec, most float64) bool {
	return most < 0 || r2.Norm2(r2.Sub(a, b)) > most*most*(1+1e-9)
}

func dist(a, b r2.Vec) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
