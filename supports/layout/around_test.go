package layout_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// bench is a slab on a leg over a low step: ceilings over the plate and over the part.
type bench struct {
	m    *mesh.Mesh
	part *raster.Stack
	need need.Need
	s    supports.Settings
}

func newBench(t testing.TB, nozzle float64) bench {
	t.Helper()
	s, err := supports.Settings{Nozzle: nozzle}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	if s, err = plan.FromSettings(s).Supports(); err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{X: -3, Y: -3}, r3.Vec{X: 3, Y: 3, Z: 11})
	m.Append(meshtest.Box(r3.Vec{X: -11, Y: -7, Z: 11}, r3.Vec{X: 11, Y: 7, Z: 12}))
	m.Append(meshtest.Box(r3.Vec{X: -3, Y: 2}, r3.Vec{X: 3, Y: 6, Z: 3}))
	b := bench{m: m, s: s, part: raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)}
	b.need = need.Find(m, b.part, s, 0)
	return b
}

func (b bench) plan() plan.Plan {
	return plan.Plan{Version: plan.Version, Part: plan.Part{Name: "bench.stl"}, Settings: plan.FromSettings(b.s)}
}

func (b bench) around(t testing.TB, p plan.Plan) (plan.Plan, []layout.Spot) {
	t.Helper()
	got, spots, err := layout.Around(p, "bench.stl", b.m, b.part, b.need, 0)
	if err != nil {
		t.Fatal(err)
	}
	return got, spots
}

