package layout

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// plainly prices choices the obvious way: one after another, all of each anew.
type plainly struct{ *structure }

type served struct {
	by   []int
	d    []float64
	from []int
}

func (g plainly) crown(i int) float64 { return g.net.Stations[g.stations[i]].Top }

func (g plainly) with(out *served, s served, c, sp int) served {
	out.by, out.d, out.from = append(out.by[:0], s.by...), append(out.d[:0], s.d...), append(out.from[:0], s.from...)
	for i, e := range g.spots[sp].dist {
		if e < out.d[i] {
			out.by[i], out.d[i], out.from[i] = c, e, g.spots[sp].from[i]
		}
	}
	return *out
}

func (g plainly) serveBy(choice []int) served {
	s := served{by: make([]int, len(g.stations)), d: make([]float64, len(g.stations)), from: make([]int, len(g.stations))}
	for i := range s.by {
		s.by[i], s.d[i], s.from[i] = -1, math.Inf(1), -1
	}
	for c, sp := range choice {
		s = g.with(&s, s, c, sp)
	}
	return s
}

func (g plainly) price(choice []int, s served) (total float64, heads []float64) {
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
		if !c.bridge {
			continue
		}
		from, to, ok := g.tie(c, serve{by: s.by, d: s.d, from: s.from})
		if !ok {
			continue
		}
		// A bridge needs its ends there before it is laid.
		u, v := c.at[from], c.at[to]
		level := min(g.crown(u), g.crown(v)) - g.depth - 2*layer
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
			t = (head-p.foot)/layer*((4-(8-2*math.Pi)/3)*width/speed+islandTime) + footTime
		}
		if p.foot > 0 {
			t = t*partFoot + 60
		}
		if over > 0 {
			t += shaky * (1 + min(over, 1000))
		}
		total += t
	}
	low := g.lows(choice, s, heads, need, spared)
	return total + g.walls(low, ties), heads
}

func (g plainly) lows(choice []int, s served, heads, need []float64, spared []bool) []float64 {
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

func (g plainly) walls(low []float64, ties []bool) (total float64) {
	layer := g.s.Layer
	from := make([]float64, len(g.pieces)) // where each piece is whole
	for n, p := range g.pieces {
		top := min(g.crown(p.a), g.crown(p.b))
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
			top = max(top, min(g.crown(g.pieces[n].a), g.crown(g.pieces[n].b)))
		}
		slices.Sort(m)
		share := 1.0
		if len(m) == 2 {
			share = movingEnd
		}
		for k := 0; k < len(m); k += 2 {
			if k+1 < len(m) {
				odd += share * (m[k+1] - m[k])
			} else {
				odd += max(0, top-m[k])
			}
		}
	}
	return total + odd/layer*islandTime/2
}

func (g plainly) choose() (choice []int, heads []float64, total float64) {
	total = math.Inf(1)
	budget := weighBudget
	var scratch served
	for c := range g.fixed {
		choice = append(choice, c)
	}
	if g.fixed > 0 {
		total, heads = g.price(choice, g.serveBy(choice))
	}
	try := func(c []int, s served) bool {
		if budget -= len(g.stations); budget < 0 {
			return false
		}
		t, h := g.price(c, s)
		if t < total-1e-6 {
			choice, heads, total = append([]int(nil), c...), h, t
			return true
		}
		return false
	}
	for grew := true; grew; {
		grew = false
		base := append([]int(nil), choice...)
		s := g.serveBy(base)
		for sp := g.fixed; sp < len(g.spots); sp++ {
			if try(append(base[:len(base):len(base)], sp), g.with(&scratch, s, len(base), sp)) {
				grew = true
			}
		}
	}
	for round, better := 0, true; better && round < 4; round++ {
		better = false
		for c := g.fixed; c < len(choice); c++ {
			base := append([]int(nil), choice...)
			rest := append(append([]int(nil), base[:c]...), base[c+1:]...)
			s := g.serveBy(rest)
			if len(rest) > 0 && try(rest, s) {
				better = true
				break
			}
			swapped := false
			for sp := g.fixed; sp < len(g.spots); sp++ {
				if try(append(rest[:len(rest):len(rest)], sp), g.with(&scratch, s, len(rest), sp)) {
					better, swapped = true, true
				}
			}
			slim := base[c]
			for sp := range g.spots {
				p, q := &g.spots[base[c]], &g.spots[sp]
				if p.post == nil && q.post == nil && p.under != "" && q.under == p.under && q.reach < g.spots[slim].reach {
					slim = sp
				}
			}
			if swapped || slim == base[c] {
				continue
			}
			with := append([]int(nil), base...)
			with[c] = slim
			s = g.serveBy(with)
			for sp := g.fixed; sp < len(g.spots); sp++ {
				if try(append(with[:len(with):len(with)], sp), g.with(&scratch, s, len(with), sp)) {
					better = true
				}
			}
		}
	}
	return
}

