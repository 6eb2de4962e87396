package grow

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// emptyLayers is the slow twin of what clear is told of a void: it looks at one layer after
// the other. A surface prints the layers whose planes it lies beyond.
func emptyLayers(lay raster.Layers, lo, hi float64) (empty int, thick float64) {
	for k := 0; lay.Plane(k) < hi; k++ {
		if lay.Plane(k) >= lo {
			empty++
			thick += lay.Thickness(k)
		}
	}
	return empty, thick
}

// wellIn tells at how many of the layer heights the void between two heights prints well,
// whichever way the part's surface, which is one of them, goes by rounding; the settings'
// own count for all others and one.
func wellIn(s supports.Settings, lo, hi float64, partBelow bool) (good int) {
	for i, h := range append([]float64{s.Layer}, s.Heights...) {
		at := s
		at.Layer = h
		ok := true
		for _, off := range [2]float64{-nearPlane, nearPlane} {
			a, b := lo, hi+off
			if partBelow {
				a, b = lo+off, hi
			}
			empty, thick := emptyLayers(raster.Layers{First: s.First, Height: h}, a, b)
			ok = ok && empty > 0 && thick <= at.ThickestVoid(false)+nearPlane
		}
		if ok && i == 0 {
			good += len(s.Heights)
		}
		if ok {
			good++
		}
	}
	return good
}

// Tops and seats that clear finds print well at as many layer heights as any height does,
// of all that are a hundredth of a layer apart.
func TestClearAgainstEveryHeight(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	planes, none := 0, 0
	for n := range 600 {
		s, err := supports.Settings{
			Layer: []float64{0.12, 0.16, 0.2, 0.28}[r.IntN(4)], First: []float64{0.2, 0.28, 0.3}[r.IntN(3)], Gap: []float64{0.2, 0.3, 0.4}[r.IntN(3)],
		}.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		for range r.IntN(3) {
			s.Heights = append(s.Heights, []float64{0.12, 0.16, 0.2, 0.28}[r.IntN(4)])
		}
		z := 3 + 2*r.Float64()
		if n%3 == 0 {
			z = s.Layers().Plane(5 + r.IntN(20))
			planes++
		}
		for _, way := range [2]float64{-1, 1} {
			well := func(at float64) int {
				if way < 0 {
					return wellIn(s, at, z, false)
				}
				return wellIn(s, z, at, true)
			}
			most := 0
			for d := s.Layer / 200; d < 3*s.Layer+0.5; d += s.Layer / 100 {
				most = max(most, well(z+way*d))
			}
			got, ok := topUnder(z, true, [2]float64{}, s), false
			if way > 0 {
				if got, ok = seatOver(z, true, s); ok != (most == 2*len(s.Heights)+1) {
					t.Fatalf("%+v: over %g a seat is told to be clear: %v, but the best prints well at %d", s, z, ok, most)
				}
			}
			if most == 0 {
				none++
			} else if well(got) != most {
				t.Fatalf("%+v: at %g from %g the void prints well at %d, at another height at %d", s, got, z, well(got), most)
			}
		}
	}
	if planes < 100 || none < 20 {
		t.Errorf("%d surfaces on a plane, %d without any good void: the test tests nothing", planes, none)
	}
}

// A block's upper side on a cutting plane has no clear seat over it with a gap of one
// layer, one between planes has, and a gap of two layers clears both; heights by hand.
func TestSeatOnACuttingPlane(t *testing.T) {
	for _, c := range []struct {
		top, gap float64
		clear    bool
		lo, hi   float64 // of the seat
	}{
		{4.5, 0.2, false, 4.5, 4.9},
		{4.45, 0.2, true, 4.5, 4.7}, // layers end at 4.4, and begin at 4.6
		{4.5, 0.4, true, 4.7, 4.9},  // one or two layers empty
	} {
		s, err := supports.Settings{Gap: c.gap}.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		m := meshtest.Box(r3.Vec{}, r3.Vec{X: 30, Y: 20, Z: c.top})
		m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 20, Z: 24}))
		m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 30, Y: 20, Z: 24}))
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		p := plan.Plan{
			Version: plan.Version, Settings: plan.FromSettings(s),
			Lines: []plan.Line{{ID: "L1", At: [][3]float64{{10, 10, 20}, {28, 10, 20}}}},
		}
		under := NewUndersides(m)
		n := NewNetwork(p, s, under, part, CoarsePitch)
		for _, st := range n.Stations {
			seat, ok := st.Seat(s)
			if !ok || math.Abs(st.Ground-c.top) > 1e-6 || st.Clear() != c.clear || seat <= c.lo || seat > c.hi {
				t.Fatalf("top %g, gap %g: ground %g, seat %g, clear %v; want it %v, from %g to %g", c.top, c.gap, st.Ground, seat, st.Clear(), c.clear, c.lo, c.hi)
			}
			// The foot of a hollow post, which a plan gives to a layer, is as high.
			q := plan.Post{At: [2]float64{st.P.X, st.P.Y}, Side: 4, Foot: part.Top(part.Above(c.top) - 1)}
			if foot := Foot(q, under, s); foot != seat {
				t.Fatalf("top %g, gap %g: a post's foot at %g, a wall's at %g", c.top, c.gap, foot, seat)
			}
		}
	}
}

