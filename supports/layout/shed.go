package layout

import (
	"math"
	"slices"

	"falsework/supports/plan"
)

const (
	// shedTime bounds the work of shedding as pareTime does that of paring.
	shedTime = 40000.0
	// shedAgain is the share of the print time at which shedding once more is worth it.
	shedAgain = 0.99
)

// shed leaves out of a layout what only carries and what it prints faster without, and pares
// it again: with less to carry posts stand elsewhere, and with those there is more to shed.
func (j *job) shed(f finished) finished {
	if f.solids == nil || j.once || j.cells > secondCells {
		return f
	}
	p := &paring{job: j, best: f, time: j.sampled(f.solids), left: shedTime}
	if p.time == 0 {
		return f // nothing is built
	}
	p.score, p.over = j.score(f, math.Inf(1))
	was := p.time
	p.carriers()
	p.cut()
	p.posts()
	p.corners()
	taut := func(f finished) int { return (&easing{job: j}).tautly(f.solids.Cut) }
	switch {
	case p.best.solids == f.solids || taut(p.best) > taut(f) || !j.keeps(p.best, f):
		return f
	case p.time < shedAgain*was:
		return j.shed(p.best)
	}
	return p.best
}

// carriers drops lines that only carry.
func (p *paring) carriers() {
	var ids []string
	for _, l := range p.best.plan.Lines {
		if l.By != plan.Designer && (l.Tie || len(l.Relieved) == len(l.At)-1) {
			ids = append(ids, l.ID)
		}
	}
	p.drop(ids)
}

// straight is one of a line of a plan, by where it runs from and to.
type straight struct {
	id       string
	from, to [3]float64
}

// cut leaves out straights that only carry, where they carry nothing.
func (p *paring) cut() {
	var all []straight
	for _, l := range p.best.plan.Lines {
		for _, n := range l.Relieved {
			if l.By != plan.Designer && len(l.At) > 2 {
				all = append(all, straight{l.ID, l.At[n-1], l.At[n]})
			}
		}
	}
	alter(p, all, p.parted)
}

// parted returns the best plan without a straight of one of its lines: what of the line is
// before it, and what behind, are two. It may be gone already.
func (p *paring) parted(s straight) plan.Plan {
	q := p.best.plan
	i := slices.IndexFunc(q.Lines, func(l plan.Line) bool { return l.ID == s.id })
	if i < 0 {
		return q
	}
	l := q.Lines[i]
	n := slices.Index(l.At, s.from)
	if n < 0 || n+1 >= len(l.At) || l.At[n+1] != s.to {
		return q
	}
	q.Lines = slices.Clone(q.Lines)
	before, behind := l.Without(n + 1)
	switch {
	case len(before.At) < 2 && len(behind.At) < 2:
		return p.best.plan
	case len(before.At) < 2:
		q.Lines[i] = behind
		return q
	case len(behind.At) < 2:
		q.Lines[i] = before
		return q
	}
	q.Lines[i] = before
	behind.ID = q.Fresh("L")
	q.Lines = append(q.Lines, behind)
	q.Posts = slices.Clone(q.Posts)
	for _, o := range q.Posts {
		if o.Under == l.ID && o.By != plan.Designer {
			o.ID, o.Under = q.Fresh("P"), behind.ID
			q.Posts = append(q.Posts, o)
		}
	}
	return q
}
