package prove

import (
	"fmt"
	"math"
	"math/bits"
	"sync/atomic"

	"falsework/raster"
)

// compass is the number of horizontal ways that are tried.
const compass = 16

// Bits of a body's set of ways: 0 to compass−1 are horizontal, then these.
const (
	wayDown = compass
	wayUp   = compass + 1
	allWays = compass + 2 // number of ways
)

// wayName returns what a way is called in a report.
func wayName(w int) Way {
	switch w {
	case wayDown:
		return "down"
	case wayUp:
		return "up"
	}
	return Way(fmt.Sprintf("%g°", 360.0/compass*float64(w)))
}

// heading is a horizontal way on the grid. Digital lines of one slope partition
// the cells: along the major axis t, the minor coordinate is round(slope·t) + b.
// Which line a cell lies on is off its true path by at most half a cell.
type heading struct {
	slope float64 // of the minor axis along the major one, −1 … 1
	swap  bool    // the major axis is x
	sign  int     // which way along the major axis
}

func headingOf(n int) heading {
	sin, cos := math.Sincos(2 * math.Pi * float64(n) / compass)
	// A way and its opposite share their lines to the last bit.
	if sin < -1e-12 || math.Abs(sin) <= 1e-12 && cos < 0 {
		h := headingOf(n - compass/2)
		h.sign = -h.sign
		return h
	}
	const tie = 1e-12 // 45° counts as along x
	if math.Abs(cos) >= math.Abs(sin)-tie {
		sign := 1
		if cos < 0 {
			sign = -1
		}
		slope := sin / cos
		if math.Abs(slope) < tie {
			slope = 0
		}
		return heading{slope: slope, swap: true, sign: sign}
	}
	slope := cos / sin
	if math.Abs(slope) < tie {
		slope = 0
	}
	return heading{slope: slope, sign: 1}
}

// drift returns the minor coordinate of line 0 at t.
func (h heading) drift(t int) int { return int(math.Round(h.slope * float64(t))) }

// plane is a bitmap of one layer: bit i of row j is cell (x0+i, y0+j).
type plane struct {
	x0, y0, w, h, ww int
	words            []uint64
}

func newPlane(x0, y0, x1, y1 int) plane {
	p := plane{x0: x0, y0: y0, w: x1 - x0, h: y1 - y0, ww: (x1 - x0 + 63) >> 6}
	p.words = make([]uint64, p.ww*p.h)
	return p
}

func (p *plane) row(n int) []uint64 { return p.words[n*p.ww : (n+1)*p.ww] }

func setSpan(row []uint64, i0, i1 int) {
	w0, w1 := i0>>6, (i1-1)>>6
	m0, m1 := ^uint64(0)<<(uint(i0)&63), ^uint64(0)>>(63-uint(i1-1)&63)
	if w0 == w1 {
		row[w0] |= m0 & m1
		return
	}
	row[w0] |= m0
	for w := w0 + 1; w < w1; w++ {
		row[w] = ^uint64(0)
	}
	row[w1] |= m1
}

// anyIn tells whether row has a bit in i0 ≤ i < i1; bits outside it are absent.
func anyIn(row []uint64, i0, i1 int) bool {
	i0, i1 = max(i0, 0), min(i1, len(row)<<6)
	if i0 >= i1 {
		return false
	}
	w0, w1 := i0>>6, (i1-1)>>6
	m0, m1 := ^uint64(0)<<(uint(i0)&63), ^uint64(0)>>(63-uint(i1-1)&63)
	if w0 == w1 {
		return row[w0]&m0&m1 != 0
	}
	if row[w0]&m0 != 0 || row[w1]&m1 != 0 {
		return true
	}
	for w := w0 + 1; w < w1; w++ {
		if row[w] != 0 {
			return true
		}
	}
	return false
}

// orShifted adds the bits of src to dst, moved up by shift; what leaves dst is
// dropped.
func orShifted(dst, src []uint64, shift int) {
	ws, bs := shift>>6, uint(shift)&63
	lo, hi := max(0, -ws-1), min(len(src), len(dst)-ws)
	for c := lo; c < hi; c++ {
		v := src[c]
		if v == 0 {
			continue
		}
		if d := c + ws; d >= 0 {
			dst[d] |= v << bs
		}
		if d := c + ws + 1; bs != 0 && d < len(dst) {
			dst[d] |= v >> (64 - bs)
		}
	}
}

