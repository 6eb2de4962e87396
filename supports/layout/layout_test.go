package layout_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

func bracket(t testing.TB) (*mesh.Mesh, *raster.Stack, supports.Settings) {
	t.Helper()
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", "wall-bracket.stl"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), s
}

// bare grows a plan and returns what of the part is unheld, in mm².
func bare(t testing.TB, p plan.Plan, m *mesh.Mesh, part *raster.Stack, s supports.Settings) float64 {
	t.Helper()
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	var all mesh.Mesh
	for i := range solids {
		all.Append(solids[i].Mesh)
	}
	sup := raster.Section(&all, part.Grid, part.Layers, 0)
	area := 0.0
	for _, l := range hold.Judge(hold.Input{Body: part, Other: sup, Settings: s}) {
		area += float64(l.Unheld.Count()) * part.CellArea()
	}
	return area
}

// The bracket's plan holds at the bridge limit and with a tenth in hand, and each
// of its contact lines is needed.
func TestBracketPlanIsMinimal(t *testing.T) {
	if testing.Short() {
		t.Skip("judges a plan once for each of its lines")
	}
	m, part, s := bracket(t)
	p := layout.Layout("wall-bracket", m, part, need.Find(m, part, s, 0), s, 0)
	for _, f := range []float64{1, 0.9} {
		short := s
		short.Bridge *= f
		if a := bare(t, p, m, part, short); a > 0 {
			t.Errorf("bridge %.1f mm: %.2f mm² unheld", short.Bridge, a)
		}
	}
	if testing.Short() {
		return
	}
	for n, l := range p.Lines {
		if l.Tie {
			continue
		}
		less := p
		less.Lines = append(append([]plan.Line{}, p.Lines[:n]...), p.Lines[n+1:]...)
		if a := bare(t, less, m, part, s); a == 0 {
			t.Errorf("without %s the plan still holds", l.ID)
		}
	}
}

// A layout that is declared for further layer heights holds at each of them: without lines
// of their own 11 mm² of the arch would not at 0.16 mm, nor 2 mm² at 0.28 mm.
func TestDeclaredHeightsHold(t *testing.T) {
	if testing.Short() {
		t.Skip("lays out and mends for seconds")
	}
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", "cable-arch.stl"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	g := raster.GridFor(m.Bounds(), s.Cell, 3)
	part := raster.Section(m, g, s.Layers(), 0)
	s.Heights = []float64{0.16, 0.28}
	p := layout.Layout("cable-arch", m, part, need.Find(m, part, s, 0), s, 0)
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	var all mesh.Mesh
	for i := range solids {
		all.Append(solids[i].Mesh)
	}
	for _, h := range []float64{0.2, 0.16, 0.28} {
		at, err := p.At(h)
		if err != nil {
			t.Fatal(err)
		}
		r, err := prove.Prove(m, []*mesh.Mesh{&all}, at, prove.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.UnheldMM2 > 0 || r.Verdict != prove.Holds {
			t.Errorf("layers of %g mm: %s, %.2f mm² unheld: %v", h, r.Verdict, r.UnheldMM2, r.Reasons)
		}
	}
	ids := map[string]bool{}
	for _, l := range p.Lines {
		if ids[l.ID] {
			t.Errorf("two lines are %s", l.ID)
		}
		ids[l.ID] = true
	}
}

func TestWorkersDoNotMatter(t *testing.T) {
	m, part, s := bracket(t)
	var want []byte
	for _, workers := range []int{1, 3} {
		got, err := layout.Layout("x", m, part, need.Find(m, part, s, workers), s, workers).Encode()
		if err != nil {
			t.Fatal(err)
		}
		if want != nil && !bytes.Equal(got, want) {
			t.Errorf("%d workers give another plan", workers)
		}
		want = got
	}
}

// What holds as it is gets no structure.
func ExampleLayout() {
	s, _ := supports.Settings{}.Resolve()
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 10, Z: 10})
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := layout.Layout("cube", m, part, need.Find(m, part, s, 0), s, 0)
	fmt.Println(len(p.Lines), "lines,", len(p.Posts), "posts")
	// Output: 0 lines, 0 posts
}
