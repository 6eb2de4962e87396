package hold

import (
	"math/rand/v2"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// What is remembered is what judging afresh finds, with pads added, moved and taken
// away, for one worker and for several.
func TestMemoryAgainstJudgingAfresh(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Blob(300)
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Scale(0.4, v)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), 0.2, 2), s.Layers(), 0)
	r := rand.New(rand.NewPCG(7, 11))
	for _, workers := range []int{1, 3} {
		var memory Memory
		other := &raster.Stack{Grid: part.Grid, Layers: part.Layers, Cut: make([]raster.Bits, len(part.Cut))}
		again := 0
		for round := range 6 {
			for range round { // nothing under it in the first round
				x, y, k := r.IntN(part.W-20), r.IntN(part.H-20), r.IntN(len(part.Cut)-4)
				pad := raster.NewBits(x, y, x+20, y+20)
				for j := range 20 {
					pad.SetSpan(y+j, x, x+20)
				}
				for up := range 4 {
					free := raster.AndNot(&pad, part.Layer(k+up))
					if round == 4 {
						other.Cut[k+up] = free // what was there goes
					} else {
						other.Cut[k+up] = raster.Or(&other.Cut[k+up], &free)
					}
				}
			}
			in := Input{Body: part, Other: other, Settings: s, Workers: workers}
			for k := range memory.layers {
				if memory.layers[k].known {
					again++
				}
			}
			got, want := memory.Judge(in), Judge(in)
			if len(got) != len(want) {
				t.Fatalf("round %d: %d layers, want %d", round, len(got), len(want))
			}
			for i := range want {
				if d := cmp.Diff(tell(&want[i]), tell(&got[i])); d != "" {
					t.Fatalf("round %d, layer %d (-want +got):\n%s", round, want[i].K, d)
				}
			}
		}
		if again == 0 {
			t.Error("nothing was remembered")
		}
	}
}

// told is a layer in numbers that can be compared.
type told struct {
	K, Best, Islands int
	Cells            [5][][2]int
}

func tell(l *Layer) told {
	out := told{K: l.K, Best: l.Best, Islands: l.Islands}
	for n, b := range []*raster.Bits{&l.New, &l.Asks, &l.Unheld, &l.Contacts, &l.Marginal} {
		b.Each(func(i, j int) { out.Cells[n] = append(out.Cells[n], [2]int{i, j}) })
	}
	return out
}