// core returns the cells of b whose four neighbours belong to b as well. Part and
// body are each known to half a cell, so a body is stopped only by what lies
// more than a cell inside: nothing that prints is as thin as two cells.
func core(b *raster.Bits) plane {
	x0, y0, ww, words := b.Words()
	out := plane{x0: x0, y0: y0, w: 64 * ww, ww: ww, words: make([]uint64, len(words))}
	if ww == 0 {
		return out
	}
	out.h = len(words) / ww
	for n := 1; n+1 < out.h; n++ {
		up, mid, low, to := words[(n+1)*ww:(n+2)*ww], words[n*ww:(n+1)*ww], words[(n-1)*ww:n*ww], out.row(n)
		for c, v := range mid {
			v &= up[c] & low[c]
			if v == 0 {
				continue
			}
			left, right := mid[c]<<1, mid[c]>>1
			if c > 0 {
				left |= mid[c-1] >> 63
			}
			if c+1 < len(mid) {
				right |= mid[c+1] << 63
			}
			to[c] = v & left & right
		}
	}
	return out
}

// transpose swaps x and y.
func (p *plane) transpose() plane {
	out := newPlane(p.y0, p.x0, p.y0+p.h, p.x0+p.w)
	var block [64]uint64
	for j := 0; j < p.h; j += 64 {
		for c := 0; c < p.ww; c++ {
			some := uint64(0)
			for r := range block {
				block[r] = 0
				if j+r < p.h {
					block[r] = p.words[(j+r)*p.ww+c]
					some |= block[r]
				}
			}
			if some == 0 {
				continue
			}
			transpose64(&block)
			for r := 0; r < 64 && c<<6+r < out.h; r++ {
				out.words[(c<<6+r)*out.ww+j>>6] = block[r]
			}
		}
	}
	return out
}

// transpose64 swaps rows and bits of a 64 × 64 block by halves (Warren 2012,
// Hacker's Delight, 2nd ed., §7-3).
func transpose64(a *[64]uint64) {
	m := uint64(0x00000000ffffffff)
	for s := 32; s != 0; s >>= 1 {
		for k := 0; k < 64; k = (k + s + 1) &^ s {
			t := (a[k]>>uint(s) ^ a[k+s]) & m
			a[k] ^= t << uint(s)
			a[k+s] ^= t
		}
		m ^= m << uint(s>>1)
	}
}

// mover is a row's run of a body's cells.
type mover struct{ j, i0, i1, body int32 }

// ways returns, for each body, the ways that the part bars. A body is moved as a
// whole and alone, other bodies being gone; what of it lies inside the part is a
// collision and told as such.
//
// A body that cannot leave as it stands is tried again lifted, and lowered, by the
// layers of void that part it from the part: once it has broken loose it is free
// to rise and sink by those, and a lip of a layer does not hold it.
func (p *proof) ways(layers []rows, bodies int) []uint32 {
	barred := make([]atomic.Uint32, bodies)
	movers := make([][]mover, len(layers))
	eachLayer(len(layers), p.workers, func(k int) {
		free := raster.AndNot(&p.sup.Cut[k], p.part.Layer(k))
		free.EachRun(func(j, i0, i1 int) {
			movers[k] = append(movers[k], mover{int32(j), int32(i0), int32(i1), int32(layers[k].bodyAt(i0, j))})
		})
		p.sideways(k, 0, movers[k], barred)
	})
	g := p.part.Grid
	for _, w := range [...]int{wayDown, wayUp} {
		// What the bodies would meet: all of the part that they have to pass.
		met := newPlane(0, 0, g.W, g.H)
		add := func(k int) {
			b := p.part.Layer(k)
			if b.Empty() {
				return
			}
			c := core(b)
			for n := max(0, -c.y0); n < min(c.h, met.h-c.y0); n++ {
				orShifted(met.row(c.y0+n), c.row(n), c.x0)
			}
		}
		test := func(k int) {
			for _, m := range movers[k] {
				if barred[m.body].Load()>>w&1 == 0 && anyIn(met.row(int(m.j)), int(m.i0), int(m.i1)) {
					barred[m.body].Or(1 << w)
				}
			}
		}
		if w == wayDown {
			for k := range movers {
				test(k)
				add(k)
			}
			continue
		}
		for k := len(p.part.Cut) - 1; k >= 0; k-- {
			if k < len(movers) {
				test(k)
			}
			add(k)
		}
	}
	out := make([]uint32, bodies)
	shut := false
	for n := range out {
		out[n] = barred[n].Load()
		shut = shut || out[n] == 1<<allWays-1
	}
	for rise := -p.s.VoidLayers(); shut && rise <= p.s.VoidLayers(); rise++ {
		if rise == 0 {
			continue
		}
		for n := range out {
			barred[n].Store(1<<allWays - 1)
			if out[n] == 1<<allWays-1 {
				barred[n].Store(1<<wayDown | 1<<wayUp)
			}
		}
		eachLayer(len(layers), p.workers, func(k int) { p.sideways(k, rise, movers[k], barred) })
		for n := range out {
			out[n] &= barred[n].Load()
		}
	}
	return out
}

