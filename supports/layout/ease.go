package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// leastBay is how long a piece of a contact line is at least, in mm, that may touch the
	// part, or not, for itself.
	leastBay = 1.0
	// easeCost is by what share longer a layout may take to print for touching nothing: a
	// hundredth for a quarter of what it touches.
	easeCost = 0.04
	// easeWork bounds how often bays are judged, by the cells of the layers that are looked at
	// for it and of easeLayers more: some seconds' work. EaseBuilds bounds how often plans are
	// built.
	easeWork, easeLayers, easeBuilds = 1_000_000_000, 30, 16
	// easeChunk is how many bays are tried together where most are needed: those of a line or
	// two.
	easeChunk = 8
)

// bay is what of a contact line lies between two places where others meet it, or it turns.
type bay struct {
	line   int  // of the plan
	first  bool // of a straight of the line
	at     line
	angle  float64     // sine of the angle between it and the beads, where a direction is stated
	asked  bool        // touches the part whatever else does
	k0, k1 int         // layers of its top
	own    raster.Bits // what it touches, with room for rounding
	kept   raster.Bits // what it does at least
	beside []int       // others that may touch some of it
}

// contactsOf returns what of a line of a plan touches the part.
func contactsOf(l plan.Line) (out []line) {
	if l.Tie {
		return nil
	}
	at, relieved := l.Course()
	var run line
	for i, q := range at {
		p := point{r2.Vec{X: q[0], Y: q[1]}, q[2]}
		if i > 0 && relieved[i-1] {
			if len(run.at) > 1 {
				out = append(out, run)
			}
			run = line{}
		}
		run.at = append(run.at, p)
	}
	if len(run.at) > 1 {
		out = append(out, run)
	}
	return out
}

// easing is a layout of which bays that hold nothing are found.
type easing struct {
	*job
	f      finished
	bays   []bay
	memory hold.Memory
	most   int // cells that may be bare
	left   int // of easeWork
}

// ease returns a layout whose walls end below the part where what lies on them would be held
// without: walls that other walls only hang from, or that only lead from one to the next. It
// prints no slower for it than by easeCost, and the part has fewer marks.
func (j *job) ease(f finished) finished {
	if f.solids == nil || j.once || j.cells > secondCells {
		return f
	}
	e := &easing{job: j, f: f, left: easeWork}
	if e.divide(); len(e.bays) == 0 {
		return f
	}
	e.neighbours()
	e.most = e.bare(nil)
	var idle []int
	for _, set := range e.groups() {
		idle = append(idle, e.idle(idle, set)...)
	}
	if len(idle) == 0 {
		return f
	}
	time := func(g finished) float64 { return cost.Supports(g.solids, j.s, cost.Machine{}).TimeS }
	took := time(f)
	all := 0.0
	for i := range e.bays {
		all += e.bays[i].at.length()
	}
	ok := func(set []int) (finished, bool) {
		g := f
		g.plan = e.plan(set)
		less := 0.0
		for _, i := range set {
			less += e.bays[i].at.length()
		}
		if g.solids = j.grown(g.plan); g.solids == nil || time(g) > took*(1+easeCost*less/all) {
			return g, false
		}
		g.bare = count(j.open(g.solids))
		return g, g.bare <= f.bare && e.tautly(g.solids.Cut) <= e.most && j.keeps(g, f)
	}
	best, builds := f, 0
	var taken []int
	var take func(set []int)
	take = func(set []int) {
		if len(set) == 0 || builds == easeBuilds {
			return
		}
		builds++
		if g, good := ok(slices.Concat(taken, set)); good {
			best, taken = g, slices.Concat(taken, set)
			return
		}
		if len(set) > 1 {
			take(set[:len(set)/2])
			take(set[len(set)/2:])
		}
	}
	take(idle)
	return best
}

// divide finds the bays of the contact lines that are the program's.
func (e *easing) divide() {
	lines := e.f.plan.Lines
	all := make([]line, len(lines))
	for i := range lines {
		all[i] = lineOf(lines[i])
	}
	void := e.s.VoidLayers()
	for i, l := range lines {
		if l.Tie || l.By == plan.Designer {
			continue
		}
		for n := 1; n < len(l.At); n++ {
			a, b := pointOf(l.At[n-1]), pointOf(l.At[n])
			stops := []float64{0}
			if l.Round == 0 {
				stops = append(stops, e.meets(a, b, i, all)...)
			}
			stops = append(stops, 1)
			for m := 1; m < len(stops); m++ {
				p := bay{line: i, first: m == 1, at: line{at: []point{between(a, b, stops[m-1]), between(a, b, stops[m])}}}
				// What lines down a slope hold is the outline of many layers, by a margin that
				// is used up before the rules tell.
				sloped := math.Abs(p.at.at[1].z-p.at.at[0].z) >= e.s.Layer
				p.asked = sloped || e.asked(p.at)
				low, high := min(p.at.at[0].z, p.at.at[1].z), max(p.at.at[0].z, p.at.at[1].z)
				p.k0 = max(0, e.part.Above(low-1e-6)-void-grow.Relief)
				p.k1 = min(len(e.part.Cut), e.part.Above(high-1e-6)+1)
				p.own, p.kept = e.mask([]line{p.at}, e.pad/2+e.part.Cell), e.mask([]line{p.at}, e.pad/2)
				if e.s.Direction.Stated {
					v := r2.Sub(b.Vec, a.Vec)
					p.angle = math.Abs(math.Sin(math.Atan2(v.Y, v.X) - e.s.Direction.Angle))
				}
				e.bays = append(e.bays, p)
			}
		}
	}
}

