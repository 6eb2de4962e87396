package grow

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// Station is a place on a wall.
type Station struct {
	P    r2.Vec
	Top  float64 // the wall's upper edge
	Low  float64 // its lower edge; +Inf where no post reaches
	Line int     // index of the line in the plan
	Near int     // index of the post that it hangs from, −1 for none
	// Floor is how low the wall may go without meeting the part.
	Floor float64
	// Ground is the part's upper side right under the wall, 0 for the plate.
	Ground float64

	seat     float64 // where a wall that stands on Ground begins
	clear    bool    // of it, by a void that prints well
	tooth    float64 // where a tooth ends that fuses the wall to the part
	along    float64 // distance from the line's first point
	parent   int     // next station on the way to the post, −1 at it
	hollow   bool    // over a hollow post, whose bore the wall bridges
	bear     float64 // how high the wall may begin for a tie that it carries
	tied     bool    // inside a tie: hangs from its ends
	barred   bool    // by a zone, from standing here
	lifted   bool    // by a zone below that walls may go over
	relieved bool    // only carries: see plan.Line
	next     []Way
}

// Way joins two stations that share material.
type Way struct {
	To     int
	Length float64
}

// Network is all walls of a plan, joined where they meet.
type Network struct {
	Stations []Station
	Walls    [][]int // for each line, its stations in order
	byX      []int   // the stations from the leftmost on
	settings supports.Settings
	under    *Undersides
	pitch    float64
	pad      float64 // thickness of a wall's top, under the part
	braces   []bool  // of the lines, those that may be: see brace
}

const (
	// finePitch spaces the stations of a wall that is built, in mm, so that a
	// top follows a curved underside of 10 mm radius to 3 µm. CoarsePitch is for
	// weighing layouts.
	finePitch   = 0.5
	CoarsePitch = 1.0
	// surfaceReach is how far, in mm, the underside may be from the height that
	// a plan states: further and the plan was drawn for another part.
	surfaceReach = 1.5
	// MinWall is the least height of a wall under a contact and of a tie, in mm
	// and in layers: enough layers over a bridge for its sag to heal. Common
	// practice, no source.
	MinWall       = 0.8
	minWallLayers = 3
	// Relief is by how many layers a wall that only carries ends lower than one that the
	// part lies on: with one, the void above would print as wide as one that holds.
	Relief = 2
	// SoleStep is how far from a sole's foot, in mm, its own ground may lie.
	SoleStep = 2.0
	// levelTops is how much the tops of a tie may differ, in mm.
	levelTops = 0.8
	// tipDrop is how much lower than at the station itself, in mm, the part must
	// reach between two stations to be a tip and not their slope.
	tipDrop = 0.35
	// Brace is how far from a post, in mm along the walls, they are as tall as they
	// can be, for the trunk that they make: two crossed walls 2 × 4 mm long have a
	// second moment of 20 mm⁴, and bend 0.1 mm under 0.5 N at 30 mm of PLA.
	Brace = 4.0
	// JoinHeights is how far the tops of two walls may differ, in mm, and still
	// be one structure where they cross in plan.
	JoinHeights = 3.0
)

// WallDepth returns the least height of a wall for these settings.
func WallDepth(s supports.Settings) float64 { return max(MinWall, minWallLayers*thickest(s)) }

// thickest returns the height of the thickest layers that a plan must hold at.
func thickest(s supports.Settings) float64 {
	return slices.Max(append([]float64{s.Layer}, s.Heights...))
}

