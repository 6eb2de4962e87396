package hold

import (
	"math"

	"falsework/raster"
	"falsework/supports"
)

// Beads tells how straight beads over a patch of a layer run in one direction.
type Beads struct {
	Angle   float64 // radians from +X towards +Y
	Longest float64 // longest bead in the air, mm
	Cells   int     // of the patch
	Both    int     // cells on beads that land at both ends, however long
}

// Open tells whether some bead misses a landing.
func (b Beads) Open() bool { return b.Both < b.Cells }

// Run returns how beads over a patch of layer k would run in each direction tried,
// landing on the body alone.
func Run(body *raster.Stack, k int, patch *raster.Bits, s supports.Settings) []Beads {
	j := newJudge(Input{Body: body, Settings: s})
	ground := raster.And(body.Layer(k), body.Layer(k-1))
	c := j.chordsOver(patch, &ground, &raster.Bits{}, nil)
	far := body.W + body.H
	out := make([]Beads, Directions)
	for n := range out {
		r := &j.dirs[n]
		b := &out[n]
		b.Angle = math.Pi * float64(n) / Directions
		seen := raster.NewBits(patch.Bounds())
		patch.Each(func(i, jj int) {
			if seen.Has(i, jj) {
				return
			}
			t, off := r.line(i, jj)
			lo, landLo := c.walk(r, t, off, -far)
			hi, landHi := c.walk(r, t, off, far)
			b.Longest = max(b.Longest, float64(hi-lo-1)*r.step*body.Cell)
			cells := 0
			for u := lo + 1; u < hi; u++ {
				if x, y := r.cell(u, off); patch.Has(x, y) && !seen.Has(x, y) {
					seen.Set(x, y)
					cells++
				}
			}
			b.Cells += cells
			if landLo && landHi {
				b.Both += cells
			}
		})
	}
	return out
}
