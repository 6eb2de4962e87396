package prove

import (
	"fmt"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// modulus is Young's modulus of PLA across layers, in MPa: doi
	// 10.1089/3dp.2020.0109.
	modulus, strength = 2400.0, supports.Strength
	// mostSway is how far the top of a support may give way, in mm: a quarter of a
	// line. Common practice, no source.
	mostSway = 0.1
)

// footing is what a piece stands on at last.
type footing struct {
	feet []int32 // sorted; none where it stands on the part
	// lever turns a moment, N·mm, into the largest tension under a foot, MPa: the
	// feet share it as their second moments are, each about its own centroid.
	lever float64
}

// foot is a piece of the first layer.
type foot struct {
	moments
	hull []r2.Vec
}

// stance is the worst of one body, over the layers as printed so far.
type stance struct {
	sway, foot, push place3
}

// place3 is a value and where it is met.
type place3 struct {
	v  float64
	z  float64 // top of the layer
	at r2.Vec
}

// standing follows every body upward as it prints: how far a nozzle bends each
// piece of each layer, and what that does under the feet.
func (p *proof) standing(layers []rows, bodies int) []stance {
	return p.follow(layers, p.pieces(layers), bodies, func(k, n int, sway, foot float64) {})
}

// follow is standing for pieces that are known; each is told of them all, by layer, and
// by how far it gives way, in mm, and how its feet pull, in MPa.
func (p *proof) follow(layers []rows, all [][]piece, bodies int, each func(k, n int, sway, foot float64)) []stance {
	out := make([]stance, bodies)
	for n := range out {
		out[n].push.v = math.Inf(1)
	}
	tops := make([]float64, bodies)
	for k := range all {
		for n := range all[k] {
			tops[all[k][n].body] = p.sup.Top(k)
		}
	}
	var feet []foot
	if len(layers) > 0 {
		feet = p.feet(&layers[0], all[0])
	}
	highest := 0.0
	for _, z := range tops {
		highest = max(highest, z)
	}
	var low []node
	var on []*footing
	for k := range all {
		dz, z := p.sup.Thickness(k), p.sup.Top(k)
		low = climb(low, all[k], dz, highest-z, modulus, p.s.Line)
		next := make([]*footing, len(all[k]))
		for n := range all[k] {
			q := &all[k][n]
			next[n] = footingOf(q, n, k, on, feet, p.s.Line)
			s := &out[q.body]
			own := low[n].own()
			sway, pull := p.s.Drag*own.sway(), p.s.Drag*z*next[n].lever
			s.sway.atMost(sway, z, q.at)
			s.foot.atMost(pull, z, q.at)
			each(k, n, sway, pull)
			// A column that leans gives way to P once P·∫(h − z)/EI dz is 1: the
			// trace of its kernel, no less than 1/P of Euler's first load.
			if push := 1 / own.turn(); push < s.push.v {
				s.push = place3{push, z, q.at}
			}
		}
		on = next
	}
	return out
}

func (p *place3) atMost(v, z float64, at r2.Vec) {
	if v > p.v {
		*p = place3{v, z, at}
	}
}

// feet returns the pieces of the first layer as feet.
func (p *proof) feet(l *rows, first []piece) []foot {
	out := make([]foot, len(first))
	_, label := piecesOf(l, p.sup.Grid)
	points := make([][]r2.Vec, len(first))
	for n := 0; n+1 < len(l.start); n++ {
		for at := l.start[n]; at < l.start[n+1]; at++ {
			u := l.runs[at]
			points[label[at]] = append(points[label[at]], corners(p.sup.Grid, l.y0+n, int(u.i0), int(u.i1))...)
		}
	}
	for n := range out {
		out[n] = foot{first[n].moments, raster.Hull(points[n])}
	}
	return out
}

// corners returns those of a row's run of cells.
func corners(g raster.Grid, j, i0, i1 int) []r2.Vec {
	a, b := g.Point(raster.Corner{I: i0, J: j}), g.Point(raster.Corner{I: i1, J: j + 1})
	return []r2.Vec{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}}
}