// NewNetwork places stations on every line of p, no further apart than pitch mm,
// and joins walls that meet. Lower
// edges are not set yet; see Hang.
func NewNetwork(p plan.Plan, s supports.Settings, under *Undersides, part *raster.Stack, pitch float64) *Network {
	n := &Network{settings: s, under: under, pitch: pitch, pad: max(p.Taste.Pad, s.Wall)}
	stops := make([][]float64, len(p.Lines)) // along each line
	lines := slices.Clone(p.Lines)
	relieved := make([][]bool, len(lines))
	for l := range lines {
		lines[l].At, relieved[l] = lines[l].Course()
		lines[l].Round, lines[l].Relieved = 0, nil
	}
	meets := crossings(lines, s.Wall, stops)
	for l := range lines {
		n.addLine(l, lines[l], relieved[l], stops[l])
	}
	passed, joined := make([]int, len(p.Lines)), make([]bool, len(p.Lines))
	var spurs [][2]int // low and high station
	for _, m := range meets {
		a, b := n.at(m.a, m.sa), n.at(m.b, m.sb)
		up := n.Stations[a].Top - n.Stations[b].Top
		if up > 0 {
			a, b = b, a
		}
		if low := n.Stations[a].Line; math.Abs(up) > JoinHeights {
			passed[low]++
			if wall := n.Walls[low]; p.Lines[low].Tie && (a == wall[0] || a == wall[len(wall)-1]) {
				spurs = append(spurs, [2]int{a, b})
			}
		} else if a != b {
			n.join(a, b)
			joined[m.a], joined[m.b] = true, true
		}
	}
	// A tie that meets a wall far below its top is a spur if it meets one at its own
	// height besides, and that hangs from the other by it.
	for _, s := range spurs {
		if joined[n.Stations[s[0]].Line] {
			n.join(s[0], s[1])
		}
	}
	n.braces = make([]bool, len(p.Lines))
	for l, wall := range n.Walls {
		stands := slices.ContainsFunc(p.Posts, func(q plan.Post) bool { return q.Under != "" && q.Under == p.Lines[l].ID })
		n.braces[l] = p.Lines[l].Tie && !stands && passed[l] > 1 && !joined[l] && n.Stations[wall[len(wall)-1]].along <= s.Bridge*(1-s.Margin)
	}
	n.floors(lines, part, under)
	n.byX = make([]int, len(n.Stations))
	for i := range n.byX {
		n.byX[i] = i
	}
	slices.SortFunc(n.byX, func(a, b int) int { return cmp.Compare(n.Stations[a].P.X, n.Stations[b].P.X) })
	if len(p.Zones) > 0 {
		n.heed(p.Zones, under)
	}
	return n
}

func (n *Network) join(a, b int) {
	d := math.Sqrt(r2.Norm2(r2.Sub(n.Stations[a].P, n.Stations[b].P)))
	n.Stations[a].next = append(n.Stations[a].next, Way{b, d})
	n.Stations[b].next = append(n.Stations[b].next, Way{a, d})
}

// meeting is where two lines meet: distances along each.
type meeting struct {
	a, b   int
	sa, sb float64
}

