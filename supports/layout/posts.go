package layout

import (
	"cmp"
	"container/heap"
	"fmt"
	"math"
	"slices"

	"falsework/supports/grow"
	"falsework/supports/plan"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
)

const (
	// drag is the sideways pull of a passing nozzle, in newton: an assumption.
	drag = 0.5
	// modulus is Young's modulus of PLA printed upright, in MPa: doi
	// 10.1089/3dp.2020.0109.
	modulus = 2400.0
	// sway is how far a post's head may give way, in mm: a quarter of a line.
	// Common practice, no source.
	sway = 0.1
	// stemShare is what of it a hollow post may use up as a beam, when its width is chosen:
	// the walls that leave it give way too. Demo parts took less and stood as well with 0.6
	// than with 1; the proof has the last word.
	stemShare = 0.6
	// speed and islandTime price a layer: mm/s along a line, and the seconds that
	// every further island costs in travel and retraction at 150 mm/s and 0.075 s
	// each way.
	speed, islandTime = 57.0, 0.28
	// partFoot multiplies the price of a post that stands on the part: a scar on
	// a face that would have none.
	partFoot = 6.0
	// soleReach is the stretch of wall to each side, in mm, that stands on the
	// ground as a sole.
	soleReach = 2.5
	// lowHead is the height, in mm, under which a post is not worth its outline
	// and the wall itself goes down as a sole.
	lowHead = 4.0
	// candidatePitch spaces the places tried for posts, in mm.
	candidatePitch = 2.0
	// weighBudget bounds the weighing of one structure, in stations priced: a tenth
	// of a second or two. What is then unreached gets soles.
	weighBudget = 6000000
	// onceBudget is the same where drawings are only compared: points of the best eight poses
	// of a part changed by 0.3 % at most.
	onceBudget = weighBudget / 4
	// widestPitch is where thinning the places out ends, in mm.
	widestPitch = 20.0
	// maxCandidates bounds the places tried for one structure.
	maxCandidates = 64
)

// sides lists the widths of hollow posts, in mm, and rooms those that room is looked for.
var (
	sides = [...]float64{2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8, 9, 10, 11, 12, 13.5, 15, 18}
	rooms = [...]float64{3, 4, 5, 6, 8, 10, 12, 15, 18}
)

// gives returns how far the top of a beam all mm tall gives way under the drag, in
// mm, if it bends up to h as a section of second moment i does and is rigid from
// there on: F·h·(H² − H·h + h²/3)/(E·I), the cantilever formula's integral.
func gives(h, all, i float64) float64 {
	return drag * h * (all*all - all*h + h*h/3) / (modulus * i)
}

// side returns the least hollow post up to room wide, h mm high, on which what stands
// all mm tall and gives way by trunk mm itself above it sways no more than it may, or
// else the widest, and by how much all gives way, in mm.
func side(h, all, trunk, room, wall float64) (width, give float64) {
	for _, a := range sides {
		if width > 0 && a > max(room, rooms[0]) {
			break
		}
		moment, _ := grow.Tube(a, wall)
		if width, give = a, gives(h, all, moment)+trunk; give <= stemShare*sway {
			break
		}
	}
	return width, give
}

// spot is a place that a post may stand at.
type spot struct {
	station int
	foot    float64    // 0 on the plate
	reach   float64    // of a sole, mm; 0 for a hollow post
	under   string     // the line that a sole stands under, all of it
	stiff   float64    // second moment about the weak axis of a sole here, mm⁴
	trunk   float64    // that of the walls where they leave a hollow post
	room    float64    // widest hollow post that fits, mm
	dist    []float64  // to every station of the structure, mm along the walls
	from    []int      // the next station on that way, −1 at the foot
	order   []int      // the stations that have one, from the furthest back
	post    *plan.Post // the designer's, which stands here
	poor    bool       // on the part, with no void that prints well
}

