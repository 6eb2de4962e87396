package layout

import (
	"math"
	"slices"
	"sync"

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
	top    float64 // of its lower end
}

// piecemeal lists the stretches of all chains, and which of them come together at each
// place where walls meet, end or go on.
func (g *structure) piecemeal() {
	sets := mesh.NewDisjoint[int](len(g.stations)) // of places that are one
	for i, at := range g.stations {
		st := &g.net.Stations[at]
		g.tops, g.floors = append(g.tops, st.Top), append(g.floors, st.Floor)
		if st.Lifted() {
			if g.lifted == nil {
				g.lifted = make([]bool, len(g.stations))
			}
			g.lifted[i] = true
		}
		for _, w := range g.net.Next(at) {
			if g.net.Stations[w.To].Line != g.net.Stations[at].Line {
				sets.Union(i, g.index[w.To])
			}
		}
	}
	// What is shorter than a wall is thick is of the walls that meet there: lines end a little
	// before or beyond the middle of the one that they meet.
	for n := range g.chains {
		for k, b := range g.chains[n].at[1:] {
			if a := g.chains[n].at[k]; distance(g.place(a), g.place(b)) < g.wall/2 {
				sets.Union(a, b)
			}
		}
	}
	joints := make([][]int, len(g.stations))
	for n := range g.chains {
		c := &g.chains[n]
		if c.first = len(g.pieces); c.bridge {
			g.bridges = append(g.bridges, n)
		}
		for k := 1; k < len(c.at); k++ {
			a, b := c.at[k-1], c.at[k]
			if p, q := sets.Find(a), sets.Find(b); p != q {
				joints[p], joints[q] = append(joints[p], len(g.pieces)), append(joints[q], len(g.pieces))
			}
			// A wall is as tall as a tie at least, but for the rounding of walls.
			g.least += distance(g.place(a), g.place(b)) * (g.depth - 1e-6) / g.s.Layer / speed
			g.pieces = append(g.pieces, piece{a, b, distance(g.place(a), g.place(b)), min(g.tops[a], g.tops[b])})
		}
	}
	for _, j := range joints {
		if len(j) == 0 {
			continue
		}
		crest := math.Inf(-1)
		for _, n := range j {
			crest = max(crest, g.pieces[n].top)
		}
		g.joints, g.crests = append(g.joints, j), append(g.crests, crest)
	}
}

