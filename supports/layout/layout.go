package layout

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"reflect"
	"runtime"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
)

// repairs bounds how often what is still bare gets lines of its own.
const repairs = 2

// Layout returns a plan that holds what the part needs held, as far as it can
// be: what is left bare is for the proof to tell. The part's mesh and layers must
// be of one pose.
func Layout(name string, m *mesh.Mesh, part *raster.Stack, n need.Need, s supports.Settings, workers int) plan.Plan {
	return layOut(name, m, part, n, s, workers, false)
}

// Once is Layout with one drawing: it is mended while that helps, but nothing is drawn
// again to print faster, to stand more firmly or to come off. It is for comparing many
// layouts.
func Once(name string, m *mesh.Mesh, part *raster.Stack, n need.Need, s supports.Settings, workers int) plan.Plan {
	return layOut(name, m, part, n, s, workers, true)
}

func layOut(name string, m *mesh.Mesh, part *raster.Stack, n need.Need, s supports.Settings, workers int, once bool) plan.Plan {
	p := plan.Plan{Version: plan.Version, Part: partOf(name, m), Settings: plan.FromSettings(s), Taste: plan.Taste{Heights: s.Heights}, Lines: []plan.Line{}, Posts: []plan.Post{}}
	if len(n.Regions) == 0 {
		return p
	}
	j := newJob(newSite(part, s), grow.NewUndersides(m), workers)
	j.once = once
	p = j.layOut(p, n)
	number(&p)
	p.Remember()
	return p
}

// number gives lines and posts of a plan that is all the program's ids in their order.
func number(p *plan.Plan) {
	ids := map[string]string{}
	for i := range p.Lines {
		l := &p.Lines[i]
		ids[l.ID] = fmt.Sprintf("%s%d", l.ID[:1], i+1)
		l.ID = ids[l.ID]
	}
	for i := range p.Posts {
		q := &p.Posts[i]
		q.ID = fmt.Sprintf("P%d", i+1)
		if q.Under != "" {
			q.Under = ids[q.Under]
		}
	}
}

func partOf(name string, m *mesh.Mesh) plan.Part {
	size := m.Bounds()
	return plan.Part{Name: path.Base(name), Triangles: len(m.Triangles), Size: [3]float64{
		round(size.Max.X-size.Min.X, 1e-3), round(size.Max.Y-size.Min.Y, 1e-3), round(size.Max.Z-size.Min.Z, 1e-3)}}
}

func newJob(t *site, under *grow.Undersides, workers int) *job {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	j := &job{site: t, print: t.part, under: under, workers: workers}
	for k := range t.part.Cut {
		j.cells += t.part.Cut[k].Count()
	}
	return j
}

// layOut returns p with lines and posts for a need. What p holds already is built
// on, and comes first.
func (j *job) layOut(p plan.Plan, n need.Need) plan.Plan {
	if p, n = j.close(p, n); len(n.Regions) == 0 {
		return p
	}
	return j.declared(j.shed(j.ease(j.choose(p, n)))).plan
}

// choose returns the best drawing for a need.
func (j *job) choose(p plan.Plan, n need.Need) finished {
	n.Regions = j.together(n.Regions)
	lines := j.draft(n, j.workers)
	first := j.stand(p, lines)
	best := j.mend(p, first)
	if j.once {
		return best
	}
	if j.cells > secondCells || j.cells*len(lines) > secondWork {
		return j.refine(j.release(p, best))
	}
	drawings := j.others(n, lines)
	mixed := j.mixed(p, append([][]line{first.lines}, drawings...))
	all := j.compare(p, []finished{best}, j.rivals(p, first, mixed))
	if all[0].over > wobbles && !alike(mixed, drawings) {
		// What each region prints fastest as does not stand: whole drawings may.
		var known []finished
		for _, w := range all {
			known = append(known, w.finished)
		}
		all = j.compare(p, known, j.rivals(p, first, drawings))
	}
	return j.settle(p, all)
}