// structure is one connected stretch of walls whose posts are being chosen.
type structure struct {
	*site
	net      *grow.Network
	lines    []plan.Line
	stations []int
	index    []int // of all the network's stations: the place in stations, of its own structure
	owner    []int // likewise: the structure
	number   int   // this one's
	chains   []chain
	bridges  []int     // those of them that may be ties
	pieces   []piece   // of the chains
	joints   [][]int   // the pieces that come together at a place, for each
	least    float64   // that all pieces take at least, s
	crests   []float64 // the highest top of each joint's pieces
	tops     []float64 // of the stations, as floors
	floors   []float64
	lifted   []bool // of the stations, nil where none is
	spots    []spot
	rise     float64
	depth    float64
	pinned   []plan.Post // all that the designer placed
	fixed    int         // so many of the spots, the first, are the designer's posts
	workers  int
	budget   int // of weighing, 0 for weighBudget
}

// structures splits a network into connected ones.
func (t *site) structures(n *grow.Network, lines []plan.Line) []*structure {
	index, owner := make([]int, len(n.Stations)), make([]int, len(n.Stations))
	for i := range owner {
		owner[i] = -1
	}
	var out []*structure
	for i := range n.Stations {
		if owner[i] >= 0 {
			continue
		}
		g := &structure{site: t, net: n, lines: lines, index: index, owner: owner, number: len(out), rise: 1 / math.Tan(t.s.Lean), depth: grow.WallDepth(t.s)}
		todo := []int{i}
		owner[i] = g.number
		for len(todo) > 0 {
			at := todo[0]
			todo = todo[1:]
			index[at] = len(g.stations)
			g.stations = append(g.stations, at)
			for _, w := range n.Next(at) {
				if owner[w.To] < 0 {
					owner[w.To] = g.number
					todo = append(todo, w.To)
				}
			}
		}
		out = append(out, g)
	}
	chains, straight := n.Chains()
	for c, at := range chains {
		ch := chain{bridge: straight[c]}
		for _, id := range at {
			ch.at = append(ch.at, index[id])
		}
		g := out[owner[at[0]]]
		g.chains = append(g.chains, ch)
	}
	for _, g := range out {
		g.piecemeal()
	}
	return out
}

// survey lists the places that a post may stand at.
func (g *structure) survey() {
	taken := map[[3]int]bool{}
	pitch := candidatePitch
	own := map[int]bool{}
	for _, at := range g.stations {
		own[g.net.Stations[at].Line] = true
	}
	few := len(own) <= maxCandidates/2 // every line may have a post of its own
	for {
		g.spots = nil
		clear(taken)
		for _, at := range g.stations {
			s := &g.net.Stations[at]
			box := [3]int{int(math.Floor(s.P.X / pitch)), int(math.Floor(s.P.Y / pitch))}
			if few {
				box[2] = s.Line
			}
			if taken[box] {
				continue
			}
			if sp, ok := g.spot(at); ok {
				taken[box] = true
				g.spots = append(g.spots, sp)
			}
		}
		if len(g.spots) <= maxCandidates || pitch > widestPitch {
			break
		}
		pitch *= 1.5
	}
	g.spots = slices.Concat(g.given(), g.spots, g.footings())
	for i := range g.spots {
		p := &g.spots[i]
		p.dist, p.from, p.order = g.distances(p)
	}
}

const (
	// leastFooting and mostFootings bound the lines that a sole is tried under:
	// the longest, from a length of mm on that posts would be dear for.
	leastFooting, mostFootings = 8.0, 6
)

// footings returns soles under whole lines: where walls are low, one that stands on
// the ground all along is one bead a layer, several posts are several.
func (g *structure) footings() []spot {
	var out []spot
	length := map[int]float64{}
	first := map[int]int{}
	var order []int
	for _, at := range g.stations {
		l := g.net.Stations[at].Line
		if _, seen := first[l]; !seen {
			wall := g.net.Walls[l]
			first[l] = wall[len(wall)/2]
			for i := 1; i < len(wall); i++ {
				length[l] += distance(g.net.Stations[wall[i-1]].P, g.net.Stations[wall[i]].P)
			}
			order = append(order, l)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(length[b], length[a]) })
	for _, l := range order[:min(len(order), mostFootings)] {
		s := &g.net.Stations[first[l]]
		if length[l] < leastFooting || !g.stands(s, s.Ground) || g.struckPost(s.P) {
			continue
		}
		for _, r := range footingReaches {
			out = append(out, spot{station: first[l], foot: s.Ground, reach: r, under: g.lines[l].ID, poor: !s.Clear()})
		}
	}
	return out
}

