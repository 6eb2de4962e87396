package prove_test

import (
	"math"
	"sort"

	"falsework/mesh"
)

// This file is the slow, obvious judge of faults. It has cells, layers and rules of
// its own, written from the statement of the rules alone, and looks at a window round
// what was changed. Settings are the defaults: line 0.4, layers and gap of 0.2 mm.

// fine is the edge of the judge's cells, in mm, and shift what puts their centres
// elsewhere than the program's.
const fine, shift = 0.1, 0.033

// block is a solid in cells: at(k, i, j) from the corner x0, y0 (in cells of fine).
type block struct {
	x0, y0, w, h int
	in           [][]bool // by layer
}

func (b *block) at(k, i, j int) bool {
	i, j = i-b.x0, j-b.y0
	return k >= 0 && k < len(b.in) && i >= 0 && j >= 0 && i < b.w && j < b.h && b.in[k][j*b.w+i]
}

// solid fills a mesh by rows: what lies right of more walls up than down is inside.
func solid(m *mesh.Mesh) *block {
	const layer = 0.2
	box := m.Bounds()
	b := &block{x0: int(math.Floor(box.Min.X/fine)) - 2, y0: int(math.Floor(box.Min.Y/fine)) - 2}
	b.w, b.h = int(math.Ceil(box.Max.X/fine))+2-b.x0, int(math.Ceil(box.Max.Y/fine))+2-b.y0
	type wall struct {
		x  float64
		up int
	}
	for k := 0; float64(k)*layer < box.Max.Z; k++ {
		rows := make([][]wall, b.h)
		z := (float64(k)+0.5)*layer + 1.3e-6
		for t := range m.Triangles {
			var v [3][3]float64
			p, q, r := m.Corners(t)
			v[0], v[1], v[2] = [3]float64{p.X, p.Y, p.Z}, [3]float64{q.X, q.Y, q.Z}, [3]float64{r.X, r.Y, r.Z}
			var ends [][2]float64
			up := 0 // the first end is where the edge comes down
			for e := range v {
				a, c := v[e], v[(e+1)%3]
				if (a[2] > z) == (c[2] > z) {
					continue
				}
				if a[2] > z {
					up = len(ends)
				}
				f := (z - a[2]) / (c[2] - a[2])
				ends = append(ends, [2]float64{a[0] + f*(c[0]-a[0]), a[1] + f*(c[1]-a[1])})
			}
			if len(ends) != 2 {
				continue
			}
			// Seen from above, the inside is left of the way from the edge that comes
			// down to the one that goes up.
			from, to := ends[up], ends[1-up]
			for j := range rows {
				y := (float64(b.y0+j)+0.5)*fine + shift
				if (from[1] > y) == (to[1] > y) {
					continue
				}
				turn := 1
				if to[1] > from[1] {
					turn = -1
				}
				rows[j] = append(rows[j], wall{from[0] + (y-from[1])/(to[1]-from[1])*(to[0]-from[0]), turn})
			}
		}
		in := make([]bool, b.w*b.h)
		for j, row := range rows {
			sort.Slice(row, func(a, c int) bool { return row[a].x < row[c].x })
			n, wind := 0, 0
			for i := range b.w {
				x := (float64(b.x0+i)+0.5)*fine + shift
				for n < len(row) && row[n].x < x {
					wind += row[n].up
					n++
				}
				in[j*b.w+i] = wind > 0
			}
		}
		b.in = append(b.in, in)
	}
	return b
}

// scene is a window of part and supports, layer by layer.
type scene struct {
	x0, y0, w, h int
	part, sup    [][]bool
}

// line is the width of a printed line, in mm.
const line = 0.4

// slack loosens (above 0) or tightens every limit of the judge.
type slack float64

const (
	lax, strict slack = 1, -1
)

// by returns a limit in mm.
func (s slack) by(limit, give float64) float64 { return limit + float64(s)*give }

func (c *scene) layer(list [][]bool, k int) []bool {
	if k < 0 || k >= len(list) {
		return make([]bool, c.w*c.h)
	}
	return list[k]
}

// far returns the squared distance in cells from cell n to the nearest of what is in set,
// or of what is not, looking ring by ring at those up to most cells away; 1 << 30 if there
// is none. Nothing is beyond the window.
func (c *scene) far(set []bool, is bool, n, most int) int {
	i, j := n%c.w, n/c.w
	best := 1 << 30
	for r := 0; r <= most && r*r < best; r++ {
		for y := j - r; y <= j+r; y++ {
			step := 1
			if y > j-r && y < j+r {
				step = 2 * r // only the ring's two sides
			}
			for x := i - r; x <= i+r; x += step {
				if x >= 0 && y >= 0 && x < c.w && y < c.h && set[y*c.w+x] == is {
					best = min(best, (x-i)*(x-i)+(y-j)*(y-j))
				}
			}
		}
	}
	return best
}

func count(set []bool) (n int) {
	for _, v := range set {
		if v {
			n++
		}
	}
	return n
}

