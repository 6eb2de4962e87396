package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/plan"
)

const (
	// pareTime bounds the work of paring by the print time of all that it grows, in
	// seconds: some seconds' work at most.
	pareTime = 12000.0
	// pareGain is the least that a change must save, in seconds.
	pareGain = 0.3
	// tautArms is what is kept in hand of an outline's sagitta where a line is left out: of
	// the span some eighth, as cells half as large see it.
	tautArms = 0.25
	// pareFar and pareNear are how far posts are moved, in mm: one after the other, each
	// while it helps.
	pareFar, pareNear = 3.0, 1.0
	// pareWide is by how much, in mm, a post may be made wider or narrower, in steps of
	// pareStep, and leastSide how narrow: five lines, of which two are its walls.
	pareWide, pareStep, leastSide = 1.0, 0.5, 2.5
)

// roundings are the radii tried for lines' corners, in mm, from that of a whole wave on. Under
// a millimetre an arc is hardly longer than a bead is wide.
var roundings = [...]float64{3, 2, 1.2}

// paring is a layout being pared.
type paring struct {
	*job
	best        finished
	time        float64 // of best, s
	score, over float64 // of best: see job.score
	left        float64 // of pareTime
}

// refine returns a layout pared and made firm. Where paring has cost it its firmness, or made
// it dear, it is only made firm, if that is cheaper.
func (j *job) refine(f finished) finished {
	pared := j.pare(f)
	firm := j.firm(pared)
	if pared.solids == f.solids {
		return firm
	}
	price, over := j.score(firm, math.Inf(1))
	if over == 0 && (firm.solids == pared.solids || j.sampled(firm.solids) < firmCost*j.sampled(pared.solids)) {
		return firm
	}
	whole := j.firm(f)
	if is, sways := j.score(whole, math.Inf(1)); rather(is, sways, price, over) {
		return whole
	}
	return firm
}

// firmCost is how many times as long a layout may take for being made firm without another
// look at what it was before it was pared.
const firmCost = 1.03

// pare returns a layout without lines and posts that it prints faster without, and with
// posts where it prints fastest: drawings are chosen by what walls are priced at, and this by
// what is really printed. What is the designer's stays.
func (j *job) pare(f finished) finished {
	if f.solids == nil || j.cells > secondCells {
		return f
	}
	p := &paring{job: j, best: f, time: j.sampled(f.solids), left: pareTime}
	if p.time == 0 {
		return f // nothing is built
	}
	p.score, p.over = j.score(f, math.Inf(1))
	p.lines()
	p.posts()
	p.corners()
	if p.best.solids != f.solids && j.keeps(p.best, f) {
		return p.best
	}
	return f
}

// try grows plans, several at a time, and returns how long each takes to print and its layers.
// It stops where the work allowed is done: what is left out takes for ever.
func (p *paring) try(plans []plan.Plan) (times []float64, solids []*raster.Stack) {
	times, solids = make([]float64, len(plans)), make([]*raster.Stack, len(plans))
	n := min(len(plans), int(math.Ceil(max(0, p.left)/p.time)))
	p.left -= float64(n) * p.time
	p.each(n, func(i int) {
		solids[i] = p.grown(plans[i])
		times[i] = p.sampled(solids[i])
	})
	for i := n; i < len(plans); i++ {
		times[i] = math.Inf(1)
	}
	return times, solids
}

// accept makes a plan the best so far if it is quicker, stands as well and leaves no more
// bare.
func (p *paring) accept(q plan.Plan, time float64, solids *raster.Stack) bool {
	if solids == nil || time > p.time-pareGain {
		return false
	}
	f := p.best
	f.plan, f.solids = q, solids
	if f.bare = count(p.open(solids)); f.bare > p.best.bare {
		return false
	}
	score, over := p.job.score(f, p.score)
	if score >= p.score || over > 0 && p.over == 0 {
		return false // what stands firmly is to go on doing so
	}
	p.best, p.time, p.score, p.over = f, time, score, over
	return true
}

