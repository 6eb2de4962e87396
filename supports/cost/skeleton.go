package cost

import (
	"math"
	"math/bits"
	"slices"
	"sync"

	"falsework/mesh"
	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

// network is the middle lines of one-line walls: nodes where walls end or meet,
// edges along the walls between them. Lengths and places are in cells.
type network struct {
	wall  float64 // thickness of a wall of one line
	nodes []r2.Vec
	edges []edge
	loops [][]r2.Vec // closed lines without a node
	dots  []r2.Vec   // walls no longer than they are thick
}

// edge is a wall's middle line from node a to node b; its points include both
// nodes' places. A wall thick enough for two lines is two edges.
type edge struct {
	a, b int
	pts  []r2.Vec
}

// Neighbours of a cell anticlockwise from east; bit n of a neighbourhood is
// neighbour n.
var ring8 = [8][2]int{{1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}, {0, -1}, {1, -1}}

// spare tells for every neighbourhood whether a cell can go without cutting a
// line, filling or opening a hole, or shortening a line by its end: its painted
// neighbours hang together, it borders on a free cell by a side, and it has more
// than one neighbour.
var spare = func() (t [256]bool) {
	for code := 0; code < 256; code++ {
		at := func(n int) int { return code >> (n & 7) & 1 }
		groups := 0
		for q := 0; q < 8; q += 2 {
			groups += (1 - at(q)) & (at(q+1) | at(q+2))
		}
		t[code] = groups == 1 && bits.OnesCount(uint(code)) >= 2
	}
	return t
}()

// canvas is a window of cells with a free border, one byte each, and what its
// nodes are numbered.
type canvas struct {
	x0, y0, w int
	pix       []uint8
	rim       []uint8 // distance from the nearest free cell, fifths of a cell
	node      []int32 // −1: no node
	step      [8]int
	cells     []int // painted at first, in row order
	byRim     []int // scratch of thin
	side      []int // scratch of peel
}

var canvases = sync.Pool{New: func() any { return &canvas{} }}

// newCanvas paints b. Give the canvas back by release.
func newCanvas(b *raster.Bits) *canvas {
	x0, y0, x1, y1 := b.Bounds()
	c := canvases.Get().(*canvas)
	c.x0, c.y0, c.w = x0-1, y0-1, x1-x0+2
	n := c.w * (y1 - y0 + 2)
	if cap(c.pix) < n {
		c.pix, c.rim, c.node = make([]uint8, n), make([]uint8, n), make([]int32, n)
		for i := range c.node {
			c.node[i] = -1
		}
	}
	// Beyond the length lies what earlier use left: all clear.
	c.pix, c.rim, c.node = c.pix[:n], c.rim[:n], c.node[:n]
	for k, d := range ring8 {
		c.step[k] = d[1]*c.w + d[0]
	}
	c.cells = c.cells[:0]
	b.EachRun(func(j, i0, i1 int) {
		o := (j-c.y0)*c.w - c.x0
		for i := i0; i < i1; i++ {
			c.pix[o+i] = 1
			c.cells = append(c.cells, o+i)
		}
	})
	return c
}

// release clears c for its next use.
func (c *canvas) release() {
	for _, p := range c.cells {
		c.pix[p], c.rim[p] = 0, 0
		c.node[p] = -1
	}
	canvases.Put(c)
}

func (c *canvas) around(p int) uint8 {
	var code uint8
	for k, d := range c.step {
		code |= c.pix[p+d] << k
	}
	return code
}

func (c *canvas) place(p int) r2.Vec {
	return r2.Vec{X: float64(p%c.w+c.x0) + 0.5, Y: float64(p/c.w+c.y0) + 0.5}
}

// thin peels the painted cells to lines one cell wide and returns those left.
// Cells go in order of their distance from the rim, so that the lines stay in the
// middle; distances are 5 to a side and 7 to a corner (Borgefors 1986, CVGIP
// 34(3) 344–371).
func (c *canvas) thin() []int {
	const far = 248 // so that a step more still fits; walls are much thinner
	for _, p := range c.cells {
		c.rim[p] = min(c.rim[p+c.step[4]]+5, c.rim[p+c.step[6]]+5, c.rim[p+c.step[5]]+7, c.rim[p+c.step[7]]+7, far)
	}
	var start [far + 2]int // of each distance in byRim
	for n := len(c.cells) - 1; n >= 0; n-- {
		p := c.cells[n]
		c.rim[p] = min(c.rim[p], c.rim[p+c.step[0]]+5, c.rim[p+c.step[2]]+5, c.rim[p+c.step[1]]+7, c.rim[p+c.step[3]]+7)
		start[c.rim[p]+1]++
	}
	for d := 1; d < len(start); d++ {
		start[d] += start[d-1]
	}
	c.byRim = append(c.byRim[:0], c.cells...)
	next := start
	for _, p := range c.cells {
		c.byRim[next[c.rim[p]]] = p
		next[c.rim[p]]++
	}
	for d := 0; d <= far; d++ {
		c.peel(c.byRim[start[d]:start[d+1]])
	}
	return c.peel(append([]int(nil), c.painted(append(c.byRim[:0], c.cells...))...))
}

// peel takes spare cells off, one side after another, until none is left, and
// returns the other cells; the list is overwritten. A
// side's cells are chosen before the first goes: a line two cells wide is halved
// and not eaten from its end.
func (c *canvas) peel(cells []int) []int {
	cells = c.painted(cells)
	side := c.side
	defer func() { c.side = side[:0] }()
	for idle := 0; idle < 4 && len(cells) > 0; {
		for k := 0; k < 8 && idle < 4; k++ {
			d := c.step[sides[k&3]]
			side = side[:0]
			for _, p := range cells {
				if c.pix[p+d] == 0 && spare[c.around(p)] {
					side = append(side, p)
				}
			}
			gone := false
			for _, p := range side {
				if spare[c.around(p)] {
					c.pix[p] = 0
					gone = true
				}
			}
			if !gone {
				idle++
				continue
			}
			idle = 0
			cells = c.painted(cells)
		}
	}
	return cells
}

// sides are the neighbours by a side, opposite ones in turn.
var sides = [4]int{4, 0, 6, 2}

// painted keeps those of the cells that are still painted, overwriting the list.
func (c *canvas) painted(cells []int) []int {
	out := cells[:0]
	for _, p := range cells {
		if c.pix[p] != 0 {
			out = append(out, p)
		}
	}
	return out
}

// trace thins b and reads its network. Branches to a free end shorter than wall
// and a quarter (cells) are how thinning frays, and go; nodes nearer than 1½ walls are where
// one crossing came apart, and become one. Where twice tells that a wall is
// thick enough for two lines its edge counts twice.
func trace(b, twice *raster.Bits, wall float64) network {
	net := network{wall: wall}
	if b.Empty() {
		return net
	}
	c := newCanvas(b)
	defer c.release()
	line := c.thin()

	newNode := func(v r2.Vec) int32 {
		net.nodes = append(net.nodes, v)
		return int32(len(net.nodes) - 1)
	}
	var todo, at []int
	for _, p := range line {
		if c.node[p] >= 0 {
			continue
		}
		switch n := bits.OnesCount8(c.around(p)); {
		case n == 0:
			net.dots = append(net.dots, c.place(p))
		case n == 1:
			c.node[p] = newNode(c.place(p))
			at = append(at, p)
		case n >= 3:
			id := newNode(r2.Vec{})
			c.node[p] = id
			var sum r2.Vec
			count := 0
			for todo = append(todo[:0], p); len(todo) > 0; {
				q := todo[len(todo)-1]
				todo = todo[:len(todo)-1]
				at = append(at, q)
				sum = r2.Add(sum, c.place(q))
				count++
				for _, d := range c.step {
					if r := q + d; c.pix[r] != 0 && c.node[r] < 0 && bits.OnesCount8(c.around(r)) >= 3 {
						c.node[r] = id
						todo = append(todo, r)
					}
				}
			}
			net.nodes[id] = r2.Scale(1/float64(count), sum)
		}
	}

	const walked = 2
	// walk follows a line from cell prev into cell p to the next node, or round a
	// loop back to where it began.
	walk := func(prev, p int) (pts []r2.Vec, end int32) {
		for {
			pts = append(pts, c.place(p))
			c.pix[p] = walked
			next := -1
			for _, d := range c.step {
				q := p + d
				if q == prev || c.pix[q] == 0 || c.pix[q] == walked && c.node[q] < 0 {
					continue
				}
				next = q
				if c.node[q] >= 0 {
					return pts, c.node[q]
				}
			}
			if next < 0 {
				return pts, -1
			}
			prev, p = p, next
		}
	}
	for _, p := range at {
		a := c.node[p]
		for _, d := range c.step {
			q := p + d
			if c.pix[q] == 0 || c.node[q] == a {
				continue
			}
			if b := c.node[q]; b >= 0 {
				// Two nodes side by side; junctions would have been one.
				if p < q {
					net.edges = append(net.edges, edge{int(a), int(b), []r2.Vec{net.nodes[a], net.nodes[b]}})
				}
				continue
			}
			if c.pix[q] == walked {
				continue
			}
			mid, b := walk(p, q)
			if b < 0 {
				b = a
			}
			pts := append(append([]r2.Vec{net.nodes[a]}, mid...), net.nodes[b])
			net.edges = append(net.edges, edge{int(a), int(b), pts})
		}
	}
	for _, p := range line {
		if c.node[p] < 0 && c.pix[p] == 1 && c.around(p) != 0 {
			pts, _ := walk(-1, p)
			net.loops = append(net.loops, pts)
		}
	}
	net.clean()
	net.squareEnds(b)
	if !twice.Empty() {
		net.double(twice)
	}
	return net
}

func (net *network) degrees() []int {
	degree := make([]int, len(net.nodes))
	for _, e := range net.edges {
		degree[e.a]++
		degree[e.b]++
	}
	return degree
}

// squareEnds moves free ends of walls to half a wall from where the cells end:
// thinning leaves them anywhere up to a wall from it, by the wall's direction.
func (net *network) squareEnds(b *raster.Bits) {
	degree := net.degrees()
	for k := range net.edges {
		e := &net.edges[k]
		if degree[e.a] == 1 {
			e.pts = net.squareEnd(b, e.pts)
			net.nodes[e.a] = e.pts[0]
		}
		if degree[e.b] == 1 {
			slices.Reverse(e.pts)
			e.pts = net.squareEnd(b, e.pts)
			net.nodes[e.b] = e.pts[0]
			slices.Reverse(e.pts)
		}
	}
}

// squareEnd does so for a line's first point. Its heading is read where thinning
// was not yet misled by the end.
func (net *network) squareEnd(b *raster.Bits, pts []r2.Vec) []r2.Vec {
	i := 0
	for i < len(pts) && dist(pts[i], pts[0]) < net.wall {
		i++
	}
	j := i
	for j < len(pts) && dist(pts[j], pts[0]) < 3*net.wall {
		j++
	}
	if j >= len(pts) {
		return pts
	}
	head := unit(r2.Sub(pts[i], pts[j]))
	at := func(d float64) r2.Vec { return r2.Add(pts[i], r2.Scale(d, head)) }
	d := 0.0
	for ; d < 3*net.wall; d += 0.25 {
		if p := at(d); !b.Has(int(math.Floor(p.X)), int(math.Floor(p.Y))) {
			break
		}
	}
	if d >= 3*net.wall {
		return pts
	}
	out := append([]r2.Vec(nil), pts[i-1:]...)
	out[0] = at(max(0, d-net.wall/2))
	return out
}

// clean drops frayed ends and joins the nodes of one crossing.
func (net *network) clean() {
	wall := net.wall
	degree := net.degrees()
	free := func(n int) bool { return degree[n] == 1 }
	kept := net.edges[:0]
	for _, e := range net.edges {
		l := polyLength(e.pts, false)
		frayed := l < 1.25*wall && free(e.a) != free(e.b)
		if frayed || e.a == e.b && l < 2*wall {
			continue
		}
		kept = append(kept, e)
	}
	net.edges = kept

	sets := mesh.NewDisjoint[int](len(net.nodes))
	joined := make([]bool, len(net.edges))
	for k, e := range net.edges {
		if free(e.a) || free(e.b) || e.a == e.b || polyLength(e.pts, false) >= 1.5*wall {
			continue
		}
		joined[k] = true
		sets.Union(e.a, e.b)
	}
	sum := make([]r2.Vec, len(net.nodes))
	count := make([]int, len(net.nodes))
	for i, v := range net.nodes {
		r := sets.Find(i)
		sum[r] = r2.Add(sum[r], v)
		count[r]++
	}
	for i := range net.nodes {
		if r := sets.Find(i); count[r] > 1 {
			net.nodes[i] = r2.Scale(1/float64(count[r]), sum[r])
		}
	}
	kept = net.edges[:0]
	for k, e := range net.edges {
		if joined[k] {
			continue
		}
		e.a, e.b = sets.Find(e.a), sets.Find(e.b)
		e.pts[0], e.pts[len(e.pts)-1] = net.nodes[e.a], net.nodes[e.b]
		kept = append(kept, e)
	}
	net.edges = kept
}

// double counts walls twice that are thick for most of their length.
func (net *network) double(thick *raster.Bits) {
	most := func(pts []r2.Vec) bool {
		n := 0
		for _, p := range pts {
			if thick.Has(int(math.Floor(p.X)), int(math.Floor(p.Y))) {
				n++
			}
		}
		return 2*n > len(pts)
	}
	for _, e := range net.edges[:len(net.edges):len(net.edges)] {
		if most(e.pts) {
			net.edges = append(net.edges, e)
		}
	}
	for _, l := range net.loops[:len(net.loops):len(net.loops)] {
		if most(l) {
			net.loops = append(net.loops, l)
		}
	}
}