// judged is what the judge finds in layers k0 ≤ k < k1 of a scene.
type judged struct {
	overlap         float64  // mm³
	fused, touching []bool   // by cell, seen from above
	unheld          [][]bool // of the part, by layer from k0
	hanging         [][]bool // of the supports
}

// judge applies the rules of holding, of voids and of clearance.
func (c *scene) judge(k0, k1 int, s slack) judged {
	out := judged{fused: make([]bool, c.w*c.h), touching: make([]bool, c.w*c.h)}
	for k := k0; k < k1; k++ {
		part, sup, lowPart, lowSup := c.layer(c.part, k), c.layer(c.sup, k), c.layer(c.part, k-1), c.layer(c.sup, k-1)
		var wall []bool
		for n := range part {
			if part[n] && sup[n] {
				out.overlap += fine * fine * 0.2
			}
			if k > 0 && (part[n] && lowSup[n] && !sup[n] && !lowPart[n] || sup[n] && lowPart[n] && !part[n] && !lowSup[n]) {
				out.fused[n] = true
			}
		}
		// A wall of the part goes on a millimetre up and down.
		if count(sup) > 0 && count(part) > 0 {
			up, down := c.layer(c.part, k+5), c.layer(c.part, max(k-5, 0))
			wall = make([]bool, len(part))
			for n := range part {
				wall[n] = part[n] && up[n] && down[n]
			}
			reach := s.by(0.25, -0.09)
			for n := range sup {
				if sup[n] && !part[n] && math.Sqrt(float64(c.far(wall, true, n, 5)))*fine-fine < reach {
					out.touching[n] = true
				}
			}
		}
	}
	out.unheld = c.hold(c.part, c.sup, k0, k1, s, false)
	out.hanging = c.hold(c.sup, c.part, k0, k1, s, true)
	return out
}

// hold returns what of body does not hold, layer by layer.
func (c *scene) hold(body, other [][]bool, k0, k1 int, s slack, thin bool) [][]bool {
	const reach, ledge = 0.2, 0.4
	var out [][]bool
	debt := make([]float64, c.w*c.h)
	for k := k0; k < k1; k++ {
		at, low := c.layer(body, k), c.layer(body, k-1)
		bad := make([]bool, len(at))
		out = append(out, bad)
		owes := make([]float64, len(at))
		if k == 0 || count(at) == 0 {
			debt = owes
			continue
		}
		fresh := make([]bool, len(at))
		for n := range at {
			fresh[n] = at[n] && !low[n]
		}
		if count(fresh) == 0 && count(at) > 0 {
			for n := range at {
				if at[n] {
					owes[n] = max(0, debt[n]-reach)
				}
			}
			debt = owes
			continue
		}
		// What is level: wide enough for a disc of two lines' radius.
		const two = 2 * line / fine
		broad := make([]bool, len(at))
		for n := range broad {
			broad[n] = fresh[n] && float64(c.far(fresh, false, n, 9)) > two*two
		}
		carried := make([]bool, len(at)) // over the other body's top, or the plate
		o1, o2, o3, l2 := c.layer(other, k-1), c.layer(other, k-2), c.layer(other, k-3), c.layer(body, k-2)
		for n := range at {
			if !fresh[n] {
				continue
			}
			switch {
			case o1[n], k == 1 || o2[n]:
				carried[n] = true
			case !l2[n] && (o3[n] || k == 2):
				carried[n] = float64(c.far(broad, true, n, 9)) > two*two // it is not level
			}
		}
		ground := make([]bool, len(at))
		for n := range at {
			ground[n] = at[n] && low[n] || carried[n]
		}
		// Debts: what is owed by the cheapest cell below and the way from it.
		asks := make([]bool, len(at))
		r := int(s.by(ledge, 0.12)/fine) + 4
		for j := 0; j < c.h; j++ {
			for i := 0; i < c.w; i++ {
				n := j*c.w + i
				if !at[n] || carried[n] || !fresh[n] && debt[n] == 0 {
					continue
				}
				least := math.Inf(1)
				for y := max(0, j-r); y <= min(c.h-1, j+r); y++ {
					for x := max(0, i-r); x <= min(c.w-1, i+r); x++ {
						q := y*c.w + x
						if !ground[q] && !low[q] {
							continue
						}
						d := debt[q]
						if carried[q] {
							d = 0
						}
						least = min(least, d+fine*math.Hypot(float64(x-i), float64(y-j)))
					}
				}
				if owes[n] = max(0, least-reach); least > s.by(ledge+0.05, 0.15)+1e-9 {
					asks[n] = fresh[n]
					owes[n] = ledge - reach // what fails is told once
				}
			}
		}
		debt = owes
		if count(asks) == 0 {
			continue
		}
		c.bridge(at, fresh, carried, ground, broad, asks, bad, s, thin)
		for n := range asks {
			if asks[n] && !bad[n] {
				debt[n] = 0 // what a bead holds owes nothing
			}
		}
	}
	return out
}

