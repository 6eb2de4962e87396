package layout

import (
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	// firmRounds bounds how often a layout is made firmer, and firmTries the ways tried at
	// one place.
	firmRounds, firmTries = 4, 3
	// dearest is how many times as long a layout may take for being firm.
	dearest = 1.04
	// leastGain is the share of what is beyond the limits that a round must take away.
	leastGain = 0.02
	// firmShare is what of a limit is used up by what is made to meet it.
	firmShare = 0.92
	// sameStem is how far apart, in mm, stems are made firmer together.
	sameStem = 2.0
)

// firm returns a layout whose bodies stand more firmly against the nozzle's drag, where
// that takes little: braces to the walls beside what sways, wider posts, longer soles, all
// at once where the proof says that something gives way. What is the designer's stays.
func (j *job) firm(f finished) finished {
	if f.solids == nil {
		return f
	}
	stance, err := prove.Stand(j.print, f.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil || len(stance.Stems) == 0 {
		return f
	}
	most := dearest * cost.Supports(f.solids, j.s, cost.Machine{}).TimeS
	best := []finished{f}
	tries := map[[2]int]int{}
	for turn := range firmRounds {
		last := best[len(best)-1]
		c := last.plan
		c.Lines, c.Posts = slices.Clone(c.Lines), slices.Clone(c.Posts)
		n := j.network(&c)
		n.Hang(c)
		n.Ties()
		n.Raise()
		var tried [][2]int
		r := &remedy{job: j, plan: &c, net: n, stance: &stance}
		for i := range stance.Stems {
			st := &stance.Stems[i]
			key := [2]int{int(math.Floor(st.At.X / sameStem)), int(math.Floor(st.At.Y / sameStem))}
			if tries[key] >= firmTries || slices.Contains(tried, key) {
				continue
			}
			tried = append(tried, key)
			r.apply(st, tries[key])
		}
		if !r.changed {
			for i := range stance.Stems {
				r.lengthen(&stance.Stems[i], 0.5*float64(1+turn))
			}
		}
		if !r.changed {
			break
		}
		next := last
		if next.solids = j.built(&c, len(last.plan.Lines)); next.solids == nil {
			break
		}
		next.plan = c
		now, err := prove.Stand(j.print, next.solids, j.s, prove.Options{Workers: j.workers})
		if err != nil {
			break
		}
		if now.ExcessMM > (1-leastGain)*stance.ExcessMM || cost.Supports(next.solids, j.s, cost.Machine{}).TimeS > most {
			for _, key := range tried {
				tries[key]++
			}
			continue
		}
		best, stance = append(best, next), now
		if len(stance.Stems) == 0 {
			break
		}
	}
	if len(best) == 1 {
		return f
	}
	was := j.prove(f)
	for i := len(best) - 1; i > 0; i-- {
		if r := j.prove(best[i]); !worse(r, was) {
			return best[i]
		}
	}
	return f
}

// built returns the layers of a plan's solids, and leaves out of it those lines from the
// first added on of which nothing was grown; nil where it cannot be grown.
func (j *job) built(p *plan.Plan, first int) *raster.Stack {
	solids, err := grow.GrowUnder(*p, j.under, j.print)
	if err != nil {
		return nil
	}
	var all mesh.Mesh
	there := map[string]bool{}
	for i := range solids {
		all.Append(solids[i].Mesh)
		there[solids[i].ID] = true
	}
	p.Lines = append(p.Lines[:first:first], slices.DeleteFunc(slices.Clone(p.Lines[first:]), func(l plan.Line) bool { return !there[l.ID] })...)
	return raster.Section(&all, j.part.Grid, j.part.Layers, j.workers)
}

// remedy makes a plan firmer.
type remedy struct {
	*job
	plan    *plan.Plan
	net     *grow.Network // of its walls as they are built
	stance  *prove.Stance
	changed bool
	touched []string // posts that were
}

// apply does what may help where a stem gives way.
func (r *remedy) apply(st *prove.Stem, try int) {
	if st.SwayMM > sway {
		if q := r.under(st); q != nil && q.Side > 0 && try == 0 {
			r.widen(q, st.SwayMM/sway)
			return
		}
		r.brace(st, try)
	}
}

// under returns the post that bends most below a stem, nil if it is none of the program's.
func (r *remedy) under(st *prove.Stem) *plan.Post {
	for i := range r.plan.Posts {
		q := &r.plan.Posts[i]
		if q.By != plan.Designer && q.Side > 0 && st.Bends.Z < q.Head && st.Bends.Z > q.Foot && grow.Within(*q, r2.Vec{X: st.Bends.X, Y: st.Bends.Y}) {
			return q
		}
	}
	return nil
}

// widen makes a hollow post as wide as it takes for what gives way so many times as much as
// it may: a thin square tube's second moment is as the cube of its side.
func (r *remedy) widen(q *plan.Post, over float64) {
	if slices.Contains(r.touched, q.ID) {
		return // the stem that is worst comes first
	}
	r.touched = append(r.touched, q.ID)
	side := math.Ceil(q.Side*math.Cbrt(over/firmShare)*10) / 10
	const apart = 0.5
	for d := -side / 2; d <= side/2+apart; d += apart {
		e := min(d, side/2)
		for _, at := range [...]r2.Vec{{X: e, Y: -side / 2}, {X: e, Y: side / 2}, {X: -side / 2, Y: e}, {X: side / 2, Y: e}} {
			low, _ := r.descend(r2.Add(r2.Vec{X: q.At[0], Y: q.At[1]}, at), q.Head+grow.HeadOverlap, r.s.Clearance)
			if low > q.Foot+1e-6 {
				return
			}
		}
	}
	q.Side = side
	r.changed = true
}

// lengthen lets more of its walls stand on the ground about the nearest sole.
func (r *remedy) lengthen(st *prove.Stem, longer float64) {
	const nearEnough = 10.0
	var best *plan.Post
	least := nearEnough
	for i := range r.plan.Posts {
		q := &r.plan.Posts[i]
		if q.By == plan.Designer || q.Side > 0 || q.Foot > st.At.Z {
			continue
		}
		if d := distance(r2.Vec{X: q.At[0], Y: q.At[1]}, r2.Vec{X: st.Bends.X, Y: st.Bends.Y}); d < least {
			best, least = q, d
		}
	}
	if best != nil && !slices.Contains(r.touched, best.ID) {
		r.touched = append(r.touched, best.ID)
		best.Reach += longer
		r.changed = true
	}
}

// brace ties a stem to another wall of its body beside it: above the brace it sways as what
// is left of it alone, by the cube of its height.
func (r *remedy) brace(st *prove.Stem, try int) {
	over := st.SwayMM / sway
	share := min(0.8, max(0.35, 1-math.Cbrt(firmShare/over)))
	high := st.Begins + share*(st.At.Z-st.Begins)
	switch try {
	case 1:
		high = (high + st.Bends.Z) / 2
	case 2:
		high = (high + st.At.Z) / 2
	}
	for top := high; top > high-braceDrop; top -= 2 * r.s.Layer {
		if best, ok := r.braceAt(st, top); ok {
			l := best.plan(0)
			l.ID = braceID(r.plan)
			r.plan.Lines = append(r.plan.Lines, l)
			r.changed = true
			return
		}
	}
}

// braceDrop is how much lower than it should be, in mm, a brace is tried.
const braceDrop = 2.0

// braceAt returns the shortest brace from a stem whose upper edge is so high.
func (r *remedy) braceAt(st *prove.Stem, top float64) (best line, found bool) {
	level := top - grow.WallDepth(r.s)
	if level < 2*r.s.Layer {
		return best, false
	}
	piece := r.stance.Pieces(level)
	mine := r.stance.Piece(st, level)
	span := r.s.Bridge*(1-r.s.Margin) - r.wall
	var own, others []r2.Vec
	for i := range r.net.Stations {
		s := &r.net.Stations[i]
		if s.Low > level-2*r.s.Layer || s.Top < top || distance(s.P, r2.Vec{X: st.At.X, Y: st.At.Y}) > 3*span {
			continue
		}
		switch n, body := piece(s.P); {
		case n < 0:
		case n == mine:
			own = append(own, s.P)
		case body == st.Body:
			others = append(others, s.P)
		}
	}
	least := span
	drop := float64(r.s.VoidLayers()+tieDrop) * r.s.Layer
	for _, a := range own {
		for _, b := range others {
			d := distance(a, b)
			if d >= least || d < 2*r.wall {
				continue
			}
			if l, ok := r.tie(point{a, top + drop}, point{b, top + drop}); ok && len(r.fit([]line{l})) > 0 {
				best, least, found = l, d, true
			}
		}
	}
	return best, found
}

// braceID returns an id for a brace that the plan has not.
func braceID(p *plan.Plan) string {
	for n := len(p.Lines) + 1; ; n++ {
		if id := fmt.Sprintf("T%d", n); !slices.ContainsFunc(p.Lines, func(l plan.Line) bool { return l.ID == id }) {
			return id
		}
	}
}
