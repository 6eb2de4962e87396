package prove

import (
	"fmt"
	"runtime"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
)

const (
	// widestLine, in nozzles, is the widest line that strangers print with; their
	// narrowest is the nozzle. Common practice, no source.
	widestLine = 1.2
	// wallCells is how many cells a line is looked at in for a wall's thickness, and
	// wallEvery how far apart the sections are, in mm.
	wallCells, wallEvery = 16, 1.0
	// shortest, in lines, is the least length of a wall: what is shorter is a corner or
	// a crossing.
	shortest = 3.0
	// mostWallCells bounds the cells of one such section.
	mostWallCells = 1 << 26
)

// Walls notes walls of the supports that do not print well for every width of line
// from the nozzle to 1.2 times it: those thinner than the widest line, which some
// programs leave out, and those thicker than it that are no two lines of the narrowest,
// which are filled badly. What is thinner than the settings' own line the proof has left
// out already.
//
// Sections 1 mm apart are looked at in cells of a sixteenth of a line, so a thickness is
// known to about 0.06 mm for lines of 0.4 mm.
func (r *Report) Walls(sup *mesh.Mesh, s supports.Settings) error {
	s, err := s.Resolve()
	if err != nil {
		return fmt.Errorf("prove: settings: %w", err)
	}
	if sup == nil || len(sup.Triangles) == 0 {
		return nil
	}
	cell := s.Line / wallCells
	for {
		if g := raster.GridFor(sup.Bounds(), cell, 1); g.W*g.H <= mostWallCells {
			break
		}
		cell *= 2
	}
	g := raster.GridFor(sup.Bounds(), cell, 1)
	stack := raster.Section(sup, g, raster.Layers{First: wallEvery, Height: wallEvery}, 0)
	// A disc in a wall between rows of cells reaches their middles, and may be half a
	// cell short on either side of a wall that runs along them.
	const short, over = -0.6, 0.4
	widest, nozzle := widestLine*s.Nozzle/2/cell, s.Nozzle/2/cell
	thin, badly := make([]raster.Bits, len(stack.Cut)), make([]raster.Bits, len(stack.Cut))
	p := &proof{part: stack, sup: stack, s: s}
	eachLayer(len(stack.Cut), runtime.GOMAXPROCS(0), func(k int) {
		all := &stack.Cut[k]
		own, line := opened(all, s.Line/2/cell+short), opened(all, widest+short)
		more, two := opened(all, widest+over), opened(all, 2*nozzle+short)
		thin[k] = long(&own, &line, shortest*s.Line/cell)
		badly[k] = long(&more, &two, shortest*s.Line/cell)
	})
	note := func(cells []raster.Bits, text, remedy string) {
		var spots []Spot
		for k := range cells {
			spots = p.spot(spots, k, &cells[k])
		}
		for _, q := range p.places(spots) {
			r.Notes = append(r.Notes, Reason{Kind: Thin, At: q.at, LayerZ: q.z, Text: fmt.Sprintf(text, q.where()), Remedy: remedy})
		}
	}
	wall := fmt.Sprintf("make it %.2g mm thick, which prints as one line for every line width from the nozzle to 1.2 times it, or two lines", widestLine*s.Nozzle)
	note(thin, fmt.Sprintf("A wall of a support is thinner than %.2g mm at %%s, and is left out by some who print lines up to that wide.", widestLine*s.Nozzle), wall)
	note(badly, fmt.Sprintf("A wall of a support is thicker than one line of %.2g mm and thinner than two of %.2g mm at %%s, and is filled badly.", widestLine*s.Nozzle, s.Nozzle), wall)
	sortByHarm(r.Notes)
	return nil
}

// opened returns the cells that discs of a radius, in cells, cover that lie wholly inside.
func opened(b *raster.Bits, radius float64) raster.Bits {
	disc := raster.DiscOf(radius)
	in := raster.Erode(b, disc)
	return raster.Dilate(&in, disc)
}

// long returns the pieces of a outside b, but for what is a cell and a half from b, that
// are at least so many cells long.
func long(a, b *raster.Bits, least float64) (out raster.Bits) {
	far := raster.Beyond(a, b, raster.DiscOf(1.5))
	for _, q := range raster.Pieces(&far) {
		if float64(max(q.X1-q.X0, q.Y1-q.Y0)) >= least {
			out.Add(&q.Cells)
		}
	}
	return out
}