// alike tells whether two lists are of the same drawings.
func alike(a, b [][]line) bool {
	return slices.EqualFunc(a, b, func(a, b []line) bool { return slices.EqualFunc(a, b, sameCourse) })
}

// wobbles is by how many times the limits a layout may sway more than it may and be thought to
// stand once it is made firm.
const wobbles = 10.0

// settle refines the cheapest of some layouts and the quickest one, which may be made firm
// however it stands, and of the others one after the other until one stands. It returns the
// best of those.
func (j *job) settle(p plan.Plan, all []weighed) finished {
	best := j.refine(j.release(p, all[0].finished))
	price, over := j.score(best, math.Inf(1))
	rest := slices.Clone(all[1:])
	quickest := slices.MinFunc(all, func(a, b weighed) int { return cmp.Compare(a.time, b.time) }).time
	if q := slices.IndexFunc(rest, func(w weighed) bool { return w.time == quickest }); q > 0 && all[0].time > quickest {
		rest = append([]weighed{rest[q]}, slices.Delete(rest, q, q+1)...)
	}
	for n, w := range rest {
		if n == refinements || over == 0 && (n > 0 || w.time > nearly*all[0].time || all[0].time > twoTime) {
			break
		}
		if w.time > forFirmness*all[0].time {
			continue
		}
		other := j.refine(j.release(p, w.finished))
		if is, sways := j.score(other, math.Inf(1)); other.bare <= best.bare && rather(is, sways, price, over) {
			best, price, over = other, is, sways
		}
	}
	return best
}

// weighed is a layout with its price, what it takes to print however it stands, in seconds,
// and by how much it sways more than it may: see score.
type weighed struct {
	finished
	price, time, over float64
}

// compare finishes the best rivals of some layouts, and of the best of them all also one on
// spurs. It returns those that leave least bare, the cheapest first.
func (j *job) compare(p plan.Plan, known []finished, rivals []stood) (all []weighed) {
	add := func(f finished) {
		if len(all) > 0 && f.bare > all[0].bare || slices.ContainsFunc(all, func(w weighed) bool { return reflect.DeepEqual(w.plan, f.plan) }) {
			return
		}
		if len(all) > 0 && f.bare < all[0].bare {
			all = nil
		}
		price, over := j.score(f, math.Inf(1))
		all = append(all, weighed{f, price, price / steadiness(over), over})
		slices.SortStableFunc(all, func(a, b weighed) int { return cmp.Compare(a.price, b.price) })
	}
	for _, f := range known {
		add(f)
	}
	for i, other := range rivals {
		if i >= finalists && !math.IsInf(all[0].price, 1) {
			break
		}
		add(j.mend(p, other))
	}
	if hung := j.spurs(all[0].plan, all[0].lines); hung != nil {
		add(j.finish(p, hung))
	}
	return all
}

const (
	// nearly is how much longer the other one of two drawings may take to print than the best,
	// as a factor, to be refined as well, where the best takes no more than twoTime, in
	// seconds: refining saves that much on some.
	nearly, twoTime = 1.08, 1500.0
	// forFirmness is the same while the best does not stand, and refinements how many others
	// are then refined at most.
	forFirmness, refinements = 1.3, 4
)

// stood is a drawing on posts, before it is mended.
type stood struct {
	lines, ties []line
	plan        plan.Plan
	solids      *raster.Stack // nil where they cannot be grown
}

// stand sets lines on posts.
func (j *job) stand(p plan.Plan, lines []line) stood {
	lines = j.fit(lines)
	ties := j.fit(j.join(j.with(lines)))
	p.Lines = j.drawn(p.Lines, lines, ties)
	p.Posts = slices.Clone(p.Posts)
	j.posts(&p)
	return stood{lines, ties, p, j.grown(p)}
}

// drawn returns lines of a plan with those drawn added.
func (j *job) drawn(own []plan.Line, lines, ties []line) []plan.Line {
	out := slices.Clone(own)
	for _, l := range slices.Concat(lines, ties) {
		for _, l := range l.tidy(2 * j.part.Cell) {
			out = append(out, l.plan(len(out)+1))
		}
	}
	return out
}

