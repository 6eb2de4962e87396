package raster

import (
	"math"
	"math/bits"
	"slices"
)

// Bits is a set of cells, kept as rows of 64-bit words over the smallest window
// that was asked for; cells outside the window are absent. The zero value is the
// empty set. Set operations return new sets and leave their operands alone.
type Bits struct {
	wx, y  int // window's first word column and first row
	ww, ny int // window's words a row and rows
	words  []uint64
}

// NewBits returns an empty set with room for the cells x0 ≤ i < x1, y0 ≤ j < y1.
func NewBits(x0, y0, x1, y1 int) (b Bits) {
	b.Reset(x0, y0, x1, y1)
	return b
}

// Reset makes b the empty set with room for the cells x0 ≤ i < x1, y0 ≤ j < y1,
// in the memory that it has where that is enough.
func (b *Bits) Reset(x0, y0, x1, y1 int) {
	words := b.words
	*b = Bits{}
	if x1 > x0 && y1 > y0 {
		b.wx, b.y, b.ny = x0>>6, y0, y1-y0
		b.ww = ((x1 - 1) >> 6) - b.wx + 1
	}
	if n := b.ww * b.ny; n <= cap(words) {
		b.words = words[:n]
		clear(b.words)
	} else {
		b.words = make([]uint64, n)
	}
}

// window returns the cell bounds of the window.
func (b *Bits) window() (x0, y0, x1, y1 int) {
	return b.wx << 6, b.y, (b.wx + b.ww) << 6, b.y + b.ny
}

// row returns the words of row j, nil outside the window.
func (b *Bits) row(j int) []uint64 {
	if j < b.y || j >= b.y+b.ny {
		return nil
	}
	o := (j - b.y) * b.ww
	return b.words[o : o+b.ww]
}

// word returns the word at word column w of row j, 0 outside the window.
func (b *Bits) word(w, j int) uint64 {
	w -= b.wx
	j -= b.y
	if uint(w) >= uint(b.ww) || uint(j) >= uint(b.ny) {
		return 0
	}
	return b.words[j*b.ww+w]
}

// Has tells whether cell (i, j) is in the set.
func (b *Bits) Has(i, j int) bool {
	return b.word(i>>6, j)>>(uint(i)&63)&1 != 0
}

// Row64 returns the 64 cells of row j from cell i on, cell i in the lowest bit.
func (b *Bits) Row64(i, j int) uint64 {
	w, n := i>>6, uint(i)&63
	v := b.word(w, j) >> n
	if n > 0 {
		v |= b.word(w+1, j) << (64 - n)
	}
	return v
}

// Set adds cell (i, j), which must lie in the window.
func (b *Bits) Set(i, j int) {
	b.words[(j-b.y)*b.ww+(i>>6)-b.wx] |= 1 << (uint(i) & 63)
}

// SetSpan adds the cells i0 ≤ i < i1 of row j, which must lie in the window.
func (b *Bits) SetSpan(j, i0, i1 int) {
	if i0 >= i1 {
		return
	}
	r := b.row(j)
	w0, w1 := (i0>>6)-b.wx, ((i1-1)>>6)-b.wx
	m0 := ^uint64(0) << (uint(i0) & 63)
	m1 := ^uint64(0) >> (63 - uint(i1-1)&63)
	if w0 == w1 {
		r[w0] |= m0 & m1
		return
	}
	r[w0] |= m0
	for w := w0 + 1; w < w1; w++ {
		r[w] = ^uint64(0)
	}
	r[w1] |= m1
}

// Count returns the number of cells.
func (b *Bits) Count() int {
	n := 0
	for _, w := range b.words {
		n += bits.OnesCount64(w)
	}
	return n
}

// Empty tells whether the set has no cell.
func (b *Bits) Empty() bool {
	for _, w := range b.words {
		if w != 0 {
			return false
		}
	}
	return true
}

// Bounds returns the smallest half-open box of cells round the set; all zero
// when it is empty.
func (b *Bits) Bounds() (x0, y0, x1, y1 int) {
	first := true
	left, right := b.ww, -1 // words
	var lows, highs uint64  // of these
	for n := 0; n < b.ny; n++ {
		row := b.words[n*b.ww : (n+1)*b.ww]
		l := 0
		for l < len(row) && row[l] == 0 {
			l++
		}
		if l == len(row) {
			continue
		}
		h := len(row) - 1
		for row[h] == 0 {
			h--
		}
		if first {
			y0, first = b.y+n, false
		}
		y1 = b.y + n + 1
		if l < left {
			left, lows = l, 0
		}
		if l == left {
			lows |= row[l]
		}
		if h > right {
			right, highs = h, 0
		}
		if h == right {
			highs |= row[h]
		}
	}
	if first {
		return 0, 0, 0, 0
	}
	return (b.wx+left)<<6 + bits.TrailingZeros64(lows), y0, (b.wx+right)<<6 + 64 - bits.LeadingZeros64(highs), y1
}