// footingReaches are how far walls that meet a sole's line are tried to stand
// beside it, in mm: a straight wall alone gives way sideways.
var footingReaches = [...]float64{0.05, 0.5, 1.5, 3, 5}

// firm tells how wide a hollow post must be at a spot for what it carries up to top,
// 0 for a sole, and by how much it gives way more than it may, as a share. On a sole under a whole line what spreads
// from the head up is stiff, since walls across it spread; a lone stretch of wall
// bends all the way up. What a foot of walls pulls off the plate with is F·H/W, W
// being its section modulus.
func (g *structure) firm(p *spot, head, top float64) (width, over float64) {
	h, all := head-p.foot, top-p.foot
	if p.reach == 0 && h > 0 {
		width, give := side(h, all, gives(all-h, all-h, p.trunk), min(p.room, grow.WidestPost(h, g.s)), g.wall)
		return width, max(0, give/sway-1)
	}
	half := p.reach
	if half == 0 {
		half = soleReach
	}
	if p.under == "" {
		h = all
	}
	over = gives(h, all, p.stiff)/sway - 1
	if p.foot == 0 {
		over = max(over, drag*all*half/p.stiff/g.s.Adhesion-1)
	}
	return 0, max(0, over)
}

// standing returns which of the stations stand at a spot's foot and hang together
// with its own there.
func (g *structure) standing(p *spot, afoot []int) []int {
	in := map[int]bool{}
	for _, at := range afoot {
		if g.stands(&g.net.Stations[at], p.foot) {
			in[at] = true
		}
	}
	var out []int
	for todo := []int{p.station}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if !in[at] {
			continue
		}
		in[at] = false
		out = append(out, at)
		for _, w := range g.net.Next(at) {
			todo = append(todo, w.To)
		}
	}
	slices.Sort(out)
	return out
}

// inertia returns the second moment about the weak axis, in mm⁴, of walls that
// stand at the given stations.
func (g *structure) inertia(afoot []int) float64 {
	in := make(map[int]bool, len(afoot))
	for _, at := range afoot {
		in[at] = true
	}
	var area, x, y, xx, xy, yy float64
	for _, at := range afoot {
		for _, w := range g.net.Next(at) {
			if w.To < at || !in[w.To] {
				continue
			}
			p, q := g.net.Stations[at].P, g.net.Stations[w.To].P
			a, m, d := g.wall*w.Length, r2.Scale(0.5, r2.Add(p, q)), r2.Sub(q, p)
			area, x, y = area+a, x+a*m.X, y+a*m.Y
			// A thin wall about its middle, a·d²/12, and about the origin.
			xx += a * (m.X*m.X + d.X*d.X/12)
			xy += a * (m.X*m.Y + d.X*d.Y/12)
			yy += a * (m.Y*m.Y + d.Y*d.Y/12)
		}
	}
	if area == 0 {
		return 0
	}
	xx, xy, yy = xx-x*x/area, xy-x*y/area, yy-y*y/area
	least := (xx+yy)/2 - math.Hypot((xx-yy)/2, xy)
	return max(least, 0) + area*g.wall*g.wall/12
}

// spot tells what can stand below a station.
func (g *structure) spot(at int) (spot, bool) {
	s := &g.net.Stations[at]
	if g.struckPost(s.P) {
		return spot{}, false
	}
	best := spot{station: at, foot: s.Ground, reach: soleReach, poor: !s.Clear()}
	for _, a := range rooms {
		low, seated := g.descend(s.P, s.Top-g.depth-g.s.Clearance, a/math.Sqrt2+g.s.Clearance)
		if low > 0 && (!seated || low > s.Top-g.depth-lowHead) {
			break
		}
		if a == rooms[0] || low == best.foot {
			best.foot, best.reach, best.room = low, 0, a
		}
	}
	if best.reach > 0 {
		seat, ok := s.Seat(g.s)
		return best, ok && seat < s.Top-g.depth
	}
	return best, true
}