// secondCells and secondWork bound the parts for which further drawings are finished and
// the best one taken, by the cells of all layers and by these times the lines of the
// first drawing: some seconds' work at most.
const secondCells, secondWork = 20_000_000, 1_500_000_000

// job is what finishing a layout takes besides its lines.
type job struct {
	*site
	print   *raster.Stack // the part as it is, without sheets and steps
	under   *grow.Undersides
	workers int
	cells   int         // of all the part's layers
	once    bool        // draw once: see Once
	memory  hold.Memory // of what the part came to on other supports
}

// finished is a layout and how good it is.
type finished struct {
	plan   plan.Plan
	lines  []line        // that it was made of, ties left out
	bare   int           // cells that it leaves bare
	solids *raster.Stack // nil where they cannot be grown
}

const (
	// unsteady is the share of a layout's price that it is the dearer for each time
	// that a body of its sways, or pulls at its foot, by the limit more than it may,
	// up to mostUnsteady times: a print that fails costs as much again.
	unsteady, mostUnsteady = 0.1, 10.0
	// forStanding is how many times as much a layout may cost that stands than one that does
	// not, where one of the two is taken at last: a few per cent, and what a drawing that is
	// moved or pared a little more might have saved.
	forStanding = 1.1
	// topples is how far outside what it stands on a body's centre of mass counts as much as
	// twice the sway that it may, in mm.
	topples = 1.0
)