// EachRun calls f for every maximal run i0 ≤ i < i1 of cells in a row, rows
// upward and runs rightward.
func (b *Bits) EachRun(f func(j, i0, i1 int)) {
	for n := 0; n < b.ny; n++ {
		open, last := 0, uint64(0) // the run's first cell, and the cell before this word
		for c, w := range b.words[n*b.ww : (n+1)*b.ww] {
			ends := w ^ (w<<1 | last)
			for ; ends != 0; ends &= ends - 1 {
				at := bits.TrailingZeros64(ends)
				if i := (b.wx+c)<<6 + at; w>>uint(at)&1 != 0 {
					open = i
				} else {
					f(b.y+n, open, i)
				}
			}
			last = w >> 63
		}
		if last != 0 {
			f(b.y+n, open, (b.wx+b.ww)<<6)
		}
	}
}

// Each calls f for every cell, rows upward and cells rightward.
func (b *Bits) Each(f func(i, j int)) {
	for n := 0; n < b.ny; n++ {
		for c, w := range b.words[n*b.ww : (n+1)*b.ww] {
			for w != 0 {
				f((b.wx+c)<<6+bits.TrailingZeros64(w), b.y+n)
				w &= w - 1
			}
		}
	}
}

// Clone returns a copy that shares nothing.
func (b *Bits) Clone() Bits {
	c := *b
	c.words = append([]uint64(nil), b.words...)
	return c
}

// Moved returns the cells of b moved by dx cells along the row and dy rows up.
func Moved(b *Bits, dx, dy int) Bits {
	x0, y0, x1, y1 := b.Bounds()
	if x0 == x1 {
		return Bits{}
	}
	out := NewBits(x0+dx, y0+dy, x1+dx, y1+dy)
	for j := y0 + dy; j < y1+dy; j++ {
		row := out.row(j)
		for c := range row {
			row[c] = b.Row64((out.wx+c)<<6-dx, j-dy)
		}
	}
	return out
}

// Words gives the set as it is kept: rows of width words of 64 cells, the first cell of
// the first row being (x, y). What they hold must not be changed.
func (b *Bits) Words() (x, y, width int, words []uint64) { return b.wx << 6, b.y, b.ww, b.words }

// Crop returns the cells of b with x0 ≤ i < x1 and y0 ≤ j < y1.
func Crop(b *Bits, x0, y0, x1, y1 int) Bits {
	wx0, wy0, wx1, wy1 := b.window()
	x0, y0, x1, y1 = max(x0, wx0), max(y0, wy0), min(x1, wx1), min(y1, wy1)
	out := NewBits(x0, y0, x1, y1)
	if out.ww == 0 {
		return out
	}
	first := ^uint64(0) << (uint(x0) & 63)
	last := ^uint64(0) >> (63 - uint(x1-1)&63)
	for j := y0; j < y1; j++ {
		to := out.row(j)
		copy(to, b.row(j)[out.wx-b.wx:])
		to[0] &= first
		to[len(to)-1] &= last
	}
	return out
}

// And returns a ∩ b, in the window that they share.
func And(a, b *Bits) Bits {
	lo, hi := max(a.wx, b.wx), min(a.wx+a.ww, b.wx+b.ww)
	y0, y1 := max(a.y, b.y), min(a.y+a.ny, b.y+b.ny)
	if lo >= hi || y0 >= y1 {
		return Bits{}
	}
	out := Bits{wx: lo, y: y0, ww: hi - lo, ny: y1 - y0, words: make([]uint64, (hi-lo)*(y1-y0))}
	for j := y0; j < y1; j++ {
		z := out.words[(j-y0)*out.ww:][:hi-lo]
		x := a.words[(j-a.y)*a.ww+lo-a.wx:][:hi-lo]
		y := b.words[(j-b.y)*b.ww+lo-b.wx:][:hi-lo]
		for i := range z {
			z[i] = x[i] & y[i]
		}
	}
	return out
}

// AndNot returns a \ b.
func AndNot(a, b *Bits) Bits {
	out := a.Clone()
	out.Remove(b)
	return out
}

// Remove takes the cells of b out of a.
func (a *Bits) Remove(b *Bits) {
	lo, hi := max(a.wx, b.wx), min(a.wx+a.ww, b.wx+b.ww)
	for j := max(a.y, b.y); j < min(a.y+a.ny, b.y+b.ny) && lo < hi; j++ {
		x := a.words[(j-a.y)*a.ww+lo-a.wx:][:hi-lo]
		y := b.words[(j-b.y)*b.ww+lo-b.wx:][:hi-lo]
		for i := range x {
			x[i] &^= y[i]
		}
	}
}

