package hold

import (
	"math"
	"sync"

	"falsework/raster"
)

// ray is a bridge direction on the grid. Parallel digital lines of one ray
// partition the cells: along the major axis t, the minor one is round(slope·t)+b.
type ray struct {
	swap  bool    // the major axis is y
	step  float64 // length of a step along the major axis, cells
	minor []int32 // round(slope·(t − low)) for −rayMargin ≤ t < len − rayMargin, low being the grid's
}

// rayMargin is how far outside the grid a ray may be followed, in cells: further
// than the opening that a closing crown faces, at the finest cell.
const rayMargin = 256

// rayAt returns the direction on a grid.
func rayAt(angle float64, g raster.Grid) ray {
	c, s := math.Cos(angle), math.Sin(angle)
	r, slope := ray{step: 1 / math.Abs(c)}, s/c
	if math.Abs(c) < math.Abs(s) {
		r, slope = ray{swap: true, step: 1 / math.Abs(s)}, c/s
	}
	low := g.LowI
	if r.swap {
		low = g.LowJ
	}
	r.minor = make([]int32, max(g.W, g.H)+2*rayMargin)
	for n := range r.minor {
		r.minor[n] = int32(math.Round(slope * float64(n-rayMargin-low)))
	}
	return r
}

// fan is directions spread over half a turn. Those on the largest grid so far that begins at
// the same cells are kept.
type fan struct {
	mu   sync.Mutex
	grid raster.Grid
	rays []ray
}

var spread, passes fan

// over returns n directions on a grid.
func (f *fan) over(n int, g raster.Grid) []ray {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.rays) != n || max(f.grid.W, f.grid.H) < max(g.W, g.H) || f.grid.LowI != g.LowI || f.grid.LowJ != g.LowJ {
		f.grid, f.rays = g, make([]ray, n)
		for m := range f.rays {
			f.rays[m] = rayAt(math.Pi*float64(m)/float64(n), g)
		}
	}
	return f.rays
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

// with returns the box round both; an empty one counts for nothing.
func (b box) with(o box) box {
	switch {
	case b.x0 == b.x1:
		return o
	case o.x0 == o.x1:
		return b
	}
	return box{min(b.x0, o.x0), min(b.y0, o.y0), max(b.x1, o.x1), max(b.y1, o.y1)}
}

// What a cell of a field is, as far as chords go.
const (
	air     = 0
	free    = 1 // of the patch: nothing under it
	contact = 2 // the layer, over another body's top
	own     = 4 // the layer, over the body itself
	ground  = contact | own
	ledge   = 8 // beside the ground: of places on an outline alone
)

// field says what is in the cells of a box, a byte a cell, so that a step of a walk
// is one look.
type field struct {
	x0, y0, w, h int
	cells        []byte
}

// fieldFor returns a field of air with room for a box and a margin, in cells, using
// the memory of room where that is enough.
func fieldFor(b box, margin int, room []byte) field {
	f := field{x0: b.x0 - margin, y0: b.y0 - margin, w: b.x1 - b.x0 + 2*margin, h: b.y1 - b.y0 + 2*margin}
	if n := f.w * f.h; n <= cap(room) {
		f.cells = room[:n]
		clear(f.cells)
	} else {
		f.cells = make([]byte, n)
	}
	return f
}

// set makes the cells of b, as far as the field goes, what.
func (f *field) set(b *raster.Bits, what byte) {
	in := raster.Crop(b, f.x0, f.y0, f.x0+f.w, f.y0+f.h)
	in.EachRun(func(j, i0, i1 int) {
		row := (j-f.y0)*f.w - f.x0
		run := f.cells[row+i0 : row+i1]
		for len(run) > 0 {
			run = run[copy(run, filled[what][:]):]
		}
	})
}

// filled holds a run of each kind of cell to copy from.
var filled = func() (out [own + 1][512]byte) {
	for what := range out {
		for i := range out[what] {
			out[what][i] = byte(what)
		}
	}
	return
}()

// line is a digital line of a ray in a field.
type line struct {
	cells               []byte
	minor               []int32
	major, cross, start int // index of t: start + t·major + minor(t)·cross
}

// kind returns what is in cell (i, j).
func (f *field) kind(i, j int) byte {
	i, j = i-f.x0, j-f.y0
	if i < 0 || j < 0 || i >= f.w || j >= f.h {
		return air
	}
	return f.cells[j*f.w+i]
}

func (f *field) line(r *ray, b int) line {
	l := line{cells: f.cells, minor: r.minor, major: 1, cross: f.w, start: (b-f.y0)*f.w - f.x0}
	if r.swap {
		l.major, l.cross, l.start = f.w, 1, b-f.x0-f.y0*f.w
	}
	return l
}

func (l *line) at(t int) byte {
	return l.cells[l.start+t*l.major+int(l.minor[t+rayMargin])*l.cross]
}

// chords tests the straight beads over one patch of a layer.
type chords struct {
	*judge
	field
	free   *raster.Bits // the patch
	box    box          // of free
	ground *raster.Bits // cells of the layer with something under them
	beside raster.Bits  // on a flat patch, its ledges held by rule 1
}

// chordsOver returns the chords over a patch. Of the ground, contacts are no part
// of the body. The field uses the memory of room where that is enough.
func (j *judge) chordsOver(patch, ground, contacts *raster.Bits, room []byte) chords {
	c := chords{judge: j, free: patch, box: boxOf(patch), ground: ground}
	margin := int(max(j.landBody, j.landContact)) + 2 // a landing is looked for no further
	c.field = fieldFor(c.box, margin, room)
	c.set(ground, own)
	if !contacts.Empty() {
		over := raster.And(ground, contacts)
		c.set(&over, contact)
	}
	c.set(patch, free)
	return c
}