// footingOf returns the footing of piece n of layer k.
func footingOf(q *piece, n, k int, low []*footing, feet []foot, line float64) *footing {
	if len(q.on) == 0 {
		if k > 0 {
			return &footing{}
		}
		return newFooting([]int32{int32(n)}, feet, line)
	}
	best := low[q.on[0]]
	var ids []int32
	for _, s := range q.on {
		ids = append(ids, low[s].feet...)
		if len(low[s].feet) > len(best.feet) {
			best = low[s]
		}
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	if len(ids) == len(best.feet) {
		return best
	}
	return newFooting(ids, feet, line)
}

func newFooting(ids []int32, feet []foot, line float64) *footing {
	f := &footing{feet: ids}
	var t moments
	for _, i := range ids {
		m := floored(feet[i].moments, line)
		t.xx, t.xy, t.yy = t.xx+m.xx, t.xy+m.xy, t.yy+m.yy
	}
	for _, i := range ids {
		hull := feet[i].hull
		t.at = feet[i].at
		f.lever = max(f.lever, t.lever(hull))
	}
	return f
}

// stands reads off how the bodies stand.
func (p *proof) stands(r *Report, list []stance) {
	to := &r.Notes
	if p.steady {
		to = &r.Reasons
	}
	for n := range r.Bodies {
		b, s := &r.Bodies[n], &list[n]
		b.SwayMM, b.FootMPa, b.PushN = tidy(s.sway.v), tidy(s.foot.v), tidy(s.push.v)
		if s.sway.v > mostSway {
			at := s.sway.where()
			*to = append(*to, Reason{
				Kind: Sways, At: at, LayerZ: at.Z, Body: b.ID,
				Text: fmt.Sprintf("Support body %d gives way by %.2g mm to a nozzle that drags at it with %g N at x %.1f, y %.1f, z %.1f mm, and may break or print badly beyond %g mm.",
					b.ID, s.sway.v, p.s.Drag, at.X, at.Y, at.Z, mostSway),
				Remedy: "make its posts wider, join them lower down, or let more of its walls reach the ground",
			})
		}
		if s.foot.v > p.s.Adhesion {
			at := s.foot.where()
			*to = append(*to, Reason{
				Kind: LetsGo, At: at, LayerZ: at.Z, Body: b.ID,
				Text: fmt.Sprintf("A foot of support body %d is pulled with %.2g MPa when a nozzle drags at x %.1f, y %.1f, z %.1f mm, and the plate is taken to hold %g MPa.",
					b.ID, s.foot.v, at.X, at.Y, at.Z, p.s.Adhesion),
				Remedy: "widen the foot, or join it to others lower down",
			})
		}
	}
}

func (q *place3) where() r3.Vec {
	return r3.Vec{X: tidy(q.at.X), Y: tidy(q.at.Y), Z: tidy(q.z)}
}

// tip is a connected piece of a print whose centre of mass is not above what it
// stands on.
type tip struct {
	body     int32 // of the first run
	out      float64
	from, to float64 // tops of the first and last layers concerned
	at       r2.Vec  // centre of mass where it is furthest out
}

// tipping follows connected pieces of a solid as printed so far and returns those
// that would tip over but for the grip of what they stand on: the plate, or the
// cells of rests by layer.
func (p *proof) tipping(layers []rows, rests map[int]*raster.Bits) []tip {
	type heap struct {
		mass float64 // mm³
		at   r2.Vec  // first moment, mm⁴
		hull []r2.Vec
		tip
	}
	g := p.part.Grid
	total := 0
	if n := len(layers); n > 0 {
		total = layers[n-1].first + len(layers[n-1].runs)
	}
	f := newForest(total)
	heaps := map[int32]*heap{}
	var order []int32 // their keys, ascending
	for k := range layers {
		f.layer(layers, k)
		for _, key := range order {
			root := f.Find(key)
			if root == key {
				continue
			}
			a, b := heaps[root], heaps[key]
			if a == nil {
				heaps[root] = b
			} else {
				a.mass, a.at = a.mass+b.mass, r2.Add(a.at, b.at)
				a.hull = raster.Hull(append(a.hull, b.hull...))
				if b.out > a.out {
					a.tip = b.tip
				}
			}
			delete(heaps, key)
		}
		order = slices.DeleteFunc(order, func(key int32) bool { return heaps[key] == nil })
		l := &layers[k]
		rest := rests[k]
		grown := map[int32][]r2.Vec{}
		for n := 0; n+1 < len(l.start); n++ {
			for at := l.start[n]; at < l.start[n+1]; at++ {
				u := l.runs[at]
				i0, i1, j := int(u.i0), int(u.i1), l.y0+n
				root := f.Find(int32(l.first) + at)
				h := heaps[root]
				if h == nil {
					h = &heap{tip: tip{body: u.body}}
					heaps[root] = h
					order = append(order, root)
				}
				m := float64(i1-i0) * g.CellArea() * p.part.Thickness(k)
				c := g.Center(i0, j)
				h.mass += m
				h.at = r2.Add(h.at, r2.Scale(m, r2.Vec{X: c.X + float64(i1-i0-1)/2*g.Cell, Y: c.Y}))
				if _, seen := grown[root]; !seen {
					grown[root] = nil // nothing of it may rest, and yet it weighs
				}
				if k == 0 {
					grown[root] = append(grown[root], corners(g, j, i0, i1)...)
				}
			}
		}
		if k > 0 && rest != nil {
			rest.EachRun(func(j, i0, i1 int) {
				row, at := l.row(j)
				for n, u := range row {
					if a, b := max(i0, int(u.i0)), min(i1, int(u.i1)); a < b {
						root := f.Find(int32(l.first + at + n))
						grown[root] = append(grown[root], corners(g, j, a, b)...)
					}
				}
			})
		}
		for root, more := range grown {
			h := heaps[root]
			if len(more) > 0 {
				h.hull = raster.Hull(append(more, h.hull...))
			}
			if len(h.hull) == 0 {
				continue // it hangs in the air, and the rules of holding say so
			}
			at := r2.Scale(1/h.mass, h.at)
			if d := outside(h.hull, at); d > g.Cell {
				if h.out == 0 {
					h.from = p.part.Top(k)
				}
				h.to = p.part.Top(k)
				if d > h.out {
					h.out, h.tip.at = d, at
				}
			}
		}
	}
	var out []tip
	slices.Sort(order)
	for _, key := range order {
		if h := heaps[key]; h.out > 0 {
			out = append(out, h.tip)
		}
	}
	return out
}

// tips notes what would tip. Bodies are numbered where the solid is the supports'.
func (p *proof) tips(r *Report, list []tip, supports bool) {
	for _, t := range list {
		why := Reason{
			Kind: Tips, At: r3.Vec{X: tidy(t.at.X), Y: tidy(t.at.Y), Z: tidy(t.from)}, LayerZ: t.from,
			Remedy: "give it more to stand on, or a brim",
		}
		name := "The part"
		if supports {
			why.Body = int(t.body) + 1
			b := &r.Bodies[t.body]
			b.TipMM = max(b.TipMM, tidy(t.out))
			name = fmt.Sprintf("Support body %d", why.Body)
		}
		why.Text = fmt.Sprintf("%s has its centre of mass up to %.2g mm outside what it stands on while it prints from z %.1f to %.1f mm and stays up by its grip alone.",
			name, t.out, t.from, t.to)
		r.Notes = append(r.Notes, why)
	}
}
