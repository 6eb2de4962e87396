package hold_test

import (
	"math/rand/v2"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"
)

// Whatever was judged before, a memory gives what judging afresh gives: for a part over
// supports that change by boxes of cells now here, now there, and for those supports.
func TestMemoryAgainstJudge(t *testing.T) {
	s, err := supports.Settings{Cell: 0.2}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Blob(3000)
	g := raster.GridFor(m.Bounds(), s.Cell, 3)
	part := raster.Section(m, g, s.Layers(), 0)
	empty := func() *raster.Stack {
		o := &raster.Stack{Grid: g, Layers: part.Layers, Cut: make([]raster.Bits, len(part.Cut))}
		return o
	}
	r := rand.New(rand.NewPCG(3, 4))
	sup := empty()
	var over, under hold.Memory
	rounds := 12
	if testing.Short() {
		rounds = 5
	}
	for round := range rounds {
		next := empty()
		for k := range sup.Cut {
			next.Cut[k] = sup.Cut[k].Clone()
		}
		if round == rounds/2 {
			next.Cut = next.Cut[:len(next.Cut)/2] // lower supports, then higher ones again
		}
		x, y := r.IntN(g.W-20), r.IntN(g.H-20)
		lo := r.IntN(len(next.Cut))
		hi := min(len(next.Cut), lo+r.IntN(60))
		for k := lo; k < hi; k++ {
			b := raster.NewBits(x, y, x+20, y+3)
			for j := range 3 {
				b.SetSpan(y+j, x, x+20)
			}
			if round%3 == 2 {
				next.Cut[k].Remove(&b)
			} else {
				next.Cut[k].Add(&b)
			}
			next.Cut[k].Remove(part.Layer(k))
		}
		sup = next
		for _, c := range []struct {
			name   string
			memory *hold.Memory
			in     hold.Input
		}{
			{"part", &over, hold.Input{Body: part, Other: sup, Settings: s}},
			{"supports", &under, hold.Input{Body: sup, Other: part, Settings: s, Thin: true}},
		} {
			got, want := c.memory.Judge(c.in), hold.Judge(c.in)
			if len(got) != len(want) {
				t.Fatalf("round %d, %s: %d layers, want %d", round, c.name, len(got), len(want))
			}
			for i := range got {
				a, b := &got[i], &want[i]
				same := a.K == b.K && a.Best == b.Best && a.Islands == b.Islands
				for _, pair := range [][2]*raster.Bits{{&a.New, &b.New}, {&a.Asks, &b.Asks}, {&a.Unheld, &b.Unheld}, {&a.Contacts, &b.Contacts}, {&a.Marginal, &b.Marginal}} {
					same = same && raster.Equal(pair[0], pair[1])
				}
				if !same {
					t.Fatalf("round %d, %s: layer %d differs", round, c.name, b.K)
				}
			}
		}
	}
}
