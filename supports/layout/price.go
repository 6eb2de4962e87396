package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/supports/grow"

	"gonum.org/v1/gonum/spatial/r2"
)

// bare is the price, in seconds, of a millimetre of contact that no post can
// carry: more than any structure that would carry it.
const bare = 1e4

// shaky is the price, in seconds, of a post that gives way: more than any that does
// not, and more the more it does.
const shaky = 1e3

// fused is the price, in seconds, of a post that may be printed onto the part: more than
// any that holds and comes off.
const fused = 2e4

// chain is a stretch of wall between places where walls meet or end.
type chain struct {
	at     []int // places in structure.stations
	first  int   // of its pieces
	bridge bool  // straight and short enough to be a tie
}

// piece is a stretch of wall between two stations that are neighbours on a line.
type piece struct {
	a, b   int // places in structure.stations
	length float64
}

// piecemeal lists the stretches of all chains, and which of them come together at each
// place where walls meet, end or go on.
func (g *structure) piecemeal() {
	sets := mesh.NewDisjoint[int](len(g.stations)) // of places that are one
	for i, at := range g.stations {
		for _, w := range g.net.Next(at) {
			if g.net.Stations[w.To].Line != g.net.Stations[at].Line {
				sets.Union(i, g.index[w.To])
			}
		}
	}
	joints := make([][]int, len(g.stations))
	for n := range g.chains {
		c := &g.chains[n]
		c.first = len(g.pieces)
		for k := 1; k < len(c.at); k++ {
			a, b := c.at[k-1], c.at[k]
			joints[sets.Find(a)] = append(joints[sets.Find(a)], len(g.pieces))
			joints[sets.Find(b)] = append(joints[sets.Find(b)], len(g.pieces))
			g.pieces = append(g.pieces, piece{a, b, distance(g.place(a), g.place(b))})
		}
	}
	for _, j := range joints {
		if len(j) > 0 {
			g.joints = append(g.joints, j)
		}
	}
}

// serve is, for every station, the choice that it hangs from, the way there, and the
// next station on it, −1 where it stands on the post.
type serve struct {
	by   []int
	d    []float64
	from []int
}

// with sets out to s with spot sp as choice c taking what it is nearer to.
func (g *structure) with(out *serve, s serve, c, sp int) serve {
	out.by, out.d, out.from = append(out.by[:0], s.by...), append(out.d[:0], s.d...), append(out.from[:0], s.from...)
	for i, e := range g.spots[sp].dist {
		if e < out.d[i] {
			out.by[i], out.d[i], out.from[i] = c, e, g.spots[sp].from[i]
		}
	}
	return *out
}

// serveBy returns how the given spots share the stations.
func (g *structure) serveBy(choice []int) serve {
	s := serve{by: make([]int, len(g.stations)), d: make([]float64, len(g.stations)), from: make([]int, len(g.stations))}
	for i := range s.by {
		s.by[i], s.d[i], s.from[i] = -1, math.Inf(1), -1
	}
	for c, sp := range choice {
		s = g.with(&s, s, c, sp)
	}
	return s
}

// tie returns which stretch of a chain needs no wall of its own, as places in it: its
// ends are carried other ways, and it can bridge from one to the other. What stands on
// a foot keeps its wall.
func (g *structure) tie(c *chain, s serve) (from, to int, ok bool) {
	if !c.bridge {
		return 0, 0, false
	}
	to = len(c.at) - 1
	for from < to && s.d[c.at[from]] == 0 && s.d[c.at[from+1]] == 0 {
		from++
	}
	for to > from && s.d[c.at[to]] == 0 && s.d[c.at[to-1]] == 0 {
		to--
	}
	length := 0.0
	for k := from; k < to; k++ {
		length += g.pieces[c.first+k].length
	}
	return from, to, to > from && math.Abs(s.d[c.at[from]]-s.d[c.at[to]]) < length-1e-3
}