// distances returns the shortest way along the walls from a spot's footprint to
// every station of the structure, the next station on it, and those that have one from
// the furthest back.
func (g *structure) distances(p *spot) (d []float64, from, order []int) {
	d, from = make([]float64, len(g.stations)), make([]int, len(g.stations))
	for i := range d {
		d[i], from[i] = math.Inf(1), -1
	}
	post := plan.Post{At: [2]float64{g.net.Stations[p.station].P.X, g.net.Stations[p.station].P.Y}, Reach: p.reach, Under: p.under}
	if p.reach == 0 {
		post.Side = sides[0] // the least that it may turn out to be
	}
	if p.post != nil {
		post = *p.post
	}
	var todo far
	stand := func(i int) {
		if g.gathers(g.stations[i], p) && (p.reach == 0 || g.stands(&g.net.Stations[g.stations[i]], p.foot)) {
			d[i] = 0
			todo = append(todo, step{0, i})
		}
	}
	var afoot []int
	if p.under != "" {
		afoot = g.net.Afoot(g.lines, post)
		for _, at := range afoot {
			if g.owner[at] == g.number {
				stand(g.index[at])
			}
		}
		slices.SortFunc(todo, func(a, b step) int { return a.at - b.at })
	} else {
		for i, at := range g.stations {
			if grow.Within(post, g.net.Stations[at].P) {
				stand(i)
				afoot = append(afoot, at)
			}
		}
	}
	if p.reach == 0 {
		// Should its head come down to the ground, it is a sole.
		post.Side, post.Reach = 0, soleReach
		afoot = afoot[:0]
		for _, at := range g.stations {
			if grow.Within(post, g.net.Stations[at].P) {
				afoot = append(afoot, at)
			}
		}
	}
	p.stiff = g.inertia(g.standing(p, afoot))
	// All of them are as far and in order, so they are a heap already.
	for len(todo) > 0 {
		s := heap.Pop(&todo).(step)
		if s.d > d[s.at] {
			continue
		}
		if from[s.at] >= 0 {
			order = append(order, s.at)
		}
		for _, w := range g.net.Next(g.stations[s.at]) {
			i := g.index[w.To]
			if !g.gathers(w.To, p) {
				continue
			}
			if e := s.d + w.Length; e < d[i]-1e-9 {
				d[i], from[i] = e, s.at
				heap.Push(&todo, step{e, i})
			}
		}
	}
	var trunk []int
	for i, e := range d {
		if e <= grow.Brace {
			trunk = append(trunk, g.stations[i])
		}
	}
	p.trunk = g.inertia(trunk)
	slices.Reverse(order)
	slices.SortFunc(order, byFurthest(d)) // places as far off as others are not in order yet
	return d, from, order
}

// stands tells whether the wall at a station can stand on a sole with its foot at
// this height.
func (g *structure) stands(s *grow.Station, foot float64) bool {
	_, ok := s.Seat(g.s)
	return ok && math.Abs(s.Ground-foot) <= grow.SoleStep
}

type step struct {
	d  float64
	at int
}

// far is a heap of steps, the nearest on top.
type far []step

func (f far) Len() int           { return len(f) }
func (f far) Less(i, j int) bool { return f[i].d < f[j].d || f[i].d == f[j].d && f[i].at < f[j].at }
func (f far) Swap(i, j int)      { f[i], f[j] = f[j], f[i] }
func (f *far) Push(x any)        { *f = append(*f, x.(step)) }
func (f *far) Pop() any {
	old := *f
	x := old[len(old)-1]
	*f = old[:len(old)-1]
	return x
}