// without returns a plan without some lines and posts.
func without(p plan.Plan, ids ...string) plan.Plan {
	p.Lines = slices.DeleteFunc(slices.Clone(p.Lines), func(l plan.Line) bool { return slices.Contains(ids, l.ID) })
	p.Posts = slices.DeleteFunc(slices.Clone(p.Posts), func(q plan.Post) bool { return slices.Contains(ids, q.ID) })
	return p
}

// lines drops lines that hold nothing which the others do not, the longest first, and then
// ties.
func (p *paring) lines() {
	var idle []int
	for i := range p.best.plan.Lines {
		if l := &p.best.plan.Lines[i]; l.By != plan.Designer && (l.Tie || p.few(i) && !p.wished(i) && p.idle(i)) {
			idle = append(idle, i)
		}
	}
	lines := p.best.plan.Lines
	slices.SortStableFunc(idle, func(a, b int) int {
		if lines[a].Tie != lines[b].Tie {
			if lines[a].Tie {
				return 1
			}
			return -1
		}
		return cmp.Compare(lineOf(lines[b]).length(), lineOf(lines[a]).length())
	})
	var ids []string
	for _, i := range idle {
		ids = append(ids, lines[i].ID)
	}
	p.drop(ids)
}

// drop leaves out those lines and posts that it prints faster without.
func (p *paring) drop(ids []string) {
	alter(p, ids, func(id string) plan.Plan { return without(p.best.plan, id) })
}

// alter makes those changes of the best plan that it prints faster with, the best first.
func alter[C any](p *paring, changes []C, changed func(C) plan.Plan) {
	var plans []plan.Plan
	for _, c := range changes {
		plans = append(plans, changed(c))
	}
	times, solids := p.try(plans)
	order := make([]int, len(changes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(times[a], times[b]) })
	first, base := true, p.time
	for _, i := range order {
		if times[i] > base-pareGain {
			return
		}
		if first { // it was tried beside what is still the best
			first = !p.accept(plans[i], times[i], solids[i])
			continue
		}
		q := []plan.Plan{changed(changes[i])}
		t, s := p.try(q)
		p.accept(q[0], t[0], s[0])
	}
}

// corners rounds the corners of lines, by as much as still holds: a nozzle slows down for
// sharp ones.
func (p *paring) corners() {
	for _, r := range roundings {
		var ids []string
		for _, l := range p.best.plan.Lines {
			if l.By != plan.Designer && l.Round == 0 && cornered(l) {
				ids = append(ids, l.ID)
			}
		}
		alter(p, ids, func(id string) plan.Plan {
			q := p.best.plan
			q.Lines = slices.Clone(q.Lines)
			for i := range q.Lines {
				if q.Lines[i].ID == id {
					q.Lines[i].Round = r
				}
			}
			return q
		})
	}
}

// cornered tells whether a line turns a corner.
func cornered(l plan.Line) bool {
	l.Round = roundings[0]
	return len(l.Path()) > len(l.At)
}

// few tells whether a line is one that may have turned out to hold nothing: one down a slope,
// or a short one. Long ones under a ceiling hold.
func (p *paring) few(i int) bool {
	l := lineOf(p.best.plan.Lines[i])
	return l.length() <= 1.5*p.cross || math.Abs(l.at[0].z-l.at[len(l.at)-1].z) > p.s.Layer
}

// wished tells whether a line is under what a designer says must be held, whatever holds.
func (p *paring) wished(i int) bool {
	return p.asked(lineOf(p.best.plan.Lines[i]))
}