// Or returns a ∪ b.
func Or(a, b *Bits) Bits {
	if len(a.words) == 0 {
		return b.Clone()
	}
	if len(b.words) == 0 {
		return a.Clone()
	}
	ax0, ay0, ax1, ay1 := a.window()
	bx0, by0, bx1, by1 := b.window()
	out := NewBits(min(ax0, bx0), min(ay0, by0), max(ax1, bx1), max(ay1, by1))
	out.include(a)
	out.include(b)
	return out
}

// Add puts the cells of b into a.
func (a *Bits) Add(b *Bits) {
	if b.Empty() {
		return
	}
	if b.wx < a.wx || b.y < a.y || b.wx+b.ww > a.wx+a.ww || b.y+b.ny > a.y+a.ny {
		*a = Or(a, b)
		return
	}
	a.include(b)
}

// include puts the cells of b, whose window lies in a's, into a.
func (a *Bits) include(b *Bits) {
	for n := 0; n < b.ny; n++ {
		x := a.words[(b.y+n-a.y)*a.ww+b.wx-a.wx:][:b.ww]
		for i, w := range b.words[n*b.ww : (n+1)*b.ww] {
			x[i] |= w
		}
	}
}

// Equal tells whether two sets have the same cells.
func Equal(a, b *Bits) bool { return a.within(b, true) && b.within(a, false) }

// within tells whether every cell of a is in b and, where both have room for it, every
// cell of b in a too if same is set.
func (a *Bits) within(b *Bits, same bool) bool {
	lo, hi := max(a.wx, b.wx), min(a.wx+a.ww, b.wx+b.ww)
	for n := 0; n < a.ny; n++ {
		row := a.words[n*a.ww : (n+1)*a.ww]
		o := b.row(a.y + n)
		if o == nil || lo >= hi {
			if slices.ContainsFunc(row, func(w uint64) bool { return w != 0 }) {
				return false
			}
			continue
		}
		for c, w := range row {
			at := a.wx + c
			if at < lo || at >= hi {
				if w != 0 {
					return false
				}
			} else if v := o[at-b.wx]; w&^v != 0 || same && v != w {
				return false
			}
		}
	}
	return true
}

// Disc is a disc-shaped reach in cells: the half-width of each of its rows.
type Disc struct {
	half []int // half[dy]: cells (dx, ±dy) with |dx| ≤ half[dy] belong
}

// DiscOf returns the offsets (dx, dy) with dx²+dy² ≤ r², r in cells. A tiny
// allowance keeps whole radii inclusive in spite of rounding.
func DiscOf(r float64) Disc {
	if r < 0 {
		return Disc{}
	}
	r += 1e-9
	d := Disc{}
	for dy := 0; float64(dy) <= r; dy++ {
		d.half = append(d.half, int(math.Sqrt(r*r-float64(dy*dy))))
	}
	return d
}

// spread returns the middle word of three with each bit widened by n ≤ 64 cells
// to both sides.
func spread(l, m, r uint64, n int) uint64 {
	out := m
	// Shifts by 1, 2, 4 … widen by their sum; the last one takes what is left.
	// Widening left (towards higher bits) pulls from l, right from r.
	up, upl := m, l
	dn, dnr := m, r
	for left, s := n, 1; left > 0; s *= 2 {
		s = min(s, left)
		up |= up<<uint(s) | upl>>uint(64-s)
		upl |= upl << uint(s)
		dn |= dn>>uint(s) | dnr<<uint(64-s)
		dnr |= dnr >> uint(s)
		left -= s
	}
	return out | up | dn
}

// dilatedWord returns word w of row j of the dilation of b by d, or as much of it
// as answers for the cells of want.
func (b *Bits) dilatedWord(d Disc, w, j int, want uint64) uint64 {
	var out uint64
	for dy, n := range d.half {
		for s := 0; s < 2; s++ {
			jj := j + dy
			if s == 1 {
				if dy == 0 {
					break
				}
				jj = j - dy
			}
			r := b.row(jj)
			if r == nil {
				continue
			}
			if n > 64 {
				out |= b.wideWord(n, w, jj)
				continue
			}
			c := w - b.wx
			var l, m, h uint64
			if uint(c-1) < uint(b.ww) {
				l = r[c-1]
			}
			if uint(c) < uint(b.ww) {
				m = r[c]
			}
			if uint(c+1) < uint(b.ww) {
				h = r[c+1]
			}
			if l|m|h == 0 {
				continue
			}
			out |= spread(l, m, h, n)
			if out&want == want {
				return out
			}
		}
	}
	return out
}

