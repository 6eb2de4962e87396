package cost

import (
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Every change is tried with all ways measured anew.

func improvePlainly(legs []leg) {
	n := len(legs)
	// hop is the travel between two legs, nothing beyond the ends.
	hop := func(a, b int) float64 {
		if a < 0 || b >= n {
			return 0
		}
		return dist(legs[a].out(), legs[b].in())
	}
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
					reversePlainly(legs[i : j+1])
					better = true
				}
			}
		}
		for i := 0; i < n; i++ {
			if moveLegPlainly(legs, i) {
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

func moveLegPlainly(legs []leg, i int) bool {
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

func reversePlainly(legs []leg) {
	for a, b := 0, len(legs)-1; a <= b; a, b = a+1, b-1 {
		legs[a], legs[b] = legs[b], legs[a]
		legs[a].backward = !legs[a].backward
		if a != b {
			legs[b].backward = !legs[b].backward
		}
	}
}

func TestImproveAgreesWithThePlainWay(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	for n := range 200 {
		at := func() r2.Vec {
			if n%2 == 0 { // on a lattice many ways are as long as others
				return r2.Vec{X: float64(r.IntN(8)), Y: float64(r.IntN(8))}
			}
			return r2.Vec{X: 20 * r.Float64(), Y: 20 * r.Float64()}
		}
		paths := make([]path, 1+r.IntN(30))
		for i := range paths {
			paths[i] = path{pts: []r2.Vec{at(), at(), at()}, closed: r.IntN(3) == 0}
		}
		got := nearest(paths, leg{path: &paths[0]})
		want := slices.Clone(got)
		improve(got)
		improvePlainly(want)
		for k := range got {
			if got[k].in() != want[k].in() || got[k].out() != want[k].out() || got[k].path != want[k].path {
				t.Fatalf("%d: leg %d of %d is otherwise", n, k, len(got))
			}
		}
	}
}