// score returns what a layout costs, in seconds of print time as the plan weighs
// them, more if the proof finds it unsteady, and all there is if it does not hold. Over is
// by what share of the limits a body sways, or pulls at its foot, more than it may. What
// costs as much as most already is not proved.
func (j *job) score(f finished, most float64) (price, over float64) {
	if f.solids == nil {
		return math.Inf(1), 0
	}
	e := cost.Supports(f.solids, j.s, cost.Machine{})
	length := 0.0
	for _, l := range f.lines {
		length += l.length()
	}
	takes := f.plan.Taste.Weights.Score(e.TimeS, e.MassG, length*j.wall)
	if takes >= most {
		return takes, 0
	}
	proof, err := prove.Standing(j.print, f.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil {
		proof = prove.Report{} // told when the plan is proved
	}
	if proof.UnheldMM2 > 0 || proof.CollisionsMM3 > 0 {
		return math.Inf(1), 0
	}
	for _, b := range proof.Bodies {
		over = max(over, b.SwayMM/sway-1, b.FootMPa/j.s.Adhesion-1, b.TipMM/topples)
	}
	return takes * steadiness(over), over
}

// steadiness is the factor by which a layout is the dearer for what sways over the limits.
func steadiness(over float64) float64 { return 1 + unsteady*min(over, mostUnsteady) }

// rather tells whether a layout of a price, and by that share over the limits, is to be taken
// rather than another.
func rather(price, over, other, otherOver float64) bool {
	switch {
	case over <= 0 && otherOver > 0:
		return price < forStanding*other
	case over > 0 && otherOver <= 0:
		return forStanding*price < other
	}
	return price < other
}

// finish sets lines on posts, and mends what the grown walls leave bare.
func (j *job) finish(p plan.Plan, lines []line) finished { return j.mend(p, j.stand(p, lines)) }

// mend adds lines where the grown walls of a drawing over own leave the part bare.
func (j *job) mend(own plan.Plan, first stood) finished {
	lines, ties := first.lines, first.ties
	p, sup := first.plan, first.solids
	best, was := finished{}, -1
	for turn := 0; ; turn++ {
		if turn > 0 {
			ties = j.fitAmong(j.join(j.with(lines)), lines)
			p.Lines = j.drawn(own.Lines, lines, ties)
			// Lines that mend are few and short: they make do with the posts there are.
			p.Posts = slices.Clone(best.plan.Posts)
			j.catch(&p, j.network(&p))
			sup = j.grown(p)
		}
		open := j.open(sup)
		if turn == 0 || count(open) < best.bare {
			best = finished{p, lines, count(open), sup}
		}
		more := j.fitAmong(j.patches(open, turn), slices.Concat(lines, ties))
		if turn == mends || (turn+1)*j.cells > mendCells || len(more) == 0 || j.once && turn > 0 && stalls(was, count(open)) {
			return best
		}
		was = count(open)
		for i := range more {
			more[i].group = nearest(lines, more[i]).group
		}
		lines = slices.Concat(lines, more)
	}
}

// stalls tells whether a turn that left so many cells bare of those before is worth no other
// one where drawings are only compared: after one that took off less than a tenth, none of 27
// poses of two parts was ever mended to the last.
func stalls(before, after int) bool { return 10*after > 9*before }

// network returns the walls of a plan, for weighing posts under them.
func (j *job) network(p *plan.Plan) *grow.Network {
	return grow.NewNetwork(*p, j.s, j.under, j.part, grow.CoarsePitch)
}

// weigh grows a plan's solids and returns their layers, nil where they cannot be
// grown, and what of the part they leave bare at the planned bridge.
func (j *job) weigh(p plan.Plan) (*raster.Stack, []hold.Layer) {
	sup := j.grown(p)
	return sup, j.open(sup)
}

// open returns what of the part supports leave bare at the planned bridge.
func (j *job) open(sup *raster.Stack) []hold.Layer {
	if sup == nil {
		return nil // told when the plan is built
	}
	return j.memory.Judge(j.input(j.part.Cut, sup.Cut, j.workers))
}

// grown returns the layers of a plan's solids, nil where they cannot be grown. One
// drawing alone is only judged for what it leaves bare.
func (j *job) grown(p plan.Plan) *raster.Stack {
	solids := grow.GrowUnder
	if j.once {
		solids = grow.Unlinked
	}
	return j.layersOf(solids(p, j.under, j.print))
}

func (j *job) layersOf(solids []grow.Solid, err error) *raster.Stack {
	if err != nil {
		return nil
	}
	var all mesh.Mesh
	for i := range solids {
		all.Append(solids[i].Mesh)
	}
	return raster.Section(&all, j.part.Grid, j.part.Layers, j.workers)
}

// lookBack is how many layers of part and pads below, and above, the rules look at.
const lookBack = 8

// judge judges layers of the part, the first of which is layer k0, over as many of
// pads, at the planned bridge.
func (t *site) judge(layers, pads []raster.Bits, k0, workers int) []hold.Layer {
	out := hold.Judge(t.input(layers, pads, workers))
	for i := range out {
		out[i].K += k0
	}
	return out
}

// input is what judge hands to the rules.
func (t *site) input(layers, pads []raster.Bits, workers int) hold.Input {
	s := t.s
	s.Bridge *= 1 - s.Margin
	return hold.Input{
		Body:     &raster.Stack{Grid: t.part.Grid, Layers: t.part.Layers, Cut: layers},
		Other:    &raster.Stack{Grid: t.part.Grid, Layers: t.part.Layers, Cut: pads},
		Settings: s, Workers: workers,
	}
}

// crop returns the layers k0 ≤ k < k1 of the part round a region, as far as the
// beads over it may reach.
func (t *site) crop(r need.Region, k0, k1 int) []raster.Bits {
	x0, y0 := t.part.At(r2.Vec{X: r.Bounds.Min.X, Y: r.Bounds.Min.Y})
	x1, y1 := t.part.At(r2.Vec{X: r.Bounds.Max.X, Y: r.Bounds.Max.Y})
	m := int((t.s.Bridge+beadEnd)/t.part.Cell) + 1
	out := make([]raster.Bits, k1-k0)
	for k := range out {
		out[k] = raster.Crop(t.part.Layer(k0+k), x0-m, y0-m, x1+m+1, y1+m+1)
	}
	return out
}

// beadEnd is how far past a bridge, in mm, its landings and the outline's loops are
// looked at.
const beadEnd = 3.0

// nearest returns the one of lines that comes closest to l's middle.
func nearest(lines []line, l line) (near line) {
	mid := r2.Scale(0.5, r2.Add(l.at[0].Vec, l.at[len(l.at)-1].Vec))
	best := math.Inf(1)
	for _, o := range lines {
		if d := o.from(mid); d < best {
			near, best = o, d
		}
	}
	return near
}

// link returns lines with those down slopes linked end to end, up to so many at a
// time, region by region.
func (t *site) link(lines []line, most int) []line {
	var out, arms []line
	for i, l := range lines {
		if l.arm {
			arms = append(arms, l)
		} else {
			out = append(out, l)
		}
		if i+1 == len(lines) || lines[i+1].region != l.region {
			out = append(out, t.meander(arms, most)...)
			arms = nil
		}
	}
	return out
}

// draft draws lines under every region, a few regions at a time.
func (t *site) draft(n need.Need, workers int) []line {
	drawn := make([][]line, len(n.Regions))
	var eg errgroup.Group
	eg.SetLimit(workers)
	for i, r := range n.Regions {
		eg.Go(func() error {
			// Each has its share of the work allowed, whatever order they run in.
			own, share := *t, r.AreaMM2/n.AreaMM2
			own.prunes, own.repairs = int(share*pruneCells), int(share*repairCells)
			if len(t.fixed) > 0 {
				own.prunes = int(share * rivalCells)
			}
			lines := own.region(r, workers)
			if own.straddles(lines) {
				halve(lines, 2*i+1)
			}
			for k := range lines {
				lines[k].region = i
			}
			drawn[i] = lines
			return nil
		})
	}
	_ = eg.Wait() // drawing returns no error
	return slices.Concat(drawn...)
}

// halve puts lines that surround something into two groups, either of which comes
// off its own way: on the two sides of the straight cut through their middle that
// runs through the fewest of them.
func halve(lines []line, group int) {
	const (
		cuts  = 24
		apart = 0.6 // mm from the cut: half a wall, and room between the halves
	)
	var middle r2.Vec
	n := 0.0
	for _, l := range lines {
		for _, q := range l.at {
			middle = r2.Add(middle, q.Vec)
			n++
		}
	}
	middle = r2.Scale(1/n, middle)
	best, fewest := r2.Vec{}, math.Inf(1)
	for c := 0; c < cuts; c++ {
		sin, cos := math.Sincos(math.Pi * float64(c) / cuts)
		normal := r2.Vec{X: cos, Y: sin}
		through := 0.0
		for _, l := range lines {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, q := range l.at {
				d := r2.Dot(r2.Sub(q.Vec, middle), normal)
				lo, hi = min(lo, d), max(hi, d)
			}
			// By how much it is on either side, or too near the cut to be.
			through += max(0, min(hi, -lo)+apart)
		}
		if through < fewest-1e-6 {
			best, fewest = normal, through
		}
	}
	for i := range lines {
		mid := r2.Scale(0.5, r2.Add(lines[i].at[0].Vec, lines[i].at[len(lines[i].at)-1].Vec))
		lines[i].group = group
		if r2.Dot(r2.Sub(mid, middle), best) > 0 {
			lines[i].group++
		}
	}
}

// straddles tells whether lines stand on the part all round a piece of it, so
// that tied together they could neither drop nor be drawn off sideways.
func (t *site) straddles(lines []line) bool {
	low, stands := math.Inf(1), false
	x0, y0, x1, y1 := t.part.W, t.part.H, 0, 0
	for _, l := range lines {
		for _, q := range l.at {
			low = min(low, q.z)
			i, j := t.part.At(q.Vec)
			x0, y0, x1, y1 = min(x0, i), min(y0, j), max(x1, i), max(y1, j)
			ground, _ := grow.Descend(t.part, q.Vec, q.z-grow.WallDepth(t.s)-t.s.Clearance, 0)
			stands = stands || ground > 0
		}
	}
	if !stands {
		return false
	}
	// The middle of what they surround, below the lowest of them.
	layer := t.part.Layer(t.part.Above(low - 2*grow.WallDepth(t.s)))
	qx, qy := (x1-x0)/4, (y1-y0)/4
	middle := raster.NewBits(x0+qx, y0+qy, x1-qx, y1-qy)
	for j := y0 + qy; j < y1-qy; j++ {
		middle.SetSpan(j, x0+qx, x1-qx)
	}
	in := raster.And(&middle, layer)
	return !in.Empty()
}

// cells returns a half-open box of cells with room for a line, and for rounding.
func (t *site) cells(l line) (x0, y0, x1, y1 int) {
	x0, y0 = t.part.At(l.at[0].Vec)
	x1, y1 = x0, y0
	for _, p := range l.at {
		i, j := t.part.At(p.Vec)
		x0, y0, x1, y1 = min(x0, i), min(y0, j), max(x1, i), max(y1, j)
	}
	return x0 - 1, y0 - 1, x1 + 2, y1 + 2
}

// pads adds the top layers of a line's wall to layers, whose first layer is k0.
func (t *site) pads(l line, layers []raster.Bits, k0, void int) {
	const deep = 3
	grown := map[int]raster.Bits{}
	// Walls end square: what the disc below adds at the ends is left out here.
	total, end := l.length(), t.wall/2
	gone := 0.0
	x0, y0, x1, y1 := t.cells(l)
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		n := int(distance(a.Vec, b.Vec)/(t.part.Cell/2)) + 1
		for m := 0; m <= n; m++ {
			f := float64(m) / float64(n)
			q := r2.Add(a.Vec, r2.Scale(f, r2.Sub(b.Vec, a.Vec)))
			ci, cj := t.part.At(q)
			s := gone + f*distance(a.Vec, b.Vec)
			if !t.part.Contains(ci, cj) || total > t.wall && (s < end || s > total-end) {
				continue
			}
			k := t.part.Above(a.z+f*(b.z-a.z)-1e-6) - 1 - void
			if _, ok := grown[k]; !ok {
				grown[k] = raster.NewBits(x0, y0, x1, y1)
			}
			g := grown[k]
			g.Set(ci, cj)
		}
		gone += distance(a.Vec, b.Vec)
	}
	disc := raster.DiscOf(t.pad / 2 / t.part.Cell)
	for k, g := range grown {
		wide := raster.Dilate(&g, disc)
		for d := 0; d < deep; d++ {
			if n := k - d - k0; n >= 0 && n < len(layers) {
				layers[n].Add(&wide)
			}
		}
	}
}