// sideways tests layer k's cells, moved up by rise layers, against the part's
// there.
func (p *proof) sideways(k, rise int, movers []mover, barred []atomic.Uint32) {
	part := p.part.Layer(k + rise)
	if len(movers) == 0 || part.Empty() {
		return
	}
	open := uint32(0) // ways that some body of this layer may still have
	for _, m := range movers {
		open |= ^barred[m.body].Load()
	}
	if open&(1<<compass-1) == 0 {
		return
	}
	upright := core(part)
	if rise != 0 {
		for _, m := range movers {
			if j := int(m.j) - upright.y0; j >= 0 && j < upright.h && anyIn(upright.row(j), int(m.i0)-upright.x0, int(m.i1)-upright.x0) {
				barred[m.body].Or(1<<compass - 1) // no room to rise or sink
			}
		}
	}
	var swapped plane
	var across []mover // movers with x and y swapped
	acc := []uint64(nil)
	for n := 0; n < compass; n++ {
		if open>>n&1 == 0 {
			continue
		}
		h := headingOf(n)
		field, list := &upright, movers
		if h.swap {
			if across == nil {
				swapped = upright.transpose()
				across = swap(movers)
			}
			field, list = &swapped, across
		}
		acc = sweep(field, list, h, n, acc, barred)
	}
}

// sweep walks the rows of field against heading h, gathering on each line what
// lies ahead, and bars way n to the movers that meet it. acc is scratch.
func sweep(field *plane, list []mover, h heading, n int, acc []uint64, barred []atomic.Uint32) []uint64 {
	// The lines that movers lie on.
	b0, b1 := math.MaxInt, math.MinInt
	for _, m := range list {
		d := h.drift(int(m.j))
		b0, b1 = min(b0, int(m.i0)-d), max(b1, int(m.i1)-d)
	}
	words := (b1 - b0 + 63) >> 6
	if cap(acc) < words {
		acc = make([]uint64, words)
	}
	acc = acc[:words]
	clear(acc)
	add := func(j int) {
		orShifted(acc, field.row(j-field.y0), field.x0-h.drift(j)-b0)
	}
	test := func(m mover) {
		if barred[m.body].Load()>>n&1 != 0 {
			return
		}
		d := h.drift(int(m.j)) + b0
		if anyIn(acc, int(m.i0)-d, int(m.i1)-d) {
			barred[m.body].Or(1 << n)
		}
	}
	if h.sign > 0 {
		j := field.y0 + field.h - 1
		for i := len(list) - 1; i >= 0; i-- {
			for ; j > int(list[i].j) && j >= field.y0; j-- {
				add(j)
			}
			test(list[i])
		}
		return acc
	}
	j := field.y0
	for _, m := range list {
		for ; j < int(m.j) && j < field.y0+field.h; j++ {
			add(j)
		}
		test(m)
	}
	return acc
}

// swap returns movers with x and y swapped, in order of their new rows.
func swap(list []mover) []mover {
	x0, y0, x1, y1 := int32(math.MaxInt32), int32(math.MaxInt32), int32(math.MinInt32), int32(math.MinInt32)
	for _, m := range list {
		x0, x1 = min(x0, m.i0), max(x1, m.i1)
		y0, y1 = min(y0, m.j), max(y1, m.j+1)
	}
	all := newPlane(int(x0), int(y0), int(x1), int(y1))
	start := make([]int, y1-y0+1) // first mover of each row
	for n := len(list) - 1; n >= 0; n-- {
		m := list[n]
		setSpan(all.row(int(m.j-y0)), int(m.i0-x0), int(m.i1-x0))
		start[m.j-y0] = n
	}
	body := func(i, j int32) int32 {
		for n := start[j-y0]; ; n++ {
			if i < list[n].i1 {
				return list[n].body
			}
		}
	}
	turned := all.transpose()
	var out []mover
	for n := 0; n < turned.h; n++ {
		i := x0 + int32(n)
		row := turned.row(n)
		for at := 0; at < turned.w; {
			rest := row[at>>6] >> (uint(at) & 63)
			if rest == 0 {
				at = (at>>6 + 1) << 6
				continue
			}
			at += bits.TrailingZeros64(rest)
			from := at
			for at < turned.w && row[at>>6]>>(uint(at)&63)&1 != 0 {
				at += min(bits.TrailingZeros64(^(row[at>>6] >> (uint(at) & 63))), 64-at&63)
			}
			j := y0 + int32(from)
			out = append(out, mover{i, j, y0 + int32(at), body(i, j)})
		}
	}
	return out
}