// crossings finds where lines cross or nearly touch, and adds the places to
// stops.
func crossings(lines []plan.Line, wall float64, stops [][]float64) []meeting {
	var out []meeting
	add := func(a, b int, sa, sb float64) {
		stops[a] = append(stops[a], sa)
		stops[b] = append(stops[b], sb)
		out = append(out, meeting{a, b, sa, sb})
	}
	boxes := make([][4]float64, len(lines))
	for l := range lines {
		b := [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for _, q := range lines[l].At {
			b = [4]float64{min(b[0], q[0]), min(b[1], q[1]), max(b[2], q[0]), max(b[3], q[1])}
		}
		boxes[l] = b
	}
	// Walls share material where an end stands within half a wall of the other's
	// middle; a little less makes the overlap real.
	touch := 0.45 * wall
	for a := range lines {
		for b := a; b < len(lines); b++ {
			p, q := boxes[a], boxes[b]
			if p[0] > q[2]+touch || q[0] > p[2]+touch || p[1] > q[3]+touch || q[1] > p[3]+touch {
				continue
			}
			sa := 0.0
			for i := 0; i+1 < len(lines[a].At); i++ {
				a0, a1 := xy(lines[a].At[i]), xy(lines[a].At[i+1])
				la := dist(a0, a1)
				sb := 0.0
				for j := 0; j+1 < len(lines[b].At); j++ {
					b0, b1 := xy(lines[b].At[j]), xy(lines[b].At[j+1])
					lb := dist(b0, b1)
					if a != b || j > i+1 {
						if ta, tb, ok := meet(a0, a1, b0, b1, touch); ok {
							add(a, b, sa+ta*la, sb+tb*lb)
						}
					}
					sb += lb
				}
				sa += la
			}
		}
	}
	return out
}

func xy(q [3]float64) r2.Vec { return r2.Vec{X: q[0], Y: q[1]} }

func dist(a, b r2.Vec) float64 { return math.Sqrt(r2.Norm2(r2.Sub(a, b))) }

// meet returns where two segments cross, as shares of each, or where an end of
// one comes within touch of the other.
func meet(a0, a1, b0, b1 r2.Vec, touch float64) (ta, tb float64, ok bool) {
	da, db, d := r2.Sub(a1, a0), r2.Sub(b1, b0), r2.Sub(b0, a0)
	if c := r2.Cross(da, db); math.Abs(c) > 1e-12 {
		ta, tb = r2.Cross(d, db)/c, r2.Cross(d, da)/c
		if ta >= 0 && ta <= 1 && tb >= 0 && tb <= 1 {
			return ta, tb, true
		}
	}
	best := touch
	try := func(p, s0, s1 r2.Vec) (float64, bool) {
		v := r2.Sub(s1, s0)
		t := 0.0
		if l := r2.Norm2(v); l > 0 {
			t = min(1, max(0, r2.Dot(r2.Sub(p, s0), v)/l))
		}
		if e := dist(p, r2.Add(s0, r2.Scale(t, v))); e < best {
			best = e
			return t, true
		}
		return 0, false
	}
	if t, hit := try(a0, b0, b1); hit {
		ta, tb, ok = 0, t, true
	}
	if t, hit := try(a1, b0, b1); hit {
		ta, tb, ok = 1, t, true
	}
	if t, hit := try(b0, a0, a1); hit {
		ta, tb, ok = t, 0, true
	}
	if t, hit := try(b1, a0, a1); hit {
		ta, tb, ok = t, 1, true
	}
	return
}

// addLine places stations on a line: at its points, at stops, and between. Of its straights
// some are relieved, up to where one begins that is not.
func (n *Network) addLine(l int, line plan.Line, relieved []bool, stops []float64) {
	var at []float64
	total := 0.0
	for i, q := range line.At {
		if i > 0 {
			total += dist(xy(line.At[i-1]), xy(q))
		}
		at = append(at, total)
	}
	corners := slices.Clone(at)
	at = append(at, stops...)
	// What touches the part does so to the far face of the wall that goes on lower.
	past := n.pad / 2
	for i := 1; i < len(relieved); i++ {
		if relieved[i] != relieved[i-1] {
			off := past
			if relieved[i-1] {
				off = -past
			}
			at = append(at, min(max(corners[i]+off, 0), total))
		}
	}
	slices.Sort(at)
	var all []float64
	for _, s := range at {
		if len(all) > 0 {
			last := all[len(all)-1]
			if s-last < 1e-4 {
				continue
			}
			more := math.Ceil((s-last)/n.pitch - 1e-9)
			for m := 1.0; m < more; m++ {
				all = append(all, last+(s-last)*m/more)
			}
		}
		all = append(all, s)
	}
	var wall []int
	seg := 0
	for _, s := range all {
		for seg+2 < len(corners) && s > corners[seg+1] {
			seg++
		}
		id := len(n.Stations)
		st := n.station(l, line, seg, corners[seg], corners[seg+1], s)
		begins := s <= corners[seg]+past+samePlace && seg > 0 && !relieved[seg-1]
		ends := s >= corners[seg+1]-past-samePlace && seg+1 < len(relieved) && !relieved[seg+1]
		if relieved[seg] && !begins && !ends {
			st.Top -= Relief * thickest(n.settings)
			st.relieved = true
		}
		n.Stations = append(n.Stations, st)
		if len(wall) > 0 {
			n.join(wall[len(wall)-1], id)
		}
		wall = append(wall, id)
	}
	n.Walls = append(n.Walls, wall)
}

// station returns what is at s along line l, on its stretch seg from lengths from to to.
func (n *Network) station(l int, line plan.Line, seg int, from, to, s float64) Station {
	t := 0.0
	if span := to - from; span > 0 {
		t = min(1, (s-from)/span)
	}
	p, q := line.At[seg], line.At[seg+1]
	st := Station{
		P:    r2.Vec{X: p[0] + (q[0]-p[0])*t, Y: p[1] + (q[1]-p[1])*t},
		Line: l, Near: -1, parent: -1, along: s, Low: math.Inf(1),
	}
	z := p[2] + (q[2]-p[2])*t
	if line.Tie || n.under == nil {
		st.Top = z
	} else {
		st.Top, st.tooth = n.top(st.P, r2.Sub(xy(q), xy(p)), z, n.under)
	}
	return st
}

// top returns where a wall along dir at p must end to hold the underside near z.
// Fused walls end there too; a tooth goes on to where the part's first layer over p
// begins, no further than a layer into the lowest of it.
func (n *Network) top(p, dir r2.Vec, z float64, under *Undersides) (top, tooth float64) {
	s := n.settings
	lowest, over, flat, band, found := face(p, dir, n.pad, z, func(at r2.Vec) (float64, bool, bool) { return under.Find(at, z, surfaceReach) })
	if !found {
		lowest, flat = z, true
	}
	lay := s.Layers()
	return topUnder(lowest, flat, band, s), lay.Bottom(min(lay.Above(over-1e-6), lay.Above(lowest-1e-6)+1))
}

// face returns the lowest that a face of the part, of which find tells the height and
// whether it is level there, comes to across a wall so wide along dir at p, the height at
// p itself, z where it is not known, whether the face is level all across, and from where
// to where it goes round p.
func face(p, dir r2.Vec, width, z float64, find func(at r2.Vec) (h float64, level, ok bool)) (lowest, over float64, flat bool, band [2]float64, found bool) {
	side := r2.Vec{}
	if l := math.Sqrt(r2.Norm2(dir)); l > 0 {
		side = r2.Scale(width/2/l, r2.Vec{X: -dir.Y, Y: dir.X})
	}
	ahead := r2.Vec{X: side.Y, Y: -side.X}
	if l := math.Sqrt(r2.Norm2(ahead)); l > 0 {
		ahead = r2.Scale(finePitch/2/l, ahead)
	}
	lowest, flat, over, band = math.Inf(1), true, z, [2]float64{math.Inf(1), math.Inf(-1)}
	across := math.Inf(1) // the lowest at p, or the first that is found
	for _, g := range []float64{0, -1, -0.5, 0.5, 1} {
		for _, f := range []float64{-1, -0.5, 0, 0.5, 1} {
			h, level, ok := find(r2.Add(p, r2.Add(r2.Scale(f, side), r2.Scale(g, ahead))))
			if ok {
				band = [2]float64{min(band[0], h), max(band[1], h)}
			}
			if !ok || g != 0 && h >= lowest {
				continue // along the wall only a tip between stations matters
			}
			found = true
			if g == 0 && f == 0 {
				over = h
			}
			if !level || h < lowest-1e-6 && !math.IsInf(lowest, 1) {
				flat = false
			}
			if g == 0 || h < across-tipDrop {
				lowest = min(lowest, h)
			}
			if g == 0 || math.IsInf(across, 1) {
				across = min(across, h)
			}
		}
	}
	return lowest, over, flat, band, found
}

// at returns the station of line l at distance s along it.
func (n *Network) at(l int, s float64) int {
	wall := n.Walls[l]
	i, _ := slices.BinarySearchFunc(wall, s, func(id int, s float64) int {
		if n.Stations[id].along < s-1e-4 {
			return -1
		}
		return 1
	})
	return wall[min(i, len(wall)-1)]
}

// Lifted tells whether the wall may begin at its floor however low the wall beside it
// is: over a zone.
func (s *Station) Lifted() bool { return s.lifted }

// Next returns the stations that share material with station i.
func (n *Network) Next(i int) []Way { return n.Stations[i].next }

// Within tells whether the station stands in the post's footprint.
func Within(q plan.Post, p r2.Vec) bool {
	dx, dy := p.X-q.At[0], p.Y-q.At[1]
	if q.Side > 0 {
		r := q.Side * postRound
		ax, ay := math.Abs(dx)-(q.Side/2-r), math.Abs(dy)-(q.Side/2-r)
		return math.Hypot(max(ax, 0), max(ay, 0)) <= r+1e-6
	}
	return dx*dx+dy*dy <= q.Reach*q.Reach+1e-6
}

// over tells whether the station stands in the post's footprint and its wall ends above the
// post's foot: one under a lower ceiling does not.
func (s *Station) over(q plan.Post) bool { return s.Top > q.Foot && Within(q, s.P) }

// near returns the stations whose x is within reach of a place's, from the leftmost on.
func (n *Network) near(x, reach float64) []int {
	first, _ := slices.BinarySearchFunc(n.byX, x-reach, func(i int, x float64) int { return cmp.Compare(n.Stations[i].P.X, x) })
	last, _ := slices.BinarySearchFunc(n.byX, x+reach, func(i int, x float64) int {
		if n.Stations[i].P.X <= x {
			return -1
		}
		return 1
	})
	return n.byX[first:last]
}

// Afoot returns the stations whose walls a post carries from below, ascending:
// those in its footprint, or those of the line that it stands under and of walls
// that meet it, as far as its reach goes along them.
func (n *Network) Afoot(lines []plan.Line, q plan.Post) []int {
	var out []int
	if !slices.ContainsFunc(lines, func(l plan.Line) bool { return q.Under != "" && l.ID == q.Under }) {
		at := r2.Vec{X: q.At[0], Y: q.At[1]}
		middle := -1 // the station that it stands under
		for _, i := range n.near(at.X, max(q.Side, q.Reach)+1) {
			if n.Stations[i].over(q) {
				out = append(out, i)
			}
		}
		slices.Sort(out)
		for _, i := range out {
			if middle < 0 || dist(n.Stations[i].P, at) < dist(n.Stations[middle].P, at) {
				middle = i
			}
		}
		// A wall far higher up passes over: from here it would be a reed.
		return slices.DeleteFunc(out, func(i int) bool {
			return n.Stations[i].Top > n.Stations[middle].Top+max(JoinHeights, q.Side, 2*q.Reach)
		})
	}
	gone := map[int]float64{}
	var todo queue
	for l := range lines {
		if lines[l].ID != q.Under {
			continue
		}
		for _, i := range n.Walls[l] {
			gone[i] = 0
			todo = append(todo, reach{0, i})
		}
	}
	heap.Init(&todo)
	for len(todo) > 0 {
		r := heap.Pop(&todo).(reach)
		if r.z > gone[r.at] {
			continue
		}
		for _, w := range n.Stations[r.at].next {
			d := r.z + w.Length
			if was, seen := gone[w.To]; d <= q.Reach+1e-6 && (!seen || d < was-1e-9) {
				gone[w.To] = d
				heap.Push(&todo, reach{d, w.To})
			}
		}
	}
	for i := range gone {
		out = append(out, i)
	}
	slices.Sort(out)
	return out
}

// Hang sets every station's lower edge from the posts by shortest paths. A line
// that names posts hangs from those alone.
func (n *Network) Hang(p plan.Plan) {
	for i := range n.Stations {
		s := &n.Stations[i]
		s.Low, s.Near, s.parent, s.hollow, s.tied, s.bear = math.Inf(1), -1, -1, false, false, math.Inf(1)
	}
	for q := range p.Posts {
		n.HangFrom(p, q)
	}
}

// HangFrom lowers the edges that hang lower from post q than from those before.
func (n *Network) HangFrom(p plan.Plan, q int) {
	rise := 1 / math.Tan(n.settings.Lean)
	allowed := make([]bool, len(p.Lines))
	for l := range p.Lines {
		allowed[l] = !n.braces[l] && (len(p.Lines[l].Posts) == 0 || slices.Contains(p.Lines[l].Posts, p.Posts[q].ID))
	}
	var todo queue
	for _, i := range n.Afoot(p.Lines, p.Posts[q]) {
		s := &n.Stations[i]
		if !allowed[s.Line] {
			continue
		}
		head := p.Posts[q].Head
		spread := head
		if p.Posts[q].Side == 0 {
			// A sole follows what it stands on.
			seat, ok := s.Seat(n.settings)
			if !ok || math.Abs(s.Ground-p.Posts[q].Foot) > SoleStep {
				continue
			}
			head, spread = seat, max(seat, spread)
		} else if head < s.Floor-1e-6 {
			continue
		}
		if head < s.Top && head < s.Low {
			s.Low, s.Near, s.parent, s.hollow = head, q, -1, p.Posts[q].Side > 0
			todo = append(todo, reach{spread, i})
		}
	}
	heap.Init(&todo)
	for len(todo) > 0 {
		r := heap.Pop(&todo).(reach)
		s := &n.Stations[r.at]
		// At its foot a wall may stand lower than where others spread from it.
		if s.Near != q || s.parent >= 0 && r.z > s.Low {
			continue
		}
		for _, w := range s.next {
			t := &n.Stations[w.To]
			z := r.z + w.Length*rise
			if t.Line != s.Line || t.lifted {
				// Out of a wall that is there already, or over a zone, which
				// both stations keep clear of: straight up.
				z = max(z, t.Floor)
			}
			if !allowed[t.Line] || z >= t.Low-1e-9 || z >= min(t.Top, s.Top) || z < t.Floor-1e-9 {
				continue
			}
			t.Low, t.Near, t.parent, t.hollow = z, q, r.at, false
			heap.Push(&todo, reach{z, w.To})
		}
	}
}

// reach is a station and the height that a path arrives there at.
type reach struct {
	z  float64
	at int
}

type queue []reach

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if q[i].z != q[j].z {
		return q[i].z < q[j].z
	}
	return q[i].at < q[j].at
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(reach)) }
func (q *queue) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// Ties cuts walls down to ties where both ends are carried without them: between
// two stations that something else hangs from or stands on, no further apart
// than a planned bridge. What no post reaches between two such may be one as well.
func (n *Network) Ties() {
	s := n.settings
	depth := WallDepth(s)
	span := s.Bridge * (1 - s.Margin)
	for _, wall := range n.Walls {
		for i := 0; i+1 < len(wall); i++ {
			a, b := wall[i], wall[i+1]
			sa, sb := &n.Stations[a], &n.Stations[b]
			if sa.parent == b || sb.parent == a || sa.parent < 0 && sb.parent < 0 && sa.Near == sb.Near {
				continue
			}
			if sa.hollow || sb.hollow {
				continue // the wall over a bore stands on what is beside it
			}
			n.tie(wall, i, i+1, span, depth)
		}
	}
	n.brace()
}