// Over a slope a wall begins a void and a quarter layer above the highest point across it,
// by the plane's own equation, whichever way it runs, and a post above that of its square.
func TestSeatOnASlope(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	tilt := math.Tan(20 * math.Pi / 180)
	height := func(x float64) float64 { return 4.3 + tilt*x }
	m := ramp(0, 30, height(0), height(30))
	m.Append(meshtest.Box(r3.Vec{Z: 25}, r3.Vec{X: 30, Y: 20, Z: 28}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := plan.Plan{Lines: []plan.Line{
		{ID: "L1", At: [][3]float64{{3, 10, 25}, {27, 10, 25}}},
		{ID: "L2", At: [][3]float64{{15, 3, 25}, {15, 17, 25}}},
	}}
	under := NewUndersides(m)
	n := NewNetwork(p, s, under, part, CoarsePitch)
	void := 1.25 * s.Layer
	for _, st := range n.Stations {
		across := 0.0
		if st.Line == 1 {
			across = s.Wall / 2
		}
		want := height(st.P.X+across) + void
		if seat, ok := st.Seat(s); !ok || math.Abs(seat-want) > 1e-6 || !st.Clear() {
			t.Errorf("line %d at x %.2f: seat %.3f, want %.3f", st.Line+1, st.P.X, seat, want)
		}
	}
	// The square of a post may rise by no more than a layer.
	const side = 0.5
	at := 15.0
	q := plan.Post{At: [2]float64{at, 10}, Side: side, Foot: height(at)}
	if foot, want := Foot(q, under, s), height(at+side/2)+void; math.Abs(foot-want) > 1e-6 {
		t.Errorf("a post's foot at %.3f, want %.3f", foot, want)
	}
}

// ramp is a block 20 mm wide from x0 to x1 whose upper side rises from z0 to z1.
func ramp(x0, x1, z0, z1 float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	b := []r2.Vec{{X: x0, Y: 0}, {X: x1, Y: 0}, {X: x1, Y: 20}, {X: x0, Y: 20}}
	for _, p := range b {
		m.Vertices = append(m.Vertices, r3.Vec{X: p.X, Y: p.Y})
	}
	for i, p := range b {
		m.Vertices = append(m.Vertices, r3.Vec{X: p.X, Y: p.Y, Z: []float64{z0, z1, z1, z0}[i]})
	}
	m.Triangles = [][3]uint32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7}, {0, 1, 5}, {0, 5, 4}, {1, 2, 6}, {1, 6, 5}, {2, 3, 7}, {2, 7, 6}, {3, 0, 4}, {3, 4, 7}}
	return m
}

// A wall that goes down from the plate's level over a ramp, some of it standing and the
// rest hanging from that, leaves at least a layer empty over the ramp and enters it
// nowhere, wherever its stations fall.
func TestWallsKeepClearOfARamp(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	stood := 0
	for _, angle := range []float64{30, 45, 55, 65} {
		for shift := 0.0; shift < 0.5; shift += 0.07 {
			m := ramp(10, 16, 0.01, 6*math.Tan(angle*math.Pi/180))
			m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 30, Y: 20, Z: 24}))
			part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
			p := plan.Plan{
				Version: plan.Version, Settings: plan.FromSettings(s),
				Lines: []plan.Line{{ID: "L1", At: [][3]float64{{3 + shift, 10, 20}, {16.5, 10, 20}}}},
				Posts: []plan.Post{{ID: "P1", At: [2]float64{9, 10}, Reach: 3, Head: 1, By: plan.Designer}},
			}
			solids, err := Grow(p, m, part)
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range solids {
				sup := raster.Section(x.Mesh, part.Grid, part.Layers, 0)
				for k := range sup.Cut {
					in := raster.And(sup.Layer(k), part.Layer(k))
					over := raster.And(sup.Layer(k), part.Layer(k-1))
					if !in.Empty() || !over.Empty() {
						t.Errorf("%g°, stations moved by %.2f: layer %d has %d cells in the ramp and %d right on it", angle, shift, k, in.Count(), over.Count())
					}
					above := raster.And(sup.Layer(k), part.Layer(k-2))
					stood += above.Count()
				}
			}
		}
	}
	if stood == 0 {
		t.Error("nothing stands on a ramp: the test tests nothing")
	}
}

