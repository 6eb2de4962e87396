package layout

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/plan"
)

// declaredTurns bounds how often what is bare at declared layer heights gets lines of its
// own.
const declaredTurns = 4

// elsewhere returns the part as it is cut at each of the heights that a plan is declared
// for, as a site of its own.
func (j *job) elsewhere(p plan.Plan) (out []*site) {
	closed := grow.Closings(p, j.s, j.under, j.print)
	for _, h := range j.s.Heights {
		s, err := p.At(h)
		if err != nil {
			return nil // told when the plan is built
		}
		part := grow.With(raster.Section(j.under.Mesh(), j.part.Grid, s.Layers(), j.workers), closed)
		t := newSite(part, s)
		t.wishes, t.pad, t.sparing = j.wishes, j.pad, 1
		out = append(out, t)
	}
	return out
}

// declared adds lines to a layout where it would fail at the further heights that it is
// declared for: the void under a slope is a layer more or less there, and what a layer
// stands out by another. It keeps them if less fails, and nothing is worse at the settings'
// own layers.
func (j *job) declared(f finished) finished {
	if len(j.s.Heights) == 0 || f.solids == nil || j.once {
		return f
	}
	sites := j.elsewhere(f.plan)
	fails := func(p plan.Plan) (open [][]hold.Layer, cells int) {
		solids, err := grow.GrowUnder(p, j.under, j.print)
		if err != nil {
			return nil, math.MaxInt // told when the plan is built
		}
		var all mesh.Mesh
		for i := range solids {
			all.Append(solids[i].Mesh)
		}
		for _, t := range sites {
			l := t.fails(raster.Section(&all, t.part.Grid, t.part.Layers, j.workers), j.workers)
			open = append(open, l)
			cells += count(l)
		}
		return open, cells
	}
	best := f
	open, least := fails(f.plan)
	now, own := f, []hold.Layer(nil) // what the best has been mended to so far
	for turn := 0; turn < declaredTurns && least > 0 && open != nil && (turn+1)*j.cells*len(sites) <= mendCells; turn++ {
		var there []line
		for _, l := range now.plan.Lines {
			q := lineOf(l)
			q.tie = l.Tie
			there = append(there, q)
		}
		more := j.fitAmong(j.patches(own, turn), there)
		for n, t := range sites {
			for _, l := range t.fitAmong(t.patches(open[n], turn), there) {
				if !t.covers(l, more) {
					more = append(more, l)
				}
			}
		}
		if len(more) == 0 {
			break
		}
		now.plan = j.added(now.plan, there, more)
		if now.solids = j.grown(now.plan); now.solids == nil {
			break
		}
		own = j.open(now.solids)
		now.bare = count(own)
		cells := 0
		if open, cells = fails(now.plan); cells < least && now.bare <= f.bare && j.keeps(now, f) {
			best, least = now, cells
		}
	}
	if best.solids != f.solids {
		best = j.spared(f, best, func(p plan.Plan) bool {
			_, cells := fails(p)
			return cells <= least
		})
	}
	return best
}

// spareTries bounds how often lines that were added are left out again to see whether they
// are needed.
const spareTries = 60

// spared leaves out what a layout has more than before and does without, many at a time and
// then fewer: patches are drawn side by side for what one of them may hold.
func (j *job) spared(before, f finished, holds func(plan.Plan) bool) finished {
	had := map[string]bool{}
	for _, l := range before.plan.Lines {
		had[l.ID] = true
	}
	for _, q := range before.plan.Posts {
		had[q.ID] = true
	}
	var added []string
	for _, l := range f.plan.Lines {
		if !had[l.ID] {
			added = append(added, l.ID)
		}
	}
	for _, q := range f.plan.Posts {
		if !had[q.ID] {
			added = append(added, q.ID)
		}
	}
	best, takes, tries := f, j.sampled(f.solids), 0
	for size := (len(added) + 1) / 2; size > 0 && tries < spareTries; size /= 2 {
		for from := 0; from < len(added) && tries < spareTries; tries++ {
			to := min(from+size, len(added))
			gone := added[from:to]
			next := best
			next.plan = without(best.plan, gone...)
			next.solids = j.grown(next.plan)
			time := j.sampled(next.solids)
			next.bare = count(j.open(next.solids))
			if next.solids == nil || time > takes || next.bare > f.bare || !holds(next.plan) {
				from = to
				continue
			}
			best, takes = next, time
			added = slices.Delete(slices.Clone(added), from, to)
		}
	}
	if best.solids != f.solids && j.keeps(best, f) {
		return best
	}
	return f
}

// fails returns what of the part the proof would fail on supports, at the whole bridge:
// specks no larger than a square of half a line count as held.
func (t *site) fails(sup *raster.Stack, workers int) []hold.Layer {
	in := t.input(t.part.Cut, sup.Cut, workers)
	in.Settings = t.s
	out := hold.Judge(in)
	most := int(math.Pow(t.s.Line/2/t.part.Cell, 2) + 1e-9)
	for i := range out {
		for _, q := range raster.Pieces(&out[i].Unheld) {
			if q.Area <= most {
				out[i].Unheld.Remove(&q.Cells)
			}
		}
	}
	return out
}

// covers tells whether a line runs within others' walls all the way.
func (t *site) covers(l line, others []line) bool {
	return !slices.ContainsFunc(l.every(t.wall/2), func(q point) bool {
		return !slices.ContainsFunc(others, func(o line) bool { return o.from(q.Vec) < t.wall/2 })
	})
}

// added returns a plan with more lines than are there, ties that bind them to those, and
// soles where nothing else carries them.
func (j *job) added(p plan.Plan, there, more []line) plan.Plan {
	for i := range more {
		more[i].group = nearest(there, more[i]).group
	}
	ties := slices.DeleteFunc(j.fitAmong(j.join(slices.Concat(there, more)), there), func(tie line) bool {
		ends := tie.ends()
		return !slices.ContainsFunc(more, func(l line) bool {
			return slices.ContainsFunc(ends[:], func(e point) bool { return l.from(e.Vec) < 1e-6 })
		})
	})
	p.Lines, p.Posts = slices.Clone(p.Lines), slices.Clone(p.Posts)
	for _, l := range slices.Concat(more, ties) {
		for _, l := range l.tidy(2 * j.part.Cell) {
			q := l.plan(0)
			q.ID = p.Fresh(q.ID[:1])
			p.Lines = append(p.Lines, q)
		}
	}
	j.catch(&p, j.network(&p))
	return p
}
