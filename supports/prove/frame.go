package prove

import (
	"math"
)

// mat4 is the flexibility of one piece's top to loads at another's, by rows: the
// displacements ux, uy in mm and slopes θx = dux/dz, θy of the one for forces Fx,
// Fy in N and moments Mx, My in N·mm of the other, each moment turning its slope.
type mat4 [4][4]float64

func (a *mat4) add(b *mat4, f float64) {
	for i := range a {
		for j := range a[i] {
			a[i][j] += f * b[i][j]
		}
	}
}

func (a *mat4) times(b *mat4) (c mat4) {
	for i := range a {
		for k := range b {
			for j := range b[k] {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

func (a *mat4) transpose() (c mat4) {
	for i := range a {
		for j := range a[i] {
			c[j][i] = a[i][j]
		}
	}
	return c
}

// raised returns what a becomes when both tops stand dz higher, what is between
// being rigid: u gains θ·dz, and a force there turns by F·dz here.
func (a *mat4) raised(dz float64) mat4 {
	c := *a
	for i := 0; i < 2; i++ {
		for j := range c[i] {
			c[i][j] += dz * c[i+2][j]
		}
	}
	for i := range c {
		for j := 0; j < 2; j++ {
			c[i][j] += dz * c[i][j+2]
		}
	}
	return c
}

// inverse returns the inverse of a symmetric positive definite matrix by
// elimination, which needs no pivots for one.
func (a *mat4) inverse() mat4 {
	m := *a
	var c mat4
	for i := range c {
		c[i][i] = 1
	}
	for i := range m {
		f := 1 / m[i][i]
		for j := range m[i] {
			m[i][j] *= f
			c[i][j] *= f
		}
		for r := range m {
			if g := m[r][i]; r != i {
				for j := range m[r] {
					m[r][j] -= g * m[i][j]
					c[r][j] -= g * c[i][j]
				}
			}
		}
	}
	return c
}

// sway returns the largest displacement, in any direction, for a force of 1 N in
// any direction: mm/N.
func (a *mat4) sway() float64 {
	return (a[0][0]+a[1][1])/2 + math.Hypot((a[0][0]-a[1][1])/2, (a[0][1]+a[1][0])/2)
}

// turn returns the largest slope, in any direction, for a force of 1 N in any
// direction: 1/N.
func (a *mat4) turn() float64 {
	p, q, r, s := a[2][0], a[2][1], a[3][0], a[3][1]
	// The largest singular value of a matrix of two rows.
	return (math.Hypot(p+s, q-r) + math.Hypot(p-s, q+r)) / 2
}

// bends returns the flexibility of a stretch of beam dz long, fixed at its lower
// end: dz³/3EI, dz²/2EI and dz/EI (any handbook), I being a tensor.
func (m *moments) bends(dz, modulus float64) (c mat4) {
	det := m.xx*m.yy - m.xy*m.xy
	inv := [2][2]float64{{m.yy / det, -m.xy / det}, {-m.xy / det, m.xx / det}}
	for i := range inv {
		for j := range inv[i] {
			v := inv[i][j] / modulus
			c[i][j] = v * dz * dz * dz / 3
			c[i][j+2] = v * dz * dz / 2
			c[i+2][j] = v * dz * dz / 2
			c[i+2][j+2] = v * dz
		}
	}
	return c
}

// mostJoined bounds the pieces of one layer whose bracing of one another is
// followed; the work for a layer grows with its square.
const mostJoined = 200

// frame is a connected piece of structure as printed so far: how the tops of its
// pieces in the topmost layer give way to loads on any of them.
//
// Pieces that the same piece above rests on are joined rigidly from there on.
// The couple that two posts apart could make of their feet is left out, so that
// each bends as if it stood alone: the safe side.
type frame struct {
	flex [][]mat4 // [displaced][loaded]
	// loose says that it has too many pieces: each then stands on the stiffest of
	// those below it alone.
	loose bool
}

// join makes pieces a and b move alike.
func (f *frame) join(a, b int) {
	n := len(f.flex)
	apart := make([]mat4, n) // how the two come apart for a load on each
	for j := range apart {
		apart[j] = f.flex[a][j]
		apart[j].add(&f.flex[b][j], -1)
	}
	s := apart[a]
	s.add(&apart[b], -1)
	s = s.inverse()
	for j := range apart {
		pull := s.times(&apart[j])
		for i := range apart {
			t := apart[i].transpose()
			t = t.times(&pull)
			f.flex[i][j].add(&t, -1)
		}
	}
}

// node is a piece of the topmost layer in the frame that it belongs to.
type node struct {
	*frame
	at int
}

func (n node) own() *mat4 { return &n.flex[n.at][n.at] }

// climb returns the nodes of a layer of pieces dz thick, given those of the layer
// below. The rest of a body rises no more than left mm further.
func climb(low []node, layer []piece, dz, left, modulus, floor float64) []node {
	out := make([]node, len(layer))
	groups := newForest(len(low))
	carries := make([]bool, len(low))
	byFrame := map[*frame]int32{} // least piece of each frame
	frames := newForest(len(low))
	for n := range low {
		if first, ok := byFrame[low[n].frame]; ok {
			frames.Union(first, int32(n))
		} else {
			byFrame[low[n].frame] = int32(n)
		}
	}
	// What hardly gives way at all is as good as the plate and joins nothing.
	rigid := make([]bool, len(low))
	for n := range low {
		top := low[n].own().raised(left)
		rigid[n] = top.sway() < stiffEnough
	}
	for q := range layer {
		on := layer[q].on
		for _, s := range on {
			carries[s] = true
			groups.Union(on[0], s)
		}
	}
	for q := range layer {
		for _, s := range layer[q].on {
			if r := groups.Find(s); rigid[s] {
				rigid[r] = true
			}
		}
	}
	for q := range layer {
		on := layer[q].on
		if len(on) > 0 && !rigid[groups.Find(on[0])] {
			for _, s := range on {
				frames.Union(on[0], s)
			}
		}
	}
	// The pieces below that carry something, by frame.
	members := map[int32][]int32{}
	for n := range low {
		if carries[n] && !rigid[groups.Find(int32(n))] {
			r := frames.Find(int32(n))
			members[r] = append(members[r], int32(n))
		}
	}
	above := map[int32][]int{}
	var order []int32
	for q := range layer {
		e := floored(layer[q].moments, floor)
		bend := e.bends(dz, modulus)
		on := layer[q].on
		if len(on) == 0 || rigid[groups.Find(on[0])] {
			out[q] = node{&frame{flex: [][]mat4{{bend}}}, 0}
			continue
		}
		r := frames.Find(on[0])
		if above[r] == nil {
			order = append(order, r)
		}
		above[r] = append(above[r], q)
		out[q] = node{&frame{flex: [][]mat4{{bend}}}, 0} // of the piece alone, so far
	}
	for _, r := range order {
		below, up := members[r], above[r]
		loose := len(below) > mostJoined || len(up) > mostJoined
		for _, s := range below {
			loose = loose || low[s].loose
		}
		if loose {
			for _, q := range up {
				best := low[layer[q].on[0]].own()
				for _, s := range layer[q].on[1:] {
					if o := low[s].own(); o.sway() < best.sway() {
						best = o
					}
				}
				top := best.raised(dz)
				out[q].loose = true
				out[q].own().add(&top, 1)
			}
			continue
		}
		f := &frame{flex: make([][]mat4, len(below))}
		place := map[int32]int{} // of a piece below in f
		for i, s := range below {
			place[s] = i
			f.flex[i] = make([]mat4, len(below))
			for j, t := range below {
				if low[s].frame == low[t].frame {
					f.flex[i][j] = low[s].flex[low[s].at][low[t].at]
				}
			}
		}
		for i, s := range below {
			if root := groups.Find(s); root != s {
				f.join(place[root], i)
			}
		}
		g := &frame{flex: make([][]mat4, len(up))}
		for i, q := range up {
			g.flex[i] = make([]mat4, len(up))
			for j, o := range up {
				g.flex[i][j] = f.flex[place[layer[q].on[0]]][place[layer[o].on[0]]].raised(dz)
			}
			g.flex[i][i].add(out[q].own(), 1)
		}
		for i, q := range up {
			out[q] = node{g, i}
		}
	}
	return out
}

// stiffEnough, in mm/N, is the give below which a piece counts as rigid: at any
// force of a nozzle, thousandths of the limit.
const stiffEnough = 2e-4

// floored returns the section of a piece that is no less than a bead, a square of
// line mm: nothing finer is laid, and specks come of rounding.
func floored(m moments, line float64) moments {
	if m.area < line*line {
		least := line * line * line * line / 12
		m.xx, m.yy = max(m.xx, least), max(m.yy, least)
		if m.xy*m.xy >= m.xx*m.yy {
			m.xy = 0
		}
	}
	return m
}
