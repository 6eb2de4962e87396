package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/cost"
	"falsework/supports/need"
	"falsework/supports/plan"

	"golang.org/x/sync/errgroup"
)

// others returns other drawings for a need than these lines: level ceilings with crossed
// lines in other patterns, low ones with lines linked end to end, slopes with arms linked,
// by pairs, or carried by a spine.
func (j *job) others(n need.Need, lines []line) (out [][]line) {
	var drawn []*site
	draw := func(w weave, below float64, p pattern, stated, spare bool) {
		t := *j.site
		t.weave, t.below, t.pattern, t.spare = w, below, p, spare
		t.s.Direction.Stated = stated
		drawn = append(drawn, &t)
	}
	stated, level := j.s.Direction.Stated, 0
	for _, below := range wovenBelow {
		more := j.levels(n, below)
		if more <= level {
			continue
		}
		level = more
		for _, w := range [...]weave{woofed, warped} {
			draw(w, below, square, stated, false)
			draw(w, below, broad, false, false)
			draw(w, below, deep, false, false)
		}
		if stated {
			draw(woofed, below, square, true, true)
		}
	}
	if level > 0 {
		// What holds in any direction holds in the stated one.
		draw(loose, 0, broad, false, false)
		draw(loose, 0, deep, false, false)
		if stated {
			draw(loose, 0, square, true, true)
		}
	}
	if level > 0 && j.ringed(n) {
		draw(loose, 0, hooped, false, false)
		draw(loose, 0, snug, false, false)
	}
	// Arms further apart may need mending, or not.
	apart := *j.site
	apart.bold = bold
	drawn = append(drawn, &apart)
	out = make([][]line, len(drawn))
	j.each(len(drawn), func(i int) { out[i] = drawn[i].draft(n, j.workers) })
	for _, lines := range [][]line{lines, out[len(out)-1]} {
		pairs := j.link(lines, 2)
		if linked := j.link(lines, len(lines)); len(linked) < len(lines) {
			out = append(out, linked, pairs)
		}
		for _, share := range spineShares {
			if spines := j.spines(lines, share); len(spines) > 0 {
				out = append(out, slices.Concat(lines, spines), slices.Concat(pairs, spines))
			}
		}
	}
	return out
}

// each calls f for 0 ≤ i < n, several at a time.
func (j *job) each(n int, f func(i int)) {
	var eg errgroup.Group
	eg.SetLimit(j.workers)
	for i := range n {
		eg.Go(func() error {
			f(i)
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
}

const (
	// bold is how much of sagittaMargin one drawing does without.
	bold = 0.16
	// finalists is how many drawings are finished besides the first, or more until one
	// holds; hopeless how much longer one may take than the first to be among them, which
	// may turn out unsteady.
	finalists, hopeless = 3, 1.2
	// sample is which layers, one in so many, drawings are first compared by.
	sample = 4
)

// sampled returns about what supports take to print, in seconds, by one layer of so many:
// enough to compare drawings by.
func (j *job) sampled(sup *raster.Stack) float64 {
	if sup == nil {
		return math.Inf(1)
	}
	return cost.Sampled(sup, j.s, cost.Machine{}, sample).TimeS
}

// rivals returns the drawings that may print faster than the first, the fastest first,
// by what they are before they are mended.
func (j *job) rivals(p plan.Plan, first stood, drawings [][]line) (out []stood) {
	if len(drawings) == 0 {
		return nil
	}
	type rival struct {
		stood
		time float64
	}
	list := make([]rival, len(drawings))
	j.each(len(list), func(i int) {
		d := j.stand(p, drawings[i])
		list[i] = rival{d, j.sampled(d.solids)}
	})
	most := hopeless * j.sampled(first.solids)
	list = slices.DeleteFunc(list, func(r rival) bool { return !(r.time < most) })
	slices.SortStableFunc(list, func(a, b rival) int { return cmp.Compare(a.time, b.time) })
	for _, r := range list {
		out = append(out, r.stood)
	}
	return out
}
