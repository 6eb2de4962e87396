package hold

import (
	"math"
	"math/bits"
	"slices"
	"sync"

	"falsework/raster"

	"golang.org/x/sync/errgroup"
)

// climber runs rule 1 from the plate up, and the other rules on what it leaves.
type climber struct {
	*judge
	debtors    raster.Bits // cells of the layer below that owe
	owed, next []float32   // what each cell owes, by row; read at debtors alone
	room       []byte      // for a field
}

func (j *judge) climber() *climber {
	cells := j.grid.W * j.grid.H
	c, _ := climbers.Get().(*climber)
	if c == nil || cap(c.owed) < cells {
		c = &climber{owed: make([]float32, cells), next: make([]float32, cells)}
	}
	return &climber{judge: j, owed: c.owed[:cells], next: c.next[:cells], room: c.room}
}

// climbers have memory for others to use; what is in it does not matter.
var climbers sync.Pool

func (c *climber) release() { climbers.Put(&climber{owed: c.owed, next: c.next, room: c.room}) }

// state is what one layer leaves to the next.
type state struct {
	debtors raster.Bits
	owed    []float32 // of the debtors, rows upward
}

func (c *climber) state() state {
	s := state{debtors: c.debtors}
	c.debtors.Each(func(x, y int) { s.owed = append(s.owed, c.owed[y*c.grid.W+x]) })
	return s
}

func (c *climber) resume(s state) {
	c.debtors = s.debtors
	n := 0
	s.debtors.Each(func(x, y int) {
		c.owed[y*c.grid.W+x] = s.owed[n]
		n++
	})
}

func (s *state) equal(o *state) bool {
	return raster.Equal(&s.debtors, &o.debtors) && slices.Equal(s.owed, o.owed)
}

// leastStretch is how many layers are worth climbing side by side with others.
const leastStretch = 64

// stretches cuts the layers into so many runs of like work, and returns where each
// begins and the last ends. Nearly all work is on cells with nothing under them.
func (j *judge) stretches(parts int) []int {
	const every = 4 // layers: near ones are alike
	count := len(j.Body.Cut)
	sum := make([]int, count+1) // of the work below each layer
	work := 0
	for k := range count {
		if k%every == 1 {
			fresh := raster.AndNot(&j.Body.Cut[k], j.Body.Layer(k-1))
			work = fresh.Count()
		}
		sum[k+1] = sum[k] + work
	}
	at := make([]int, parts+1)
	at[parts] = count
	for n := 1; n < parts; n++ {
		at[n], _ = slices.BinarySearch(sum, sum[1]+(sum[count]-sum[1])*n/parts)
		at[n] = min(max(at[n], at[n-1]+1), count-parts+n)
	}
	return at
}

// climb judges all layers. Stretches of them are climbed side by side as if
// nothing were owed below; where something is, the stretch is climbed again until
// it owes what it did before, so the result is that of one climb. What each layer from the
// second up leaves to the next is returned too where it is to be kept.
func (j *judge) climb(keep bool) ([]Layer, []state) {
	parts, at := 1, []int{0, len(j.Body.Cut)}
	if j.workers > 1 && len(j.Body.Cut) >= 2*leastStretch {
		parts = min(j.workers, len(j.Body.Cut)/leastStretch)
		at = j.stretches(parts)
	}
	type stretch struct {
		first, end int // layers
		layers     []Layer
		states     []state // after each layer
	}
	all := make([]stretch, parts)
	var eg errgroup.Group
	eg.SetLimit(j.workers)
	for n := range all {
		s := &all[n]
		s.first, s.end = max(1, at[n]), at[n+1]
		eg.Go(func() error {
			c := j.climber()
			defer c.release()
			for k := s.first; k < s.end; k++ {
				if l, some := c.layer(k); some {
					s.layers = append(s.layers, l)
				}
				if parts > 1 || keep {
					s.states = append(s.states, c.state())
				}
			}
			return nil
		})
	}
	_ = eg.Wait() // climbing returns no error
	out, states := all[0].layers, all[0].states
	for n := 1; n < parts; n++ {
		s := &all[n]
		below := &all[n-1]
		var from state
		if n := len(below.states); n > 0 {
			from = below.states[n-1]
		}
		k := s.first
		if !from.debtors.Empty() {
			c := j.climber()
			c.resume(from)
			for ; k < s.end; k++ {
				if l, some := c.layer(k); some {
					out = append(out, l)
				}
				now, before := c.state(), &s.states[k-s.first]
				same := now.equal(before)
				*before = now
				if same {
					k++
					break
				}
			}
			c.release()
		}
		for _, l := range s.layers {
			if l.K >= k {
				out = append(out, l)
			}
		}
		states = append(states, s.states...)
	}
	return out, states
}