// tangle is a structure of random lines under a ceiling, beside a step of the part, and the
// spots to choose from.
func tangle(t *testing.T, r *rand.Rand) *structure {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{X: -20, Y: -20, Z: 30}, r3.Vec{X: 20, Y: 20, Z: 33}))
	m.Append(meshtest.Box(r3.Vec{X: -20, Y: -20}, r3.Vec{X: -8, Y: 20, Z: 4 + 20*r.Float64()}))
	p := plan.Plan{}
	for n := range 3 + r.IntN(12) {
		at := func() [3]float64 { return [3]float64{36*r.Float64() - 18, 36*r.Float64() - 18, 30} }
		l := plan.Line{ID: fmt.Sprintf("L%d", n+1), At: [][3]float64{at(), at()}}
		if r.IntN(3) == 0 { // square to the axes: crossings of equal distances
			l.At[1][1] = l.At[0][1]
		}
		p.Lines = append(p.Lines, l)
	}
	if r.IntN(2) == 0 {
		p.Zones = []plan.Zone{{ID: "Z1", Kind: plan.NoGo, Box: &plan.Box{Min: [3]float64{2, 2, 0}, Max: [3]float64{9, 9, 12}}}}
	}
	part := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	n := grow.NewNetwork(p, s, grow.NewUndersides(&m), part, grow.CoarsePitch)
	all := newSite(part, s).structures(n, p.Lines)
	g := all[r.IntN(len(all))]
	g.workers = 1 + r.IntN(3)
	g.survey()
	return g
}

func TestPriceAgreesWithThePlainOne(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 7))
	for n := range 40 {
		g := tangle(t, r)
		if len(g.spots) == 0 {
			continue
		}
		slow, l := plainly{g}, g.ledger()
		for range 60 {
			choice := make([]int, 1+r.IntN(6))
			for c := range choice {
				choice[c] = r.IntN(len(g.spots))
			}
			want, heads := slow.price(choice, slow.serveBy(choice))
			agree := func(how string, s serve) {
				got, h := g.price(choice, s, math.Inf(1), l)
				if cut, _ := g.price(choice, s, want*(1+1e-9), l); cut != got {
					t.Fatalf("%d, choice %v %s: cut off at %g s though it takes %g", n, choice, how, want, got)
				}
				if math.Abs(got-want) > 1e-9*want || !slices.Equal(h, heads) {
					t.Fatalf("%d, choice %v %s: %g s and heads %v, plainly %g and %v", n, choice, how, got, h, want, heads)
				}
			}
			agree("at once", g.serveBy(choice))
			last := len(choice) - 1
			agree("step by step", g.with(&l.serve, g.serveBy(choice[:last]), last, choice[last]))
		}
	}
}

func TestChoosingAgreesWithThePlainWay(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	for n := range 20 {
		g := tangle(t, r)
		if len(g.spots) == 0 {
			continue
		}
		choice, heads, total := g.choose()
		if c, h, want := (plainly{g}).choose(); !slices.Equal(choice, c) || !slices.Equal(heads, h) || math.Abs(total-want) > 1e-6 {
			t.Errorf("%d: chose %v at %v for %g s, plainly %v at %v for %g", n, choice, heads, total, c, h, want)
		}
	}
}
