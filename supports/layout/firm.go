package layout

import (
	"maps"
	"math"
	"reflect"
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
	firmRounds, firmTries = 7, 5
	// dearest is how many times as long a layout may take on the way to being firmer: what
	// comes of it is weighed by its price.
	dearest = 1.3
	// leastGain is the share of what is beyond the limits that a round must take away.
	leastGain = 0.02
	// lastGain is the same of longer soles alone, which are dear.
	lastGain = 0.5
	// firmTime bounds the plans grown by the print time of all of them, in seconds, and
	// firmPlans by their number; firstPlans are grown however long they take.
	firmTime, firmPlans, firstPlans = 14000.0, 24, 3
	// firmShare is what of a limit is used up by what is made to meet it.
	firmShare = 0.92
	// sameStem is how far apart, in mm, stems are made firmer together.
	sameStem = 2.0
	// longer is by how much a sole is made longer at a time, in mm.
	longer = 0.5
)

// firm returns a layout whose bodies stand more firmly against the nozzle's drag and above
// their feet, where that takes little: braces to the walls beside what sways, wider posts,
// ribs, wider and longer soles, all at once where the proof says that something gives way, or
// as many of them as help. What is the designer's stays.
func (j *job) firm(f finished) finished {
	if f.solids == nil || j.cells > secondCells {
		return f
	}
	stance, err := prove.Stand(j.print, f.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil || stance.Firm() {
		return f
	}
	takes := j.sampled(f.solids)
	w := &firming{job: j, best: f, stance: stance, takes: takes, left: min(firmPlans, max(firstPlans, int(firmTime/takes)))}
	tries := map[[2]int]int{}
	for turn := 0; turn < firmRounds && w.left > 0 && !w.stance.Firm(); turn++ {
		before := maps.Clone(tries)
		wide, feet := w.changes(tries, false)
		list := wide
		if feet {
			// Feet are made wider or longer, whichever is better.
			if long, _ := w.changes(before, true); !reflect.DeepEqual(long, wide) && w.better(long, wide) {
				list = long
			}
		}
		if len(list) > 0 {
			w.take(list, leastGain)
		} else if list = w.longerSoles(longer * float64(1+turn)); len(list) == 0 || !w.take(list, lastGain) {
			break
		}
	}
	if w.stance.Firm() {
		w.narrow(&f.plan)
	}
	if w.best.solids == f.solids || !j.keeps(w.best, f) {
		return f
	}
	was, sways := j.score(f, math.Inf(1))
	if is, over := j.score(w.best, math.Inf(1)); rather(is, over, was, sways) || math.IsInf(was, 1) {
		return w.best
	}
	return f
}

// narrow makes posts that were made wider than in a plan as wide as prints fastest.
func (w *firming) narrow(was *plan.Plan) {
	p := &paring{job: w.job, best: w.best, time: w.sampled(w.best.solids), left: narrowTime}
	p.score, p.over = w.score(w.best, math.Inf(1))
	for i := range was.Posts {
		if p.best.plan.Posts[i].Side > was.Posts[i].Side {
			p.resize(i)
		}
	}
	w.best = p.best
}

// narrowTime bounds that work as pareTime does paring.
const narrowTime = 4000.0

// firming is a layout being made firm.
type firming struct {
	*job
	best   finished
	stance prove.Stance // of best
	takes  float64      // roughly, what it took at first
	left   int          // plans that may be grown
	vain   [][2]r2.Vec  // ends of braces that could not be grown
	last   []trial      // of the best plan, that are known
}

// take makes the best plan firmer by a list of changes, or, if that is no gain, by those
// halves of them that are one. Gain is the share of what is beyond the limits that all of
// them must take away.
func (w *firming) take(list []change, gain float64) bool {
	if len(list) == 0 {
		return false
	}
	if t := w.try(list); t.solids != nil && t.time <= dearest*w.takes && t.stance.ExcessMM <= (1-gain)*w.stance.ExcessMM {
		w.best, w.stance, w.last = t.finished, t.stance, nil
		return true
	}
	if len(list) == 1 {
		return false
	}
	half := len(list) / 2
	a := w.take(list[:half], gain/2)
	return w.take(list[half:], gain/2) || a
}

// trial is what became of changes: how it stands, and about how long it prints, in seconds.
type trial struct {
	finished
	stance  prove.Stance
	time    float64
	changes []change
}

// better tells whether one list of changes makes the best plan firmer than another, or
// as firm in less time.
func (w *firming) better(a, b []change) bool {
	s, t := w.try(a), w.try(b)
	w.last = []trial{s, t}
	switch {
	case s.solids == nil || t.solids == nil:
		return t.solids == nil
	case s.stance.Firm() && t.stance.Firm():
		return s.time < t.time
	}
	return s.stance.ExcessMM < t.stance.ExcessMM
}

// try returns what becomes of the best plan by a list of changes, without solids if they
// cannot be grown or no more plans may be.
func (w *firming) try(list []change) (t trial) {
	for _, t := range w.last {
		if len(list) > 0 && len(t.changes) == len(list) && &t.changes[0] == &list[0] {
			return t
		}
	}
	if len(list) == 0 || w.left <= 0 {
		return trial{}
	}
	w.left--
	t = trial{finished: w.best, changes: list}
	c := w.best.plan
	first := len(c.Lines)
	c.Lines, c.Posts = slices.Clone(c.Lines), slices.Clone(c.Posts)
	for i := range list {
		list[i].apply(&c)
	}
	if t.solids = w.built(&c, first); t.solids == nil {
		return t
	}
	for i := range list {
		if b := list[i].line; b != nil && !slices.ContainsFunc(c.Lines[first:], func(l plan.Line) bool { return slices.Equal(l.At, b.At) }) {
			w.vain = append(w.vain, ends(b))
		}
	}
	var err error
	t.plan, t.time = c, w.sampled(t.solids)
	if t.stance, err = prove.Stand(w.print, t.solids, w.s, prove.Options{Workers: w.workers}); err != nil {
		return trial{}
	}
	return t
}

// ends returns the ends of a line in plan.
func ends(l *plan.Line) [2]r2.Vec {
	a, b := l.At[0], l.At[len(l.At)-1]
	return [2]r2.Vec{{X: a[0], Y: a[1]}, {X: b[0], Y: b[1]}}
}

// change is one way in which a plan may be made firmer.
type change struct {
	post *plan.Post // what the post of its id becomes
	line *plan.Line // added, under an id of its own
	sole bool       // which stands on the ground all along, by a sole
	foot float64    // of that
}

// apply makes a change to a plan.
func (c *change) apply(p *plan.Plan) {
	if c.post != nil {
		if i := slices.IndexFunc(p.Posts, func(q plan.Post) bool { return q.ID == c.post.ID }); i >= 0 {
			p.Posts[i] = *c.post
		}
	}
	if c.line == nil {
		return
	}
	l := *c.line
	l.ID = p.Fresh("T")
	p.Lines = append(p.Lines, l)
	if !c.sole {
		return
	}
	q := plan.Post{By: plan.Tool, Reach: footingReaches[0], Under: l.ID, Head: c.foot, Foot: c.foot}
	for _, at := range l.At {
		q.At[0] += at[0] / float64(len(l.At))
		q.At[1] += at[1] / float64(len(l.At))
	}
	q.At = [2]float64{round(q.At[0], 1e-3), round(q.At[1], 1e-3)}
	q.ID = p.Fresh("P")
	p.Posts = append(p.Posts, q)
}

// remedies returns what changes of the best plan are worked out from.
func (w *firming) remedies() *remedy {
	n := w.network(&w.best.plan)
	n.Hang(w.best.plan)
	n.Ties()
	n.Raise()
	return &remedy{job: w.job, plan: &w.best.plan, net: n, stance: &w.stance, vain: w.vain}
}

// changes returns what may help where something gives way, the worst first, and whether feet
// are among that: they are made long, or else wide. Tries counts the ways tried at each place.
func (w *firming) changes(tries map[[2]int]int, long bool) (list []change, feet bool) {
	r := w.remedies()
	r.long = long
	var tried [][2]int
	at := func(p r2.Vec, do func(try int)) {
		key := [2]int{int(math.Floor(p.X / sameStem)), int(math.Floor(p.Y / sameStem))}
		if tries[key] < firmTries && !slices.Contains(tried, key) {
			tried = append(tried, key)
			do(tries[key])
			tries[key]++
		}
	}
	for i := range w.stance.Stems {
		st := &w.stance.Stems[i]
		at(r2.Vec{X: st.At.X, Y: st.At.Y}, func(try int) { r.apply(st, try) })
	}
	for i := range w.stance.Tips {
		tip := &w.stance.Tips[i]
		at(r2.Vec{X: tip.At.X, Y: tip.At.Y}, func(try int) { r.balance(tip, try) })
	}
	return r.list, r.feet
}

// longerSoles returns longer soles wherever something gives way.
func (w *firming) longerSoles(by float64) []change {
	r := w.remedies()
	for i := range w.stance.Stems {
		r.lengthen(&w.stance.Stems[i], by)
	}
	return r.list
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
	if err != nil {
		return nil
	}
	there := map[string]bool{}
	for i := range solids {
		there[solids[i].ID] = true
	}
	added := p.Lines[first:]
	gone := func(id string) bool {
		return !there[id] && slices.ContainsFunc(added, func(l plan.Line) bool { return l.ID == id })
	}
	if !slices.ContainsFunc(added, func(l plan.Line) bool { return gone(l.ID) }) {
		return j.layersOf(solids, nil)
	}
	// Without them other walls may be others: they had stations where these crossed them.
	p.Posts = slices.DeleteFunc(slices.Clone(p.Posts), func(q plan.Post) bool { return gone(q.Under) })
	p.Lines = append(p.Lines[:first:first], slices.DeleteFunc(slices.Clone(added), func(l plan.Line) bool { return gone(l.ID) })...)
	return j.layersOf(grow.GrowUnder(*p, j.under, j.print))
}

// remedy works out what makes a plan firmer.
type remedy struct {
	*job
	plan    *plan.Plan
	net     *grow.Network // of its walls as they are built
	stance  *prove.Stance
	list    []change
	touched []string // posts that change
	long    bool     // soles are made longer, if they can be, and not wider
	feet    bool     // whether any are among the changes
	vain    [][2]r2.Vec
	feetAt  []int   // for each post, which piece of the supports it is just over its foot
	braced  []point // where braces begin, at their upper edges
}

// apply does what may help where a stem gives way.
func (r *remedy) apply(st *prove.Stem, try int) {
	q := r.stands(st)
	if st.SwayMM > sway {
		switch post := r.under(st); {
		case post != nil && try == 0:
			r.widen(post, math.Cbrt(st.SwayMM/sway/firmShare))
		case try == 1 && q != nil && q.Side == 0 && r.stiffen(st, q):
		case try >= len(braceShifts) || !r.brace(st, try):
			r.lash(st)
			r.stiffen(st, q)
		}
	}
	if st.FootMPa <= r.s.Adhesion {
		return
	}
	switch over := st.FootMPa / r.s.Adhesion / firmShare; {
	case q != nil && q.Side > 0:
		r.widen(q, math.Sqrt(over)) // a thin square tube's section modulus is as the square of its side
	case q == nil:
		r.lengthen(st, longer*float64(1+try))
	case r.long:
		r.feet = true
		if !r.lengthen(st, longer*float64(1+try)) {
			r.spread(q, over)
		}
	default:
		r.feet = true
		if !r.spread(q, over) {
			r.lengthen(st, longer*float64(1+try))
		}
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

// stands returns the post that a stem stands on at last, nil if it is none of the program's.
func (r *remedy) stands(st *prove.Stem) *plan.Post {
	if r.feetAt == nil {
		r.feetAt = make([]int, len(r.plan.Posts))
		for i := range r.plan.Posts {
			q := &r.plan.Posts[i]
			r.feetAt[i] = -1
			piece := r.stance.Pieces(r.overFoot(q))
			if q.Side > 0 {
				r.feetAt[i], _ = piece(r2.Vec{X: q.At[0] + q.Side/2 - r.wall/2, Y: q.At[1]})
				continue
			}
			for _, at := range r.net.Afoot(r.plan.Lines, *q) {
				if n, _ := piece(r.net.Stations[at].P); n >= 0 { // at the end of a wall is none
					r.feetAt[i] = n
					break
				}
			}
		}
	}
	for i := range r.plan.Posts {
		q := &r.plan.Posts[i]
		if n := r.feetAt[i]; q.By != plan.Designer && n >= 0 && n == r.stance.Piece(st, r.overFoot(q)) {
			return q
		}
	}
	return nil
}

// overFoot returns a height at which a post stands by itself.
func (r *remedy) overFoot(q *plan.Post) float64 { return q.Foot + 2*r.s.Layer }

// stiffen makes what a stem stands on stiffer, where no wall beside it holds it: its hollow
// post wider, or a rib across the wall on its sole.
func (r *remedy) stiffen(st *prove.Stem, q *plan.Post) bool {
	if q == nil {
		return false
	}
	if q.Side > 0 {
		h, all, b := q.Head-q.Foot, st.At.Z-q.Foot, q.Side-2*r.wall
		is := gives(h, all, (q.Side*q.Side*q.Side*q.Side-b*b*b*b)/12)
		return r.widen(q, math.Cbrt(is/max(is-(st.SwayMM-firmShare*sway), is/mostWiden)))
	}
	from := r.afoot(q, r2.Vec{X: st.Bends.X, Y: st.Bends.Y})
	if from == nil {
		return false
	}
	// A wall alone gives way by the cube of its height above the rib.
	high := st.At.Z - (st.At.Z-q.Foot)*math.Cbrt(firmShare*sway/st.SwayMM)
	return r.rib(from.P, r2.Scale(-ribHalf, st.Way), r2.Scale(ribHalf, st.Way), q.Foot, high+1)
}

const (
	// mostWiden is how many times less a post is made to give way at a time.
	mostWiden = 4.0
	// ribHalf is how far a rib reaches to either side, in mm, and leastRib how far it must.
	ribHalf, leastRib = 2.5, 1.0
	// pastMass is how far, in mm, what a body stands on is made to reach past its centre of mass.
	pastMass = 1.0
)

// afoot returns the station nearest to a place of the walls that stand on a sole.
func (r *remedy) afoot(q *plan.Post, to r2.Vec) (best *grow.Station) {
	for _, i := range r.net.Afoot(r.plan.Lines, *q) {
		s := &r.net.Stations[i]
		if seat, ok := s.Seat(r.s); ok && s.Low <= seat+1e-6 && (best == nil || distance(s.P, to) < distance(best.P, to)) {
			best = s
		}
	}
	return best
}

// rib adds a wall through a place on one, from there by a and by b as far as there is room,
// that stands on the ground at about foot and is so high.
func (r *remedy) rib(at, a, b r2.Vec, foot, high float64) bool {
	room := func(p r2.Vec) bool {
		low, _ := r.descend(p, high, r.wall/2+r.s.Clearance)
		return low == 0 && foot == 0 || low > 0 && foot > 0 && math.Abs(low-foot) <= grow.SoleStep
	}
	const step = 0.25
	reach := func(v r2.Vec) (end r2.Vec) {
		all := math.Sqrt(r2.Norm2(v))
		end = at
		for d := step; d <= all+1e-9; d += step {
			p := r2.Add(at, r2.Scale(d/all, v))
			if !room(p) {
				break
			}
			end = p
		}
		return end
	}
	from, to := reach(a), reach(b)
	if distance(from, at) < leastRib && distance(to, at) < leastRib {
		return false
	}
	drop := float64(r.s.VoidLayers()+grow.Relief) * r.s.Layer
	l, ok := r.tie(point{from, high + drop}, point{to, high + drop})
	if !ok || len(r.fit([]line{l})) == 0 {
		return false
	}
	p := l.plan(0)
	r.list = append(r.list, change{line: &p, sole: true, foot: round(foot, 1e-3)})
	return true
}

// ribTall is how tall a rib is that only widens a foot, in mm.
const ribTall = 3.0

// balance brings what a body stands on under its centre of mass: by a wider foot on the
// plate, or a rib that reaches there.
func (r *remedy) balance(t *prove.Tip, try int) {
	to := r2.Vec{X: t.At.X, Y: t.At.Y}
	var sole *plan.Post
	var from *grow.Station
	for i := range r.plan.Posts {
		q := &r.plan.Posts[i]
		if q.By == plan.Designer || q.Side > 0 {
			continue
		}
		if s := r.afoot(q, to); s != nil && (from == nil || distance(s.P, to) < distance(from.P, to)) {
			sole, from = q, s
		}
	}
	if from == nil || distance(from.P, to) > r.s.Bridge || distance(from.P, to) < r.s.Cell {
		return
	}
	if sole.Foot == 0 && try == 0 && t.OutMM < plan.MostToe {
		r.toe(sole, t.OutMM+pastMass/2)
		return
	}
	way := r2.Unit(r2.Sub(to, from.P))
	r.rib(from.P, r2.Scale(-r.wall, way), r2.Scale(distance(from.P, to)+pastMass*float64(1+try), way), sole.Foot, sole.Foot+ribTall)
}

// spread widens a sole's foot that pulls so many times as hard as it may: the section modulus
// of a wall is as the square of its width.
func (r *remedy) spread(q *plan.Post, over float64) bool {
	wide := r.wall + 2*q.Toe
	if q.Toe == 0 && r.net.Long(r.plan.Lines, *q) <= grow.LongestFlare {
		wide = r.wall + 2*toes[0] // about, where package grow widens it as it is
	}
	return r.toe(q, (wide*math.Sqrt(over)-r.wall)/2)
}

// toes are how much soles are widened, in mm: the narrowest is what package grow does where
// it sees that they need it.
var toes = [...]float64{1.2, 1.8, plan.MostToe}

// toe widens a sole's foot on the plate by so much or a little more, if it is not yet.
func (r *remedy) toe(q *plan.Post, by float64) bool {
	if q.Foot > 0 || q.Side > 0 || q.Toe >= plan.MostToe || slices.Contains(r.touched, q.ID) {
		return false
	}
	to := *q
	for _, to.Toe = range toes {
		if to.Toe > q.Toe && to.Toe >= by {
			break
		}
	}
	return r.becomes(to)
}

// becomes changes a post.
func (r *remedy) becomes(to plan.Post) bool {
	r.touched = append(r.touched, to.ID)
	r.list = append(r.list, change{post: &to})
	return true
}

// widen makes a hollow post so many times as wide. What gives way is as the cube of it: a
// thin square tube's second moment is.
func (r *remedy) widen(q *plan.Post, times float64) bool {
	if slices.Contains(r.touched, q.ID) {
		return false // the stem that is worst comes first
	}
	to := *q
	if to.Side = math.Ceil(q.Side*times*10) / 10; to.Side <= q.Side || !r.clears(to) {
		return false
	}
	return r.becomes(to)
}

// clears tells whether a hollow post has room all round down to its foot, and a bore that can
// be closed.
func (t *site) clears(q plan.Post) bool {
	const apart = 0.5
	if q.Side > 0 && q.Head > 0 && q.Side > grow.WidestPost(q.Head-q.Foot, t.s) {
		return false // nothing would close it
	}
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

// lengthen lets more of its walls stand on the ground about the nearest sole. Walls that do
// not hang together with it there would be reeds of their own.
func (r *remedy) lengthen(st *prove.Stem, by float64) bool {
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
	if best == nil || slices.Contains(r.touched, best.ID) {
		return false
	}
	to := *best
	to.Reach = round(to.Reach+by, 1e-3)
	if r.apart(&to) > r.apart(best) {
		return false
	}
	return r.becomes(to)
}

// apart returns how many separate stretches of wall would stand on a sole.
func (r *remedy) apart(q *plan.Post) (n int) {
	in := map[int]bool{}
	afoot := r.net.Afoot(r.plan.Lines, *q)
	for _, i := range afoot {
		in[i] = true
	}
	for _, first := range afoot {
		if !in[first] {
			continue
		}
		n++
		in[first] = false
		for todo := []int{first}; len(todo) > 0; {
			at := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, w := range r.net.Next(at) {
				if in[w.To] {
					in[w.To] = false
					todo = append(todo, w.To)
				}
			}
		}
	}
	return n
}

// braceShifts are how much higher up a stem than even spacing has it braces are tried, as
// shares of that.
var braceShifts = [...]float64{0, 0.6, -0.4}

// brace ties a stem to other walls of its body beside it: a stretch between braces, or above
// the last, sways by the cube of its height.
func (r *remedy) brace(st *prove.Stem, try int) (found bool) {
	const most = 3
	n := min(most, max(1, math.Ceil(math.Cbrt(st.SwayMM/sway/firmShare))-1))
	var heights []float64
	if low := st.Bends.Z + grow.WallDepth(r.s)/2; try > 0 && low < st.Begins {
		// Just over a post it bends most, if not yet noticeably.
		heights = append(heights, low+braceDrop/2)
	}
	for i := 1.0; i <= n; i++ {
		heights = append(heights, st.Begins+(i+braceShifts[try])/(n+1)*(st.At.Z-st.Begins))
	}
	for i, high := range heights {
		for top := high; top > max(0, high-braceDrop); top -= 2 * r.s.Layer {
			if best, ok := r.braceAt(st, top, true); ok {
				found = found || float64(i) >= float64(len(heights))-n
				if best.at == nil {
					break // another stem of the same walls has one there
				}
				l := best.plan(0)
				r.list = append(r.list, change{line: &l})
				break
			}
		}
	}
	return found
}

// lash ties what stands out at the top of a stem, alone, to what does beside it: as high up
// as a tie may be that is no contact itself.
func (r *remedy) lash(st *prove.Stem) bool {
	for top := st.At.Z; top > st.At.Z-lashDrop; top -= r.s.Layer {
		if best, ok := r.braceAt(st, top, false); ok {
			if best.at != nil {
				l := best.plan(0)
				r.list = append(r.list, change{line: &l})
			}
			return true
		}
	}
	return false
}

// lashDrop is how far down a stem, in mm, it is lashed at most.
const lashDrop = 3.0

// braceDrop is how much lower than it should be, in mm, a brace is tried.
const braceDrop = 2.0

// braceAt returns the shortest brace from a stem whose upper edge is so high, without points
// where its walls were given one already. A deep one is as far below the part as a tie is high.
func (r *remedy) braceAt(st *prove.Stem, top float64, deep bool) (best line, found bool) {
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
	drop := float64(r.s.VoidLayers()+grow.Relief) * r.s.Layer
	clear := drop
	if deep {
		clear += grow.WallDepth(r.s) // it is no contact
	}
	for _, a := range own {
		for _, b := range others {
			d := distance(a, b)
			if d >= least || d < 2*r.wall || slices.ContainsFunc(r.vain, func(v [2]r2.Vec) bool {
				return distance(v[0], a)+distance(v[1], b) < sameStem || distance(v[1], a)+distance(v[0], b) < sameStem
			}) {
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
