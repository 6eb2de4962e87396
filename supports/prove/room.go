package prove

import (
	"fmt"
	"math"
	"math/bits"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r3"
)

// Tool is what takes hold of a support.
type Tool string

const (
	Pliers Tool = "pliers" // a nose 3 mm wide and high, round what it grips
	Blade  Tool = "blade"  // 3 mm wide and 0.5 mm thick, lying level
)

// tools are tried in this order. Common practice, no source.
var tools = [...]struct {
	tool       Tool
	wide, high float64 // mm
}{{Pliers, 3, 3}, {Blade, 3, 0.5}}

const (
	// roomEvery is how far apart, in mm of height, room is looked for, and roomTries
	// bounds the layers that are looked at for one body.
	roomEvery, roomTries = 2.0, 12
)

// Room is a place where a tool gets at a body: straight from outside, with so much clear
// of the part all the way.
type Room struct {
	Tool Tool   `json:"tool"`
	At   r3.Vec `json:"-"`    // at_mm in JSON
	From Way    `json:"from"` // the side that it comes from; "down" from below, where the plate was
}

// rooms finds for every body where a tool gets at it, other bodies being gone by then.
func (p *proof) rooms(bodies []Body, layers []rows) {
	for _, tool := range tools {
		clear := map[int]*clearing{}
		at := func(k int) *clearing {
			if clear[k] == nil {
				clear[k] = p.clearing(k, tool.wide, tool.high)
			}
			return clear[k]
		}
		for n := range bodies {
			b := &bodies[n]
			for _, k := range p.triesFor(b) {
				if b.Room != nil {
					break
				}
				if at, from, ok := at(k).reach(p, &layers[k], int32(n), k); ok {
					b.Room = &Room{tool.tool, at, from}
				}
			}
		}
	}
}

// roomless notes the bodies that no tool gets at.
func (r *Report) roomless() {
	for n := range r.Bodies {
		b := &r.Bodies[n]
		if b.Room != nil {
			continue
		}
		c := r3.Scale(0.5, r3.Add(b.Bounds.Min, b.Bounds.Max))
		r.Notes = append(r.Notes, Reason{
			Kind: NoRoom, At: c, LayerZ: b.Bounds.Min.Z, Body: b.ID,
			Text: fmt.Sprintf("Neither pliers (%g × %g mm) nor a blade (%g × %g mm) get straight at support body %d round x %.1f, y %.1f, z %.1f to %.1f mm.",
				tools[0].wide, tools[0].high, tools[1].wide, tools[1].high, b.ID, c.X, c.Y, b.Bounds.Min.Z, b.Bounds.Max.Z),
			Remedy: "let it reach further out, where fingers or a tool get hold of it",
		})
	}
}

// triesFor returns the layers of a body to look at, from its middle outward, and its
// lowest.
func (p *proof) triesFor(b *Body) []int {
	k0, k1 := p.sup.Above(b.Bounds.Min.Z+1e-6), p.sup.Above(b.Bounds.Max.Z+1e-6)-1
	step := max(1, int(math.Round(roomEvery/p.sup.Height)))
	out := []int{(k0 + k1) / 2}
	for d := step; len(out) < roomTries-1; d += step {
		lo, hi := out[0]-d, out[0]+d
		if lo < k0 && hi > k1 {
			break
		}
		if hi <= k1 {
			out = append(out, hi)
		}
		if lo >= k0 {
			out = append(out, lo)
		}
	}
	return append(out, k0)
}

// clearing says where the middle of a tool may not be in one layer.
type clearing struct{ upright, across plane }

func (p *proof) clearing(k int, wide, high float64) *clearing {
	n := max(1, int(math.Ceil(high/p.part.Height-1e-9)))
	var all raster.Bits
	for l := max(0, k-(n-1)/2); l <= k+n/2; l++ {
		all.Add(p.part.Layer(l))
	}
	all = raster.Dilate(&all, raster.DiscOf(wide/2/p.part.Cell))
	x0, y0, x1, y1 := all.Bounds()
	c := &clearing{upright: newPlane(x0, y0, x1, y1)}
	all.EachRun(func(j, i0, i1 int) { setSpan(c.upright.row(j-y0), i0-x0, i1-x0) })
	c.across = c.upright.transpose()
	return c
}

// reach returns a cell of a body in layer k that a tool gets at, and from where.
func (c *clearing) reach(p *proof, l *rows, body int32, k int) (at r3.Vec, from Way, ok bool) {
	cells, some := cellsOf(l, body)
	if !some {
		return
	}
	// Where no tool fits none gets.
	row := make([]uint64, cells.ww)
	for j := range cells.h {
		if n := cells.y0 + j - c.upright.y0; n >= 0 && n < c.upright.h {
			clear(row)
			orShifted(row, c.upright.row(n), c.upright.x0-cells.x0)
			for w, v := range row {
				cells.row(j)[w] &^= v
			}
		}
	}
	at, ok = p.first(&cells, k, false)
	if !ok {
		return
	}
	if k == 0 {
		return at, "down", true
	}
	across := cells.transpose()
	for n := range compass {
		h := headingOf(n)
		field, mine := &c.upright, &cells
		if h.swap {
			field, mine = &c.across, &across
		}
		left := plane{mine.x0, mine.y0, mine.w, mine.h, mine.ww, append([]uint64(nil), mine.words...)}
		if field.h > 0 {
			shadow(field, mine, h, func(j int, row []uint64) {
				for w, v := range row {
					left.row(j)[w] &^= v
				}
			})
		}
		if at, ok = p.first(&left, k, h.swap); ok {
			return at, wayName(n), true
		}
	}
	return at, "", false
}

// first returns the first cell of a plane of layer k, whose x and y may be swapped.
func (p *proof) first(cells *plane, k int, swapped bool) (r3.Vec, bool) {
	for j := range cells.h {
		for w, v := range cells.row(j) {
			if v == 0 {
				continue
			}
			x, y := cells.x0+w<<6+bits.TrailingZeros64(v), cells.y0+j
			if swapped {
				x, y = y, x
			}
			c := p.part.Center(x, y)
			return r3.Vec{X: tidy(c.X), Y: tidy(c.Y), Z: tidy(p.sup.Bottom(k))}, true
		}
	}
	return r3.Vec{}, false
}

// cellsOf returns a body's cells of a layer. It is false where there are none.
func cellsOf(l *rows, body int32) (cells plane, some bool) {
	each := func(f func(j int, u run)) {
		for n := 0; n+1 < len(l.start); n++ {
			for _, u := range l.runs[l.start[n]:l.start[n+1]] {
				if u.body == body {
					f(l.y0+n, u)
				}
			}
		}
	}
	x0, y0, x1, y1 := math.MaxInt, math.MaxInt, math.MinInt, math.MinInt
	each(func(j int, u run) {
		x0, x1, y0, y1 = min(x0, int(u.i0)), max(x1, int(u.i1)), min(y0, j), max(y1, j+1)
	})
	if x0 > x1 {
		return plane{}, false
	}
	cells = newPlane(x0, y0, x1, y1)
	each(func(j int, u run) { setSpan(cells.row(j-y0), int(u.i0)-x0, int(u.i1)-x0) })
	return cells, true
}
