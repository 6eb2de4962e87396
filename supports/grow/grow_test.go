package grow_test

import (
	"fmt"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// slab is a lid on a wall, its underside at 20 mm, with a cross of two lines on
// one post under it.
func slab(t testing.TB, gap float64) (*mesh.Mesh, *raster.Stack, plan.Plan, supports.Settings) {
	t.Helper()
	s, err := supports.Settings{Gap: gap}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 20, Z: 24})
	m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 34, Y: 20, Z: 24}))
	p := plan.Plan{
		Version: plan.Version, Settings: plan.FromSettings(s),
		Lines: []plan.Line{
			{ID: "L1", At: [][3]float64{{6, 10, 20}, {33, 10, 20}}, By: plan.Designer},
			{ID: "L2", At: [][3]float64{{20, 1, 20}, {20, 19, 20}}, By: plan.Designer},
		},
		Posts: []plan.Post{{ID: "P1", At: [2]float64{20, 10}, Side: 5, Head: 5, By: plan.Designer}},
	}
	return m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), p, s
}

func TestSolidsAreClosedAndRepeat(t *testing.T) {
	m, part, p, _ := slab(t, 0.2)
	a, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	b, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("second growth differs: %s", d)
	}
	for _, x := range a {
		if !x.Mesh.Topology().Watertight() || x.Mesh.Volume() <= 0 {
			t.Errorf("%s: watertight %v, %.2f mm³", x.ID, x.Mesh.Topology().Watertight(), x.Mesh.Volume())
		}
	}
	if len(a) < 3 {
		t.Errorf("%d solids, want two walls and a post at least", len(a))
	}
}

// A station d from the post's footprint hangs at head + d/tan(lean).
func TestHangFollowsTheLean(t *testing.T) {
	m, part, p, s := slab(t, 0.2)
	n := grow.NewNetwork(p, s, grow.NewUndersides(m), part, grow.CoarsePitch)
	n.Hang(p)
	for _, st := range n.Stations {
		d := max(math.Abs(st.P.X-20), math.Abs(st.P.Y-10)) - 2.5
		// The last station inside the footprint is up to a pitch short of its edge.
		lo, hi := 5+d/math.Tan(s.Lean), 5+(d+grow.CoarsePitch)/math.Tan(s.Lean)
		if d <= 0 {
			lo, hi = 5, 5
		}
		if st.Low < lo-1e-6 || st.Low > hi+1e-6 {
			t.Errorf("station %v hangs at %.3f, want %.3f to %.3f", st.P, st.Low, lo, hi)
		}
	}
}

// The void under a level ceiling prints as VoidLayers empty layers.
func TestVoidPrintsAsPlanned(t *testing.T) {
	for _, gap := range []float64{0.2, 0.4, supports.Fused} {
		m, part, p, s := slab(t, gap)
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		var all mesh.Mesh
		for _, x := range solids {
			all.Append(x.Mesh)
		}
		sup := raster.Section(&all, part.Grid, part.Layers, 0)
		i, j := part.At(n2(12, 10))
		first := part.Above(20)
		empty := 0
		for k := first - 1; k >= 0 && !sup.Layer(k).Has(i, j); k-- {
			empty++
		}
		if empty != s.VoidLayers() {
			t.Errorf("gap %v: %d empty layers, want %d", gap, empty, s.VoidLayers())
		}
	}
}

// Fused lines touch the part at teeth one line square, none further from the next than
// the plan's taste says, and not beyond them.
func TestTeeth(t *testing.T) {
	for _, c := range []struct {
		apart float64
		teeth int
	}{{0, 4 + 3}, {6, 5 + 3}, {10, 3 + 2}} { // lines of 27 mm and 18 mm
		m, part, p, s := slab(t, supports.Fused)
		p.Taste.Teeth = c.apart
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		var all mesh.Mesh
		for _, x := range solids {
			if !x.Mesh.Topology().Watertight() || x.Mesh.Volume() <= 0 {
				t.Errorf("%s is not closed", x.ID)
			}
			all.Append(x.Mesh)
		}
		sup := raster.Section(&all, part.Grid, part.Layers, 0)
		top := sup.Layer(part.Above(20) - 1)
		area, want := float64(top.Count())*part.CellArea(), float64(c.teeth)*s.Line*s.Line
		if math.Abs(area-want) > 0.15*want {
			t.Errorf("teeth %g mm apart: %.2f mm² touch the part, want %d teeth of %g mm, %.2f mm²", c.apart, area, c.teeth, s.Line, want)
		}
		if beyond := sup.Layer(part.Above(20)); !beyond.Empty() {
			t.Errorf("teeth stand in the part")
		}
	}
}