// choose picks the spots that make the structure cheapest: greedy addition, then
// exchange, until neither helps (facility location; Kuehn and Hamburger 1963,
// Management Science 9(4) 643–666).
func (g *structure) choose() (choice []int, heads []float64, total float64) {
	total = math.Inf(1)
	budget := cmp.Or(g.budget, weighBudget)
	var pool ledgers
	take := func(c []int, s serve, t float64) {
		l := pool.get(g)
		defer pool.put(l)
		_, h := g.price(c, s, math.Inf(1), l)
		choice, heads, total = slices.Clone(c), slices.Clone(h), t
	}
	// add looks for the spot that makes base the cheapest and takes it, if that is cheaper
	// than the choice.
	add := func(base []int, s serve) (better bool) {
		n := min(len(g.spots)-g.fixed, max(0, budget)/len(g.stations))
		budget -= (len(g.spots) - g.fixed) * len(g.stations)
		best := -1
		for m, t := range g.prices(base, s, n, total, &pool) {
			if t < total-1e-6 {
				best, total = g.fixed+m, t
			}
		}
		if best < 0 {
			return false
		}
		with := newServe(len(g.stations))
		take(append(slices.Clip(base), best), g.with(&with, s, len(base), best), total)
		return true
	}
	for c := range g.fixed {
		choice = append(choice, c)
	}
	if g.fixed > 0 {
		s, l := g.serveBy(choice), g.ledger()
		t, _ := g.price(choice, s, math.Inf(1), l)
		take(choice, s, t)
	}
	for add(slices.Clone(choice), g.serveBy(choice)) {
	}
	for round, better := 0, true; better && round < 4; round++ {
		better = false
		for c := g.fixed; c < len(choice); c++ {
			rest := slices.Delete(slices.Clone(choice), c, c+1)
			s := g.serveBy(rest)
			if len(rest) > 0 {
				if budget -= len(g.stations); budget >= 0 {
					l := pool.get(g)
					t, _ := g.price(rest, s, total, l)
					pool.put(l)
					if t < total-1e-6 {
						take(rest, s, t)
						better = true
						break
					}
				}
			}
			if add(rest, s) {
				better = true
				continue
			}
			// What the walls beside a line do for a sole, another one may.
			if slim := g.slimmer(choice[c]); slim >= 0 {
				with := slices.Clone(choice)
				with[c] = slim
				if add(with, g.serveBy(with)) {
					better = true
				}
			}
		}
	}
	return
}

// slimmer returns the spot of a sole under the same line that takes in least of the walls
// beside it, −1 if the spot is that itself or no such sole.
func (g *structure) slimmer(spot int) int {
	p := &g.spots[spot]
	if p.under == "" || p.post != nil {
		return -1
	}
	best := spot
	for i := range g.spots {
		if q := &g.spots[i]; q.post == nil && q.under == p.under && q.reach < g.spots[best].reach {
			best = i
		}
	}
	if best == spot {
		return -1
	}
	return best
}

// prices returns what the first n spots of those to choose from cost, each beside a
// choice that serves as s, several at a time. Those that come to most or more may be told
// as infinite.
func (g *structure) prices(base []int, s serve, n int, most float64, pool *ledgers) []float64 {
	out := make([]float64, n)
	each := func(from, to int) {
		l := pool.get(g)
		defer pool.put(l)
		with := append(slices.Clip(base), -1)
		for m := from; m < to; m++ {
			with[len(base)] = g.fixed + m
			out[m], _ = g.price(with, g.with(&l.serve, s, len(base), g.fixed+m), most, l)
		}
	}
	parts := min(g.workers, n*len(g.stations)/leastShare+1)
	if parts <= 1 {
		each(0, n)
		return out
	}
	var eg errgroup.Group
	for part := range parts {
		eg.Go(func() error {
			each(n*part/parts, n*(part+1)/parts)
			return nil
		})
	}
	_ = eg.Wait() // pricing returns no error
	return out
}

// leastShare is how many stations priced are worth a task of their own.
const leastShare = 20000