// straight tells whether a bead along these stations, pulled taut, stays within
// a quarter line of them, and the wall over it is about level: down a slope a
// level tie would leave its upper end high over it.
func (n *Network) straight(wall []int) bool {
	a, b := n.Stations[wall[0]].P, n.Stations[wall[len(wall)-1]].P
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, at := range wall {
		s := &n.Stations[at]
		if raster.SegmentDistance(s.P, a, b) > n.settings.Line/4 {
			return false
		}
		lo, hi = min(lo, s.Top), max(hi, s.Top)
	}
	return hi-lo <= levelTops
}

// Chains returns the stretches of wall between places where walls meet or end,
// as stations in order, and whether each could be one straight bridge.
func (n *Network) Chains() (chains [][]int, straight []bool) {
	span := n.settings.Bridge * (1 - n.settings.Margin)
	for _, wall := range n.Walls {
		start := 0
		for i := 1; i < len(wall); i++ {
			meets := i == len(wall)-1
			for _, w := range n.Stations[wall[i]].next {
				meets = meets || n.Stations[w.To].Line != n.Stations[wall[i]].Line
			}
			if meets {
				c := wall[start : i+1]
				chains = append(chains, c)
				length := n.Stations[c[len(c)-1]].along - n.Stations[c[0]].along
				straight = append(straight, length <= span && n.straight(c))
				start = i
			}
		}
	}
	return
}