// text is a plan's document.
func text(t interface {
	Helper()
	Fatal(...any)
}, p plan.Plan) []byte {
	t.Helper()
	data, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// solids cuts a plan's supports into the part's layers.
func (b bench) solids(t interface{ Fatal(...any) }, p plan.Plan) *raster.Stack {
	all, err := grow.Grow(p, b.m, b.part)
	if err != nil {
		t.Fatal(err)
	}
	var one mesh.Mesh
	for i := range all {
		one.Append(all[i].Mesh)
	}
	return raster.Section(&one, b.part.Grid, b.part.Layers, 0)
}

// inside tells whether a point lies in a zone of the tests' own making; the slow
// twin of the package's distances.
func inside(z plan.Zone, x, y, h float64) bool {
	if b := z.Box; b != nil {
		return x >= b.Min[0] && x <= b.Max[0] && y >= b.Min[1] && y <= b.Max[1] && h >= b.Min[2] && h <= b.Max[2]
	}
	c := z.Cylinder // upright ones only
	return (x-c.From[0])*(x-c.From[0])+(y-c.From[1])*(y-c.From[1]) <= c.Radius*c.Radius && h >= c.From[2] && h <= c.To[2]
}

// anyWishes draws zones, posts and lines of a designer at random.
func anyWishes(r *rand.Rand, p plan.Plan) plan.Plan {
	mm := func(lo, hi float64) float64 { return math.Round(100*(lo+r.Float64()*(hi-lo))) / 100 }
	for i := range r.IntN(4) {
		z := plan.Zone{ID: fmt.Sprint("Z", i), Kind: []plan.Kind{plan.KeepClean, plan.MustHold, plan.NoGo}[r.IntN(3)]}
		x, y, h := mm(-12, 8), mm(-8, 5), mm(0, 12)
		if z.Kind != plan.NoGo && r.IntN(3) > 0 {
			h = mm(10, 11) // about the ceiling
		}
		if r.IntN(2) == 0 {
			z.Box = &plan.Box{Min: [3]float64{x, y, h}, Max: [3]float64{x + mm(1, 9), y + mm(1, 9), h + mm(0.5, 8)}}
		} else {
			z.Cylinder = &plan.Cylinder{From: [3]float64{x, y, h}, To: [3]float64{x, y, h + mm(0.5, 8)}, Radius: mm(0.5, 5)}
		}
		p.Zones = append(p.Zones, z)
	}
	for i := range r.IntN(3) {
		p.Posts = append(p.Posts, plan.Post{ID: fmt.Sprint("P", i+1), At: [2]float64{mm(-9, 9), mm(-6, 6)}, Side: mm(3, 6), Head: mm(3, 7), By: plan.Designer})
	}
	for i := range r.IntN(3) {
		p.Lines = append(p.Lines, plan.Line{ID: fmt.Sprint("L", i+1), By: plan.Designer, At: [][3]float64{
			{mm(-10, 10), mm(-6, 6), 11}, {mm(-10, 10), mm(-6, 6), 11}}})
	}
	return p
}

// Whatever a designer asks for: clean zones are not touched, no-go zones not
// entered, what is the designer's is not changed, any number of workers gives the
// same document, and a second run changes nothing.
func TestWishesProperty(t *testing.T) {
	// Cells of a wide nozzle are an eighth of the work.
	wide, fine := newBench(t, 0.8), newBench(t, 0.4)
	for seed := range 16 {
		b := wide
		switch {
		case testing.Short() && seed > 3:
			return
		case seed < 2 && !testing.Short():
			b = fine
		}
		void := b.s.VoidLayers()
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			p := anyWishes(rand.New(rand.NewPCG(uint64(seed), 0)), b.plan())
			var got plan.Plan
			var spots []layout.Spot
			for try := 0; ; try++ {
				var err error
				got, spots, err = layout.Around(p, "bench.stl", b.m, b.part, b.need, 1)
				var no *layout.Impossible
				if errors.As(err, &no) && try < 5 {
					p = without(t, p, no.Refusals)
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				break
			}
			if d := cmp.Diff(p.Zones, got.Zones); d != "" {
				t.Fatalf("zones changed\n%s", d)
			}
			for _, l := range p.Lines {
				if !slices.ContainsFunc(got.Lines, func(o plan.Line) bool { return cmp.Equal(l, o) }) {
					t.Fatalf("line %s was changed", l.ID)
				}
			}
			for _, q := range p.Posts {
				if !slices.Contains(got.Posts, q) {
					t.Fatalf("post %s was changed", q.ID)
				}
			}
			sup := b.solids(t, got)
			clean := map[string]bool{}
			for _, z := range p.Zones {
				for k := range sup.Cut {
					z0 := b.part.Plane(k)
					sup.Cut[k].Each(func(i, j int) {
						c := b.part.Center(i, j)
						if z.Kind == plan.NoGo && inside(z, c.X, c.Y, z0) {
							t.Fatalf("%s is entered at %.2f, %.2f, %.2f", z.ID, c.X, c.Y, z0)
						}
						if z.Kind != plan.KeepClean {
							return
						}
						// The part above or below it, across the void of a contact.
						for o := k - void - 1; o <= k+void+1; o++ {
							if b.part.Layer(o).Has(i, j) && (inside(z, c.X, c.Y, b.part.Bottom(max(o, 0))) && o > k || inside(z, c.X, c.Y, b.part.Top(max(o, 0))) && o <= k) {
								t.Fatalf("%s is touched at %.2f, %.2f, layer %d by layer %d", z.ID, c.X, c.Y, o, k)
							}
						}
					})
				}
				clean[z.ID] = true
			}
			for _, s := range spots {
				if s.AreaMM2 <= 0 || s.Why == "" || s.Because != "" && !clean[s.Because] {
					t.Fatalf("a spot without a reason: %+v", s)
				}
			}
			other, _, err := layout.Around(p, "bench.stl", b.m, b.part, b.need, 3)
			if err != nil || !bytes.Equal(text(t, got), text(t, other)) {
				t.Fatalf("three workers give another plan than one (%v)", err)
			}
			again, _, err := layout.Around(got, "bench.stl", b.m, b.part, b.need, 0)
			if err != nil || !bytes.Equal(text(t, got), text(t, again)) {
				t.Fatalf("a second run changes the plan (%v)\n%s", err, cmp.Diff(got, again))
			}
			// All of it the designer's: it is granted, kept, and no less holds.
			mine := pinned(got)
			again, left, err := layout.Around(mine, "bench.stl", b.m, b.part, b.need, 0)
			if err != nil || areaOf(left) > areaOf(spots)+1e-6 || !cmp.Equal(again.Lines[:len(mine.Lines)], mine.Lines) || !cmp.Equal(again.Posts[:len(mine.Posts)], mine.Posts) {
				t.Fatalf("a plan that is all the designer's is changed (%v)\n%s", err, cmp.Diff(mine, again))
			}
		})
	}
}

func areaOf(spots []layout.Spot) (mm2 float64) {
	for _, s := range spots {
		mm2 += s.AreaMM2
	}
	return mm2
}

