package hold

import (
	"math"

	"falsework/raster"
)

// ray is a bridge direction on the grid. Parallel digital lines of one ray
// partition the cells: along the major axis t, the minor one is round(slope·t)+b.
type ray struct {
	swap  bool    // the major axis is y
	step  float64 // length of a step along the major axis, cells
	minor []int32 // round(slope·t) for −rayMargin ≤ t < len − rayMargin
}

// rayMargin is how far outside the grid a ray may be followed, in cells: further
// than the opening that a closing crown faces, at the finest cell.
const rayMargin = 256

// rayAt returns the direction on a grid of so many cells along its longer side.
func rayAt(angle float64, side int) ray {
	c, s := math.Cos(angle), math.Sin(angle)
	r, slope := ray{step: 1 / math.Abs(c)}, s/c
	if math.Abs(c) < math.Abs(s) {
		r, slope = ray{swap: true, step: 1 / math.Abs(s)}, c/s
	}
	r.minor = make([]int32, side+2*rayMargin)
	for n := range r.minor {
		r.minor[n] = int32(math.Round(slope * float64(n-rayMargin)))
	}
	return r
}

// line returns the major coordinate of cell (i, j) and the offset of its line.
func (r *ray) line(i, j int) (t, b int) {
	if r.swap {
		i, j = j, i
	}
	return i, j - int(r.minor[i+rayMargin])
}

// cell returns the cell at t on line b.
func (r *ray) cell(t, b int) (i, j int) {
	i, j = t, b+int(r.minor[t+rayMargin])
	if r.swap {
		i, j = j, i
	}
	return
}

// box is a half-open box of cells.
type box struct{ x0, y0, x1, y1 int }

func boxOf(b *raster.Bits) (out box) {
	out.x0, out.y0, out.x1, out.y1 = b.Bounds()
	return
}

// chords tests the straight beads over one patch of a layer.
type chords struct {
	*judge
	free   *raster.Bits // the patch: nothing under it
	box    box          // of free
	ground *raster.Bits // cells of the layer with something under them
	own    *raster.Bits // ground that is the body itself
	beside raster.Bits  // on a flat patch, its ledges held by rule 1
}

// open returns the cells of ask that no sound chord along r comes within half a
// line of.
func (c *chords) open(ask *raster.Bits, at box, r *ray) raster.Bits {
	var s scratch
	held := c.sound(ask, at, c.free, r, &s)
	return raster.Beyond(ask, held, c.halfLine)
}

// scratch is room that one chord test leaves to the next.
type scratch struct{ held, seen raster.Bits }

// sound returns the cells of the chords along r through ask, which lies in the box
// at, inside free, that are short enough and land at both ends. They stand in s
// until its next use.
func (c *chords) sound(ask *raster.Bits, at box, free *raster.Bits, r *ray, s *scratch) *raster.Bits {
	// A sound chord goes no further than this from the cell that asks.
	far := int(c.span/r.step) + 1
	x0, y0 := max(at.x0-far, c.box.x0), max(at.y0-far, c.box.y0)
	x1, y1 := min(at.x1+far, c.box.x1), min(at.y1+far, c.box.y1)
	s.held.Reset(x0, y0, x1, y1)
	s.seen.Reset(x0, y0, x1, y1)
	ask.Each(func(i, j int) {
		if s.seen.Has(i, j) {
			return
		}
		t, b := r.line(i, j)
		// Cells ask in the order of rows, so those still to come lie ahead on
		// most lines: that end first.
		hi, land := c.walk(free, r, t, b, far)
		lo := t - 1
		if land {
			lo, land = c.walk(free, r, t, b, -far)
		}
		ok := land && float64(hi-lo-1)*r.step <= c.span
		for u := lo + 1; u < hi; u++ {
			x, y := r.cell(u, b)
			if !free.Has(x, y) {
				continue
			}
			s.seen.Set(x, y)
			if ok {
				s.held.Set(x, y)
			}
		}
	})
	return &s.held
}

// walk goes from t along line b until the free run ends, and tells the first
// coordinate that is no longer free and whether a landing begins there. It gives
// up after far steps, which are negative the other way. A rib of the body's own
// too thin to land on is passed over as if it were free.
func (c *chords) walk(free *raster.Bits, r *ray, t, b, far int) (end int, lands bool) {
	dir, last := 1, t+far
	if far < 0 {
		dir = -1
	}
	for {
		if dir*(last-t) < 0 {
			return last, false
		}
		i, j := r.cell(t, b)
		if free.Has(i, j) {
			t += dir
			continue
		}
		if !c.ground.Has(i, j) {
			// A free end stands out no further than a ledge may.
			x, y := r.cell(t-dir, b)
			return t, c.beside.Has(x, y)
		}
		edge := t
		need := c.landBody
		width := 0
		for c.ground.Has(i, j) {
			if !c.own.Has(i, j) {
				need = min(need, c.landContact)
			}
			width++
			if float64(width)*r.step >= need {
				return edge, true
			}
			t += dir
			i, j = r.cell(t, b)
		}
		if !free.Has(i, j) {
			return edge, false
		}
	}
}

