package cost

import (
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// BaselineText defines the dense support that ours is compared with. The README
// quotes it word for word.
const BaselineText = `The baseline is a textbook dense support, computed from the part's layers by the same program, with the same settings and the same timing as the supports it is compared with.

1. What it supports: everything beyond the overhang limit, ceilings that could be bridged included. An area that is new in a layer is beyond the limit where it stands out further from the layer below than layer height × tan(limit), or where, over the last millimetre of height, the part has grown outward by more than that height × tan(limit); the whole of the new strip then counts, back to the layer below. One raster cell is allowed for: with the default settings no slope up to the limit of 45° counts, and slopes from 49° count whole. What rests on the plate needs nothing.
2. Shape: that area is projected straight down, to the plate or to the part beneath, whichever comes first. Above it the support stops short of the part by the same number of empty layers as ours, beneath it it starts as many layers above the part, and sideways it keeps the same clearance. Places narrower than one line are left out.
3. Filling: parallel straight lines of one line width. Each column, what of the support hangs together seen from above, gets as many as its width within the outline holds at 2.5 mm, unless another spacing is stated, rounded to the nearest whole number, which may be none; they are spread evenly over that width, in the same places on every layer, along the longer side of the column, and joined at alternate ends to a zigzag where the way between two ends is clear and shorter than three spacings.
4. Contact: the two topmost layers beneath whatever is supported are full lines. There are none at the bottom.
5. Outline: one loop around every support region and every hole in one.
6. Plastic is path length × bead area, (w−h)·h + π·h²/4 for a line w wide in a layer h thick; time is that of a planner with trapezoidal speeds, limited corner speeds, travel and retraction, at the same speeds as ours.

Real dense supports may do better than this one: without the loop, with wider spacing, with lines that grow sparser far below the contact, or by leaving out ceilings short enough to bridge. They may do worse: with more dense layers, or dense layers at the bottom too. Spacings of 2 and 4 mm show how much the comparison depends on it.`

// DefaultSpacing is the distance in mm between the baseline's lines.
const DefaultSpacing = 2.5

// Spacings are the distances in mm that a comparison's sensitivity is tested at.
var Spacings = [...]float64{2, DefaultSpacing, 4}

const (
	// lookBack is the height in mm over which a slope is measured; one layer's
	// growth is too few cells to tell a slope by.
	lookBack = 1.0
	// cellSlack is what cutting into cells may add to a growth, in cells.
	cellSlack = 1.0
	// denseLayers is the number of full layers at a contact.
	denseLayers = 2
)

// Baseline returns the regions of the dense support that BaselineText describes,
// on the part's grid and layers, and its cost. spacing is the distance between
// its lines in mm, 0 for DefaultSpacing. s and m need not be resolved.
func Baseline(part *raster.Stack, s supports.Settings, m Machine, spacing float64) (*raster.Stack, Estimate) {
	if !(spacing > 0) {
		spacing = DefaultSpacing
	}
	region, e := Baselines(part, s, m, spacing)
	return region, e[0]
}

// Baselines does so for several spacings, in mm, of the same regions.
func Baselines(part *raster.Stack, s supports.Settings, m Machine, spacings ...float64) (*raster.Stack, []Estimate) {
	s, _ = s.Resolve() // a setting that Resolve refuses is still priced as it stands
	m = m.filled()
	out := make([]Estimate, len(spacings))
	if !(part.Cell > 0) || len(part.Cut) == 0 {
		return &raster.Stack{Grid: part.Grid, Layers: part.Layers}, out
	}
	region, dense := baselineRegions(part, s)
	like := func(k int) int {
		if raster.Equal(region.Layer(k), region.Layer(k-1)) && raster.Equal(&dense[k], &dense[k-1]) {
			return k - 1
		}
		return -1
	}
	// What does not depend on the spacing is made once.
	cell := part.Cell
	line := s.Line / cell
	outlines := make([]outline, len(region.Cut))
	each(len(outlines), func(k int) {
		if r := region.Layer(k); !r.Empty() && (k < 2 || like(k) < 0) {
			outlines[k] = outlineOf(r, part.Grid, line, part.Thickness(k))
		}
	})
	for i, spacing := range spacings {
		cols := columnsOf(region.Cut, line, BeadArea(s.Line, s.Layer)/s.Layer/cell, spacing/cell)
		out[i] = price(len(region.Cut), m, like, func(k int) []path {
			return outlines[k].filled(&dense[k], cols, part.Grid, line)
		})
		out[i].SolidMM3 = region.Volume()
	}
	return region, out
}

// outline is the loop round a layer of the baseline, and the room within it. Cells
// and lengths are in cells.
type outline struct {
	paths []path
	loop  raster.Bits // what the loop's middle goes round
	fill  raster.Bits // what is left for lines
	bead  float64     // mm²
	full  float64     // line spacing that leaves no void
	trim  float64     // what fill is too wide by
}

// outlineOf returns the outline of a layer h mm thick.
func outlineOf(r *raster.Bits, g raster.Grid, line, h float64) outline {
	o := outline{bead: BeadArea(max(line*g.Cell, h), h)}
	o.full = o.bead / h / g.Cell
	room, _ := discOf(line / 2)
	o.loop = raster.Erode(r, room)
	o.paths = loops(&o.loop, g, o.bead)
	in, trim := discOf(line/2 + o.full/2)
	o.fill, o.trim = raster.Erode(r, in), trim
	return o
}

// filled returns the outline's paths and those of the lines within it, full where
// dense.
func (o outline) filled(dense *raster.Bits, cols []column, g raster.Grid, line float64) []path {
	if o.fill.Empty() {
		return o.paths
	}
	out := slices.Clone(o.paths)
	sparse, tight := raster.AndNot(&o.fill, dense), raster.And(&o.fill, dense)
	for _, c := range cols {
		var lines [][]r2.Vec
		if c.lines > 0 {
			here := raster.And(&sparse, &c.cells)
			lines = passes(&here, &o.loop, c.first, c.pitch, o.trim, o.full/2, line, c.upright)
		}
		here := raster.And(&tight, &c.cells)
		lines = append(lines, solid(&here, &o.loop, o.full, o.trim, o.full/2, line, c.upright)...)
		for _, p := range lines {
			out = append(out, path{pts: toMM(g, p), area: o.bead})
		}
	}
	return out
}

// baselineRegions returns where the baseline prints on each layer, and the parts
// of that which are full.
func baselineRegions(part *raster.Stack, s supports.Settings) (region *raster.Stack, dense []raster.Bits) {
	n := len(part.Cut)
	out := beyond(part, s)
	void := s.VoidLayers()
	if s.IsFused() {
		void = 0 // dense supports have no teeth
	}
	// needed is what layer j has to hold, across the void.
	needed := func(j int) *raster.Bits {
		if j += 1 + void; j < n {
			return &out[j]
		}
		return &raster.Bits{}
	}
	region = &raster.Stack{Grid: part.Grid, Layers: part.Layers, Cut: make([]raster.Bits, n)}
	dense = make([]raster.Bits, n)
	var column raster.Bits
	for j := n - 1; j >= 0; j-- {
		if a := needed(j); !a.Empty() {
			column = raster.Or(&column, a)
		}
		column = raster.AndNot(&column, part.Layer(j))
		region.Cut[j] = column
	}
	clearance := raster.DiscOf(s.Clearance / part.Cell)
	each(n, func(j int) {
		r := region.Cut[j]
		if r.Empty() {
			return
		}
		r = raster.Beyond(&r, part.Layer(j), clearance)
		for i := 1; i <= void; i++ {
			r = raster.AndNot(&r, part.Layer(j-i))
		}
		region.Cut[j] = r
		for i := 0; i < denseLayers; i++ {
			if a := needed(j + i); !a.Empty() {
				d := raster.And(&r, a)
				dense[j] = raster.Or(&dense[j], &d)
			}
		}
	})
	return region, dense
}

// beyond returns for each layer of the part the new area that is beyond the
// overhang limit, as BaselineText defines it.
//
// One layer's growth finds ceilings and steep slopes, but is only a few cells.
// Growth over lookBack finds slopes just beyond the limit; there a step that a
// single layer made, a ceiling or an island, counts as if it had been there all
// along, else whatever grows next to it within lookBack would count as well.
func beyond(part *raster.Stack, s supports.Settings) []raster.Bits {
	n := len(part.Cut)
	out := make([]raster.Bits, n)
	fresh := make([]raster.Bits, n)
	jump := make([]raster.Bits, n)
	tan := math.Tan(s.Limit) / part.Cell
	back := max(1, int(math.Round(lookBack/part.Height)))
	far := raster.DiscOf(float64(back)*part.Height*tan + cellSlack)
	each(n, func(k int) {
		if k == 0 {
			return
		}
		fresh[k] = raster.AndNot(part.Layer(k), part.Layer(k-1))
		if fresh[k].Empty() {
			return
		}
		j := raster.Beyond(&fresh[k], part.Layer(k-1), far)
		if !j.Empty() {
			jump[k] = raster.Within(&fresh[k], &j, far)
		}
	})
	each(n, func(k int) {
		if fresh[k].Empty() {
			return
		}
		reach := (part.Plane(k) - part.Plane(k-1)) * tan
		d := raster.Beyond(&fresh[k], part.Layer(k-1), raster.DiscOf(reach+cellSlack))
		if from := max(0, k-back); from < k-1 {
			held := *part.Layer(from)
			for j := from + 1; j < k; j++ {
				if !jump[j].Empty() {
					held = raster.Or(&held, &jump[j])
				}
			}
			grown := (part.Plane(k) - part.Plane(from)) * tan
			slow := raster.Beyond(&fresh[k], &held, raster.DiscOf(grown+cellSlack))
			d = raster.Or(&d, &slow)
		}
		if !d.Empty() {
			out[k] = raster.Within(&fresh[k], &d, raster.DiscOf(reach+2*cellSlack))
		}
	})
	return out
}

// column is what of the baseline hangs together seen from above, and where its
// lines stand, in cells.
type column struct {
	cells   raster.Bits
	lines   int
	first   float64 // place of the first line, along Y, or along X when upright
	pitch   float64
	upright bool // lines run along Y
}

// columnsOf returns the columns of layers of regions, with the lines that
// BaselineText gives each: loop lines are line wide, full ones lie full apart, and
// others about spacing, all in cells.
//
// One grid of lines for all columns would be a lottery for those not much wider
// than the spacing: whether one or two lines meet them depends on where they stand,
// and wider spacings may then take more plastic than narrow ones.
func columnsOf(cut []raster.Bits, line, full, spacing float64) []column {
	var all raster.Bits
	for k := range cut {
		if k == 0 || !raster.Equal(&cut[k], &cut[k-1]) {
			all = raster.Or(&all, &cut[k])
		}
	}
	var out []column
	for _, p := range raster.Pieces(&all) {
		c := column{cells: p.Cells, upright: p.Y1-p.Y0 > p.X1-p.X0}
		lo, hi := float64(p.Y0), float64(p.Y1)
		if c.upright {
			lo, hi = float64(p.X0), float64(p.X1)
		}
		lo, hi = lo+(line+full)/2, hi-(line+full)/2
		if c.lines = int(math.Round((hi - lo) / spacing)); c.lines > 0 {
			c.pitch = (hi - lo) / float64(c.lines)
			c.first = lo + c.pitch/2
		}
		out = append(out, c)
	}
	return out
}
