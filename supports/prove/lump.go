package prove

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r2"
)

// lump is one body in voxels of about a line. A voxel is there if any cell of it is, and
// is barred as any cell of it is.
type lump struct {
	p          *proof
	body       int32
	n, m       int // cells and layers of a voxel
	i0, j0, k0 int // its first cell
	nx, ny, nz int
	bars       []uint64
	list       []int32 // those that are there
	label      []int32 // the piece that each is of, from 1
	bonds      map[int32]*bond

	column []int32 // the column of voxels that each column of cells is of
	clumps []clump // scratch of grow
	clump  []int32 // likewise: the clump that each is of, −1 for none
	beside []int32 // from one to its 26 neighbours
}

// lumpOf returns a body in voxels and what bars each.
func (p *proof) lumpOf(layers []rows, body int, b *Body, bonded []bondRun) *lump {
	g := p.sup.Grid
	c := &lump{p: p, body: int32(body), bonds: map[int32]*bond{}}
	c.i0, c.j0 = g.At(r2.Vec{X: b.Bounds.Min.X + g.Cell/2, Y: b.Bounds.Min.Y + g.Cell/2})
	c.k0 = p.sup.Above(b.Bounds.Min.Z + 1e-6)
	wide := int(math.Round((b.Bounds.Max.X - b.Bounds.Min.X) / g.Cell))
	deep := int(math.Round((b.Bounds.Max.Y - b.Bounds.Min.Y) / g.Cell))
	tall := p.sup.Above(b.Bounds.Max.Z+1e-6) - c.k0
	for c.n = max(1, int(math.Round(p.s.Line/g.Cell))); ; c.n++ {
		c.m = max(1, int(math.Round(float64(c.n)*g.Cell/p.sup.Height)))
		c.nx, c.ny, c.nz = (wide+c.n-1)/c.n, (deep+c.n-1)/c.n, (tall+c.m-1)/c.m
		if c.nx*c.ny*c.nz <= mostVoxels {
			break
		}
	}
	c.bars = make([]uint64, c.nx*c.ny*c.nz)
	c.column = make([]int32, c.nx*c.n)
	for i := range c.column {
		c.column[i] = int32(i / c.n)
	}
	for _, r := range bonded {
		c.bond(r)
	}
	cells := make([]plane, tall)
	eachLayer(tall, p.workers, func(k int) { cells[k] = c.cells(layers, c.k0+k) })
	// A slab of voxels is one task, for its layers write the same ones.
	eachLayer(c.nz, p.workers, func(s int) {
		for k := s * c.m; k < min(tall, (s+1)*c.m); k++ {
			c.mark(&cells[k], k, there)
			c.barSideways(&cells[k], k, 0, 0)
			c.barSideways(&cells[k], k, 1, lifted)
			c.barSideways(&cells[k], k, -1, lowered)
		}
	})
	c.barUpright(cells)
	for v := range c.bars {
		if c.bars[v]>>there != 0 {
			c.list = append(c.list, int32(v))
		}
	}
	c.label = make([]int32, len(c.bars))
	return c
}

// cells returns the body's cells of layer k outside the part.
func (c *lump) cells(layers []rows, k int) plane {
	l := &layers[k]
	out := newPlane(c.i0, c.j0, c.i0+c.nx*c.n, c.j0+c.ny*c.n)
	for n := 0; n+1 < len(l.start); n++ {
		for _, u := range l.runs[l.start[n]:l.start[n+1]] {
			if u.body == c.body {
				setSpan(out.row(l.y0+n-c.j0), int(u.i0)-c.i0, int(u.i1)-c.i0)
			}
		}
	}
	c.p.part.Layer(k).EachRun(func(j, i0, i1 int) {
		if j -= c.j0; j >= 0 && j < out.h {
			if i0, i1 = max(i0-c.i0, 0), min(i1-c.i0, out.w); i0 < i1 {
				clearSpan(out.row(j), i0, i1)
			}
		}
	})
	return out
}

func clearSpan(row []uint64, i0, i1 int) {
	for i := i0; i < i1; i++ {
		row[i>>6] &^= 1 << (uint(i) & 63)
	}
}

// mark sets a bit of the voxels of those cells, k layers above the body's first.
func (c *lump) mark(cells *plane, k, bit int) {
	for j := range cells.h {
		c.markRow(cells.row(j), j, k, bit)
	}
}

func (c *lump) markRow(row []uint64, j, k, bit int) {
	at := (k/c.m*c.ny + j/c.n) * c.nx
	line := c.bars[at : at+c.nx]
	for w, v := range row {
		for ; v != 0; v &= v - 1 {
			line[c.column[w<<6+bits.TrailingZeros64(v)]] |= 1 << bit
		}
	}
}