// neighbours finds for each bay those beside it.
func (e *easing) neighbours() {
	for i := range e.bays {
		b := &e.bays[i]
		for k := range e.bays {
			if o := &e.bays[k]; k != i && o.k0 < b.k1 && b.k0 < o.k1 {
				if both := raster.And(&b.own, &o.kept); !both.Empty() {
					b.beside = append(b.beside, k)
				}
			}
		}
	}
}

func pointOf(q [3]float64) point { return point{r2.Vec{X: q[0], Y: q[1]}, q[2]} }

// between returns the point at a share of the way from a to b.
func between(a, b point, share float64) point {
	return point{r2.Add(a.Vec, r2.Scale(share, r2.Sub(b.Vec, a.Vec))), a.z + share*(b.z-a.z)}
}

// asked tells whether a designer wants something held there, whatever holds.
func (t *site) asked(l line) bool {
	return slices.ContainsFunc(l.every(joinStep), func(q point) bool {
		return t.space.Near(plan.MustHold, r3.Vec{X: q.X, Y: q.Y, Z: q.z}, t.s.Bridge/2) != ""
	})
}

// meets returns where lines other than line i meet the straight from a to b, as shares of it,
// leastBay apart and from its ends.
func (t *site) meets(a, b point, i int, all []line) (out []float64) {
	v := r2.Sub(b.Vec, a.Vec)
	length := math.Sqrt(r2.Norm2(v))
	if length < 2*leastBay {
		return nil
	}
	var at []float64
	for k, o := range all {
		if k == i || (line{at: []point{a, b}}).apart(o) > t.wall {
			continue
		}
		for m := 1; m < len(o.at); m++ {
			p, q := o.at[m-1].Vec, o.at[m].Vec
			w := r2.Sub(q, p)
			if d := r2.Cross(v, w); math.Abs(d) > 1e-9 {
				s, u := r2.Cross(r2.Sub(p, a.Vec), w)/d, r2.Cross(r2.Sub(p, a.Vec), v)/d
				slack := t.wall / math.Sqrt(r2.Norm2(w))
				if s > 0 && s < 1 && u >= -slack && u <= 1+slack {
					at = append(at, s)
				}
			}
		}
	}
	slices.Sort(at)
	last := 0.0
	for _, s := range at {
		if (s-last)*length >= leastBay && (1-s)*length >= leastBay {
			out, last = append(out, s), s
		}
	}
	return out
}

// groups returns which bays are tried together, those first that likeliest hold nothing: in a
// stated direction all under one level ceiling, those first that beads run along.
func (e *easing) groups() (out [][]int) {
	var order []int
	for i := range e.bays {
		if !e.bays[i].asked {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		p, q := &e.bays[a], &e.bays[b]
		return cmp.Or(cmp.Compare(q.k0, p.k0), cmp.Compare(math.Round(10*p.angle), math.Round(10*q.angle)), cmp.Compare(p.line, q.line))
	})
	for i, b := range order {
		same := i > 0 && e.bays[b].k0 == e.bays[order[i-1]].k0
		if !same || len(out[len(out)-1]) == easeChunk && !e.s.Direction.Stated {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], b)
	}
	return out
}

// bare returns how many cells are bare with some bays ending below the part.
func (e *easing) bare(without []int) int {
	pads := slices.Clone(e.f.solids.Cut)
	out, looked := make([]bool, len(e.bays)), map[int]bool{}
	for _, i := range without {
		out[i] = true
	}
	for _, i := range without {
		b := &e.bays[i]
		own := b.own
		for _, k := range b.beside {
			if !out[k] {
				own = raster.AndNot(&own, &e.bays[k].kept)
			}
		}
		for k := b.k0; k < min(b.k1, len(pads)); k++ {
			pads[k] = raster.AndNot(&pads[k], &own)
			looked[k] = true
		}
	}
	e.left -= (len(looked) + easeLayers) * e.part.W * e.part.H
	return e.tautly(pads)
}

// tautly returns how many cells supports leave bare with the outline's margin in hand.
func (e *easing) tautly(pads []raster.Bits) int {
	in := e.input(e.part.Cut, pads, e.workers)
	in.Taut = tautArms
	return count(e.memory.Judge(in))
}

// idle returns which of some bays hold nothing, beside others that end below the part
// already: all of them, or those of either half.
func (e *easing) idle(already, set []int) []int {
	if len(set) == 0 || e.left <= 0 {
		return nil
	}
	if e.bare(slices.Concat(already, set)) <= e.most {
		return set
	}
	if len(set) == 1 {
		return nil
	}
	first := e.idle(already, set[:len(set)/2])
	return slices.Concat(first, e.idle(slices.Concat(already, first), set[len(set)/2:]))
}

// plan returns the layout's plan with those bays relieved.
func (e *easing) plan(set []int) plan.Plan {
	p := e.f.plan
	p.Lines = slices.Clone(p.Lines)
	for i := 0; i < len(e.bays); {
		l := &p.Lines[e.bays[i].line]
		at, relieved := l.At[:1:1], []int(nil)
		was := false
		first := i
		for ; i < len(e.bays) && e.bays[i].line == e.bays[first].line; i++ {
			off := slices.Contains(set, i)
			if n := len(at) - 1; !e.bays[i].first && off == was { // goes on
				at = at[:n]
				relieved = slices.DeleteFunc(relieved, func(r int) bool { return r == n })
			}
			end := e.bays[i].at.at[1]
			at = append(at, [3]float64{round(end.X, 1e-3), round(end.Y, 1e-3), round(end.z, 1e-3)})
			if was = off; off {
				relieved = append(relieved, len(at)-1)
			}
		}
		if len(relieved) > 0 {
			l.At, l.Relieved = at, relieved
		}
	}
	return p
}
