package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/cost"
	"falsework/supports/need"
	"falsework/supports/plan"
)

// others returns other drawings for a need than these lines: low level ceilings
// with lines linked end to end, slopes with arms linked, by pairs, or carried by a spine.
func (j *job) others(n need.Need, lines []line) (out [][]line) {
	draw := func(w weave, below float64, spare bool) {
		t := *j.site
		t.weave, t.below, t.spare = w, below, spare
		out = append(out, t.draft(n, j.workers))
	}
	stated, level := j.s.Direction.Stated, 0
	for _, below := range wovenBelow {
		if more := j.levels(n, below); more > level {
			level = more
			draw(woofed, below, false)
			draw(warped, below, false)
			if stated {
				draw(woofed, below, true)
			}
		}
	}
	if stated && level > 0 {
		draw(loose, 0, true)
	}
	pairs := j.link(lines, 2)
	if linked := j.link(lines, len(lines)); len(linked) < len(lines) {
		out = append(out, linked, pairs)
	}
	for _, share := range spineShares {
		if spines := j.spines(lines, share); len(spines) > 0 {
			out = append(out, slices.Concat(lines, spines), slices.Concat(pairs, spines))
		}
	}
	return out
}

const (
	// finalists is how many drawings are finished besides the first, or more until one
	// holds; hopeless how much longer one may take than the first to be among them, which
	// may turn out unsteady.
	finalists, hopeless = 3, 1.2
	// sample is which layers, one in so many, drawings are first compared by.
	sample = 4
)

// rivals returns the drawings that may print faster than the first, the fastest first,
// by what they are before they are mended.
func (j *job) rivals(p plan.Plan, first []line, drawings [][]line) (out [][]line) {
	if len(drawings) == 0 {
		return nil
	}
	takes := func(lines []line) float64 {
		sup := j.grown(j.stand(p, lines))
		if sup == nil {
			return math.Inf(1)
		}
		some := raster.Stack{Grid: sup.Grid, Layers: sup.Layers}
		for k := sample / 2; k < len(sup.Cut); k += sample {
			some.Cut = append(some.Cut, sup.Cut[k])
		}
		return cost.Supports(&some, j.s, cost.Machine{}).TimeS
	}
	most := hopeless * takes(first)
	times := make([]float64, len(drawings))
	var order []int
	for i, lines := range drawings {
		if times[i] = takes(lines); times[i] < most {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(times[a], times[b]) })
	for _, i := range order {
		out = append(out, drawings[i])
	}
	return out
}
