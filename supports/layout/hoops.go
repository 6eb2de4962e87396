package layout

import (
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
)

// hoops draws the lines under a ceiling of layer k that goes round one hole, or one piece of
// the part: hoops that follow it, and spokes from one to the next. Walls stand under the hoops
// alone, each one bead a layer, since spokes are short enough to be ties. Where the ceiling
// ends at a wall of the part the beads land there: stubs reach for it, or, if snug, a hoop
// runs along it. edges are the lines along free edges. It is not ok where the ceiling has
// another shape.
func (t *site) hoops(k int, cells, open *raster.Bits, edges []line, scale float64, snug bool) (out []line, ok bool) {
	a, ok := t.annulus(k, cells)
	if !ok {
		return nil, false
	}
	span := (t.comb - t.wall) * scale
	at, gap, ok := t.ringsOf(&a, span, snug)
	if !ok {
		return nil, false
	}
	z := t.part.Bottom(k)
	var rings [][]r2.Vec
	out = slices.Clone(edges)
	for n, x := range at {
		ring := a.level(t, x/a.width)
		if len(ring) < 4 {
			return nil, false
		}
		if n == 0 && a.inner.free || n == len(at)-1 && a.outer.free {
			if ring = edgeAlong(edges, ring, t.wall); ring == nil {
				return nil, false
			}
			rings = append(rings, ring)
			continue
		}
		rings = append(rings, ring)
		l := line{}
		for _, p := range ring {
			if i, j := t.part.At(p); !open.Has(i, j) {
				return nil, false // what is barred is drawn otherwise
			}
			l.at = append(l.at, point{p, z})
		}
		out = append(out, l)
	}
	spoke := func(p, q r2.Vec) {
		if distance(p, q) > shortest*t.wall/2 {
			out = append(out, line{at: []point{{p, z}, {q, z}}})
		}
	}
	for n := 0; n+1 < len(rings); n++ {
		for _, p := range spaced(rings[n+1], t.apart(gap, span)) {
			if q, d := closest(rings[n], p); d <= 2*(gap+t.wall) {
				spoke(q, p)
			}
		}
	}
	for _, side := range []struct {
		rim     *rim
		ring    []r2.Vec
		reach   float64 // from the ring to the rim
		outside bool
	}{{&a.inner, rings[0], at[0] - t.wall/2, false}, {&a.outer, rings[len(rings)-1], a.width - at[len(at)-1] - t.wall/2, true}} {
		if side.rim.lined() {
			continue
		}
		apart := t.apart(min(side.reach, oblong*span), span)
		if side.rim.chord(t.s.Clearance, side.outside) > span {
			// A bead along the wall passes the tip of a stub, and is to land on those beside it;
			// where that is not enough it is mended.
			apart = min(apart, (t.wall+span)/2)
		}
		for _, p := range spaced(side.ring, apart*ringShare(side.ring, side.rim.loop)) {
			if q, d := closest(side.rim.loop, p); d > 0 && d <= 2*(side.reach+t.wall) {
				spoke(p, t.towards(k, open, p, q))
			}
		}
	}
	return out, true
}

// ringsOf returns how far from the inner rim the middles of an annulus's rings lie, lines along
// free edges among them, and how far apart they are in the clear. It is not ok where there
// would be none.
func (t *site) ringsOf(a *annulus, span float64, snug bool) (at []float64, gap float64, ok bool) {
	beside := t.s.Clearance + t.wall/2 + 2*t.part.Cell // of a hoop beside a wall
	for side, rim := range [2]*rim{&a.inner, &a.outer} {
		switch {
		case rim.free:
			rim.off = t.wall / 2
		case snug && rim.chord(beside-t.wall/2, side == 1) <= span:
			rim.off = beside
		}
	}
	// Beads land on the lines along the rims, else on the part.
	first, last := 0.0, a.width
	if a.inner.lined() {
		at, first = append(at, a.inner.off), a.inner.off+t.wall/2
	}
	if a.outer.lined() {
		at, last = append(at, a.width-a.outer.off), a.width-a.outer.off-t.wall/2
	}
	gaps := math.Ceil((last - first + t.wall) / (t.wall + oblong*span) * (1 - 1e-9))
	if last <= first || gaps < 1 {
		return nil, 0, false
	}
	gap = (last-first+t.wall)/gaps - t.wall
	from, way := first, 1.0
	if in, off := a.inner.lined(), a.outer.lined(); in != off && gaps > 1 {
		// Stubs hang in the air and are taller the longer they are; spokes are ties.
		gap = min(oblong*span, (last-first-beside)/(gaps-1)-t.wall)
		if off {
			from, way = last, -1
		}
	}
	for i := 1.0; i < gaps; i++ {
		at = append(at, from+way*(i*(gap+t.wall)-t.wall/2))
	}
	slices.Sort(at)
	return at, gap, len(at) > 0
}

