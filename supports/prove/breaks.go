package prove

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// alongShare is by how much layers part more easily than they tear: strength
	// across layers is 48 % less, doi 10.1089/3dp.2020.0109.
	alongShare = 1 / (1 - 0.48)
	// mostCuts and mostPieces bound a break order: nobody follows a longer one.
	mostCuts, mostPieces = 12, 40
	// mostPlaces bounds the places along one axis that a cut is tried at.
	mostPlaces = 24
	// mostVoxels bounds the box of voxels that a body is cut up in.
	mostVoxels = 1 << 21
)

// Piece is a part of a body that comes off by itself once it is broken away from
// those that are still there.
type Piece struct {
	Bounds r3.Box `json:"-"` // bounds_mm in JSON
	Way    Way    `json:"way"`
	Necks  []Neck `json:"necks"` // where it breaks off what is left of the body
}

// Neck is a place where a body breaks.
type Neck struct {
	At      r3.Vec  `json:"-"` // at_mm in JSON: the middle of the section
	AreaMM2 float64 `json:"area_mm2"`
	// ForceN is the lesser of what pulls it apart and what bends it off at the
	// piece's far end.
	ForceN float64 `json:"force_n"`
}

// Bits of what bars a voxel: the ways of ways.go, then the horizontal ones lifted and
// lowered by a layer. The last bit says that the voxel is there.
const (
	lifted  = allWays
	lowered = lifted + compass
	there   = 63
)

