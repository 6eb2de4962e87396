package hold

import (
	"math"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	// loopBeads is how many beads follow an outline before other lines begin.
	// Common practice, no source.
	loopBeads = 2.5
	// loopSmooth is over how many edges of default cells to either side an outline's
	// places and directions are averaged: a step of the raster is gone after two, a
	// radius of a line still shows.
	loopSmooth = 3
	// A corner in air that turns by more than 25° lets go of its bead (common
	// practice, no source), unless a contact is within cornerHold, in mm. Over legs
	// of cornerLeg, in lines, a straight outline of cells may seem to turn by 10°.
	cornerTurn = 35 * math.Pi / 180
	cornerLeg  = 2.0
	cornerHold = 0.5
)

// way is an outline of a layer in cells, one place for each cell edge, the layer on
// its left.
type way struct {
	at, inward []r2.Vec
	along      []float64 // length up to each place; one more than places
}

// wayOf smooths a contour over so many cell edges to either side.
func wayOf(loop []raster.Corner, smooth int) way {
	n := len(loop)
	w := way{at: make([]r2.Vec, n), inward: make([]r2.Vec, n), along: make([]float64, n+1)}
	corner := func(i int) r2.Vec {
		c := loop[((i%n)+n)%n]
		return r2.Vec{X: float64(c.I), Y: float64(c.J)}
	}
	reach := min(smooth, (n-1)/2)
	var sum r2.Vec
	for i := -reach; i <= reach; i++ {
		sum = r2.Add(sum, corner(i))
	}
	for i := range n {
		w.at[i] = r2.Scale(1/float64(2*reach+1), sum)
		d := r2.Sub(corner(i+reach), corner(i-reach))
		if l := math.Sqrt(r2.Norm2(d)); l > 0 {
			w.inward[i] = r2.Vec{X: -d.Y / l, Y: d.X / l}
		}
		sum = r2.Add(sum, r2.Sub(corner(i+reach+1), corner(i-reach)))
	}
	for i := range n {
		w.along[i+1] = w.along[i] + math.Sqrt(r2.Norm2(r2.Sub(w.at[(i+1)%n], w.at[i])))
	}
	return w
}

// length returns the length from place a onward to place b.
func (w *way) length(a, b int) float64 {
	n := len(w.at)
	l := w.along[b%n] - w.along[a%n]
	if b%n < a%n || b-a >= n {
		l += w.along[n]
	}
	return l
}

// cell returns the cell at so many cells inward of place i.
func (w *way) cell(i int, deep float64) (x, y int) {
	p := r2.Add(w.at[i%len(w.at)], r2.Scale(deep, w.inward[i%len(w.at)]))
	return int(math.Floor(p.X)), int(math.Floor(p.Y))
}

// loops returns the cells of ask that lines along the outline hold: rule 3. It is
// all where they fill the patch, so that no chord runs outside them.
func (c *chords) loops(layer, ask *raster.Bits) (held raster.Bits, all bool) {
	m := c.band.Radius() + 1
	x0, y0, x1, y1 := c.box.x0-m, c.box.y0-m, c.box.x1+m, c.box.y1+m
	outside := raster.NewBits(x0, y0, x1, y1)
	for y := y0; y < y1; y++ {
		outside.SetSpan(y, x0, x1)
	}
	outside.Remove(layer)
	band := raster.Within(c.free, &outside, c.band)
	edge := raster.And(ask, &band)
	if edge.Empty() {
		return held, false
	}
	inner := raster.AndNot(c.free, &band)
	all = inner.Empty()
	if c.Thin {
		return c.passes(&edge), all
	}
	local := raster.Crop(layer, c.x0, c.y0, c.x0+c.w, c.y0+c.h)
	laid := raster.NewBits(c.box.x0, c.box.y0, c.box.x1, c.box.y1)
	some := false
	line := c.Settings.Line / c.grid.Cell
	for _, loop := range raster.Contours(&local) {
		if !c.touches(loop) {
			continue
		}
		w := wayOf(loop, int(math.Round(loopSmooth*c.round)))
		for n := 0.0; n < loopBeads; n++ {
			some = c.lay(&w, n*line, line, &laid) || some
		}
	}
	if some {
		held = raster.Within(&edge, &laid, raster.DiscOf(math.Sqrt2*c.round))
	}
	return held, all
}

// passes returns the cells of ask that single passes along one-line walls hold: each
// runs straight through crossings.
func (c *chords) passes(ask *raster.Bits) raster.Bits {
	rest, at := ask.Clone(), boxOf(ask)
	var got [eachAtOnce]raster.Bits
	for n := 0; n < len(c.passDirs) && !rest.Empty(); n += eachAtOnce {
		c.side(n, min(n+eachAtOnce, len(c.passDirs)), func(m int) {
			got[m-n] = raster.Bits{}
			if held, some := c.sound(&rest, at, &c.passDirs[m]); some {
				got[m-n] = raster.Within(&rest, &held, c.halfLine)
			}
		})
		for m := range got {
			rest.Remove(&got[m])
		}
	}
	return raster.AndNot(ask, &rest)
}