// tie returns which stretch of a chain that may bridge needs no wall of its own, as places in it: its
// ends are carried other ways, and it can bridge from one to the other. What stands on
// a foot keeps its wall.
func (g *structure) tie(c *chain, s serve) (from, to int, ok bool) {
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

// ledger is the memory that prices are worked out in, used again for the next one.
type ledger struct {
	serve     serve
	heads     []float64 // of the choice's posts
	ties      []bool    // which pieces are
	spared    []bool    // which stations are inside a tie
	need, low []float64 // of the stations: how low at most, and in fact
	tall      []float64 // of the wall at each station, mm
	lost      []float64 // seconds a mm that the wall there counts as bare
	from      []float64 // where each piece is whole
}

func (g *structure) ledger() *ledger {
	n, m := len(g.stations), len(g.pieces)
	return &ledger{
		serve: newServe(n), ties: make([]bool, m), spared: make([]bool, n), need: make([]float64, n), low: make([]float64, n),
		tall: make([]float64, n), lost: make([]float64, n), from: make([]float64, m),
	}
}

// price returns the print time, in seconds, of the structure on a choice of
// spots, and the head of each, which the next use of the ledger overwrites. Where the
// posts alone make it most or more its price is infinite.
func (g *structure) price(choice []int, s serve, most float64, l *ledger) (total float64, heads []float64) {
	heads = slices.Grow(l.heads[:0], len(choice))[:len(choice)]
	l.heads = heads
	for c := range heads {
		heads[c] = math.Inf(1)
	}
	layer := g.s.Layer
	// need is how low each station must be for what hangs from it.
	need, ties, spared := l.need, l.ties, l.spared // spared: inside a tie
	for i, top := range g.tops {
		need[i] = top - g.depth
	}
	clear(ties)
	clear(spared)
	for _, n := range g.bridges {
		c := &g.chains[n]
		from, to, ok := g.tie(c, s)
		if !ok {
			continue
		}
		// A bridge needs its ends there before it is laid.
		u, v := c.at[from], c.at[to]
		level := min(g.tops[u], g.tops[v]) - g.depth - 2*layer
		need[u], need[v] = min(need[u], level), min(need[v], level)
		for k := from; k < to; k++ {
			ties[c.first+k] = true
			spared[c.at[k]] = k > from
		}
	}
	for i, c := range s.by {
		if c >= 0 && !spared[i] {
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
			t = (head-p.foot)/layer*(grow.Around(width)/speed+islandTime) + footTime
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
	if total+g.least >= most {
		return math.Inf(1), heads
	}
	g.lows(choice, s, l)
	return total + g.walls(l), heads
}

// footTime is what the flare of a hollow post takes, in seconds.
const footTime = 5.0

// lows sets where the wall at each station begins, as package grow will have it:
// on the way to its post, but as late as what hangs from it lets it.
func (g *structure) lows(choice []int, s serve, l *ledger) {
	low, need, spared := l.low, l.need, l.spared
	for i, by := range s.by {
		if by < 0 {
			low[i] = math.Inf(1)
			continue
		}
		low[i] = l.heads[by] + s.d[i]*g.rise
		if p := &g.spots[choice[by]]; p.under != "" && s.d[i] == 0 {
			low[i] = p.foot
		}
		if g.lifted != nil && g.lifted[i] {
			low[i] = max(low[i], g.floors[i])
		}
	}
	// From the furthest back: what hangs before what it hangs from.
	s.back(func(i int) {
		if to := s.from[i]; !spared[i] {
			need[to] = min(need[to], need[i]-(s.d[i]-s.d[to])*g.rise)
		}
	})
	for i, d := range s.d {
		if d > grow.Brace && s.from[i] >= 0 && !spared[i] {
			low[i] = max(low[i], need[i])
		}
	}
}

// walls returns what it takes to lay the walls that begin at the ledger's heights, in
// seconds: their length, and half a bead more, on every layer, for each place where an
// odd number of them comes together, since a bead ends there.
func (g *structure) walls(l *ledger) (total float64) {
	// How tall the wall is at each station, and what it takes a millimetre to be bare.
	for i, low := range l.low {
		top := g.tops[i]
		l.lost[i] = 0
		if low > top-g.depth+1e-6 || low < g.floors[i]-1e-6 {
			l.lost[i] = bare
			low = min(low, top-g.depth)
		}
		l.tall[i] = top - low
	}
	layer := g.s.Layer
	area := 0.0 // mm²
	for n := range g.pieces {
		p := &g.pieces[n]
		if l.ties[n] {
			l.from[n] = p.top - g.depth
			area += p.length * g.depth
			continue
		}
		l.from[n] = min(max(l.low[p.a], l.low[p.b]), p.top)
		area += p.length / 2 * (l.tall[p.a] + l.tall[p.b])
		total += (p.length/2 + 0.005) * (l.lost[p.a] + l.lost[p.b])
	}
	total += area / layer / speed
	var meet [8]float64
	odd := 0.0
	for n, j := range g.joints {
		if len(j) == 2 {
			odd += movingEnd * math.Abs(l.from[j[0]]-l.from[j[1]])
			continue
		}
		m := meet[:0]
		for _, n := range j {
			m = append(m, l.from[n])
		}
		slices.Sort(m)
		for k := 0; k < len(m); k += 2 {
			if k+1 < len(m) {
				odd += m[k+1] - m[k]
			} else {
				odd += max(0, g.crests[n]-m[k])
			}
		}
	}
	return total + odd/layer*islandTime/2
}

// ledgers are ledgers to use again, from any goroutine.
type ledgers struct {
	mu   sync.Mutex
	free []*ledger
}

func (p *ledgers) get(g *structure) *ledger {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := len(p.free); n > 0 {
		l := p.free[n-1]
		p.free = p.free[:n-1]
		return l
	}
	return g.ledger()
}

func (p *ledgers) put(l *ledger) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.free = append(p.free, l)
}

// movingEnd is what an end that moves along its wall costs of one that stays: linked to
// another (package grow) it costs half a link of some 6 mm instead of half a hop of 16, and
// about two in three are linked on the demo parts.
const movingEnd = 0.6

func (g *structure) place(i int) r2.Vec { return g.net.Stations[g.stations[i]].P }