// wideWord is dilatedWord's row step for reaches beyond one word.
func (b *Bits) wideWord(n, w, j int) uint64 {
	var out uint64
	for i := 0; i < 64; i++ {
		x := w<<6 + i
		for k := (x - n) >> 6; k <= (x+n)>>6; k++ {
			v := b.word(k, j)
			if lo := x - n - k<<6; lo > 0 {
				v &= ^uint64(0) << uint(lo)
			}
			if hi := x + n - k<<6; hi < 63 {
				v &= ^uint64(0) >> uint(63-hi)
			}
			if v != 0 {
				out |= 1 << uint(i)
				break
			}
		}
	}
	return out
}

// Dilate returns the cells within reach d of b.
func Dilate(b *Bits, d Disc) Bits {
	if len(b.words) == 0 || len(d.half) == 0 {
		return b.Clone()
	}
	x0, y0, x1, y1 := b.Bounds()
	if x0 == x1 {
		return Bits{}
	}
	r := len(d.half) - 1
	out := NewBits(x0-d.half[0], y0-r, x1+d.half[0], y1+r)
	for n := 0; n < out.ny; n++ {
		for c := 0; c < out.ww; c++ {
			out.words[n*out.ww+c] = b.dilatedWord(d, out.wx+c, out.y+n, ^uint64(0))
		}
	}
	return out
}

// Beyond returns the cells of a that are not within reach d of b. It looks only
// at a's cells, so it is cheap where a is small.
func Beyond(a, b *Bits, d Disc) Bits {
	return within(a, b, d, ^uint64(0))
}

// Within returns the cells of a that are within reach d of b.
func Within(a, b *Bits, d Disc) Bits {
	return within(a, b, d, 0)
}

// Near tells whether some cell of a is within reach d of b.
func Near(a, b *Bits, d Disc) bool {
	for n := 0; n < a.ny; n++ {
		for c := 0; c < a.ww; c++ {
			if x := a.words[n*a.ww+c]; x != 0 && x&b.dilatedWord(d, a.wx+c, a.y+n, x) != 0 {
				return true
			}
		}
	}
	return false
}

func within(a, b *Bits, d Disc, flip uint64) Bits {
	out := Bits{wx: a.wx, y: a.y, ww: a.ww, ny: a.ny, words: make([]uint64, len(a.words))}
	for n := 0; n < a.ny; n++ {
		for c := 0; c < a.ww; c++ {
			if x := a.words[n*a.ww+c]; x != 0 {
				out.words[n*a.ww+c] = x & (b.dilatedWord(d, a.wx+c, a.y+n, x) ^ flip)
			}
		}
	}
	return out
}

// Erode returns the cells of b from which no cell outside b is within reach d.
func Erode(b *Bits, d Disc) Bits {
	if len(b.words) == 0 || len(d.half) == 0 {
		return b.Clone()
	}
	if d.half[0] > 64 {
		return b.erodeWide(d)
	}
	out := Bits{wx: b.wx, y: b.y, ww: b.ww, ny: b.ny, words: make([]uint64, len(b.words))}
	for n := 0; n < b.ny; n++ {
		for c := 0; c < b.ww; c++ {
			if x := b.words[n*b.ww+c]; x != 0 {
				out.words[n*b.ww+c] = b.erodedWord(d, c, b.y+n, x)
			}
		}
	}
	return out
}

// erodedWord returns what is left of x, word c of row j, after an erosion by d.
func (b *Bits) erodedWord(d Disc, c, j int, x uint64) uint64 {
	for dy, n := range d.half {
		for _, jj := range [2]int{j + dy, j - dy} {
			r := b.row(jj)
			if r == nil {
				return 0
			}
			l, m, h := uint64(0), r[c], uint64(0)
			if c > 0 {
				l = r[c-1]
			}
			if c+1 < len(r) {
				h = r[c+1]
			}
			if l&m&h == ^uint64(0) {
				continue
			}
			if x &^= spread(^l, ^m, ^h, n); x == 0 {
				return 0
			}
		}
	}
	return x
}

// erodeWide is Erode for reaches beyond one word.
func (b *Bits) erodeWide(d Disc) Bits {
	r := len(d.half) - 1
	x0, y0, x1, y1 := b.window()
	hole := NewBits(x0-d.half[0]-64, y0-r, x1+d.half[0]+64, y1+r)
	for n := 0; n < hole.ny; n++ {
		for c := 0; c < hole.ww; c++ {
			hole.words[n*hole.ww+c] = ^b.word(hole.wx+c, hole.y+n)
		}
	}
	return Beyond(b, &hole, d)
}

// Radius returns the disc's reach along an axis, in whole cells.
func (d Disc) Radius() int { return max(0, len(d.half)-1) }
