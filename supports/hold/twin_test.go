package hold_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"
)

// asksByDefinition runs rule 1 cell by cell, straight from the package comment:
// the debt of a cell is the least of debt + distance over all cells below, less
// the reach. What other rules held of a layer owes nothing; that is taken from
// the judgement, since only rule 1 is on trial.
func asksByDefinition(st *raster.Stack, s supports.Settings, judged map[int]hold.Layer) map[int]map[[2]int]bool {
	reach, ledge := s.Reach()/st.Cell, s.Ledge()/st.Cell+1
	debt := map[[2]int]float64{}
	st.Cut[0].Each(func(i, j int) { debt[[2]int{i, j}] = 0 })
	out := map[int]map[[2]int]bool{}
	for k := 1; k < len(st.Cut); k++ {
		next := map[[2]int]float64{}
		asks := map[[2]int]bool{}
		l := judged[k]
		st.Cut[k].Each(func(i, j int) {
			least := math.Inf(1)
			for q, d := range debt {
				least = min(least, d+math.Hypot(float64(q[0]-i), float64(q[1]-j)))
			}
			owes := max(0, least-reach)
			if owes > ledge-reach+1e-6 {
				owes = ledge - reach
				if !st.Cut[k-1].Has(i, j) {
					asks[[2]int{i, j}] = true
					if !l.Unheld.Has(i, j) {
						owes = 0
					}
				}
			}
			next[[2]int{i, j}] = owes
		})
		debt, out[k] = next, asks
	}
	return out
}

// The fast rule 1 is never laxer than the definition, and stricter only in rare
// cells: it lets a debtor far from sound ground pay off alone.
func TestRuleOneAgainstDefinition(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(11, 12))
	fast, missed, more := 0, 0, 0
	for n := 0; n < 12; n++ {
		// A pile of boxes that wander: ledges, steps, overdrawn slopes.
		// They begin out of the plate's reach.
		m := *box(2, 2, 0, 4.5, 4.5, 0.8)
		x, y := 2.0, 2.0
		for z := 4; z < 12; z++ {
			m.Append(box(x, y, float64(z)*0.2, x+2.5, y+2.5, float64(z+1)*0.2))
			x += rng.Float64()*0.9 - 0.2
			y += rng.Float64()*0.6 - 0.2
		}
		st := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 1), s.Layers(), 1)
		judged := map[int]hold.Layer{}
		for _, l := range hold.Judge(hold.Input{Body: st, Settings: s}) {
			judged[l.K] = l
		}
		for k, asks := range asksByDefinition(st, s, judged) {
			l := judged[k]
			for c := range asks {
				if !l.Asks.Has(c[0], c[1]) {
					missed++
				}
			}
			l.Asks.Each(func(i, j int) {
				fast++
				if !asks[[2]int{i, j}] {
					more++
				}
			})
		}
	}
	t.Logf("%d cells ask; %d by definition only, %d by the fast rule only", fast, missed, more)
	if fast == 0 || missed > 0 || more*50 > fast {
		t.Errorf("%d cells ask; %d by definition only, %d by the fast rule only", fast, missed, more)
	}
}
