package cost

import (
	"math"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

// mostSlant bounds how far a line's end is pulled in, in half widths: as far as a
// zigzag's next line may lie away, in steps.
const mostSlant = 3.0

// passes lays straight passes over the cells of fill and joins them to zigzags,
// in cells. Pass n lies at first + n·step, along X, or along Y when upright. A
// pass's ends are pulled in by trim (cells, may be negative), what the cells are too
// wide by, and so far that a line 2·half wide keeps within them at whatever slant;
// passes shorter than least go. Two neighbouring passes are joined end to end where the way between
// lies in room and is no longer than three steps.
func passes(fill, room *raster.Bits, first, step, trim, half, least float64, upright bool) [][]r2.Vec {
	x0, y0, x1, y1 := fill.Bounds()
	if x0 == x1 {
		return nil
	}
	if upright {
		x0, y0, x1, y1 = y0, x0, y1, x1
	}
	has := func(b *raster.Bits, u, v int) bool {
		if upright {
			return b.Has(v, u)
		}
		return b.Has(u, v)
	}
	free := func(ax, ay, bx, by float64) bool {
		n := int(2*math.Hypot(bx-ax, by-ay)) + 1
		for k := 0; k <= n; k++ {
			t := float64(k) / float64(n)
			if !has(room, int(math.Floor(ax+t*(bx-ax))), int(math.Floor(ay+t*(by-ay)))) {
				return false
			}
		}
		return true
	}
	// edge returns where the cells of a row end from u on, to the left or right.
	edge := func(u, row, dir int) int {
		for has(fill, u+dir, row) {
			u += dir
		}
		return u
	}
	// pull returns how far a line on a row is pulled in at the end of cells that lies
	// dir from u: the further the more slanted the end is. Without it the way to the
	// next line, which is as long as the slant is, would lie on top of both.
	pull := func(u, row, dir int) float64 {
		d := max(1, int(math.Round(half)))
		if !has(fill, u, row-d) || !has(fill, u, row+d) {
			return half
		}
		slant := float64(edge(u, row+d, dir)-edge(u, row-d, dir)) / float64(2*d)
		return half * min(mostSlant, math.Hypot(1, slant))
	}
	// chain is a zigzag under way, its last pass l..r, being at its right or left end.
	type chain struct {
		pts   []r2.Vec
		l, r  float64
		right bool
	}
	var done [][]r2.Vec
	var open []chain
	put := func(x, y float64) r2.Vec {
		if upright {
			return r2.Vec{X: y, Y: x}
		}
		return r2.Vec{X: x, Y: y}
	}
	n0 := int(math.Ceil((float64(y0) - first) / step))
	for n := n0; ; n++ {
		y := first + float64(n)*step
		row := int(math.Floor(y))
		if row >= y1 {
			break
		}
		var now []chain
		py := y - step
		for u := x0; u < x1; u++ {
			if !has(fill, u, row) {
				continue
			}
			u0 := u
			for u < x1 && has(fill, u, row) {
				u++
			}
			middle := (u0 + u) / 2
			l, r := float64(u0)+trim+pull(middle, row, -1), float64(u)-trim-pull(middle, row, 1)
			if r-l < least {
				continue
			}
			c := chain{l: l, r: r}
			for k := range open {
				o := &open[k]
				if o.pts == nil || o.r < l || o.l > r {
					continue
				}
				from, to := o.l, l
				if o.right {
					from, to = o.r, r
				}
				if math.Hypot(to-from, step) > 3*step || !free(inside(from, o.l, o.r), py, inside(to, l, r), y) {
					continue
				}
				c.pts, c.right = o.pts, !o.right
				o.pts = nil
				break
			}
			if c.pts == nil {
				c.pts, c.right = []r2.Vec{put(l, y)}, true
				c.pts = append(c.pts, put(r, y))
			} else if c.right {
				c.pts = append(c.pts, put(l, y), put(r, y))
			} else {
				c.pts = append(c.pts, put(r, y), put(l, y))
			}
			now = append(now, c)
		}
		for _, o := range open {
			if o.pts != nil {
				done = append(done, o.pts)
			}
		}
		open = now
	}
	for _, o := range open {
		done = append(done, o.pts)
	}
	return done
}

// inside moves x half a cell inward from whichever end of l..r it is nearer to,
// so that a point on a cell's side is looked up in the cell that it bounds.
func inside(x, l, r float64) float64 {
	if x-l < r-x {
		return x + 0.5
	}
	return x - 0.5
}

// solid fills cells with full lines: step apart (cells), centred in each piece
// by itself. trim is what the cells are too wide by; pull is how far the middle of
// a line stays from the filling's edge.
func solid(fill, room *raster.Bits, step, trim, pull, least float64, upright bool) [][]r2.Vec {
	if fill.Empty() {
		return nil
	}
	var out [][]r2.Vec
	for _, p := range raster.Pieces(fill) {
		lo, hi := float64(p.Y0), float64(p.Y1)
		if upright {
			lo, hi = float64(p.X0), float64(p.X1)
		}
		extent := hi - lo - 2*trim
		n := math.Max(1, math.Round(extent/step))
		first := (lo+hi)/2 - (n-1)/2*step
		out = append(out, passes(&p.Cells, room, first, step, trim, pull, least, upright)...)
	}
	return out
}

// discOf returns the reach of r cells, rounded to whole ones, and what rounding
// left over, so that a cut is made on cells and finished on path ends.
func discOf(r float64) (raster.Disc, float64) {
	n := math.Round(r)
	return raster.DiscOf(n), r - n
}