// without takes what was refused out of a plan.
func without(t *testing.T, p plan.Plan, no []layout.Refusal) plan.Plan {
	t.Helper()
	for _, r := range no {
		n := len(p.Zones) + len(p.Lines) + len(p.Posts)
		p.Zones = slices.DeleteFunc(p.Zones, func(z plan.Zone) bool { return z.ID == r.ID })
		p.Lines = slices.DeleteFunc(p.Lines, func(l plan.Line) bool { return l.ID == r.ID })
		p.Posts = slices.DeleteFunc(p.Posts, func(q plan.Post) bool { return q.ID == r.ID })
		if len(p.Zones)+len(p.Lines)+len(p.Posts) != n-1 || r.Reason == "" {
			t.Fatalf("refused without saying what: %+v", r)
		}
	}
	return p
}

// pinned makes all of a plan the designer's.
func pinned(p plan.Plan) plan.Plan {
	p.Lines, p.Posts = slices.Clone(p.Lines), slices.Clone(p.Posts)
	for i := range p.Lines {
		p.Lines[i].By = plan.Designer
	}
	for i := range p.Posts {
		p.Posts[i].By = plan.Designer
	}
	p.Drawn = plan.Past{}
	return p
}

// A ceiling that bridges by itself gets contacts where the designer wants them, by
// box or by face, and none without.
func TestMustHold(t *testing.T) {
	b := newBench(t, 0.8)
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 3, Y: 12, Z: 8})
	m.Append(meshtest.Box(r3.Vec{X: 11}, r3.Vec{X: 14, Y: 12, Z: 8}))
	m.Append(meshtest.Box(r3.Vec{Z: 8}, r3.Vec{X: 14, Y: 12, Z: 10}))
	b.m, b.part = m, raster.Section(m, raster.GridFor(m.Bounds(), b.s.Cell, 3), b.s.Layers(), 0)
	b.need = need.Find(m, b.part, b.s, 0)
	if p, _ := b.around(t, b.plan()); len(p.Lines) > 0 {
		t.Fatalf("8 mm between two legs are a bridge of less than 10 mm, yet there are %d lines", len(p.Lines))
	}
	for name, z := range map[string]plan.Zone{
		"box":  {ID: "Z", Kind: plan.MustHold, Box: &plan.Box{Min: [3]float64{3, 0, 7}, Max: [3]float64{11, 12, 9}}},
		"face": {ID: "Z", Kind: plan.MustHold, Face: &plan.Face{At: [3]float64{7, 6, 8}, Normal: [3]float64{0, 0, -1}}},
	} {
		p := b.plan()
		p.Zones = []plan.Zone{z}
		got, spots := b.around(t, p)
		if len(got.Lines) == 0 || len(got.Posts) == 0 || len(spots) > 0 {
			t.Errorf("%s: %d lines on %d posts, bare: %v", name, len(got.Lines), len(got.Posts), spots)
		}
		// With nothing under it, the spot is told.
		none := got
		none.Lines, none.Posts = nil, nil
		if spots := layout.Bare(none, b.m, b.part, 0); len(spots) == 0 || !strings.Contains(spots[0].Why, "must be held") {
			t.Errorf("%s: without lines: %v", name, spots)
		}
	}
}

// A line and a post that were deleted are not drawn again, in this run or the next.
func TestStruckStaysAway(t *testing.T) {
	if testing.Short() {
		t.Skip("draws many plans")
	}
	b := newBench(t, 0.8)
	p, _ := b.around(t, b.plan())
	for n := range p.Posts {
		q := p
		q.Posts = slices.Delete(slices.Clone(p.Posts), n, n+1)
		got, _ := b.around(t, q)
		got, _ = b.around(t, got)
		for _, o := range got.Posts {
			if d := math.Hypot(o.At[0]-p.Posts[n].At[0], o.At[1]-p.Posts[n].At[1]); d < 1.9 {
				t.Errorf("%s is drawn again as %s, %.2f mm off", p.Posts[n].ID, o.ID, d)
			}
		}
	}
	for n := 0; n < len(p.Lines); n += 4 {
		q := p
		q.Lines = slices.Delete(slices.Clone(p.Lines), n, n+1)
		got, _ := b.around(t, q)
		got, _ = b.around(t, got)
		if len(got.Struck.Lines) != 1 || got.Struck.Lines[0].ID != p.Lines[n].ID {
			t.Fatalf("struck: %+v", got.Struck)
		}
		for _, l := range got.Lines {
			if cmp.Equal(l.At, p.Lines[n].At) || l.ID == p.Lines[n].ID {
				t.Errorf("%s is drawn again", p.Lines[n].ID)
			}
		}
	}
}