// open returns the cells of ask that no sound chord along r comes within half a
// line of.
func (c *chords) open(ask *raster.Bits, at box, r *ray) raster.Bits {
	held, some := c.sound(ask, at, r)
	if !some {
		return *ask
	}
	return raster.Beyond(ask, &held, c.halfLine)
}

// sound returns the cells of the chords along r through ask, which lies in the box
// at, that are short enough and land at both ends. It is false where there is none.
func (c *chords) sound(ask *raster.Bits, at box, r *ray) (held raster.Bits, some bool) {
	// A sound chord goes no further than this from the cell that asks.
	far := int(c.span/r.step) + 1
	ask.Each(func(i, j int) {
		t, b := r.line(i, j)
		if ask.Has(r.cell(t-1, b)) {
			return // on the same chord
		}
		lo, land := c.walk(r, t, b, -far)
		if !land {
			return
		}
		hi, land := c.walk(r, t, b, far)
		if !land || float64(hi-lo-1)*r.step > c.span {
			return
		}
		// From a free end the bead runs on beside the edge to what carries it.
		if on := c.onward(r, lo, b, 1) + c.onward(r, hi, b, -1); on > 0 && float64(hi-lo-1)*r.step+on > c.span {
			return
		}
		if !some {
			some = true
			held = raster.NewBits(max(at.x0-far, c.box.x0), max(at.y0-far, c.box.y0),
				min(at.x1+far, c.box.x1), min(at.y1+far, c.box.y1))
		}
		l := c.line(r, b)
		for u := lo + 1; u < hi; u++ {
			if l.at(u) == free { // and no rib
				held.Set(r.cell(u, b))
			}
		}
	})
	return held, some
}

// walk goes from t along line b until the free run ends, and tells the first
// coordinate that is no longer free and whether a landing begins there. It gives up
// after far steps, which are negative the other way. A rib of the body's own too
// thin to land on is passed over as if it were free.
func (c *chords) walk(r *ray, t, b, far int) (end int, lands bool) {
	dir, last := 1, t+far
	if far < 0 {
		dir = -1
	}
	l := c.line(r, b)
	for {
		here := l.at(t)
		for ; here&free != 0; here = l.at(t) {
			if t == last {
				return last, false
			}
			t += dir
		}
		if here&ground == 0 {
			// A free end stands out no further than a ledge may.
			return t, c.beside.Has(r.cell(t-dir, b))
		}
		edge := t
		need := c.landBody
		for width := 1; here&ground != 0; width++ {
			if here == contact {
				need = min(need, c.landContact)
			}
			if float64(width)*r.step >= need {
				return edge, true
			}
			t += dir
			here = l.at(t)
		}
		if here&free == 0 || dir*(last-t) < 0 {
			return edge, false
		}
	}
}

// onward returns how far it is, in cells, from where a bead ends at a free edge to what
// carries that; 0 where it lands. Its last cell is one back from end, dir being the way back.
func (c *chords) onward(r *ray, end, b, dir int) float64 {
	if x, y := r.cell(end, b); c.kind(x, y)&ground != 0 {
		return 0
	}
	x, y := r.cell(end+dir, b)
	return float64(c.window.nearest(c.ground, x, y))
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
	near := raster.Within(bare, c.ground, raster.DiscOf(closingReach*line+c.round))
	if near.Empty() {
		return near
	}
	held := raster.NewBits(near.Bounds())
	at := boxOf(&near)
	reach := int(closingReach*line) + 2 // from bare cells to the opening, and one cell on
	across := int(closingSpan*line) + 3 // to what lies beyond it
	f := fieldFor(at, reach+across, nil)
	f.set(roof, roofed)
	f.set(layer, laid)
	inside := raster.Crop(layer, at.x0-reach, at.y0-reach, at.x1+reach, at.y1+reach)
	opening := raster.Crop(roof, at.x0-reach-1, at.y0-reach-1, at.x1+reach+1, at.y1+reach+1)
	opening = raster.AndNot(&opening, layer)
	edge := raster.Within(&inside, &opening, raster.DiscOf(math.Sqrt2))
	edge.Each(func(i, j int) {
		for n := 0; n < 2*Directions; n += 2 {
			r := &c.dirs[n%Directions]
			dir := 1
			if n >= Directions {
				dir = -1
			}
			t, b := r.line(i, j)
			if x, y := r.cell(t+dir, b); f.kind(x, y) != roofed || !c.opens(layer, &f, r, t, b, dir) {
				continue
			}
			// All bare cells behind the edge, as far as a crown may stand out.
			for u, out := t, 0.0; out <= closingReach*line; u, out = u-dir, out+r.step {
				x, y := r.cell(u, b)
				if !layer.Has(x, y) {
					break
				}
				if near.Has(x, y) {
					held.Set(x, y)
				}
			}
		}
	})
	return held
}

// What the field of a closing has but air: the layer, and what its roof alone covers.
const (
	roofed = 1
	laid   = 4
)

// opens tells whether the opening that begins beside the layer's cell at t on line b is
// covered by the roof all the way to where the layer faces it from beyond.
func (c *chords) opens(layer *raster.Bits, f *field, r *ray, t, b, dir int) bool {
	l := f.line(r, b)
	wide, span := 0.0, closingSpan*c.Settings.Line/c.grid.Cell
	for u := t + dir; wide <= span; u += dir {
		switch l.at(u) {
		case laid:
			// A notch between cells of a round outline is no opening.
			x, y := r.cell((u+t+dir)/2, b)
			return clearAround(layer, x, y)
		case air:
			return false
		}
		wide += r.step
	}
	return false
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