// Suits agrees with a look at every height, and a face that was moved as it says suits.
func TestSuitsAgainstEveryHeight(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	s.Heights = []float64{0.16, 0.28}
	best := func(z, way float64) (most int) {
		for d := 0.002; d < 1; d += 0.002 {
			if way < 0 {
				most = max(most, wellIn(s, z-d, z, false))
			} else {
				most = max(most, wellIn(s, z, z+d, true))
			}
		}
		return most
	}
	r := rand.New(rand.NewPCG(8, 2))
	var suited, not int
	for n := range 150 {
		z, up, way := 4+r.Float64()*10, n%2 == 0, -1.0
		if up {
			way = 1
		}
		if n%5 == 0 {
			z = math.Round(z*5)/5 + 0.1 // on a plane of the settings' own
		}
		ok, move := Suits(z, up, s)
		if ok {
			suited++
		} else if not++; move == 0 {
			t.Errorf("nothing within half a millimetre of %g suits", z)
		}
		if want := best(z, way) == 2*len(s.Heights)+1; ok != want {
			t.Errorf("face at %g, up %v: suits %v, want %v", z, up, ok, want)
		}
		if got := best(z+move, way); got != 2*len(s.Heights)+1 {
			t.Errorf("face at %g, up %v, moved by %g: prints well at %d", z, up, move, got)
		}
	}
	if suited < 20 || not < 20 {
		t.Errorf("%d faces suit and %d do not: the test tests little", suited, not)
	}
}

// A line under a lower ceiling is in the plan of a post that stands on the part over it. The
// post reaches its own wall all the same, and so does a sole.
func TestPostsOverALowerLineReachTheirOwn(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 20, Z: 34})
	m.Append(meshtest.Box(r3.Vec{Z: 10.1}, r3.Vec{X: 30, Y: 20, Z: 14.1}))
	m.Append(meshtest.Box(r3.Vec{Z: 30.1}, r3.Vec{X: 30, Y: 20, Z: 34}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	for _, q := range []plan.Post{{Side: 5, Head: 22}, {Reach: 3}} {
		q.ID, q.At, q.Foot = "P1", [2]float64{17, 10}, 14.1
		p := plan.Plan{Settings: plan.FromSettings(s), Posts: []plan.Post{q}, Lines: []plan.Line{
			{ID: "L1", At: [][3]float64{{6, 10, 10.1}, {28, 10, 10.1}}}, {ID: "L2", At: [][3]float64{{6, 10, 30.1}, {28, 10, 30.1}}},
		}}
		n := NewNetwork(p, s, NewUndersides(m), part, finePitch)
		n.Hang(p)
		for line, want := range []int{-1, 0} {
			if near := n.Stations[n.at(line, 11)].Near; near != want {
				t.Errorf("side %g: the middle of L%d hangs from post %d, want %d", q.Side, line+1, near, want)
			}
		}
		if solid, err := n.post(q, 30); q.Side > 0 && (err != nil || solid == nil || solid.Bounds().Max.Z < 22) {
			t.Errorf("the post is not grown to its head (%v)", err)
		}
	}
}

// Two neighbouring stations just a step apart leave no room for an edge to stand up between
// them: what is built there is a wall still, whichever of them is deep.
func TestLeapBetweenStationsAStepApart(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	for _, gap := range []float64{step - 1e-6, step, step + 1e-7, step + 2e-5, 0.1, 0.25, s.Wall/2 + step + 5e-7, 0.5} {
		for _, falls := range []bool{false, true} {
			from := mesh.Station{P: r2.Vec{X: 3.3}, Low: 2, High: 20}
			to := mesh.Station{P: r2.Vec{X: 3.3 + gap}, Low: 9, High: 20.1}
			if falls {
				from.Low, to.Low = to.Low, from.Low
			}
			run := append([]mesh.Station{from}, n.leap(&Station{}, &Station{parent: 1}, from, to)...)
			m, err := mesh.Wall(append(run, to), s.Wall)
			if err != nil || !m.Topology().Watertight() {
				t.Errorf("%g mm apart, falls %v: %v", gap, falls, err)
			}
		}
	}
}