// sharpest is the turn beyond which a wall is better built as two.
const sharpest = 135 * math.Pi / 180

// tidy drops points closer than apart and cuts the line where it turns back.
func (l line) tidy(apart float64) []line {
	var out []line
	var run []point
	for i, p := range l.at {
		if len(run) > 0 && distance(run[len(run)-1].Vec, p.Vec) < apart {
			if i == len(l.at)-1 && len(run) > 1 {
				run[len(run)-1] = p
			}
			continue
		}
		if n := len(run); n > 1 {
			a, b := r2.Sub(run[n-1].Vec, run[n-2].Vec), r2.Sub(p.Vec, run[n-1].Vec)
			if math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b))) > sharpest {
				out = append(out, line{at: run, tie: l.tie, group: l.group})
				run = []point{run[n-1]}
			}
		}
		run = append(run, p)
	}
	if len(run) > 1 {
		out = append(out, line{at: run, tie: l.tie, group: l.group})
	}
	return out
}

func (l line) plan(n int) plan.Line {
	out := plan.Line{ID: fmt.Sprintf("L%d", n), By: plan.Tool, Tie: l.tie}
	if l.tie {
		out.ID = fmt.Sprintf("T%d", n)
	}
	for _, q := range l.at {
		out.At = append(out.At, [3]float64{round(q.X, 1e-3), round(q.Y, 1e-3), round(q.z, 1e-3)})
	}
	return out
}

// extents returns how long cells are along an angle and across it.
func (t *site) extents(cells *raster.Bits, a float64) (along, across float64) {
	u0, u1 := t.extent(cells, a)
	v0, v1 := t.extent(cells, a+math.Pi/2)
	return u1 - u0, v1 - v0
}