// A plan that holds and is all the designer's is left alone.
func TestNothingLeftToLayOut(t *testing.T) {
	b := newBench(t, 0.8)
	p, spots := b.around(t, b.plan())
	if len(spots) > 0 || len(p.Lines) == 0 {
		t.Fatalf("%d lines leave bare %v", len(p.Lines), spots)
	}
	mine := pinned(p)
	if again, _ := b.around(t, mine); !bytes.Equal(text(t, again), text(t, mine)) {
		t.Errorf("it was changed\n%s", cmp.Diff(mine, again))
	}
}

// A post moved by 5 mm, its head left as it was, still carries all: the walls to it
// come out anew and its head lower. Left out, the head is as high as may be.
func TestMovedPostCarriesItsWalls(t *testing.T) {
	s, err := supports.Settings{Nozzle: 0.8}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{X: -4}, r3.Vec{Y: 14, Z: 24})
	m.Append(meshtest.Box(r3.Vec{Z: 22}, r3.Vec{X: 20, Y: 14, Z: 24}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := layout.Layout("x", m, part, need.Find(m, part, s, 0), s, 0)
	for _, c := range []struct {
		x, head float64
		by      plan.Author
		holds   bool
	}{
		{10, 0, plan.Designer, true},
		{15, 0, plan.Designer, true},
		{15, 18, plan.Designer, true}, // 3 mm under the walls' least depth: too high for a spread of 15 mm
		{15, 18, plan.Tool, false},    // and as it says
	} {
		p.Posts = []plan.Post{{ID: "P1", At: [2]float64{c.x, 7}, Side: 6, Head: c.head, By: c.by}}
		if a := bare(t, p, m, part, s); (a == 0) != c.holds {
			t.Errorf("at x %g, head %g, by %s: %.2f mm² unheld", c.x, c.head, c.by, a)
		}
	}
}

// Picked faces: with the ceilings clean nothing is held and the summary says why;
// with the step's upper side clean nothing lands on it.
func TestPickedFacesStayClean(t *testing.T) {
	b := newBench(t, 0.8)
	p := b.plan()
	p.Zones = []plan.Zone{{ID: "ceiling", Kind: plan.KeepClean, Face: &plan.Face{At: [3]float64{8, 0, 11}, Normal: [3]float64{0, 0, -1}}}}
	got, spots := b.around(t, p)
	if len(got.Lines) > 0 || len(spots) == 0 || spots[0].Because != "ceiling" {
		t.Errorf("%d lines, bare %v", len(got.Lines), spots)
	}
	free, _ := b.around(t, b.plan())
	p.Zones = []plan.Zone{{ID: "step", Kind: plan.KeepClean, Face: &plan.Face{At: [3]float64{0, 5, 3}, Normal: [3]float64{0, 0, 1}}}}
	got, _ = b.around(t, p)
	k := b.part.Above(3) + b.s.VoidLayers() // the lowest layer of what lands
	onStep := func(p plan.Plan) (n int) {
		b.solids(t, p).Layer(k).Each(func(i, j int) {
			if c := b.part.Center(i, j); math.Abs(c.X) < 3 && c.Y > 3 && c.Y < 6 {
				n++
			}
		})
		return
	}
	if n := onStep(got); n > 0 {
		t.Errorf("%d cells land on the clean step", n)
	}
	if onStep(free) == 0 {
		t.Skip("nothing lands there without the zone either")
	}
}

func BenchmarkAround(b *testing.B) {
	m, part, s := bracket(b)
	n := need.Find(m, part, s, 0)
	p := plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s), Zones: []plan.Zone{
		{ID: "label", Kind: plan.KeepClean, Box: &plan.Box{Min: [3]float64{30, 14, 29}, Max: [3]float64{34, 18, 31}}},
		{ID: "cable", Kind: plan.NoGo, Cylinder: &plan.Cylinder{From: [3]float64{20, 30, 0}, To: [3]float64{20, 30, 25}, Radius: 5}}}}
	b.Run("wall-bracket/824", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			if _, _, err := layout.Around(p, "wall-bracket", m, part, n, 0); err != nil {
				b.Fatal(err)
			}
		}
	})
}
