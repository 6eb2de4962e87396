package cost

import (
	"math"

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

// improve shortens the travel between legs in place.
func improve(legs []leg) {
	n := len(legs)
	// hop is the travel between two legs, nothing beyond the ends.
	hop := func(a, b int) float64 {
		if a < 0 || b >= n {
			return 0
		}
		return dist(legs[a].out(), legs[b].in())
	}
	const gain = 1e-9
	for round, better := 0, true; better && round < 30; round++ {
		better = false
		for i := 0; i < n; i++ {
			for j := i; j < n; j++ {
				was := hop(i-1, i) + hop(j, j+1)
				now := 0.0
				if i > 0 {
					now += dist(legs[i-1].out(), legs[j].out())
				}
				if j+1 < n {
					now += dist(legs[i].in(), legs[j+1].in())
				}
				if now < was-gain {
					reverse(legs[i : j+1])
					better = true
				}
			}
		}
		for i := 0; i < n; i++ {
			if moveLeg(legs, i) {
				better = true
			}
		}
		for i := range legs {
			l := &legs[i]
			if !l.closed {
				continue
			}
			was := hop(i-1, i) + hop(i, i+1)
			for k := range l.pts {
				keep := l.start
				l.start = k
				if now := hop(i-1, i) + hop(i, i+1); now < was-gain {
					was, better = now, true
				} else {
					l.start = keep
				}
			}
		}
	}
}

// moveLeg takes leg i out and puts it where it costs the least travel.
func moveLeg(legs []leg, i int) bool {
	n := len(legs)
	l := legs[i]
	hop := func(a, b *leg) float64 {
		if a == nil || b == nil {
			return 0
		}
		return dist(a.out(), b.in())
	}
	at := func(k int) *leg {
		if k < 0 || k >= n {
			return nil
		}
		return &legs[k]
	}
	saved := hop(at(i-1), &l) + hop(&l, at(i+1)) - hop(at(i-1), at(i+1))
	best, to, flip := saved-1e-9, -1, false
	for k := 0; k <= n; k++ { // before leg k
		if k == i || k == i+1 {
			continue
		}
		a, b := at(k-1), at(k)
		for f := 0; f < 2; f++ {
			m := l
			if f == 1 {
				if m.closed {
					break
				}
				m.backward = !m.backward
			}
			if c := hop(a, &m) + hop(&m, b) - hop(a, b); c < best {
				best, to, flip = c, k, f == 1
			}
		}
	}
	if to < 0 {
		return false
	}
	l.backward = l.backward != flip
	if to > i {
		copy(legs[i:], legs[i+1:to])
		legs[to-1] = l
	} else {
		copy(legs[to+1:], legs[to:i])
		legs[to] = l
	}
	return true
}

func reverse(legs []leg) {
	for a, b := 0, len(legs)-1; a <= b; a, b = a+1, b-1 {
		legs[a], legs[b] = legs[b], legs[a]
		legs[a].backward = !legs[a].backward
		if a != b {
			legs[b].backward = !legs[b].backward
		}
	}
}

func dist(a, b r2.Vec) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