// barSideways marks what the part bars of a layer that is moved up by rise layers,
// from bit first on.
func (c *lump) barSideways(cells *plane, k, rise, first int) {
	part := c.p.part.Layer(c.k0 + k + rise)
	if part.Empty() {
		return
	}
	upright := core(part)
	if rise != 0 {
		// Where there is no room to rise or sink no way is free.
		row := make([]uint64, cells.ww)
		for j := range cells.h {
			if n := cells.y0 + j - upright.y0; n >= 0 && n < upright.h {
				clear(row)
				orShifted(row, upright.row(n), upright.x0-cells.x0)
				for w := range row {
					row[w] &= cells.row(j)[w]
				}
				for way := range compass {
					c.markRow(row, j, k, first+way)
				}
			}
		}
	}
	var swapped, across plane
	for n := range compass {
		h := headingOf(n)
		if !h.swap {
			shadow(&upright, cells, h, func(j int, row []uint64) { c.markRow(row, j, k, first+n) })
			continue
		}
		if across.words == nil {
			swapped, across = upright.transpose(), cells.transpose()
		}
		hit := newPlane(across.x0, across.y0, across.x0+across.w, across.y0+across.h)
		shadow(&swapped, &across, h, func(j int, row []uint64) { copy(hit.row(j), row) })
		back := hit.transpose()
		c.mark(&back, k, first+n)
	}
}

// shadow walks the rows of field against heading h, and tells of each row of cells
// which of them meet the field further on.
func shadow(field, cells *plane, h heading, tell func(j int, row []uint64)) {
	b0, b1 := math.MaxInt, math.MinInt // the lines that cells lie on
	for _, j := range [2]int{cells.y0, cells.y0 + cells.h - 1} {
		d := h.drift(j)
		b0, b1 = min(b0, cells.x0-d), max(b1, cells.x0+cells.w-d)
	}
	acc := make([]uint64, (b1-b0+63)>>6)
	row := make([]uint64, cells.ww)
	add := func(j int) {
		if j -= field.y0; j >= 0 && j < field.h {
			orShifted(acc, field.row(j), field.x0-h.drift(j+field.y0)-b0)
		}
	}
	test := func(j int) {
		clear(row)
		orShifted(row, acc, h.drift(j)+b0-cells.x0)
		any := uint64(0)
		for w, v := range cells.row(j - cells.y0) {
			row[w] &= v
			any |= row[w]
		}
		if any != 0 {
			tell(j-cells.y0, row)
		}
	}
	end := max(field.y0+field.h, cells.y0+cells.h)
	if h.sign > 0 {
		for j := end - 1; j >= cells.y0; j-- {
			if j < cells.y0+cells.h {
				test(j)
			}
			add(j)
		}
		return
	}
	for j := min(field.y0, cells.y0); j < cells.y0+cells.h; j++ {
		if j >= cells.y0 {
			test(j)
		}
		add(j)
	}
}

// barUpright marks what the part bars straight down and straight up.
func (c *lump) barUpright(cells []plane) {
	met := newPlane(c.i0, c.j0, c.i0+c.nx*c.n, c.j0+c.ny*c.n)
	step := func(k, bit int) {
		if at := k - c.k0; at >= 0 && at < len(cells) {
			hit := newPlane(met.x0, met.y0, met.x0+met.w, met.y0+met.h)
			for w, v := range cells[at].words {
				hit.words[w] = v & met.words[w]
			}
			c.mark(&hit, at, bit)
		}
		if b := c.p.part.Layer(k); !b.Empty() {
			solid := core(b)
			for j := range met.h {
				if n := met.y0 + j - solid.y0; n >= 0 && n < solid.h {
					orShifted(met.row(j), solid.row(n), solid.x0-met.x0)
				}
			}
		}
	}
	for k := range c.k0 + len(cells) {
		step(k, wayDown)
	}
	clear(met.words)
	for k := len(c.p.part.Cut) - 1; k >= c.k0; k-- {
		step(k, wayUp)
	}
}

// at returns the place of a voxel by its number.
func (c *lump) at(v int32) [3]int {
	n := int(v)
	return [3]int{n % c.nx, n / c.nx % c.ny, n / c.nx / c.ny}
}

// around calls f for the 26 neighbours of a voxel.
func (c *lump) around(v int32, f func(o int32)) {
	q := c.at(v)
	for dz := -1; dz <= 1; dz++ {
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				x, y, z := q[0]+dx, q[1]+dy, q[2]+dz
				if x >= 0 && y >= 0 && z >= 0 && x < c.nx && y < c.ny && z < c.nz {
					f(int32((z*c.ny+y)*c.nx + x))
				}
			}
		}
	}
}
