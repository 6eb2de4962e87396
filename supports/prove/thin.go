package prove

import (
	"fmt"
	"math"

	"falsework/raster"
)

// thinnest is the thickness, in lines, below which a wall of a support may be left out
// by the program that makes the toolpaths. Up to here lines may be a third wider than
// the settings have them; common practice, no source.
const thinnest = 0.75

// printed returns the supports without what is too thin for a line to print, and
// those cells. A disc of the thinnest wall's width is moved about inside; what is
// more than a cell and a half from anything it covers is too thin, so that corners
// are not, if it is two lines long or more: what ends in a point is no wall.
func (p *proof) printed() (printed *raster.Stack, thin []raster.Bits) {
	// A cell's centres stand for half a cell more on either side.
	disc := raster.DiscOf((thinnest*p.s.Line - p.s.Cell) / 2 * math.Sqrt2 / p.s.Cell)
	near := raster.DiscOf(1.5)
	thin = make([]raster.Bits, len(p.sup.Cut))
	out := &raster.Stack{Grid: p.sup.Grid, Layers: p.sup.Layers, Cut: make([]raster.Bits, len(p.sup.Cut))}
	eachLayer(len(thin), p.workers, func(k int) {
		all := &p.sup.Cut[k]
		out.Cut[k] = *all
		core := raster.Erode(all, disc)
		open := raster.Dilate(&core, disc)
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
			Text:   fmt.Sprintf("A wall of a support is thinner than %.2g mm at %s and may not be printed, so it counts as if it were not there.", thinnest*p.s.Line, q.where()),
			Remedy: fmt.Sprintf("make it %.2g mm thick, which prints as one line for every line width from the nozzle to 1.2 times it", p.s.Wall),
		})
	}
}