// apart returns how far apart lines across a gap are for no bead between them to be longer
// than span, middle to middle.
func (t *site) apart(gap, span float64) float64 { return t.wall + math.Sqrt(span*span-gap*gap) }

// towards returns how far a line may run from p towards q at the part's wall.
func (t *site) towards(k int, open *raster.Bits, p, q r2.Vec) r2.Vec {
	d := distance(p, q)
	u, end := r2.Scale(1/d, r2.Sub(q, p)), p
	for far := t.part.Cell; far < d; far += t.part.Cell {
		at := r2.Add(p, r2.Scale(far, u))
		if i, j := t.part.At(at); !open.Has(i, j) {
			break
		}
		end = at
	}
	return t.advance(k, end, u)
}

// edgeAlong returns the line along a free edge that follows a ring, nil if none does all the way.
func edgeAlong(edges []line, ring []r2.Vec, within float64) []r2.Vec {
	for _, l := range edges {
		if l.ends()[0] != l.ends()[1] {
			continue
		}
		var path []r2.Vec
		for _, q := range l.at {
			path = append(path, q.Vec)
		}
		if !slices.ContainsFunc(ring, func(p r2.Vec) bool { _, d := closest(path, p); return d > within }) {
			return path
		}
	}
	return nil
}

// annulus is a ceiling that goes round one hole.
type annulus struct {
	inner, outer   rim
	width          float64 // from rim to rim, mm, where it is widest
	share          []float64
	x0, y0, x1, y1 int // cells that share is of: row by row, 0 at the inner rim, 1 at the outer
	hole, cells    raster.Bits
}

// rim is one of its two borders.
type rim struct {
	free bool     // nothing but air beyond
	off  float64  // of the middle of the line along it, mm; 0 for none
	loop []r2.Vec // closed, its first point repeated
}

// lined tells whether a line runs along the rim, so that none need reach for it.
func (r *rim) lined() bool { return r.off > 0 }

// chord returns the longest bead that lies against a round rim no further than d from it,
// the rim being outside it or inside.
func (r *rim) chord(d float64, outside bool) float64 {
	radius := long(r.loop) / (2 * math.Pi)
	if !outside {
		radius += d
	}
	return 2 * math.Sqrt(max(0, 2*radius*d-d*d))
}

// ringShare is how much shorter a ring is than what its stubs reach for, 1 if it is longer.
func ringShare(ring, loop []r2.Vec) float64 { return min(1, long(ring)/long(loop)) }

// unevenWidth is by how much of its width a ceiling may be wider at one place than at
// another and still be ringed by hoops.
const unevenWidth = 0.35

// annulus measures a ceiling of layer k. It is not ok where that goes round nothing or
// round several things, is of very uneven width, or where one border is in part a free edge.
func (t *site) annulus(k int, cells *raster.Bits) (a annulus, ok bool) {
	x0, y0, x1, y1 := cells.Bounds()
	a.x0, a.y0, a.x1, a.y1 = x0-2, y0-2, x1+2, y1+2
	room := raster.NewBits(a.x0, a.y0, a.x1, a.y1)
	for j := a.y0; j < a.y1; j++ {
		room.SetSpan(j, a.x0, a.x1)
	}
	out := raster.AndNot(&room, cells)
	var holes []raster.Piece
	var around raster.Bits
	for _, p := range raster.Pieces(&out) {
		switch {
		case p.Cells.Has(a.x0, a.y0):
			around = p.Cells
		case float64(p.Cells.Count())*t.part.CellArea() > t.wall*t.wall:
			holes = append(holes, p)
		}
	}
	if len(holes) != 1 {
		return a, false
	}
	a.hole, a.cells = holes[0].Cells, *cells
	for side, beyond := range [2]*raster.Bits{&a.hole, &around} {
		rim := [2]*rim{&a.inner, &a.outer}[side]
		near := raster.Within(beyond, cells, raster.DiscOf(1))
		solid := raster.And(&near, t.part.Layer(k))
		share := float64(solid.Count()) / float64(max(1, near.Count()))
		if rim.free = share < 0.1; !rim.free && share < 0.9 {
			return a, false
		}
		filled := a.hole
		if side == 1 {
			filled = raster.AndNot(&room, &around)
		}
		if rim.loop = t.loop(&filled); rim.loop == nil {
			return a, false
		}
	}
	in, off := distances(&a.hole, a.x0, a.y0, a.x1, a.y1), distances(&around, a.x0, a.y0, a.x1, a.y1)
	a.share = make([]float64, len(in))
	narrow := math.Inf(1)
	w := a.x1 - a.x0
	for i := range in {
		if sum := in[i] + off[i]; sum > 0 {
			a.share[i] = in[i] / sum
			if !cells.Has(a.x0+i%w, a.y0+i/w) {
				continue
			}
			// A cell's middle is half a cell from its border.
			a.width, narrow = max(a.width, (sum-1)*t.part.Cell), min(narrow, (sum-1)*t.part.Cell)
		}
	}
	return a, a.width > 2*t.wall && a.width-narrow <= unevenWidth*a.width
}

