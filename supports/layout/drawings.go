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

const (
	// apartRegions is how many regions, those with the longest lines, are drawn each for
	// itself; the others are drawn alike.
	apartRegions = 2
	// perRegion is how many drawings of a region are mixed with those of others, and
	// mixtures how many are stood as a whole.
	perRegion, mixtures = 3, 6
)

// mixed returns the mixtures of drawings, the first of which is the one to beat, that should
// print fastest by what their regions take each for itself: each region is drawn as that prints
// fastest, or as the next best does. Of one region there is nothing to mix: all but the first
// are returned.
func (j *job) mixed(p plan.Plan, drawings [][]line) [][]line {
	most := map[int]float64{}
	for _, l := range drawings[0] {
		most[l.region] += l.length()
	}
	var regions []int
	for r := range most {
		regions = append(regions, r)
	}
	if len(regions) < 2 {
		return drawings[1:]
	}
	slices.SortFunc(regions, func(a, b int) int { return cmp.Or(cmp.Compare(most[b], most[a]), a-b) })
	group := map[int]int{}
	for n, r := range regions {
		group[r] = min(n, apartRegions)
	}
	type share struct {
		lines []line
		time  float64
	}
	shares := make([][]share, min(len(regions), apartRegions+1))
	for _, lines := range drawings {
		own := make([][]line, len(shares))
		for _, l := range lines {
			own[group[l.region]] = append(own[group[l.region]], l)
		}
		for g := range own {
			if !slices.ContainsFunc(shares[g], func(s share) bool { return slices.EqualFunc(s.lines, own[g], sameCourse) }) {
				shares[g] = append(shares[g], share{lines: own[g]})
			}
		}
	}
	for g := range shares {
		j.each(len(shares[g]), func(i int) {
			shares[g][i].time = j.sampled(j.stand(p, shares[g][i].lines).solids)
		})
		slices.SortStableFunc(shares[g], func(a, b share) int { return cmp.Compare(a.time, b.time) })
		shares[g] = shares[g][:min(len(shares[g]), perRegion)]
	}
	// All mixtures, the fastest first.
	all := []share{{}}
	for _, of := range shares {
		var next []share
		for _, a := range all {
			for _, b := range of {
				next = append(next, share{slices.Concat(a.lines, b.lines), a.time + b.time})
			}
		}
		all = next
	}
	slices.SortStableFunc(all, func(a, b share) int { return cmp.Compare(a.time, b.time) })
	var out [][]line
	for _, s := range all[:min(len(all), mixtures)] {
		out = append(out, s.lines)
	}
	return out
}

// sameCourse tells whether two lines run the same way.
func sameCourse(a, b line) bool { return a.tie == b.tie && slices.Equal(a.at, b.at) }