// posts chooses posts for every structure of the plan's walls, a few structures
// at a time.
func (j *job) posts(p *plan.Plan) {
	n := j.network(p)
	all := j.structures(n, p.Lines)
	given := slices.Clone(p.Posts)
	chosen := make([][]plan.Post, len(all))
	var eg errgroup.Group
	eg.SetLimit(j.workers)
	for i, g := range all {
		g.pinned, g.workers = given, j.workers
		if j.once {
			g.budget = onceBudget
		}
		eg.Go(func() error {
			g.survey()
			if len(g.spots) > 0 {
				chosen[i] = g.posts()
			}
			return nil
		})
	}
	_ = eg.Wait() // choosing returns no error
	for _, posts := range chosen {
		for _, q := range posts {
			q.ID = fmt.Sprintf("P%d", len(p.Posts)+1)
			p.Posts = append(p.Posts, q)
		}
	}
	j.catch(p, n)
}

// posts returns the posts that make the structure cheapest.
func (g *structure) posts() []plan.Post {
	var out []plan.Post
	choice, heads, _ := g.choose()
	for c, sp := range choice {
		s := &g.spots[sp]
		if s.post != nil {
			continue
		}
		at := g.net.Stations[s.station].P
		q := plan.Post{
			By: plan.Tool, At: [2]float64{round(at.X, 1e-3), round(at.Y, 1e-3)},
			Head: round(heads[c], 1e-3), Foot: round(s.foot, 1e-3),
		}
		if s.reach > 0 || heads[c] <= s.foot {
			if q.Reach, q.Under = s.reach, s.under; q.Under == "" {
				q.Reach, q.Head = soleReach, q.Foot
			}
		} else {
			q.Side, _ = g.firm(s, heads[c], g.net.Stations[s.station].Top)
		}
		out = append(out, q)
	}
	return out
}

// catch adds soles under walls that no post reaches after all: paths that the
// part is in the way of, ends too low for the lean.
func (t *site) catch(p *plan.Plan, n *grow.Network) {
	depth := grow.WallDepth(t.s)
	tried, used := map[int]bool{}, map[string]bool{}
	for i := range p.Posts {
		used[p.Posts[i].ID] = true
	}
	fresh := len(p.Posts) + 1 // the number of a post's id
	n.Hang(*p)
	n.Ties() // what is cut to a tie hangs from nothing and need not
	for w := 0; w < len(n.Walls); {
		at := -1
		wall := n.Walls[w]
		// The middle of the first stretch that hangs from nothing.
		for i := 0; i < len(wall) && at < 0; i++ {
			k := i
			for ; k < len(wall); k++ {
				s := &n.Stations[wall[k]]
				if _, ok := s.Seat(t.s); s.Low <= s.Top-depth+t.s.Layer || !ok || tried[wall[k]] {
					break
				}
			}
			if k > i {
				at = wall[(i+k-1)/2]
			}
			i = k
		}
		if at < 0 {
			w++
			continue
		}
		tried[at] = true
		s := &n.Stations[at]
		if t.struckPost(s.P) {
			continue
		}
		for ; used[fmt.Sprintf("P%d", fresh)]; fresh++ {
		}
		q := plan.Post{
			ID: fmt.Sprintf("P%d", fresh), By: plan.Tool,
			At:    [2]float64{round(s.P.X, 1e-3), round(s.P.Y, 1e-3)},
			Reach: soleReach, Head: round(s.Ground, 1e-3), Foot: round(s.Ground, 1e-3),
		}
		// A tall one would be too slender, if there is room for a hollow post.
		g := &structure{site: t, net: n, depth: depth}
		head := s.Top - depth - t.s.Clearance - grow.HeadOverlap
		if sp, ok := g.spot(at); ok && sp.reach == 0 && head > sp.foot+lowHead {
			q.Reach = 0
			q.Side, _ = side(head-sp.foot, s.Top-sp.foot, 0, min(sp.room, grow.WidestPost(head-sp.foot, t.s)), t.wall)
			q.Head, q.Foot = round(head, 1e-3), round(sp.foot, 1e-3)
		}
		p.Posts, fresh = append(p.Posts, q), fresh+1
		n.HangFrom(*p, len(p.Posts)-1)
	}
}

func round(v, unit float64) float64 { return math.Round(v/unit) / math.Round(1/unit) }