func ExampleGrow() {
	s, _ := supports.Settings{}.Resolve()
	m := meshtest.Box(r3.Vec{Z: 10}, r3.Vec{X: 20, Y: 6, Z: 12})
	m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 2, Y: 6, Z: 11}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := plan.Plan{
		Settings: plan.FromSettings(s),
		Lines:    []plan.Line{{ID: "L1", At: [][3]float64{{19, 0.5, 10}, {19, 5.5, 10}}, By: plan.Designer}},
		Posts:    []plan.Post{{ID: "P1", At: [2]float64{19, 3}, Reach: 2.5, By: plan.Designer}},
	}
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, x := range solids {
		b := x.Mesh.Bounds()
		fmt.Printf("%s: z %.1f to %.1f mm\n", x.ID, b.Min.Z, b.Max.Z)
	}
	// Output: L1: z 0.0 to 9.8 mm
	// P1: z 0.0 to 1.2 mm
}

func n2(x, y float64) r2.Vec { return r2.Vec{X: x, Y: y} }

// A sole under a whole line stands on the plate all along; walls that meet it stand
// too as far as its reach, and further out hang from its head at the lean.
func TestSoleUnderALine(t *testing.T) {
	m, part, p, s := slab(t, 0.2)
	p.Posts = []plan.Post{{ID: "P1", Under: "L2", Reach: 2, Head: 8, By: plan.Designer}}
	n := grow.NewNetwork(p, s, grow.NewUndersides(m), part, 0.25)
	n.Hang(p)
	for _, st := range n.Stations {
		d := math.Abs(st.P.X - 20)
		want := 8 + (d-2)/math.Tan(s.Lean)
		if d <= 2+1e-6 {
			want = 0
		} else if want >= st.Top {
			want = math.Inf(1)
		}
		// The last station that stands is up to a pitch short of the reach.
		if st.Low != want && math.Abs(st.Low-want) > 0.25/math.Tan(s.Lean) {
			t.Errorf("at x %.2f, y %.2f: lower edge at %.2f, want %.2f", st.P.X, st.P.Y, st.Low, want)
		}
	}
}

// Where walls from two posts meet higher than the tie that is cut there, the tie
// is level right through: a bead laid on it has no gap to cross.
func TestTiesAreLevel(t *testing.T) {
	m, part, p, s := slab(t, 0.2)
	p.Lines = []plan.Line{p.Lines[0], {ID: "L2", At: [][3]float64{{16.5, 5, 20}, {16.5, 15, 20}}}, {ID: "L3", At: [][3]float64{{25, 5, 20}, {25, 15, 20}}}}
	p.Posts = []plan.Post{
		{ID: "P1", At: [2]float64{16.5, 10}, Reach: 0.1, By: plan.Designer},
		{ID: "P2", At: [2]float64{25, 10}, Reach: 0.1, By: plan.Designer},
	}
	n := grow.NewNetwork(p, s, grow.NewUndersides(m), part, 0.5)
	n.Hang(p)
	n.Ties()
	level := map[float64]int{}
	for _, st := range n.Stations {
		if st.P.X > 17.5 && st.P.X < 23.5 {
			level[st.Low]++
		}
	}
	want := n.Stations[0].Top - grow.WallDepth(s)
	if len(level) != 1 || level[want] == 0 {
		t.Errorf("lower edges between the posts: %v, want all at %.2f", level, want)
	}
}

