package grow

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// front is a free end of a wall as it moves while the wall is printed: out from where
// the wall begins, and straight up where its lower edge stands up or its line ends.
type front struct {
	line, base int      // the station that it begins at
	structure  int      // that it is of
	ahead      []int    // the stations that it comes by
	heads      r2.Vec   // the way it sets out, a unit vector
	starts     float64  // height from which it moves
	from, to   int      // layers from ≤ k ≤ to that it is there at the bottom of
	at         []r2.Vec // at the bottom of each, lagging where it leaps
	free       []bool   // nothing goes on where it ends, and it is not far ahead of at
}

// lagging is how far behind a wall's end, in mm, a link may stay and still be its end: what
// is left over is shorter than a line is wide.
const lagging = 0.3

// place is where a front is at a height.
type place struct {
	r2.Vec
	z float64
}

// follow returns where the end of a wall is at the bottom of each layer from ≤ k ≤ to, and
// which way it heads, from the places that it comes by. What follows stays behind mm behind
// it and comes after it at no more than pace mm for a mm of height.
func follow(path []place, lay raster.Layers, from, to int, behind, pace float64) (at, head []r2.Vec) {
	gone := make([]float64, len(path)) // along the path
	for i := 1; i < len(path); i++ {
		gone[i] = gone[i-1] + dist(path[i-1].Vec, path[i].Vec)
	}
	i, j, now := 0, 0, 0.0 // the last places that the end and what follows have passed
	for k := from; k <= to; k++ {
		z := lay.Bottom(k)
		for i+1 < len(path) && path[i+1].z <= z {
			i++
		}
		end := gone[i]
		if i+1 < len(path) && z > path[i].z {
			end += (gone[i+1] - gone[i]) * (z - path[i].z) / (path[i+1].z - path[i].z)
		}
		next := max(now, end-behind)
		if k > from {
			next = min(next, now+(z-lay.Bottom(k-1))*pace)
		}
		now = next
		for j+2 < len(path) && gone[j+1] <= now {
			j++
		}
		a, b := path[j].Vec, path[min(j+1, len(path)-1)].Vec
		u := heading(a, b)
		p := r2.Add(a, r2.Scale(min(now-gone[j], dist(a, b)), u))
		if u == (r2.Vec{}) && k > from {
			u = head[len(head)-1]
		}
		at, head = append(at, p), append(head, u)
	}
	return at, head
}

// on returns where the front is at the bottom of a layer.
func (f *front) on(k int) r2.Vec { return f.at[k-f.from] }

// heading returns the way from a to b, zero where they are one place.
func heading(a, b r2.Vec) r2.Vec {
	if d := dist(a, b); d > samePlace {
		return r2.Scale(1/d, r2.Sub(b, a))
	}
	return r2.Vec{}
}

// built tells whether the wall has any height at a station.
func (n *Network) built(i int) bool {
	s := &n.Stations[i]
	return s.Top-max(s.Low, 0) >= thinnest*n.settings.Layer
}

// lows returns where walls begin, for every station.
func (n *Network) lows() []float64 {
	out := make([]float64, len(n.Stations))
	for i := range out {
		out[i] = n.Stations[i].Low
	}
	return out
}

// fronts returns the free ends of all walls.
func (n *Network) fronts(walls *stretches) []front {
	var out []front
	for l, wall := range n.Walls {
		out = n.frontsOf(out, walls, l, wall)
		back := slices.Clone(wall)
		slices.Reverse(back)
		out = n.frontsOf(out, walls, l, back)
	}
	together := n.together()
	for i := range out {
		out[i].structure = together[out[i].base]
	}
	return out
}

// frontsOf appends those that move along a wall's stations in the order given.
func (n *Network) frontsOf(out []front, walls *stretches, l int, wall []int) []front {
	low := func(k int) float64 { return n.begins(wall[k]) }
	for k := 0; k < len(wall); k++ {
		if !n.built(wall[k]) || n.Stations[wall[k]].tied || k+1 < len(wall) && n.built(wall[k+1]) && low(k+1) <= low(k) {
			continue // it goes on beside, or begins there
		}
		path, ahead, starts := n.path(wall, k)
		f := front{line: l, base: wall[k], ahead: ahead, starts: starts}
		if len(ahead) == 0 && k > 0 {
			f.heads = heading(n.Stations[wall[k-1]].P, n.Stations[wall[k]].P)
		}
		if f.trace(path, n.settings) {
			n.frees(&f, path, walls)
			out = append(out, f)
		}
		k += len(ahead)
	}
	return out
}

// begins returns the height at which the wall begins at a station.
func (n *Network) begins(i int) float64 { return max(n.Stations[i].Low, 0) }

