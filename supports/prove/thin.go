package prove

import (
	"fmt"
	"math"

	"falsework/raster"
)

// printed returns the supports without what is too thin for a line to print, and
// those cells: a wall thinner than a line may be left out by the program that makes
// the toolpaths. A disc a line wide is moved about inside; what is more than a cell
// and a half from anything it covers is too thin, so that corners are not, if it is
// two lines long or more: what ends in a point is no wall. A wall's cells are its
// thickness give or take one, so one a cell thinner than a line may pass.
func (p *proof) printed() (printed *raster.Stack, thin []raster.Bits) {
	wide := int(math.Round(p.s.Line / p.s.Cell))
	disc := raster.DiscOf(float64((wide - 1) / 2)) // 2r + 1 cells wide, and a square of two if that is odd one out
	near := raster.DiscOf(1.5)
	thin = make([]raster.Bits, len(p.sup.Cut))
	out := &raster.Stack{Grid: p.sup.Grid, Layers: p.sup.Layers, Cut: make([]raster.Bits, len(p.sup.Cut))}
	eachLayer(len(thin), p.workers, func(k int) {
		all := &p.sup.Cut[k]
		out.Cut[k] = *all
		open := raster.Erode(all, disc)
		if wide%2 == 0 {
			open = squares(&open)
		}
		open = raster.Dilate(&open, disc)
		far := raster.Beyond(all, &open, near)
		if far.Empty() {
			return
		}
		least := int(2 * p.s.Line / p.s.Cell)
		for _, q := range raster.Pieces(&far) {
			if max(q.X1-q.X0, q.Y1-q.Y0) >= least {
				thin[k] = raster.Or(&thin[k], &q.Cells)
			}
		}
		if thin[k].Empty() {
			return
		}
		// Crumbs that hung on it go with it.
		rest, wall := raster.AndNot(all, &thin[k]), thin[k]
		for _, q := range raster.Pieces(&rest) {
			covered := raster.And(&q.Cells, &open)
			if hung := raster.Within(&q.Cells, &wall, raster.DiscOf(math.Sqrt2)); covered.Empty() && !hung.Empty() {
				thin[k] = raster.Or(&thin[k], &q.Cells)
			}
		}
		thin[k] = crop(thin[k])
		out.Cut[k] = raster.AndNot(all, &thin[k])
	})
	return out, thin
}

// squares returns the cells of all squares of 2 × 2 cells in b.
func squares(b *raster.Bits) raster.Bits {
	x0, y0, x1, y1 := b.Bounds()
	below, first := raster.NewBits(x0, y0, x1, y1), raster.NewBits(x0, y0, x1, y1)
	b.EachRun(func(j, i0, i1 int) {
		if j > y0 {
			below.SetSpan(j-1, i0, i1)
		}
	})
	pairs := raster.And(b, &below)
	pairs.EachRun(func(j, i0, i1 int) {
		if i1-i0 > 1 {
			first.SetSpan(j, i0, i1)
			first.SetSpan(j+1, i0, i1)
		}
	})
	return first
}

// thins notes what is too thin.
func (p *proof) thins(r *Report, thin []raster.Bits) {
	var spots []Spot
	for k := range thin {
		spots = p.spot(spots, k, &thin[k])
	}
	for _, q := range p.places(spots) {
		if q.area <= p.bead() {
			continue
		}
		r.Notes = append(r.Notes, Reason{
			Kind: Thin, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("A wall of a support is thinner than a line of %.2g mm at %s and may not be printed, so it counts as if it were not there.", p.s.Line, q.where()),
			Remedy: fmt.Sprintf("make it %.2g mm thick, which prints as one line for every line width from the nozzle to 1.2 times it", p.s.Wall),
		})
	}
}