// level returns the closed line between the rims on which the way from the inner one is that
// share of all the way.
func (a *annulus) level(t *site, share float64) []r2.Vec {
	in := a.hole.Clone()
	w := a.x1 - a.x0
	under := raster.NewBits(a.x0, a.y0, a.x1, a.y1)
	a.cells.Each(func(i, j int) {
		if a.share[(j-a.y0)*w+i-a.x0] < share {
			under.Set(i, j)
		}
	})
	in = raster.Or(&in, &under)
	return t.loop(&in)
}

// loop returns the longest outline of cells, closed, nil if there is none.
func (t *site) loop(cells *raster.Bits) []r2.Vec {
	var longest []raster.Corner
	for _, c := range raster.Contours(cells) {
		if len(c) > len(longest) {
			longest = c
		}
	}
	if len(longest) < 4 {
		return nil
	}
	path := make([]r2.Vec, 0, len(longest)+1)
	for _, c := range longest {
		path = append(path, t.part.Point(c))
	}
	return raster.Simplify(append(path, path[0]), traceTolerance*t.s.Line)
}

func long(path []r2.Vec) (sum float64) {
	for i := 1; i < len(path); i++ {
		sum += distance(path[i-1], path[i])
	}
	return sum
}

// spaced returns points evenly along a closed path, no further apart than pitch.
func spaced(path []r2.Vec, pitch float64) (out []r2.Vec) {
	total := long(path)
	n := int(math.Ceil(total/pitch - 1e-9))
	gone, next := 0.0, 0
	for i := 1; i < len(path) && next < n; i++ {
		d := distance(path[i-1], path[i])
		for next < n {
			s := total * float64(next) / float64(n)
			if s > gone+d {
				break
			}
			out = append(out, r2.Add(path[i-1], r2.Scale((s-gone)/max(d, 1e-12), r2.Sub(path[i], path[i-1]))))
			next++
		}
		gone += d
	}
	return out
}

// closest returns the point of a path that is closest to p, and how far away it is.
func closest(path []r2.Vec, p r2.Vec) (q r2.Vec, d float64) {
	d = math.Inf(1)
	for i := 1; i < len(path); i++ {
		a, v := path[i-1], r2.Sub(path[i], path[i-1])
		f := 0.0
		if n := r2.Norm2(v); n > 0 {
			f = min(1, max(0, r2.Dot(r2.Sub(p, a), v)/n))
		}
		at := r2.Add(a, r2.Scale(f, v))
		if e := distance(at, p); e < d {
			q, d = at, e
		}
	}
	return q, d
}

// distances returns how far each cell of a box is from the nearest of some cells, in cells,
// middle to middle: row by row the nearest in the row, then down the columns the lowest of the
// parabolas over those (Felzenszwalb and Huttenlocher 2012, Theory of Computing 8, 415–428).
func distances(of *raster.Bits, x0, y0, x1, y1 int) []float64 {
	w, h := x1-x0, y1-y0
	far := float64(w + h)
	out := make([]float64, w*h)
	for j := range h {
		row := out[j*w : (j+1)*w]
		last := far
		for i := range w {
			if last++; of.Has(x0+i, y0+j) {
				last = 0
			}
			row[i] = min(far, last)
		}
		last = far
		for i := w - 1; i >= 0; i-- {
			if last++; row[i] == 0 {
				last = 0
			}
			row[i] = min(row[i], last)
		}
	}
	at, from, squares := make([]int, h), make([]float64, h+1), make([]float64, h)
	for i := range w {
		for j := range h {
			squares[j] = out[j*w+i] * out[j*w+i]
		}
		n := 0
		at[0], from[0], from[1] = 0, math.Inf(-1), math.Inf(1)
		for j := 1; j < h; j++ {
			for {
				v := at[n]
				cut := (squares[j] + float64(j*j) - squares[v] - float64(v*v)) / float64(2*(j-v))
				if cut <= from[n] {
					n--
					continue
				}
				n++
				at[n], from[n], from[n+1] = j, cut, math.Inf(1)
				break
			}
		}
		n = 0
		for j := range h {
			for from[n+1] < float64(j) {
				n++
			}
			d := float64(j - at[n])
			out[j*w+i] = math.Sqrt(d*d + squares[at[n]])
		}
	}
	return out
}

// ringed tells whether a need has a level ceiling that hoops go round.
func (t *site) ringed(n need.Need) bool {
	for _, r := range n.Regions {
		for i := range r.Cuts {
			c := &r.Cuts[i]
			if len(t.ceilings(c)) == 0 {
				continue
			}
			for _, p := range t.fresh(c.K, c) {
				if _, ok := t.annulus(c.K, &p.Cells); ok {
					return true
				}
			}
		}
	}
	return false
}