// hop is the length of wall, in mm, that takes as long to lay as going to another
// bead: 0.28 s of travel and two retractions at 57 mm/s.
const hop = 16.0

// meets tells whether the wall at station i meets another line's.
func (n *Network) meets(i int) bool {
	for _, w := range n.Stations[i].next {
		if n.Stations[w.To].Line != n.Stations[i].Line {
			return true
		}
	}
	return false
}

// tie raises the lower edge between stations wall[i] and wall[k] outward while
// nothing else hangs from it and the bridge stays within span.
func (n *Network) tie(wall []int, i, k int, span, depth float64) {
	free := func(at, inward int) bool {
		s := &n.Stations[wall[at]]
		if unreached := math.IsInf(s.Low, 1); s.parent < 0 && !unreached {
			return false
		}
		for _, w := range s.next {
			if n.Stations[w.To].parent == wall[at] && w.To != wall[inward] {
				return false
			}
			if n.Stations[w.To].Line != s.Line {
				return false // a crossing keeps its wall
			}
		}
		return true
	}
	lo, hi := i, k
	along := func(at int) float64 { return n.Stations[wall[at]].along }
	for {
		grew := false
		if lo > 0 && free(lo, lo+1) && along(hi)-along(lo-1) <= span && n.straight(wall[lo-1:hi+1]) {
			lo--
			grew = true
		}
		if hi+1 < len(wall) && free(hi, hi-1) && along(hi+1)-along(lo) <= span && n.straight(wall[lo:hi+2]) {
			hi++
			grew = true
		}
		if !grew {
			break
		}
	}
	if hi-lo < 2 {
		return
	}
	if along(hi)-along(lo) < hop && !n.meets(wall[lo]) && !n.meets(wall[hi]) {
		return // one bead would become two
	}
	level := math.Inf(1)
	for at := lo; at <= hi; at++ {
		level = min(level, n.Stations[wall[at]].Top-depth)
	}
	// The ends must be there before the bridge is laid.
	ends := max(n.Stations[wall[lo]].Low, n.Stations[wall[hi]].Low)
	if level < ends+2*thickest(n.settings) {
		return
	}
	for at := lo + 1; at < hi; at++ {
		if n.Stations[wall[at]].Floor > level {
			return
		}
	}
	for at := lo + 1; at < hi; at++ {
		// Where two ends met higher, too: a bridge is level all the way.
		s := &n.Stations[wall[at]]
		s.Low, s.tied = level, true
	}
	for _, at := range [2]int{lo, hi} {
		s := &n.Stations[wall[at]]
		s.bear = min(s.bear, level-2*thickest(n.settings))
	}
}