const allBars = uint64(1)<<(lowered+compass) - 1

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
	for w, v := range row {
		for ; v != 0; v &= v - 1 {
			c.bars[at+(w<<6+bits.TrailingZeros64(v))/c.n] |= 1 << bit
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

// chunk is a connected set of voxels.
type chunk struct {
	voxels []int32
	bars   uint64
}

// free returns the first way out, −1 for none.
func (q *chunk) free(but uint64) int {
	if rest := allBars &^ q.bars &^ but; rest != 0 {
		return bits.TrailingZeros64(rest)
	}
	return -1
}

// parts returns the connected pieces of voxels, those on one side of a cut being apart
// from those on the other. first is the label that the first one gets.
func (c *lump) parts(voxels []int32, axis, place int, first int32) []chunk {
	const waits = -1
	for _, v := range voxels {
		c.label[v] = waits
	}
	var out []chunk
	var todo []int32
	for _, v := range voxels {
		if c.label[v] != waits {
			continue
		}
		id := first + int32(len(out))
		side := c.at(v)[axis] < place
		q := chunk{}
		todo = append(todo[:0], v)
		c.label[v] = id
		for len(todo) > 0 {
			u := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			q.voxels = append(q.voxels, u)
			q.bars |= c.bars[u]
			c.around(u, func(o int32) {
				if c.label[o] == waits && (c.at(o)[axis] < place) == side {
					c.label[o] = id
					todo = append(todo, o)
				}
			})
		}
		q.bars &= allBars
		out = append(out, q)
	}
	return out
}

// box returns the first and last voxel of a chunk along each axis.
func (c *lump) box(q *chunk) (lo, hi [3]int) {
	lo, hi = [3]int{c.nx, c.ny, c.nz}, [3]int{-1, -1, -1}
	for _, v := range q.voxels {
		for a, n := range c.at(v) {
			lo[a], hi[a] = min(lo[a], n), max(hi[a], n)
		}
	}
	return lo, hi
}

// bounds returns that box in mm.
func (c *lump) bounds(q *chunk) r3.Box {
	g := c.p.sup.Grid
	lo, hi := c.box(q)
	top := min(c.k0+(hi[2]+1)*c.m, len(c.p.sup.Cut)) - 1
	at := func(q [3]int, z float64) r3.Vec {
		return r3.Vec{X: tidy(g.Origin.X + float64(c.i0+q[0]*c.n)*g.Cell), Y: tidy(g.Origin.Y + float64(c.j0+q[1]*c.n)*g.Cell), Z: tidy(z)}
	}
	return r3.Box{Min: at(lo, c.p.sup.Bottom(c.k0+lo[2]*c.m)), Max: at([3]int{hi[0] + 1, hi[1] + 1}, c.p.sup.Top(top))}
}

// good tells whether a piece comes off: it has a way, and a hand breaks it off the part.
func (c *lump) good(q *chunk) bool { return q.free(0) >= 0 && c.holdN(q) <= byHand }

// holdN returns the force, in N, that holds a piece to the part.
func (c *lump) holdN(q *chunk) float64 {
	if len(c.bonds) == 0 {
		return 0
	}
	var b bond
	for _, v := range q.voxels {
		if o := c.bonds[v]; o != nil {
			b.add(o.moments)
			b.corners = append(b.corners, o.corners...)
		}
	}
	lo, hi := c.box(q)
	pull, snap := b.forces(float64((hi[2]+1-lo[2])*c.m) * c.p.sup.Height)
	return min(pull, snap)
}

// bond adds a run of cells that are printed onto the part to the voxels that they are of.
func (c *lump) bond(r bondRun) {
	g := c.p.sup.Grid
	for i := r.i0; i < r.i1; {
		x := (i - c.i0) / c.n
		end := min(r.i1, c.i0+(x+1)*c.n)
		v := int32(((r.k-c.k0)/c.m*c.ny+(r.j-c.j0)/c.n)*c.nx + x)
		b := c.bonds[v]
		if b == nil {
			b = &bond{}
			c.bonds[v] = b
		}
		b.add(ofRun(g, r.j, i, end))
		b.corners = append(b.corners, corners(g, r.j, i, end)...)
		i = end
	}
}

// order cuts a body into pieces that each come off, the one to take first in front. It
// is nil where no such cuts are found.
//
// Cuts are planes square to an axis, and go through one piece at a time: through that
// piece which is worst, where they leave the least that still cannot come off, and of
// those the one through the least section.
func (c *lump) order() []Piece {
	pieces := c.parts(c.list, 0, 0, 1)
	for range mostCuts {
		worst := -1
		for n := range pieces {
			if !c.good(&pieces[n]) && (worst < 0 || len(pieces[n].voxels) > len(pieces[worst].voxels)) {
				worst = n
			}
		}
		if worst < 0 {
			return c.sequence(pieces)
		}
		parts := c.cut(&pieces[worst], int32(len(pieces)+1))
		if parts == nil || len(pieces)+len(parts) > mostPieces {
			return nil
		}
		pieces[worst] = parts[0]
		pieces = append(pieces, parts[1:]...)
		for n := range pieces {
			for _, v := range pieces[n].voxels {
				c.label[v] = int32(n + 1)
			}
		}
	}
	return nil
}

// cut returns a piece in parts, none where no cut helps. first is a label not in use.
func (c *lump) cut(q *chunk, first int32) []chunk {
	lo, hi := c.box(q)
	type choice struct{ axis, place, left, count, section int }
	best := choice{left: len(q.voxels)}
	for axis := range 3 {
		for _, v := range q.voxels {
			c.label[v] = first
		}
		sections := make([]int, hi[axis]+2)
		for _, v := range q.voxels {
			n := c.at(v)[axis]
			o := v + int32([3]int{1, c.nx, c.nx * c.ny}[axis])
			if n < hi[axis] && c.bars[o]>>there != 0 && c.label[o] == c.label[v] {
				sections[n+1]++
			}
		}
		for _, place := range placesOf(sections, lo[axis]+1, hi[axis]) {
			parts := c.parts(q.voxels, axis, place, first)
			try := choice{axis, place, 0, len(parts), sections[place]}
			for n := range parts {
				if !c.good(&parts[n]) {
					try.left += len(parts[n].voxels)
				}
			}
			if cmp.Or(cmp.Compare(try.left, best.left), cmp.Compare(try.count, best.count), cmp.Compare(try.section, best.section)) < 0 {
				best = try
			}
		}
	}
	if best.count == 0 {
		return nil
	}
	return c.parts(q.voxels, best.axis, best.place, first)
}

// placesOf returns where to try cuts, from lo to hi: evenly spread, and where the section
// is least in between.
func placesOf(sections []int, lo, hi int) []int {
	var out []int
	step := max(1, (hi-lo+mostPlaces)/mostPlaces)
	for a := lo; a <= hi; a += step {
		least := a
		for n := a; n < min(a+step, hi+1); n++ {
			if sections[n] < sections[least] {
				least = n
			}
		}
		out = append(out, a, least)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// sequence orders pieces so that each leaves past those that are still there, and finds
// where it breaks off them.
func (c *lump) sequence(pieces []chunk) []Piece {
	gone := make([]bool, len(pieces)+1) // by label
	var out []Piece
	for range pieces {
		found := false
		for n := range pieces {
			q := &pieces[n]
			if gone[n+1] {
				continue
			}
			barred := uint64(0)
			way := q.free(0)
			for way >= 0 && !c.passes(q, way, gone) {
				barred |= 1 << way
				way = q.free(barred)
			}
			if way < 0 {
				continue
			}
			piece := Piece{Bounds: c.bounds(q), Way: wayName(way), Necks: c.necks(q, gone)}
			if way >= lowered {
				piece.Way = wayName(way - lowered)
			} else if way >= lifted {
				piece.Way = wayName(way - lifted)
			}
			// What is printed onto the part gives way together with each neck.
			bond := c.holdN(q)
			if slices.ContainsFunc(piece.Necks, func(n Neck) bool { return n.ForceN+bond > byHand }) {
				continue
			}
			gone[n+1], found = true, true
			out = append(out, piece)
			break
		}
		if !found {
			return nil
		}
	}
	return out
}

// passes tells whether a piece leaves along a way past the pieces that are not gone.
func (c *lump) passes(q *chunk, way int, gone []bool) bool {
	var d [3]float64
	switch {
	case way == wayDown:
		d[2] = -1
	case way == wayUp:
		d[2] = 1
	default:
		if way >= lowered {
			way -= lowered
		} else if way >= lifted {
			way -= lifted
		}
		d[1], d[0] = math.Sincos(2 * math.Pi * float64(way) / compass)
	}
	id := c.label[q.voxels[0]]
	for _, v := range q.voxels {
		from := c.at(v)
		for t := 1.0; ; t++ {
			x, y, z := from[0]+int(math.Round(t*d[0])), from[1]+int(math.Round(t*d[1])), from[2]+int(math.Round(t*d[2]))
			if x < 0 || y < 0 || z < 0 || x >= c.nx || y >= c.ny || z >= c.nz {
				break
			}
			if o := c.label[(z*c.ny+y)*c.nx+x]; o != 0 && o != id && !gone[o] {
				return false
			}
		}
	}
	return true
}

// face is where two voxels of different pieces meet.
type face struct {
	axis int
	v    int32 // the lower of the two
	moments
	hull []r2.Vec
	z    float64
}

// necks returns where a piece hangs on those that are not gone.
func (c *lump) necks(q *chunk, gone []bool) []Neck {
	id := c.label[q.voxels[0]]
	at := map[[2]int32]int{}
	var faces []face
	steps := [3]int32{1, int32(c.nx), int32(c.nx * c.ny)}
	size := [3]int{c.nx, c.ny, c.nz}
	for _, v := range q.voxels {
		for axis, step := range steps {
			for _, low := range [2]int32{v, v - step} {
				if low < 0 {
					continue
				}
				here := c.at(low)
				if here[axis]+1 >= size[axis] || here[axis] < 0 {
					continue
				}
				other := low
				if low == v {
					other = v + step
				}
				if o := c.label[other]; o == 0 || o == id || gone[o] {
					continue
				}
				if f := c.faceOf(axis, low); f.area > 0 {
					at[[2]int32{int32(axis), low}] = len(faces)
					faces = append(faces, f)
				}
			}
		}
	}
	// Faces side by side are one neck.
	groups := newForest(len(faces))
	for n := range faces {
		c.around(faces[n].v, func(o int32) {
			if m, ok := at[[2]int32{int32(faces[n].axis), o}]; ok {
				groups.Union(int32(n), int32(m))
			}
		})
	}
	sum := map[int32]*face{}
	var roots []int32
	for n := range faces {
		root := groups.Find(int32(n))
		f := sum[root]
		if f == nil {
			f = &face{axis: faces[n].axis, v: faces[n].v}
			sum[root] = f
			roots = append(roots, root)
		}
		f.add(faces[n].moments)
		f.hull = append(f.hull, faces[n].hull...)
	}
	box := c.bounds(q)
	out := []Neck{}
	for _, root := range roots {
		f := sum[root]
		tears := strength
		if f.axis < 2 {
			tears *= alongShare
		}
		mid := c.middle(f)
		arm := 0.0
		for _, x := range [2]float64{box.Min.X, box.Max.X} {
			for _, y := range [2]float64{box.Min.Y, box.Max.Y} {
				for _, z := range [2]float64{box.Min.Z, box.Max.Z} {
					arm = max(arm, r3.Norm(r3.Sub(r3.Vec{X: x, Y: y, Z: z}, mid)))
				}
			}
		}
		pull, snap := tears*f.area, tears/f.lever(raster.Hull(f.hull))/arm
		out = append(out, Neck{At: mid, AreaMM2: tidy(f.area), ForceN: tidy(min(pull, snap))})
	}
	return out
}

// faceOf returns the section through which a voxel hangs on the next along an axis: of
// cells that are there on both sides, in the other two axes in turn.
func (c *lump) faceOf(axis int, low int32) face {
	g, sup := c.p.sup.Grid, c.p.sup
	q := c.at(low)
	f := face{axis: axis, v: low}
	i, j, k := c.i0+q[0]*c.n, c.j0+q[1]*c.n, c.k0+q[2]*c.m
	add := func(u, v, du, dv float64) {
		f.add(moments{area: du * dv, at: r2.Vec{X: u, Y: v}, xx: du * du * du * dv / 12, yy: dv * dv * dv * du / 12})
		for _, su := range [2]float64{-du / 2, du / 2} {
			for _, sv := range [2]float64{-dv / 2, dv / 2} {
				f.hull = append(f.hull, r2.Vec{X: u + su, Y: v + sv})
			}
		}
	}
	if axis == 2 {
		up, down := sup.Layer(k+c.m), sup.Layer(k+c.m-1)
		for dj := range c.n {
			for di := range c.n {
				if up.Has(i+di, j+dj) && down.Has(i+di, j+dj) {
					at := g.Center(i+di, j+dj)
					add(at.X, at.Y, g.Cell, g.Cell)
				}
			}
		}
		return f
	}
	for dk := range c.m {
		l := sup.Layer(k + dk)
		z, dz := (sup.Bottom(k+dk)+sup.Top(k+dk))/2, sup.Thickness(k+dk)
		for d := range c.n {
			if axis == 0 && l.Has(i+c.n-1, j+d) && l.Has(i+c.n, j+d) {
				add(g.Center(i, j+d).Y, z, g.Cell, dz)
			}
			if axis == 1 && l.Has(i+d, j+c.n-1) && l.Has(i+d, j+c.n) {
				add(g.Center(i+d, j).X, z, g.Cell, dz)
			}
		}
	}
	return f
}

// middle returns the place of a neck.
func (c *lump) middle(f *face) r3.Vec {
	g := c.p.sup.Grid
	q := c.at(f.v)
	var v r3.Vec
	switch f.axis {
	case 0:
		v = r3.Vec{X: g.Origin.X + float64(c.i0+(q[0]+1)*c.n)*g.Cell, Y: f.at.X, Z: f.at.Y}
	case 1:
		v = r3.Vec{X: f.at.X, Y: g.Origin.Y + float64(c.j0+(q[1]+1)*c.n)*g.Cell, Z: f.at.Y}
	default:
		v = r3.Vec{X: f.at.X, Y: f.at.Y, Z: c.p.sup.Bottom(c.k0 + (q[2]+1)*c.m)}
	}
	return r3.Vec{X: tidy(v.X), Y: tidy(v.Y), Z: tidy(v.Z)}
}

// lock returns the place where the body is barred the least, where the part holds it.
func (c *lump) lock() r3.Vec {
	var counts [lifted]int
	for _, v := range c.list {
		for w := range counts {
			counts[w] += int(c.bars[v] >> w & 1)
		}
	}
	way := 0
	for w := range counts {
		if counts[w] < counts[way] {
			way = w
		}
	}
	g := c.p.sup.Grid
	at := func(v int32) r3.Vec {
		q := c.at(v)
		mid := func(n, size int) float64 { return (float64(n) + 0.5) * float64(size) }
		return r3.Vec{
			X: g.Origin.X + (float64(c.i0)+mid(q[0], c.n))*g.Cell, Y: g.Origin.Y + (float64(c.j0)+mid(q[1], c.n))*g.Cell,
			Z: c.p.sup.Bottom(min(c.k0+q[2]*c.m, len(c.p.sup.Cut)-1)),
		}
	}
	var sum r3.Vec
	for _, v := range c.list {
		if c.bars[v]>>way&1 != 0 {
			sum = r3.Add(sum, at(v))
		}
	}
	middle, best, nearest := r3.Scale(1/float64(max(1, counts[way])), sum), math.Inf(1), r3.Vec{}
	for _, v := range c.list {
		if d := r3.Norm2(r3.Sub(at(v), middle)); c.bars[v]>>way&1 != 0 && d < best {
			best, nearest = d, at(v)
		}
	}
	return r3.Vec{X: tidy(nearest.X), Y: tidy(nearest.Y), Z: tidy(nearest.Z)}
}
