package cost

import (
	"math"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

// Smoothing of lines that were read off cells, lengths in cells.
const (
	// A straight edge's cells stray by half a cell to either side of it, so this
	// much tells a corner from a stair.
	stairTol = 0.75
	// What is left after averaging over smoothHalf points to either side.
	smoothHalf = 3
	smoothTol  = 0.45
	// Midpoints of cell sides, smoothing and erosion by a disc of cells cut a corner
	// off over less than this.
	cornerCut = 6
	// A turn from here on is a corner and stays sharp: squares and hexagons do.
	cornerTurn = 55 * math.Pi / 180
)

// contours returns the closed outlines of b, in cells, set on the left, smoothed
// so that lengths and corners are those of the shape and not of the stairs. The
// first point is not repeated.
func contours(b *raster.Bits) [][]r2.Vec {
	x0, y0, x1, y1 := b.Bounds()
	if x0 == x1 {
		return nil
	}
	var out [][]r2.Vec
	// An outline goes down along the left ends of runs, and every outline has
	// such a step; each run's left end starts at most one.
	seen := raster.NewBits(x0, y0, x1, y1)
	b.EachRun(func(j, i0, _ int) {
		if !seen.Has(i0, j) {
			c := smooth(traceOutline(b, &seen, i0, j), true, 0)
			every := make([]int, len(c))
			for i := range every {
				every[i] = i
			}
			out = append(out, sharpen(c, every, true, cornerCut))
		}
	})
	return out
}

// traceOutline follows the outline that passes the left side of cell (i, j)
// and returns the midpoints of the cell sides on it. Cells that share a corner
// belong together, as in raster.Pieces.
func traceOutline(b, seen *raster.Bits, i, j int) []r2.Vec {
	var pts []r2.Vec
	// At corner (x, y), heading (dx, dy); the step leads along one cell side.
	x, y, dx, dy := i, j+1, 0, -1
	for {
		if dy == -1 {
			if seen.Has(x, y-1) {
				return pts
			}
			seen.Set(x, y-1)
		}
		pts = append(pts, r2.Vec{X: float64(x) + float64(dx)/2, Y: float64(y) + float64(dy)/2})
		x, y = x+dx, y+dy
		// Cells ahead to the left and to the right of the corner now reached.
		li, lj := x+(dx-dy-1)/2, y+(dx+dy-1)/2
		ri, rj := x+(dx+dy-1)/2, y+(dy-dx-1)/2
		switch {
		case b.Has(ri, rj):
			dx, dy = dy, -dx
		case b.Has(li, lj):
		default:
			dx, dy = -dy, dx
		}
	}
}

// smooth replaces a stair-stepped line by a smooth one with few points, keeping
// sharp corners and, when open, the ends. Corners that are cut off over no more
// than cut are sharpened first: thinning takes the short way round a bend.
func smooth(p []r2.Vec, closed bool, cut float64) []r2.Vec {
	if len(p) < 3 {
		return p
	}
	keep := simplify(p, closed, stairTol)
	if cut > 0 {
		if q := sharpen(p, keep, closed, cut); len(q) != len(p) {
			p = q
			keep = simplify(p, closed, stairTol)
		}
	}
	var corners []int
	n := len(keep)
	for k, i := range keep {
		if !closed && (k == 0 || k == n-1) {
			corners = append(corners, i)
			continue
		}
		u := r2.Sub(p[i], p[keep[(k+n-1)%n]])
		w := r2.Sub(p[keep[(k+1)%n]], p[i])
		if math.Abs(math.Atan2(r2.Cross(u, w), r2.Dot(u, w))) > cornerTurn {
			corners = append(corners, i)
		}
	}
	avg := make([]r2.Vec, len(p))
	span := func(from, to int) { // points from ≤ i ≤ to of the cyclic list
		for i := from; i <= to; i++ {
			h := min(smoothHalf, i-from, to-i)
			var s r2.Vec
			for k := i - h; k <= i+h; k++ {
				s = r2.Add(s, p[k%len(p)])
			}
			avg[i%len(p)] = r2.Scale(1/float64(2*h+1), s)
		}
	}
	switch {
	case len(corners) == 0:
		for i := range p {
			h := min(smoothHalf, (len(p)-1)/2)
			var s r2.Vec
			for k := i - h; k <= i+h; k++ {
				s = r2.Add(s, p[(k+len(p))%len(p)])
			}
			avg[i] = r2.Scale(1/float64(2*h+1), s)
		}
	default:
		for k := 0; k+1 < len(corners); k++ {
			span(corners[k], corners[k+1])
		}
		if closed {
			span(corners[len(corners)-1], corners[0]+len(p))
		}
	}
	keep = simplify(avg, closed, smoothTol)
	out := make([]r2.Vec, len(keep))
	for k, i := range keep {
		out[k] = avg[i]
	}
	return out
}

// sharpen returns p with each cut corner replaced by the point where the pieces
// before and after it meet. A cut corner is one or a few pieces no longer than cut
// each, 2·cut together, between two longer ones. keep lists the points of p where
// pieces end.
func sharpen(p []r2.Vec, keep []int, closed bool, cut float64) []r2.Vec {
	n := len(keep)
	if n < 4 {
		return p
	}
	at := func(k int) r2.Vec { return p[keep[(k+n)%n]] }
	long := func(k int) bool { return dist(at(k), at(k+1)) >= cut } // piece k to k+1
	tip := make(map[int]r2.Vec)                                     // by the first point of the cut, in p
	end := make(map[int]int)                                        // its last point, in p
	within := make([]bool, n)                                       // behind the first point, in keep
	for k := 0; k < n; k++ {
		if !closed && k == 0 || !long(k-1) || long(k) {
			continue
		}
		m, way := k, 0.0
		for ; m < k+n-1 && !long(m); m++ {
			way += dist(at(m), at(m+1))
		}
		if way > 2*cut || m >= k+n-1 || !closed && m+1 >= n {
			continue
		}
		u, w := r2.Sub(at(k), at(k-1)), r2.Sub(at(m+1), at(m))
		turn := math.Abs(math.Atan2(r2.Cross(u, w), r2.Dot(u, w)))
		if turn < cornerTurn || turn > math.Pi-cornerTurn {
			continue
		}
		v := r2.Sub(at(m), at(k))
		f := r2.Cross(v, w) / r2.Cross(u, w)
		b := r2.Cross(v, u) / r2.Cross(u, w)
		if f < 0 || b > 0 {
			continue // they meet behind
		}
		tip[keep[k]] = r2.Add(at(k), r2.Scale(f, u))
		end[keep[k]] = keep[m%n]
		for i := k + 1; i <= m; i++ {
			within[i%n] = true
		}
	}
	if len(tip) == 0 {
		return p
	}
	// Begin a closed line where no cut spans its first point.
	first := 0
	if closed {
		first = keep[slices.Index(within, false)]
	}
	var out []r2.Vec
	for i := 0; i < len(p); i++ {
		j := (first + i) % len(p)
		if v, ok := tip[j]; ok {
			out = append(out, v)
			i += (end[j] - j + len(p)) % len(p)
			continue
		}
		out = append(out, p[j])
	}
	return out
}

// simplify returns the indices, ascending, of the points of p that are enough to
// stay within tol of all of it (Douglas & Peucker 1973, Cartographica 10(2)
// 112–122).
func simplify(p []r2.Vec, closed bool, tol float64) []int {
	n := len(p)
	if n < 3 {
		keep := make([]int, n)
		for i := range keep {
			keep[i] = i
		}
		return keep
	}
	keep := make([]bool, n)
	type part struct{ a, b int } // b may be n, which is point 0 again
	var todo []part
	if closed {
		// Start from two points that are certainly on the hull: the one furthest
		// from the first point, and the one furthest from that.
		a := furthest(p, p[0])
		b := furthest(p, p[a])
		a, b = min(a, b), max(a, b)
		keep[a], keep[b] = true, true
		todo = append(todo, part{a, b}, part{b, a + n})
	} else {
		keep[0], keep[n-1] = true, true
		todo = append(todo, part{0, n - 1})
	}
	for len(todo) > 0 {
		q := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		a, b := p[q.a%n], p[q.b%n]
		ab := r2.Sub(b, a)
		l2 := r2.Norm2(ab)
		worst, at := tol*tol, -1
		for i := q.a + 1; i < q.b; i++ {
			ap := r2.Sub(p[i%n], a)
			t := 0.0
			if l2 > 0 {
				t = min(1, max(0, r2.Dot(ap, ab)/l2))
			}
			if d := r2.Norm2(r2.Sub(ap, r2.Scale(t, ab))); d > worst {
				worst, at = d, i
			}
		}
		if at >= 0 {
			keep[at%n] = true
			todo = append(todo, part{q.a, at}, part{at, q.b})
		}
	}
	var out []int
	for i, k := range keep {
		if k {
			out = append(out, i)
		}
	}
	return out
}

func furthest(p []r2.Vec, from r2.Vec) int {
	at, worst := 0, -1.0
	for i, q := range p {
		if d := r2.Norm2(r2.Sub(q, from)); d > worst {
			at, worst = i, d
		}
	}
	return at
}

// polyLength returns the length of a polyline, the way home included if closed.
func polyLength(p []r2.Vec, closed bool) float64 {
	l := 0.0
	for i := 1; i < len(p); i++ {
		l += math.Hypot(p[i].X-p[i-1].X, p[i].Y-p[i-1].Y)
	}
	if closed && len(p) > 1 {
		e := p[len(p)-1]
		l += math.Hypot(p[0].X-e.X, p[0].Y-e.Y)
	}
	return l
}