// path returns the places that the end of a wall comes by which begins at station k of it,
// the last of them where it stops being an end, the stations ahead of the first, and the
// height from which it is past that, +Inf if it never is.
func (n *Network) path(wall []int, k int) (path []place, ahead []int, starts float64) {
	lean := 1 / math.Tan(n.settings.Lean)
	path, starts = []place{{n.Stations[wall[k]].P, n.begins(wall[k])}}, math.Inf(1)
	for ; ; k++ {
		s := &n.Stations[wall[k]]
		if k+1 == len(wall) || !n.built(wall[k+1]) {
			// It goes straight up, unless another wall comes there.
			return append(path, place{s.P, min(s.Top-WallDepth(n.settings), n.joined(wall, k))}), ahead, starts
		}
		t := &n.Stations[wall[k+1]]
		low, next := n.begins(wall[k]), n.begins(wall[k+1])
		if next < low {
			return path, ahead, starts // it met another
		}
		if t.tied {
			return append(path, place{s.P, next}), ahead, starts // a tie begins
		}
		if gap := dist(s.P, t.P); next-low > gap*lean+1e-6 && gap > step+samePlace && !(s.parent < 0 && t.parent < 0) {
			// The edge stands up half a wall on: see leap.
			off := min(n.settings.Wall/2, gap-step)
			face := r2.Add(s.P, r2.Scale(off/gap, r2.Sub(t.P, s.P)))
			path = append(path, place{face, low}, place{face, max(low, next-(gap-off)*lean)})
		}
		starts = min(starts, path[len(path)-1].z)
		ahead, path = append(ahead, wall[k+1]), append(path, place{t.P, next})
	}
}

// trace sets on which layers a front that comes by a path is there, and where a link to it
// would be. It is not ok where that is no layer.
func (f *front) trace(path []place, s supports.Settings) bool {
	lay := s.Layers()
	f.from, f.to = lay.Above(path[0].z-1e-6), lay.Above(path[len(path)-1].z+1e-6)-1
	if path[0].z <= 0 {
		f.from = 0
	}
	if f.to <= f.from {
		return false
	}
	if len(f.ahead) == 0 { // it only goes up
		f.at, _ = follow(path, lay, f.from, f.to, 0, 0)
		for i := range f.at {
			f.at[i] = r2.Sub(f.at[i], r2.Scale(s.Wall/2, f.heads))
		}
		return true
	}
	f.at, _ = follow(path, lay, f.from, f.to, s.Wall/2, math.Tan(s.Lean))
	return true
}

// frees sets on which layers nothing goes on where a front is, nor is it far ahead of where
// a link to it would be.
func (n *Network) frees(f *front, path []place, walls *stretches) {
	s := n.settings
	tip, head := follow(path, s.Layers(), f.from, f.to, 0, math.Inf(1))
	if len(f.ahead) > 0 {
		f.heads = head[0]
	}
	for i, p := range tip {
		u := head[i]
		if len(f.ahead) == 0 {
			u = f.heads
		}
		f.free = append(f.free, dist(p, f.at[i]) <= s.Wall/2+lagging && !walls.goOn(f.line, p, u, s.Layers().Bottom(f.from+i), s))
	}
}

// joined returns the height from which another wall stands where wall's station k is, +Inf
// if none does.
func (n *Network) joined(wall []int, k int) float64 {
	z := math.Inf(1)
	for _, w := range n.Stations[wall[k]].next {
		if k > 0 && w.To == wall[k-1] || k+1 < len(wall) && w.To == wall[k+1] || !n.built(w.To) {
			continue
		}
		z = min(z, n.Stations[w.To].Low)
	}
	return z
}

// level lets walls that begin on another one side by side begin at the height of the lowest
// of them: a link can only begin with both. It tells whether it lowered any. hung is how
// low they may begin.
func (n *Network) level(fronts []front, hung []float64) (changed bool) {
	type pair struct {
		a, b int
		d    float64
	}
	var near []pair
	for a := range fronts {
		for b := a + 1; b < len(fronts); b++ {
			f, g := &fronts[a], &fronts[b]
			if f.line == g.line || len(f.ahead) == 0 || len(g.ahead) == 0 || math.Abs(f.starts-g.starts) > mostLowered {
				continue
			}
			p, q := n.Stations[f.base].P, n.Stations[g.base].P
			if d := dist(p, q); d <= longestLink {
				u := heading(p, n.Stations[f.ahead[0]].P)
				v := heading(q, n.Stations[g.ahead[0]].P)
				if r2.Dot(u, v) > sideBySide {
					near = append(near, pair{a, b, d})
				}
			}
		}
	}
	slices.SortStableFunc(near, func(p, q pair) int { return cmp.Compare(p.d, q.d) })
	sets := mesh.NewDisjoint[int](len(fronts))
	lo, hi := make([]float64, len(fronts)), make([]float64, len(fronts))
	for i := range fronts {
		lo[i], hi[i] = fronts[i].starts, fronts[i].starts
	}
	for _, p := range near {
		a, b := sets.Find(p.a), sets.Find(p.b)
		l, h := min(lo[a], lo[b]), max(hi[a], hi[b])
		if h-l > mostLowered {
			continue
		}
		sets.Union(a, b)
		lo[sets.Find(a)], hi[sets.Find(a)] = l, h
	}
	for i := range fronts {
		by := fronts[i].starts - lo[sets.Find(i)]
		if by < 1e-6 || math.IsInf(by, 1) {
			continue
		}
		back := &n.Stations[fronts[i].base]
		for _, at := range fronts[i].ahead {
			s := &n.Stations[at]
			// No lower than what it grows out of lets it.
			s.Low = max(min(s.Low, max(hung[at], back.Low+dist(s.P, back.P)/math.Tan(n.settings.Lean))), s.Low-by)
			back, changed = s, true
		}
	}
	return changed
}

const (
	// mostLowered is how much lower, in mm, a wall may begin for the sake of a link: it is
	// as much longer on every layer until it is whole, and saves a hop.
	mostLowered = 4.0
	// sideBySide is the least cosine between the ways that two walls head that do so side by
	// side: 45°.
	sideBySide = 0.7
)