// layer judges layer k on what the one below owes. It is false where there is
// nothing to tell.
func (c *climber) layer(k int) (Layer, bool) {
	s, b := &c.Body.Cut[k], &c.Body.Cut[k-1]
	fresh := raster.AndNot(s, b)
	if fresh.Empty() && c.debtors.Empty() {
		return Layer{}, false
	}
	all, gapped := c.contacts(k, &fresh)
	fresh.Remove(&all)
	under, sound := *b, *b
	if !all.Empty() {
		under = raster.Or(b, &all)
	}
	if !all.Empty() || !c.debtors.Empty() {
		// What is sound further off carries nothing here.
		at, m := boxOf(&fresh).with(boxOf(&c.debtors)), c.ledgeDisc.Radius()
		sound = raster.Crop(b, at.x0-m, at.y0-m, at.x1+m, at.y1+m)
		sound.Remove(&c.debtors)
		sound.Add(&all)
	}
	d := c.settle(&fresh, s, &under, &sound, &all)
	p := patch{cells: s, ground: raster.And(s, &under), gapped: gapped}
	c.sort(&p, &fresh, &d.asks)
	p.layer = Layer{K: k, New: fresh, Asks: d.asks, Contacts: all, Marginal: d.marginal, Islands: len(p.islands)}
	l := c.bridge(&p)
	// What another rule holds owes nothing.
	held := raster.AndNot(&d.asks, &l.Unheld)
	c.debtors = d.owing
	c.debtors.Remove(&held)
	c.owed, c.next = c.next, c.owed
	if c.Brief {
		l.New = raster.Bits{}
		for _, b := range [...]*raster.Bits{&l.Asks, &l.Unheld, &l.Contacts, &l.Marginal} {
			x0, y0, x1, y1 := b.Bounds()
			*b = raster.Crop(b, x0, y0, x1, y1)
		}
	}
	return l, !d.asks.Empty() || !d.marginal.Empty() || !all.Empty()
}

// debts is what rule 1 leaves of a layer.
type debts struct {
	asks     raster.Bits // too far out
	marginal raster.Bits // out, but by less than a ledge
	owing    raster.Bits // cells that owe, by how much being in climber.next
}

// settle runs rule 1 on a layer's cells: fresh are new, under is what lies below,
// sound what of it owes nothing.
func (c *climber) settle(fresh, layer, under, sound, contacts *raster.Bits) (out debts) {
	ask := raster.Beyond(fresh, sound, c.reachDisc)
	if ask.Empty() && c.debtors.Empty() {
		return out
	}
	w := c.grid.W
	tolerance := float32(c.ledge - c.reach + 1e-6)
	far := raster.Beyond(&ask, under, c.ledgeDisc)
	owing := raster.And(&c.debtors, layer)
	owing.Remove(contacts)
	at := boxOf(&ask).with(boxOf(&owing))
	out.owing = raster.NewBits(at.x0, at.y0, at.x1, at.y1)
	out.marginal = raster.NewBits(at.x0, at.y0, at.x1, at.y1)
	out.asks = raster.NewBits(at.x0, at.y0, at.x1, at.y1)
	owe := func(x, y int, debt float32) {
		// Under half a cell is rounding, not debt.
		if debt > 1e-3 {
			out.owing.Set(x, y)
			c.next[y*w+x] = debt
		}
	}
	settle := func(i, j int, fresh bool) {
		least := c.cheapest(i, j, under, contacts)
		debt := max(0, least-float32(c.reach))
		if debt > tolerance {
			if fresh {
				out.asks.Set(i, j)
			}
			debt = tolerance
		} else if fresh && debt > 0 {
			out.marginal.Set(i, j)
		}
		owe(i, j, debt)
	}
	ask.Each(func(x, y int) {
		if far.Has(x, y) {
			// What fails is told once; the layer above starts from a ledge at its limit.
			out.asks.Set(x, y)
			owe(x, y, tolerance)
			return
		}
		settle(x, y, true)
	})
	// A debtor further from sound ground than any debt pays off alone.
	beside := raster.Within(&owing, sound, c.ledgeDisc)
	owing.Each(func(x, y int) {
		// A debtor pays off at least the reach; near sound ground perhaps more.
		if debt := c.owed[y*w+x] - float32(c.reach); debt > 0 && beside.Has(x, y) {
			settle(x, y, false)
		} else {
			owe(x, y, debt)
		}
	})
	return out
}

// cheapest returns the least, over the cells of under in the window round cell (i, j), of
// how far a cell is off and what it owes, in cells. It is infinite where there are none.
func (c *climber) cheapest(i, j int, under, contacts *raster.Bits) float32 {
	least := float32(math.Inf(1))
	n := c.window.n
	for x := -n; x <= n; x += 64 {
		seen := ^uint64(0)
		if rest := n + 1 - x; rest < 64 {
			seen = 1<<uint(rest) - 1
		}
		for up := 0; up <= n && float32(up) < least; up++ {
			for _, y := range [2]int{j + up, j - up} {
				some := under.Row64(i+x, y) & seen
				if some == 0 {
					continue
				}
				off := c.window.off[up*(n+1) : (up+1)*(n+1)]
				if owe := some & c.debtors.Row64(i+x, y); owe != 0 {
					owe &^= contacts.Row64(i+x, y)
					some &^= owe
					for ; owe != 0; owe &= owe - 1 {
						dx := x + bits.TrailingZeros64(owe)
						least = min(least, off[max(dx, -dx)]+c.owed[y*c.grid.W+i+dx])
					}
				}
				for ; some != 0; some &= some - 1 {
					dx := x + bits.TrailingZeros64(some)
					if least = min(least, off[max(dx, -dx)]); dx >= 0 {
						break // the rest are further off
					}
				}
			}
		}
	}
	return least
}

// sort tells the pieces of fresh that ask apart: islands, all of which ask, and
// those that touch something below.
func (c *climber) sort(p *patch, fresh, asks *raster.Bits) {
	if fresh.Empty() {
		return
	}
	// The tip of a leaning wall may begin as a crumb, under a line square, that
	// no nozzle lays.
	crumb := int(math.Pow(c.Settings.Line/c.grid.Cell, 2))
	for _, q := range raster.Pieces(fresh) {
		touches := raster.Near(&q.Cells, &p.ground, raster.DiscOf(math.Sqrt2))
		if !touches && c.Thin && q.Area <= crumb {
			continue
		}
		if !touches {
			p.islands = append(p.islands, q)
			asks.Add(&q.Cells)
			continue
		}
		if mine := raster.And(&q.Cells, asks); !mine.Empty() {
			p.bridges = append(p.bridges, q)
		}
	}
}
