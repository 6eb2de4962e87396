package prove

import (
	"fmt"
	"math"
	"slices"

	"falsework/raster"
)

const (
	// steepest and stepDeg are the elevations tried for oblique ways out, in
	// degrees above and below the horizontal: a bore that is tilted lets go of its
	// support along its own axis.
	steepest, stepDeg = 70, 5
	// obliqueWork bounds the search for one body, in cells moved: about a second.
	// Beyond it, no oblique way is said to be known.
	obliqueWork = 100_000_000
	// scouts is how many of a body's cells, spread evenly, try a way before all do.
	scouts = 200
)

// cell3 is a cell of one layer.
type cell3 struct{ i, j, k int32 }

// oblique returns an oblique way out for each body that has no other, "" where none
// is found.
func (p *proof) oblique(layers []rows, barred []uint32) []Way {
	out := make([]Way, len(barred))
	cells := p.shut(layers, barred)
	if cells == nil {
		return out
	}
	eachLayer(len(barred), p.workers, func(b int) { out[b] = p.obliqueOf(cells[b]) })
	return out
}

// shut returns the cells outside the part of each body that every other way is barred to,
// none of other bodies; nil if there is no such body.
func (p *proof) shut(layers []rows, barred []uint32) [][]cell3 {
	if !slices.Contains(barred, 1<<allWays-1) {
		return nil
	}
	cells := make([][]cell3, len(barred))
	for k := range layers {
		free := raster.AndNot(&p.sup.Cut[k], p.part.Layer(k))
		free.EachRun(func(j, i0, i1 int) {
			b := layers[k].bodyAt(i0, j)
			if b < 0 || barred[b] != 1<<allWays-1 {
				return
			}
			for i := i0; i < i1; i++ {
				cells[b] = append(cells[b], cell3{int32(i), int32(j), int32(k)})
			}
		})
	}
	return cells
}

// obliqueOf returns the first oblique way out for a body of those cells, in order of
// elevation and then of azimuth. It moves a cell at a time, whole and alone, until it is past
// all of the part.
func (p *proof) obliqueOf(cells []cell3) Way {
	if len(cells) == 0 {
		return ""
	}
	work := obliqueWork
	few := scoutsOf(cells)
	for el := stepDeg; el <= steepest; el += stepDeg {
		for _, up := range [2]float64{1, -1} {
			for az := range compass {
				// Broken loose, it may rise or sink by the void that parts it from
				// the part.
				for _, lift := range [...]int{0, -p.s.VoidLayers(), p.s.VoidLayers()} {
					az, el := 2*math.Pi*float64(az)/compass, up*float64(el)*math.Pi/180
					if p.leaves(few, lift, az, el, &work) && p.leaves(cells, lift, az, el, &work) {
						return wayOblique(az, el)
					}
					if work < 0 {
						return ""
					}
				}
			}
		}
	}
	return ""
}

// wayOblique returns what an oblique way is called in a report.
func wayOblique(az, el float64) Way {
	deg := 180 / math.Pi
	if el < 0 {
		return Way(fmt.Sprintf("%g° and %.0f° down", math.Round(az*deg*10)/10, -el*deg))
	}
	return Way(fmt.Sprintf("%g° and %.0f° up", math.Round(az*deg*10)/10, el*deg))
}

// scoutsOf returns a few of the cells, spread evenly.
func scoutsOf(cells []cell3) []cell3 {
	var out []cell3
	for n := 0; n < len(cells); n += len(cells)/scouts + 1 {
		out = append(out, cells[n])
	}
	return out
}

// leaves tells whether cells, lifted by so many layers and then moved along azimuth
// az and elevation el, pass the part.
func (p *proof) leaves(cells []cell3, lift int, az, el float64, work *int) bool {
	g := p.part.Grid
	sin, cos := math.Sincos(az)
	rise := g.Cell * math.Tan(el) / p.part.Height // layers for each cell along the ground
	// No step goes further than a cell or a layer.
	step := 1.0
	if math.Abs(rise) > 1 {
		step = 1 / math.Abs(rise)
	}
	for s := 0.0; ; s += step {
		di, dj, dk := int(math.Round(s*cos)), int(math.Round(s*sin)), lift+int(math.Round(s*rise))
		inside := false
		for _, c := range cells {
			i, j, k := int(c.i)+di, int(c.j)+dj, int(c.k)+dk
			// The plate is gone by then.
			if k >= 0 && k < len(p.part.Cut) && i >= 0 && j >= 0 && i < g.W && j < g.H {
				inside = true
				if p.part.Cut[k].Has(i, j) {
					return false
				}
			}
		}
		if *work -= len(cells); !inside {
			return true
		}
		if *work < 0 {
			return false
		}
	}
}
