package layout

import (
	"fmt"
	"math"
	"slices"

	"falsework/raster"
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
	// lastGain is the same of longer soles alone, which are dear.
	lastGain = 0.5
	// firmTime bounds the rounds beyond the first by the print time of all that they grow,
	// in seconds.
	firmTime = 4000.0
	// firmShare is what of a limit is used up by what is made to meet it.
	firmShare = 0.92
	// sameStem is how far apart, in mm, stems are made firmer together.
	sameStem = 2.0
	// longer is by how much a sole is made longer at a time, in mm.
	longer = 0.5
)

// firm returns a layout whose bodies stand more firmly against the nozzle's drag, where
// that takes little: braces to the walls beside what sways, wider posts, longer soles, all
// at once where the proof says that something gives way. What is the designer's stays.
func (j *job) firm(f finished) finished {
	if f.solids == nil || j.cells > secondCells {
		return f
	}
	stance, err := prove.Stand(j.print, f.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil || len(stance.Stems) == 0 {
		return f
	}
	takes := j.roughly(f.solids, stance.Printed)
	most := dearest * takes
	rounds := min(firmRounds, max(1, int(firmTime/takes)))
	best := []finished{f}
	tries := map[[2]int]int{}
	for turn := range rounds {
		from := best[len(best)-1]
		c := from.plan
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
			tries[key]++
		}
		last := !r.changed
		if last {
			for i := range stance.Stems {
				r.lengthen(&stance.Stems[i], longer*float64(1+turn))
			}
		}
		if !r.changed {
			break
		}
		next := from
		if next.solids = j.built(&c, len(from.plan.Lines)); next.solids == nil {
			break
		}
		next.plan = c
		now, err := prove.Stand(j.print, next.solids, j.s, prove.Options{Workers: j.workers})
		if err != nil {
			break
		}
		gain := leastGain
		if last {
			gain = lastGain
		}
		if dear := j.roughly(next.solids, now.Printed) > most; dear || now.ExcessMM > (1-gain)*stance.ExcessMM {
			if dear && last {
				break // it only gets dearer
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
	if firmest := best[len(best)-1]; j.keeps(firmest, f) {
		return firmest
	}
	return f
}

// roughly returns the print time, in seconds, of walls one line thick in so many pieces, by
// their length and the hops between them: enough to compare two that hardly differ.
func (j *job) roughly(sup *raster.Stack, pieces int) float64 {
	cells := 0
	for k := range sup.Cut {
		cells += sup.Cut[k].Count()
	}
	return float64(cells)*j.part.CellArea()/j.wall/speed + float64(pieces)*islandTime
}

// keeps tells whether what was made firmer holds and comes off as well as before.
func (j *job) keeps(f, was finished) bool {
	now := j.prove(f)
	return now.Verdict == prove.Holds && now.BlockedBodies == 0 || now.Verdict != "" && !worse(now, j.prove(was))
}

// built returns the layers of a plan's solids, and leaves out of it those lines from the
// first added on of which nothing was grown; nil where it cannot be grown.
func (j *job) built(p *plan.Plan, first int) *raster.Stack {
	solids, err := grow.GrowUnder(*p, j.under, j.print)
	there := map[string]bool{}
	for i := range solids {
		there[solids[i].ID] = true
	}
	p.Lines = append(p.Lines[:first:first], slices.DeleteFunc(slices.Clone(p.Lines[first:]), func(l plan.Line) bool { return !there[l.ID] })...)
	return j.layersOf(solids, err)
}

// remedy makes a plan firmer.
type remedy struct {
	*job
	plan    *plan.Plan
	net     *grow.Network // of its walls as they are built
	stance  *prove.Stance
	changed bool
	touched []string // posts that were
	braced  []point  // where braces begin, at their upper edges
}

// apply does what may help where a stem gives way.
func (r *remedy) apply(st *prove.Stem, try int) {
	if st.SwayMM > sway {
		if q := r.under(st); q != nil && q.Side > 0 && try == 0 {
			r.widen(q, st.SwayMM/sway)
			return
		}
		r.brace(st, try)
	} else {
		r.lengthen(st, longer*float64(1+try))
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
	wider := *q
	if wider.Side = side; !r.clears(wider) {
		return
	}
	q.Side = side
	r.changed = true
}

// clears tells whether a hollow post has room all round down to its foot.
func (t *site) clears(q plan.Post) bool {
	const apart = 0.5
	at, half := r2.Vec{X: q.At[0], Y: q.At[1]}, q.Side/2
	for d := -half; d <= half+apart; d += apart {
		e := min(d, half)
		for _, off := range [...]r2.Vec{{X: e, Y: -half}, {X: e, Y: half}, {X: -half, Y: e}, {X: half, Y: e}} {
			if low, _ := t.descend(r2.Add(at, off), q.Head+grow.HeadOverlap, t.s.Clearance); low > q.Foot+1e-6 {
				return false
			}
		}
	}
	return !t.struckPost(at)
}

// lengthen lets more of its walls stand on the ground about the nearest sole.
func (r *remedy) lengthen(st *prove.Stem, by float64) {
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
		best.Reach = round(best.Reach+by, 1e-3)
		r.changed = true
	}
}

// braceShifts are how much higher up a stem than even spacing has it braces are tried, as
// shares of that.
var braceShifts = [firmTries]float64{0, 0.6, -0.4}

// brace ties a stem to other walls of its body beside it: a stretch between braces, or above
// the last, sways by the cube of its height.
func (r *remedy) brace(st *prove.Stem, try int) {
	const most = 3
	n := min(most, max(1, math.Ceil(math.Cbrt(st.SwayMM/sway/firmShare))-1))
	for i := 1.0; i <= n; i++ {
		high := st.Begins + (i+braceShifts[try])/(n+1)*(st.At.Z-st.Begins)
		for top := high; top > max(0, high-braceDrop); top -= 2 * r.s.Layer {
			if best, ok := r.braceAt(st, top); ok {
				if best.at == nil {
					break // another stem of the same walls has one there
				}
				l := best.plan(0)
				l.ID = braceID(r.plan)
				r.plan.Lines = append(r.plan.Lines, l)
				r.changed = true
				break
			}
		}
	}
}

// braceDrop is how much lower than it should be, in mm, a brace is tried.
const braceDrop = 2.0

// braceAt returns the shortest brace from a stem whose upper edge is so high, without points
// where its walls were given one already.
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
	for _, d := range r.braced {
		if math.Abs(d.z-top) < braceDrop && slices.Contains(own, d.Vec) {
			return best, true
		}
	}
	var from r2.Vec
	least := span
	drop := float64(r.s.VoidLayers()+tieDrop) * r.s.Layer
	clear := drop + grow.WallDepth(r.s) // it is no contact
	for _, a := range own {
		for _, b := range others {
			d := distance(a, b)
			if d >= least || d < 2*r.wall {
				continue
			}
			if _, ok := r.tie(point{a, top + clear}, point{b, top + clear}); !ok {
				continue
			}
			if l, ok := r.tie(point{a, top + drop}, point{b, top + drop}); ok && len(r.fit([]line{l})) > 0 {
				best, least, found = l, d, true
				from = a
			}
		}
	}
	if found {
		r.braced = append(r.braced, point{from, top})
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