// touches tells whether an outline bounds the patch.
func (c *chords) touches(loop []raster.Corner) bool {
	return slices.ContainsFunc(loop, func(p raster.Corner) bool {
		return c.free.Has(p.I, p.J) || c.free.Has(p.I-1, p.J) || c.free.Has(p.I, p.J-1) || c.free.Has(p.I-1, p.J-1)
	})
}

// lay adds to laid the cells of the stretches of one bead, so many cells in from the
// outline and so wide, that land at both ends and run straight enough between.
func (c *chords) lay(w *way, deep, wide float64, laid *raster.Bits) (some bool) {
	n := len(w.at)
	kinds := make([]byte, n)
	for i := range kinds {
		kinds[i] = c.under(w, i, deep, wide)
	}
	sag := (1 - c.Taut) * c.Settings.Line / 2 / c.grid.Cell
	// Once round from the first landing back to it.
	from, landing := -1, 0
	for i := 0; i < 2*n && i-landing <= n; i++ {
		if kinds[i%n]&ground == 0 {
			if kinds[i%n] == air {
				from = -1
			}
			continue
		}
		end := i
		need := c.landBody
		for ; end-i < n && kinds[end%n]&ground != 0; end++ {
			if kinds[end%n] == contact {
				need = min(need, c.landContact)
			}
		}
		if end-i < n && w.length(i, end) < need {
			i = end - 1
			continue // a rib too thin to land on
		}
		if from >= 0 && w.length(from, i)+c.beyond(w, kinds, from, deep)+c.beyond(w, kinds, i, deep) <= c.span && c.straight(w, kinds, from, i, sag) {
			for s := from; s <= i; s++ {
				for d := deep + 0.5; d < deep+wide; d++ {
					if x, y := w.cell(s, d); c.free.Has(x, y) {
						laid.Set(x, y)
						some = true
					}
				}
			}
		}
		if from < 0 && landing == 0 {
			landing = end
		}
		from = end - 1
		i = end - 1
	}
	return some
}

// beyond returns how far a bead goes on from place i of an outline, where rule 1 holds it,
// to what that ledge stands on; 0 where it has landed.
func (c *chords) beyond(w *way, kinds []byte, i int, deep float64) float64 {
	if kinds[i%len(kinds)]&ledge == 0 {
		return 0
	}
	x, y := w.cell(i, deep+0.5)
	if d := c.window.nearest(c.ground, x, y); !math.IsInf(float64(d), 1) {
		return float64(d)
	}
	return c.ledge
}

// under tells what the bead rests on at place i of an outline: a contact anywhere
// under it, or what its outer edge lies over.
func (c *chords) under(w *way, i int, deep, wide float64) byte {
	var x, y int
	kind := byte(air)
	// A smoothed outline may run through the notches of the cells by one.
	for d := deep + 0.5; kind == air && d < deep+1+c.round; d += 0.5 {
		x, y = w.cell(i, d)
		kind = c.kind(x, y)
	}
	if kind != free {
		return kind
	}
	if c.beside.Has(x, y) {
		return own | ledge // rule 1 holds it there
	}
	for d := deep + 1.5; d < deep+wide; d++ {
		if x, y := w.cell(i, d); c.kind(x, y) == contact {
			return contact
		}
	}
	return kind
}

// straight tells whether an outline between two landings stays within sag cells of
// its chord and turns no corner in air that no contact is near. An inner corner at a
// landing is none: there the bead comes off what it lands on.
func (c *chords) straight(w *way, kinds []byte, a, b int, sag float64) bool {
	n := len(w.at)
	hold := cornerHold / c.grid.Cell
	leg := int(cornerLeg*c.Settings.Line/c.grid.Cell + 0.5)
	for s := a + 1; s < b; s++ {
		if raster.SegmentDistance(w.at[s%n], w.at[a%n], w.at[b%n]) > sag {
			return false
		}
		turn := w.turn(s, leg)
		if turn > -cornerTurn && turn < cornerTurn {
			continue
		}
		held := kinds[a%n] == contact && w.length(a, s) <= hold || kinds[b%n] == contact && w.length(s, b) <= hold
		inner := turn < 0 && (s-a <= leg/2 || b-s <= leg/2)
		if !held && !inner {
			return false
		}
	}
	return true
}

// turn returns by how much an outline turns to the left about place i over legs of so
// many cell edges, in radians.
func (w *way) turn(i, leg int) float64 {
	n := len(w.at)
	at := w.at[i%n]
	in := r2.Sub(at, w.at[(i+n-leg%n)%n])
	out := r2.Sub(w.at[(i+leg)%n], at)
	return math.Atan2(r2.Cross(in, out), r2.Dot(in, out))
}