// A wall over the bore of a hollow post bridges it, so no tie is cut beside the
// stretch that stands on the post: it would be left in the air.
func TestNoTieOverABore(t *testing.T) {
	m, part, p, s := slab(t, 0.2)
	p.Lines = []plan.Line{p.Lines[0], {ID: "L2", At: [][3]float64{{13, 5, 20}, {13, 15, 20}}}, {ID: "L3", At: [][3]float64{{27, 5, 20}, {27, 15, 20}}}}
	p.Posts = []plan.Post{
		{ID: "P1", At: [2]float64{13, 10}, Reach: 0.1, By: plan.Designer},
		{ID: "P2", At: [2]float64{27, 10}, Reach: 0.1, By: plan.Designer},
		{ID: "P3", At: [2]float64{20, 10}, Side: 5, Head: 6.5, By: plan.Designer},
	}
	n := grow.NewNetwork(p, s, grow.NewUndersides(m), part, 0.5)
	n.Hang(p)
	before := make([]float64, len(n.Stations))
	own := 0
	for i, st := range n.Stations {
		before[i] = st.Low
		if st.Near == 2 {
			own++
		}
	}
	n.Ties()
	for i, st := range n.Stations {
		if math.Abs(st.P.X-20) <= 2.5 && st.Low != before[i] {
			t.Errorf("over the bore at x %.2f the lower edge went from %.2f to %.2f", st.P.X, before[i], st.Low)
		}
	}
	if own == 0 {
		t.Error("no wall stands on the hollow post: the test tests nothing")
	}
}

// A wall that carries a far end is as low as the lean asks for that end, and one that
// branches off it to near ends begins as late as they let it: both by hand, from the
// ends back at tan(lean).
func TestWallsBeginLate(t *testing.T) {
	m, part, p, s := slab(t, 0.2)
	p.Lines = []plan.Line{
		{ID: "L1", At: [][3]float64{{8, 10, 20}, {33, 10, 20}}},
		{ID: "L2", At: [][3]float64{{30, 7, 20}, {30, 13, 20}}},
	}
	p.Posts = []plan.Post{{ID: "P1", At: [2]float64{18, 10}, Side: 5, Head: 2, By: plan.Designer}}
	n := grow.NewNetwork(p, s, grow.NewUndersides(m), part, 0.5)
	n.Hang(p)
	hung := make([]float64, len(n.Stations))
	for i := range n.Stations {
		hung[i] = n.Stations[i].Low
	}
	n.Raise()
	rise := 1 / math.Tan(s.Lean)
	late := 0
	for i, st := range n.Stations {
		least := st.Top - grow.WallDepth(s)
		want := hung[i]
		switch away := math.Abs(st.P.X-18) - 2.5; {
		case away <= grow.Brace+0.5: // the trunk, and a pitch for the post's edge
			continue
		case st.Line == 0 && st.P.X < 18:
			want = max(want, least-(st.P.X-8)*rise)
		case st.Line == 0 && st.P.X > 30:
			want = max(want, least-(33-st.P.X)*rise)
		case st.Line == 0: // carries the end at 33 and the branch at 30, 3 mm each way
			want = max(want, least-max(33-st.P.X, 30-st.P.X+3)*rise)
		default:
			want = max(want, least-(3-math.Abs(st.P.Y-10))*rise)
		}
		if math.Abs(st.Low-want) > 1e-6 {
			t.Errorf("line %d at x %.1f, y %.1f begins at %.2f, want %.2f (hung at %.2f)", st.Line, st.P.X, st.P.Y, st.Low, want, hung[i])
		}
		if st.Low > hung[i]+1 {
			late++
		}
	}
	if late < 10 {
		t.Errorf("%d stations begin later than they hung: the test tests nothing", late)
	}
}

// A post under a low wall carries that, and not one that passes far above it.
func TestNoReedOnAPost(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	lines := []plan.Line{
		{ID: "L1", At: [][3]float64{{0, 0, 10}, {10, 0, 10}}, Tie: true},
		{ID: "L2", At: [][3]float64{{5, -5, 30}, {5, 5, 30}}, Tie: true},
	}
	part := raster.Section(meshtest.Box(r3.Vec{X: 40, Y: 40}, r3.Vec{X: 44, Y: 44, Z: 40}), raster.Grid{Cell: s.Cell, W: 500, H: 500}, s.Layers(), 0)
	n := grow.NewNetwork(plan.Plan{Lines: lines}, s, nil, part, 0.5)
	for _, i := range n.Afoot(lines, plan.Post{At: [2]float64{5, 0}, Side: 4}) {
		if n.Stations[i].Line != 0 {
			t.Errorf("the post carries %s at z %.0f", lines[n.Stations[i].Line].ID, n.Stations[i].Top)
		}
	}
}
