package layout

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// In a stated direction the bracket's contact lines under its ceiling are no longer than 1.15
// times what any plan needs, and the part holds: what runs along the beads ends below it.
func TestContactsComeNearTheirBound(t *testing.T) {
	if testing.Short() {
		t.Skip("lays out a part")
	}
	s, err := supports.Settings{Direction: supports.Direction{Stated: true}}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", "wall-bracket.stl"))
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	n := need.Find(m, part, s, 0)
	p := Layout("bracket", m, part, n, s, 0)
	c := ContactUnder(p, part, n, s)
	if c.BoundMM == 0 || c.LengthMM > 1.15*c.BoundMM {
		t.Errorf("%.0f mm of contact, bound %.0f", c.LengthMM, c.BoundMM)
	}
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	if open := j.open(j.grown(p)); count(open) > 0 {
		t.Errorf("%d cells bare", count(open))
	}
	if !slices.ContainsFunc(p.Lines, func(l plan.Line) bool { return len(l.Relieved) > 0 }) {
		t.Error("no line is relieved: nothing was judged")
	}
}

// Whatever bays are relieved, the lines run as before, and what touches the part is what of
// them was not: found place by place.
func TestRelievedBaysOfAPlan(t *testing.T) {
	e := &easing{job: &job{}, f: finished{plan: plan.Plan{Lines: []plan.Line{
		{ID: "L1", At: [][3]float64{{0, 0, 9}, {10, 0, 9}, {10, 6, 9}}},
		{ID: "L2", At: [][3]float64{{0, 3, 9}, {12, 3, 9}}},
	}}}}
	add := func(of int, first bool, a, b [3]float64) {
		at := [2]point{pointOf(a), pointOf(b)}
		e.bays = append(e.bays, bay{line: of, first: first, at: line{at: at[:]}})
	}
	for x := 0.0; x < 10; x += 2.5 {
		add(0, x == 0, [3]float64{x, 0, 9}, [3]float64{x + 2.5, 0, 9})
	}
	add(0, true, [3]float64{10, 0, 9}, [3]float64{10, 3, 9})
	add(0, false, [3]float64{10, 3, 9}, [3]float64{10, 6, 9})
	add(1, true, [3]float64{0, 3, 9}, [3]float64{10, 3, 9})
	add(1, false, [3]float64{10, 3, 9}, [3]float64{12, 3, 9})
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		var set []int
		for i := range e.bays {
			if rng.IntN(2) == 0 {
				set = append(set, i)
			}
		}
		p := e.plan(set)
		for l := range p.Lines {
			if was, is := lineOf(e.f.plan.Lines[l]).length(), lineOf(p.Lines[l]).length(); math.Abs(was-is) > 1e-9 {
				t.Fatalf("%v: line %d is %g mm long, was %g", set, l, is, was)
			}
			if n := len(p.Lines[l].At); n > 1 && len(p.Lines[l].Relieved) > n-1 {
				t.Fatalf("%v: %+v", set, p.Lines[l])
			}
		}
		for i := range e.bays {
			b := &e.bays[i]
			mid := r2.Scale(0.5, r2.Add(b.at.at[0].Vec, b.at.at[1].Vec))
			touches := false
			for _, c := range contactsOf(p.Lines[b.line]) {
				touches = touches || c.from(mid) < 1e-9
			}
			if touches == slices.Contains(set, i) {
				t.Fatalf("relieved %v: bay %d touches: %v", set, i, touches)
			}
		}
		// No more points than it takes: two straights in line differ.
		for _, l := range p.Lines {
			for k := 1; k+1 < len(l.At); k++ {
				u := r2.Vec{X: l.At[k][0] - l.At[k-1][0], Y: l.At[k][1] - l.At[k-1][1]}
				v := r2.Vec{X: l.At[k+1][0] - l.At[k][0], Y: l.At[k+1][1] - l.At[k][1]}
				if r2.Cross(u, v) == 0 && slices.Contains(l.Relieved, k) == slices.Contains(l.Relieved, k+1) {
					t.Fatalf("relieved %v: %+v has a point too many", set, l)
				}
			}
		}
	}
}