// price returns the print time, in seconds, of the structure on a choice of
// spots, and the head of each.
func (g *structure) price(choice []int, s serve) (total float64, heads []float64) {
	heads = make([]float64, len(choice))
	for c := range heads {
		heads[c] = math.Inf(1)
	}
	layer := g.s.Layer
	// need is how low each station must be for what hangs from it.
	need := make([]float64, len(g.stations))
	for i, at := range g.stations {
		need[i] = g.net.Stations[at].Top - g.depth
	}
	ties := make([]bool, len(g.pieces))
	spared := make([]bool, len(g.stations)) // inside a tie
	for n := range g.chains {
		c := &g.chains[n]
		from, to, ok := g.tie(c, s)
		if !ok {
			continue
		}
		// A bridge needs its ends there before it is laid.
		u, v := c.at[from], c.at[to]
		level := min(g.top(u), g.top(v)) - g.depth - 2*layer
		need[u], need[v] = min(need[u], level), min(need[v], level)
		for k := from; k < to; k++ {
			ties[c.first+k] = true
			spared[c.at[k]] = k > from
		}
	}
	for i := range g.stations {
		if c := s.by[i]; c >= 0 && !spared[i] {
			heads[c] = min(heads[c], need[i]-s.d[i]*g.rise)
		}
	}
	for c, sp := range choice {
		p := &g.spots[sp]
		// No higher than where spot looked for room.
		head := min(heads[c], g.net.Stations[p.station].Top-g.depth-g.s.Clearance-grow.HeadOverlap)
		if p.under == "" && (p.reach > 0 || head < p.foot+lowHead) {
			head = p.foot
		}
		head = max(head, p.foot)
		if heads[c] = head; p.post != nil {
			if p.post.Head > 0 {
				heads[c] = min(head, p.post.Head)
			}
			continue // it is there whatever it costs
		}
		width, over := g.firm(p, head, g.net.Stations[p.station].Top)
		t := 0.0
		if width > 0 {
			t = (head-p.foot)/layer*(4*width/speed+islandTime) + footTime
		}
		if p.foot > 0 {
			t = t*partFoot + 60
		}
		if p.poor {
			t += fused
		}
		if over > 0 {
			t += shaky * (1 + min(over, 1000))
		}
		total += t
	}
	low := g.lows(choice, s, heads, need, spared)
	return total + g.walls(low, ties), heads
}

// footTime is what the flare of a hollow post takes, in seconds.
const footTime = 5.0

func (g *structure) top(i int) float64 { return g.net.Stations[g.stations[i]].Top }

// lows returns where the wall at each station begins, as package grow will have it:
// on the way to its post, but as late as what hangs from it lets it.
func (g *structure) lows(choice []int, s serve, heads, need []float64, spared []bool) []float64 {
	low := make([]float64, len(g.stations))
	order := make([]int, 0, len(low))
	for i := range low {
		by := s.by[i]
		if by < 0 {
			low[i] = math.Inf(1)
			continue
		}
		low[i] = heads[by] + s.d[i]*g.rise
		if p := &g.spots[choice[by]]; p.under != "" && s.d[i] == 0 {
			low[i] = p.foot
		}
		if st := &g.net.Stations[g.stations[i]]; st.Lifted() {
			low[i] = max(low[i], st.Floor)
		}
		if s.from[i] >= 0 && !spared[i] {
			order = append(order, i)
		}
	}
	// From the furthest back: what hangs before what it hangs from.
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(s.d[b], s.d[a]), a-b) })
	for _, i := range order {
		to := s.from[i]
		need[to] = min(need[to], need[i]-(s.d[i]-s.d[to])*g.rise)
	}
	for _, i := range order {
		if s.d[i] > grow.Brace {
			low[i] = max(low[i], need[i])
		}
	}
	return low
}

// walls returns what it takes to lay the walls that begin at the given heights, in
// seconds: their length, and half a bead more, on every layer, for each place where an
// odd number of them comes together, since a bead ends there.
func (g *structure) walls(low []float64, ties []bool) (total float64) {
	layer := g.s.Layer
	from := make([]float64, len(g.pieces)) // where each piece is whole
	for n, p := range g.pieces {
		top := min(g.top(p.a), g.top(p.b))
		if ties[n] {
			from[n] = top - g.depth
			total += p.length * g.depth / layer / speed
			continue
		}
		from[n] = max(low[p.a], low[p.b])
		for _, i := range [2]int{p.a, p.b} {
			st := &g.net.Stations[g.stations[i]]
			low := low[i]
			if low > st.Top-g.depth+1e-6 || low < st.Floor-1e-6 {
				total += bare * (p.length/2 + 0.005)
				low = min(low, st.Top-g.depth)
			}
			total += p.length / 2 * (st.Top - low) / layer / speed
		}
		from[n] = min(from[n], top)
	}
	var meet [8]float64
	odd := 0.0
	for _, j := range g.joints {
		m := meet[:0]
		top := math.Inf(-1)
		for _, n := range j {
			m = append(m, from[n])
			top = max(top, min(g.top(g.pieces[n].a), g.top(g.pieces[n].b)))
		}
		slices.Sort(m)
		for k := 0; k < len(m); k += 2 {
			if k+1 < len(m) {
				odd += m[k+1] - m[k]
			} else {
				odd += max(0, top-m[k])
			}
		}
	}
	return total + odd/layer*islandTime/2
}

func (g *structure) place(i int) r2.Vec { return g.net.Stations[g.stations[i]].P }