// idle tells whether the part might hold without a line of the best plan: whether it does,
// with a margin, with what the other walls hold. What hangs from the line is another question.
func (p *paring) idle(i int) bool {
	l := lineOf(p.best.plan.Lines[i])
	low, high := math.Inf(1), 0.0
	for _, q := range l.at {
		low, high = min(low, q.z), max(high, q.z)
	}
	k0 := max(0, p.part.Above(low-grow.WallDepth(p.s))-lookBack)
	k1 := min(len(p.part.Cut), p.part.Above(high)+lookBack)
	own := p.mask([]line{l}, p.wall/2+p.part.Cell)
	var others []line
	for k := range p.best.plan.Lines {
		if k != i {
			others = append(others, lineOf(p.best.plan.Lines[k]))
		}
	}
	x0, y0, x1, y1 := own.Bounds()
	kept := p.maskWithin(others, p.wall/2, x0, y0, x1, y1)
	own = raster.AndNot(&own, &kept)
	pads := make([]raster.Bits, k1-k0)
	for k := range pads {
		pads[k] = raster.AndNot(p.best.solids.Layer(k0+k), &own)
	}
	in := p.input(p.part.Cut[k0:k1], pads, p.workers)
	in.Taut = tautArms
	return count(hold.Judge(in)) <= p.best.bare
}

// maskWithin is mask of the lines that come into a box of cells.
func (t *site) maskWithin(lines []line, r float64, x0, y0, x1, y1 int) raster.Bits {
	var in []line
	m := int(r/t.part.Cell) + 1
	for _, l := range lines {
		if a0, b0, a1, b1 := t.cells(l); a0-m < x1 && x0 < a1+m && b0-m < y1 && y0 < b1+m {
			in = append(in, l)
		}
	}
	return t.mask(in, r)
}

// posts drops posts, and moves them to where the walls print fastest.
func (p *paring) posts() {
	var ids []string
	for i := range p.best.plan.Posts {
		if o := &p.best.plan.Posts[i]; o.By != plan.Designer && len(p.best.plan.Posts) > 1 {
			ids = append(ids, o.ID)
		}
	}
	p.drop(ids)
	for i := range p.best.plan.Posts {
		if o := &p.best.plan.Posts[i]; o.By != plan.Designer && o.Side > 0 {
			p.resize(i)
		}
	}
	for _, step := range [...]float64{pareFar, pareNear} {
		for i := range p.best.plan.Posts {
			if o := &p.best.plan.Posts[i]; o.By == plan.Designer || o.Under != "" {
				continue
			}
			for p.move(i, step) {
			}
		}
	}
}

// resize makes hollow post i as wide as prints fastest: a wider one may do without a flare,
// a narrower one is laid sooner.
func (p *paring) resize(i int) {
	var plans []plan.Plan
	for by := -pareWide; by <= pareWide; by += pareStep {
		q := p.best.plan
		q.Posts = slices.Clone(q.Posts)
		o := &q.Posts[i]
		if o.Side += by; by != 0 && o.Side >= leastSide && p.clears(*o) {
			plans = append(plans, q)
		}
	}
	p.acceptBest(plans)
}

// acceptBest accepts the quickest of some plans, if it is acceptable.
func (p *paring) acceptBest(plans []plan.Plan) bool {
	times, solids := p.try(plans)
	best := 0
	for n := range times {
		if times[n] < times[best] {
			best = n
		}
	}
	return len(plans) > 0 && p.accept(plans[best], times[best], solids[best])
}

// move moves post i by a step in the best of eight directions, if any is good.
func (p *paring) move(i int, step float64) bool {
	var plans []plan.Plan
	for n := range 8 {
		sin, cos := math.Sincos(float64(n) * math.Pi / 4)
		q := p.best.plan
		q.Posts = slices.Clone(q.Posts)
		o := &q.Posts[i]
		o.At = [2]float64{round(o.At[0]+step*cos, 1e-3), round(o.At[1]+step*sin, 1e-3)}
		if p.clears(*o) {
			plans = append(plans, q)
		}
	}
	return p.acceptBest(plans)
}