// loops returns the cells of ask that the outline's loops hold: rule 3. It is all
// where the loops fill the patch, so that no chord runs outside them.
func (c *chords) loops(layer, ask *raster.Bits) (held raster.Bits, all bool) {
	x0, y0, x1, y1 := c.box.x0, c.box.y0, c.box.x1, c.box.y1
	m := c.band.Radius() + 1
	near := raster.NewBits(x0-m, y0-m, x1+m, y1+m)
	for y := y0 - m; y < y1+m; y++ {
		near.SetSpan(y, x0-m, x1+m)
	}
	outside := raster.AndNot(&near, layer)
	loop := raster.Within(c.free, &outside, c.band)
	edge := raster.And(ask, &loop)
	if edge.Empty() {
		return held, false
	}
	beside := c.sagitta
	inner := raster.AndNot(c.free, &loop)
	if all = inner.Empty(); all {
		beside = c.halfLine // as rule 2 has it, which has nothing to add
	}
	rest, at := edge, boxOf(&edge)
	var rooms [eachAtOnce]scratch
	var got [eachAtOnce]raster.Bits
	for n := 0; n < len(c.loopDirs) && !rest.Empty(); n += eachAtOnce {
		c.side(n, min(n+eachAtOnce, len(c.loopDirs)), func(m int) {
			h := c.sound(&rest, at, &loop, &c.loopDirs[m], &rooms[m-n])
			got[m-n] = raster.Within(&rest, h, beside)
		})
		some := false
		for m := range got {
			if !got[m].Empty() {
				some = true
				held = raster.Or(&held, &got[m])
				rest = raster.AndNot(&rest, &got[m])
			}
		}
		if some {
			at = boxOf(&rest)
		}
	}
	return held, all
}

const (
	// closingReach and closingSpan, in lines, bound a crown that closes: how far
	// its edge may stand out over what is below, and how wide the opening may
	// be that it faces. 2.5 and 10 lines are 1 and 4 mm of a 0.4 mm line; small
	// horizontal holes print so. Common practice, no source.
	closingReach, closingSpan = 2.5, 10.0
	// closingLayers is how soon the opening must be bridged.
	closingLayers = 2
)

// closing returns the cells of bare that stand at the edge of an opening about to
// be bridged: rule 4. The roof is the layer that must have closed it.
func (c *chords) closing(layer, roof, bare *raster.Bits) raster.Bits {
	line := c.Settings.Line / c.grid.Cell
	near := raster.Within(bare, c.ground, raster.DiscOf(closingReach*line+1))
	if near.Empty() {
		return near
	}
	x0, y0, x1, y1 := near.Bounds()
	held := raster.NewBits(x0, y0, x1, y1)
	near.Each(func(i, j int) {
		for n := 0; n < 2*Directions; n += 2 {
			r := &c.dirs[n%Directions]
			dir := 1
			if n >= Directions {
				dir = -1
			}
			t, b := r.line(i, j)
			wide, inside := 0.0, 0.0
			at := 0 // where the opening begins
			for u := t + dir; wide <= closingSpan*line; u += dir {
				x, y := r.cell(u, b)
				if layer.Has(x, y) {
					if wide > 0 {
						// A notch between cells of a round outline is no opening.
						if x, y := r.cell((u+at)/2, b); clearAround(layer, x, y) {
							held.Set(i, j)
						}
						break
					}
					if inside += r.step; inside > closingReach*line {
						break // away from the opening
					}
					continue
				}
				if !roof.Has(x, y) {
					break
				}
				if wide == 0 {
					at = u
				}
				wide += r.step
			}
			if held.Has(i, j) {
				break
			}
		}
	})
	return held
}

// clearAround tells whether neither cell (i, j) nor one beside it is in b.
func clearAround(b *raster.Bits, i, j int) bool {
	for y := j - 1; y <= j+1; y++ {
		for x := i - 1; x <= i+1; x++ {
			if b.Has(x, y) {
				return false
			}
		}
	}
	return true
}