// Raise lifts lower edges to where what hangs from them needs them: a wall grows out
// of another as late as the lean lets it, so that only walls that carry far ones are
// tall. What stands on posts stays.
func (n *Network) Raise() {
	rise := 1 / math.Tan(n.settings.Lean)
	depth := WallDepth(n.settings)
	var order []int
	hops := make([]int, len(n.Stations)) // to the post
	away := make([]float64, len(n.Stations))
	for i := range n.Stations {
		if s := &n.Stations[i]; s.parent < 0 || s.tied {
			continue
		}
		order = append(order, i)
		for at := i; n.Stations[at].parent >= 0; at = n.Stations[at].parent {
			hops[i]++
			away[i] += dist(n.Stations[at].P, n.Stations[n.Stations[at].parent].P)
		}
	}
	// From the furthest back: children before their parents.
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(hops[b]-hops[a], a-b) })
	need := make([]float64, len(n.Stations))
	for i := range n.Stations {
		need[i] = min(n.Stations[i].Top-depth, n.Stations[i].bear)
	}
	for _, i := range order {
		s := &n.Stations[i]
		for _, w := range s.next {
			if w.To == s.parent {
				need[s.parent] = min(need[s.parent], need[i]-w.Length*rise)
			}
		}
	}
	for _, i := range order {
		if s := &n.Stations[i]; away[i] > Brace {
			s.Low = max(s.Low, need[i])
		}
	}
}