// bridge finds the asking cells that no straight bead holds.
func (c *scene) bridge(at, fresh, carried, ground, broad, asks, bad []bool, s slack, thin bool) {
	free := make([]bool, len(at)) // in the air
	for n := range at {
		free[n] = fresh[n] && !carried[n]
	}
	// How far cells are from the outline, where that has been asked for.
	edges := make([]float64, len(at))
	edge := func(n int) float64 {
		if edges[n] == 0 {
			edges[n] = fine * math.Sqrt(float64(c.far(at, false, n, 14)))
		}
		return edges[n]
	}
	near := func(n int) bool { return free[n] && c.far(asks, true, n, 3) <= 9 }
	most := s.by(10, 0.7)
	// walk returns how far a bead from (i, j) goes before it ends, and whether it lands.
	walk := func(i, j int, dx, dy float64, inside, land func(n int) bool, rim bool) (float64, bool) {
		last := j*c.w + i
		for t := 1; ; t++ {
			x, y := i+int(math.Round(float64(t)*dx)), j+int(math.Round(float64(t)*dy))
			d := float64(t) * fine
			if x < 0 || y < 0 || x >= c.w || y >= c.h {
				return d, true // beyond the window all is as it was
			}
			n := y*c.w + x
			if land(n) {
				return d, true
			}
			if !inside(n) {
				return d, rim && math.Sqrt(float64(c.far(ground, true, last, 8)))*fine <= s.by(0.5, 0.15)
			}
			if d > most {
				return d, false
			}
			last = n
		}
	}
	chord := func(cell, n, of int, inside, land func(n int) bool, rim bool) bool {
		i, j := cell%c.w, cell/c.w
		dy, dx := math.Sincos(math.Pi * float64(n) / float64(of))
		a, ok := walk(i, j, dx, dy, inside, land, rim)
		b, too := walk(i, j, -dx, -dy, inside, land, rim)
		return ok && too && a+b-fine <= most
	}
	isFree := func(n int) bool { return free[n] }
	isFresh := func(n int) bool { return fresh[n] }
	onGround := func(n int) bool { return ground[n] }
	onOwn := func(n int) bool { return ground[n] && !carried[n] }
	inBand := func(n int) bool { return free[n] && edge(n) <= s.by(1.0, 0.15) }
	// Patches of what is new.
	seen := make([]bool, len(at))
	for start := range fresh {
		if !fresh[start] || seen[start] {
			continue
		}
		todo := []int{start}
		seen[start] = true
		var patch []int
		leans, touches, flat := false, false, false
		for len(todo) > 0 {
			n := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			patch = append(patch, n)
			leans, flat = leans || carried[n], flat || broad[n]
			i, j := n%c.w, n/c.w
			for d := 0; d < 9; d++ {
				x, y := i+d%3-1, j+d/3-1
				if x < 0 || y < 0 || x >= c.w || y >= c.h {
					touches = true
					continue
				}
				o := y*c.w + x
				touches = touches || ground[o]
				if fresh[o] && !seen[o] {
					seen[o] = true
					todo = append(todo, o)
				}
			}
		}
		var ask []int
		for _, n := range patch {
			if asks[n] {
				ask = append(ask, n)
			}
		}
		if len(ask) == 0 {
			continue
		}
		if !touches {
			for _, n := range ask {
				bad[n] = true
			}
			continue
		}
		// A bead is a line wide: what lies within half of it is held by it.
		held := make([]bool, len(at))
		within := func(n int, give float64) bool {
			return math.Sqrt(float64(c.far(held, true, n, 3)))*fine <= s.by(line/2, give)+1e-9
		}
		// Beads along the outline.
		for _, n := range patch {
			if near(n) && edge(n) <= s.by(1.0, 0.15) {
				for d := 0; d < 48 && !held[n]; d++ {
					held[n] = chord(n, d, 48, inBand, onGround, false)
				}
			}
		}
		var rest []int
		for _, n := range ask {
			if !within(n, 0.05) {
				rest = append(rest, n)
			}
		}
		// Beads straight across.
		open := make([][]int, 24)
		for d := range open {
			clear(held)
			some := false
			for _, n := range rest {
				held[n] = chord(n, d, 24, isFree, onGround, flat) // the rim of a slope holds nothing
				some = some || !held[n]
			}
			if !some {
				continue
			}
			for _, n := range rest {
				if !within(n, 0.1) {
					open[d] = append(open[d], n)
				}
			}
		}
		var worst []int
		if !leans || thin {
			worst = open[0]
			for _, list := range open {
				if len(list) < len(worst) {
					worst = list
				}
			}
		} else {
			for _, list := range open {
				worst = append(worst, list...)
			}
		}
		if leans && len(worst) > 0 && !thin {
			// The part's own walls may do without what is below.
			for d := range open {
				alone := true
				for _, n := range rest {
					alone = alone && chord(n, d, 24, isFresh, onOwn, false)
				}
				if alone {
					worst = nil
					break
				}
			}
		}
		for _, n := range worst {
			bad[n] = true
		}
	}
}
