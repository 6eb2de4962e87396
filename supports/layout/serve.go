package layout

import (
	"math"
	"slices"
)

// serve is, for every station, the choice that it hangs from, the way there, and the
// next station on it, −1 where it stands on the post.
type serve struct {
	by   []int
	d    []float64
	from []int
	// order has the stations that do not stand on a post, from the furthest back. Of a
	// spot that was added to a choice, newest, it has those that might hang from it, and
	// rest the order of the others.
	order, rest []int
	newest      int
}

func newServe(n int) serve {
	return serve{by: make([]int, n), d: make([]float64, n), from: make([]int, n), newest: -1}
}

// with sets out to s with spot sp as choice c taking what it is nearer to.
func (g *structure) with(out *serve, s serve, c, sp int) serve {
	p := &g.spots[sp]
	for i, e := range p.dist {
		if e < s.d[i] {
			out.by[i], out.d[i], out.from[i] = c, e, p.from[i]
		} else {
			out.by[i], out.d[i], out.from[i] = s.by[i], s.d[i], s.from[i]
		}
	}
	out.order, out.rest, out.newest = p.order, s.order, c
	return *out
}

// serveBy returns how the given spots share the stations.
func (g *structure) serveBy(choice []int) serve {
	s := newServe(len(g.stations))
	for i := range s.by {
		s.by[i], s.d[i], s.from[i] = -1, math.Inf(1), -1
	}
	for c, sp := range choice {
		s = g.with(&s, s, c, sp)
	}
	s.order, s.rest, s.newest = furthest(s.d, s.from), nil, -1
	return s
}

// furthest returns the stations that hang from another, from the furthest back.
func furthest(d []float64, from []int) []int {
	var order []int
	for i := range d {
		if from[i] >= 0 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, byFurthest(d))
	return order
}

// byFurthest compares stations so far along the walls, the furthest first.
func byFurthest(d []float64) func(a, b int) int {
	return func(a, b int) int {
		switch {
		case d[a] > d[b]:
			return -1
		case d[a] < d[b]:
			return 1
		}
		return a - b
	}
}

// back calls f for every station that hangs from another, from the furthest back: what
// hangs before what it hangs from.
func (s *serve) back(f func(i int)) {
	if s.newest < 0 {
		for _, i := range s.order {
			f(i)
		}
		return
	}
	// What the newest took, and what it left to the others, each in its order.
	mine, rest := s.order, s.rest
	for {
		for len(mine) > 0 && s.by[mine[0]] != s.newest {
			mine = mine[1:]
		}
		for len(rest) > 0 && s.by[rest[0]] == s.newest {
			rest = rest[1:]
		}
		switch {
		case len(mine) == 0:
			for _, i := range rest {
				if s.by[i] != s.newest {
					f(i)
				}
			}
			return
		case len(rest) == 0:
			for _, i := range mine {
				if s.by[i] == s.newest {
					f(i)
				}
			}
			return
		}
		a, b := mine[0], rest[0]
		if s.d[a] > s.d[b] || s.d[a] == s.d[b] && a < b {
			f(a)
			mine = mine[1:]
		} else {
			f(b)
			rest = rest[1:]
		}
	}
}
