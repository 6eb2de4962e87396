package pose

import (
	"math"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func summerOf(t *testing.T, m *mesh.Mesh, o Options) *summer {
	t.Helper()
	o, err := o.resolve()
	if err != nil {
		t.Fatal(err)
	}
	w, err := newSummer(m, o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// within tells whether two numbers differ by no more than a share of the second.
func within(got, want, share float64) bool {
	return math.Abs(got-want) <= share*math.Abs(want)
}

// Formulas of solid geometry, from any handbook.
func TestSumsOfSolids(t *testing.T) {
	const r = 20.0
	ball := meshtest.Sphere(r3.Vec{}, r, 40)
	w := summerOf(t, ball, Options{Clean: []r3.Vec{{Z: -2}}})
	s := w.sum([]r3.Vec{{Z: 1}, r3.Unit(r3.Vec{X: 1, Y: -2, Z: 0.5})})
	foot := math.Pi * (2*r*w.plane - w.plane*w.plane) // section of a ball at the first layer's plane
	for _, s := range s {
		// The cap beyond 45° has a radius of r/√2 in plan.
		if want := math.Pi*r*r/2 - foot; !within(s.NeedMM2, want, 0.02) {
			t.Errorf("ball: %.1f mm² in need, want %.1f", s.NeedMM2, want)
		}
		if !within(s.FootMM2, foot, 0.05) || !within(s.HeightMM, 2*r, 0.01) {
			t.Errorf("ball: foot %.2f mm², want %.2f; height %.2f", s.FootMM2, foot, s.HeightMM)
		}
	}
	// Faces within 30° of straight down are a cap of 2πr²(1−cos 30°), all in need.
	if want := 2 * math.Pi * r * r * (1 - math.Cos(math.Pi/6)); !within(s[0].CleanMM2, want-foot, 0.02) {
		t.Errorf("ball: %.1f mm² of clean faces, want %.1f", s[0].CleanMM2, want-foot)
	}
	// Under the cap lies a cylinder less the cap of the ball: πc²r − π∫(r²−ρ²)½2ρdρ.
	if want := math.Pi * (r*r*r/2 - 2./3*(r*r*r-math.Pow(r*r/2, 1.5))); !within(s[0].RiseMM3, want, 0.02) {
		t.Errorf("ball: %.0f mm³ below, want %.0f", s[0].RiseMM3, want)
	}

	// A beam 20 mm wide and 10 mm below a bridge limit: the ceiling of a gate bridges
	// between its posts if it spans 8 mm, and does not if it spans 14.
	for span, need := range map[float64]float64{8: 0, 14: 14 * 12} {
		gate := standing(12, r2.Vec{}, r2.Vec{X: 5}, r2.Vec{X: 5, Y: 10}, r2.Vec{X: 5 + span, Y: 10}, r2.Vec{X: 5 + span}, r2.Vec{X: 10 + span}, r2.Vec{X: 10 + span, Y: 15}, r2.Vec{Y: 15})
		g := summerOf(t, gate, Options{}).sum([]r3.Vec{{Z: 1}})[0]
		if math.Abs(g.NeedMM2-need) > 0.01 || !within(g.FootMM2, 2*5*12, 1e-6) {
			t.Errorf("a gate %g mm wide: %.2f mm² in need, want %g; foot %.2f mm²", span, g.NeedMM2, need, g.FootMM2)
		}
	}
	// Nothing holds a ceiling of 8 mm whose far end is free.
	l := standing(12, r2.Vec{}, r2.Vec{X: 5}, r2.Vec{X: 5, Y: 10}, r2.Vec{X: 13, Y: 10}, r2.Vec{X: 13, Y: 15}, r2.Vec{Y: 15})
	if s := summerOf(t, l, Options{}).sum([]r3.Vec{{Z: 1}})[0]; !within(s.NeedMM2, 8*12, 1e-6) {
		t.Errorf("an arm: %.2f mm² in need, want %d", s.NeedMM2, 8*12)
	}
}

// The slow twin cuts triangles into many small ones and asks where the middle of each
// lies.
func TestSumsAgainstSlowTwin(t *testing.T) {
	m := meshtest.Blob(600)
	w := summerOf(t, m, Options{})
	for k := range w.faces {
		w.faces[k].ceiling = -1 // the twin knows nothing that holds by itself
	}
	ups := Spread(40)
	for i, s := range w.sum(ups) {
		up := ups[i]
		low := math.Inf(1)
		for _, v := range m.Vertices {
			low = min(low, r3.Dot(up, v))
		}
		var need, rise, foot float64
		var cut func(a, b, c r3.Vec, depth int)
		cut = func(a, b, c r3.Vec, depth int) {
			if depth > 0 {
				ab, bc, ca := r3.Scale(0.5, r3.Add(a, b)), r3.Scale(0.5, r3.Add(b, c)), r3.Scale(0.5, r3.Add(c, a))
				cut(a, ab, ca, depth-1)
				cut(ab, b, bc, depth-1)
				cut(ca, bc, c, depth-1)
				cut(ab, bc, ca, depth-1)
				return
			}
			n := r3.Scale(0.5, r3.Cross(r3.Sub(b, a), r3.Sub(c, a)))
			down := -r3.Dot(n, up)
			z := r3.Dot(up, r3.Scale(1./3, r3.Add(a, r3.Add(b, c)))) - low
			switch {
			case z < w.plane:
				foot += down
			case down > math.Sin(w.s.Limit+facetError)*math.Sqrt(r3.Norm2(n)):
				need += down
				rise += down * z
			}
		}
		for k := range m.Triangles {
			a, b, c := m.Corners(k)
			cut(a, b, c, 4)
		}
		if !within(s.NeedMM2, need, 0.02) || !within(s.RiseMM3, rise, 0.02) || math.Abs(s.FootMM2-foot) > 0.5 {
			t.Errorf("up %.3f: %.2f mm², %.1f mm³, foot %.2f mm²; the slow twin has %.2f, %.1f, %.2f", up, s.NeedMM2, s.RiseMM3, s.FootMM2, need, rise, foot)
		}
	}
}

func TestResultsDoNotDependOnWorkers(t *testing.T) {
	m := tee()
	one, err := Find(m, Options{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	three, err := Find(m, Options{Workers: 3})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(one, three); d != "" {
		t.Errorf("one worker and three (-one +three):\n%s", d)
	}
}

// A box tips over its nearest edge once its centre of mass stands above that; a cone's
// lies at a quarter of its height (any handbook of mechanics).
func TestRestsAndTipping(t *testing.T) {
	box := meshtest.Box(r3.Vec{X: 5, Y: -3, Z: 0}, r3.Vec{X: 15, Y: 17, Z: 30})
	h, err := HullOf(box.Vertices)
	if err != nil {
		t.Fatal(err)
	}
	rests := h.Rests(Centroid(box), 0.1)
	if len(rests) != 6 {
		t.Fatalf("%d sides, want 6", len(rests))
	}
	for _, r := range rests {
		size := r3.Vec{X: 10, Y: 20, Z: 30}
		height := math.Abs(r3.Dot(r.Up, size))
		sides := []float64{10, 20, 30}
		sides = slices.DeleteFunc(sides, func(v float64) bool { return math.Abs(v-height) < 1e-9 })
		if len(sides) != 2 || !within(r.AreaMM2, sides[0]*sides[1], 1e-9) || !within(r.Tipping, math.Atan(sides[0]/height), 1e-9) {
			t.Errorf("up %.3f: %+v, want %.0f mm² and %.4f", r.Up, r, sides, math.Atan(sides[0]/height))
		}
	}
	cone := meshtest.Cone(0, 10, 20, 0, 96)
	if c := Centroid(cone); r3.Norm(r3.Sub(c, r3.Vec{Z: 5})) > 1e-4 {
		t.Errorf("a cone's centre of mass is at %.4f, want a quarter of its height", c)
	}
	// An arm too long for its foot does not stand.
	arm := meshtest.Box(r3.Vec{}, r3.Vec{X: 5, Y: 10, Z: 10})
	arm.Append(meshtest.Box(r3.Vec{X: 5, Z: 9}, r3.Vec{X: 60, Y: 10, Z: 10}))
	if h, err = HullOf(arm.Vertices); err != nil {
		t.Fatal(err)
	}
	if s := h.stands(r3.Vec{Z: 1}, Centroid(arm), 0.1); s.margin != 0 {
		t.Errorf("an arm that overbalances has a margin of %g", s.margin)
	}
	insideOut := box.Clone()
	for i, t := range insideOut.Triangles {
		insideOut.Triangles[i] = [3]uint32{t[0], t[2], t[1]}
	}
	if c, want := Centroid(insideOut), (r3.Vec{X: 10, Y: 7, Z: 15}); c != want {
		t.Errorf("without a volume the centre is %.1f, want the middle %.1f", c, want)
	}
}

// Along layers a part has its full strength, across them 0.52 of it; at 45° Hankinson's
// formula gives 2·0.52/(1 + 0.52).
func TestWeakness(t *testing.T) {
	up := r3.Vec{Z: 1}
	for _, c := range []struct {
		loads []Load
		want  float64
	}{
		{nil, 1}, {[]Load{{r3.Vec{X: 3}, 1}}, 1}, {[]Load{{r3.Vec{Z: -5}, 2}}, 1 / 0.52},
		{[]Load{{r3.Vec{X: 1, Z: 1}, 1}}, (1 + 0.52) / (2 * 0.52)},
		{[]Load{{r3.Vec{X: 1}, 3}, {r3.Vec{Z: 1}, 1}}, (3 + 1/0.52) / 4},
	} {
		if got := weakness(c.loads, up); !within(got, c.want, 1e-12) {
			t.Errorf("%v: %g, want %g", c.loads, got, c.want)
		}
	}
}

// Evenly spread, each direction has its share of the sphere: the nearest neighbour of
// none is nearer than three quarters, or further than one and a quarter, of the width
// √(4π/n) of a square share.
func TestSpreadIsEven(t *testing.T) {
	ups := Spread(1000)
	share := math.Sqrt(4 * math.Pi / 1000)
	for i, a := range ups {
		nearest := math.Inf(1)
		for j, b := range ups {
			if i != j {
				nearest = min(nearest, angleBetween(a, b))
			}
		}
		if nearest < 0.75*share || nearest > 1.25*share {
			t.Errorf("%d: the nearest direction is %.2f shares away", i, nearest/share)
		}
	}
}

// A turn is written with what turns the part, about fixed axes one after the other.
func TestTurns(t *testing.T) {
	v := r3.Vec{X: 1, Y: 2, Z: 3}
	for _, c := range []struct {
		turn Turn
		want r3.Vec
	}{
		{Turn{}, v}, {Turn{XDeg: 90}, r3.Vec{X: 1, Y: -3, Z: 2}}, {Turn{YDeg: 90}, r3.Vec{X: 3, Y: 2, Z: -1}},
		{Turn{ZDeg: 90}, r3.Vec{X: -2, Y: 1, Z: 3}}, {Turn{XDeg: 180}, r3.Vec{X: 1, Y: -2, Z: -3}},
		{Turn{XDeg: 90, YDeg: 90, ZDeg: -90}, r3.Vec{X: -3, Y: -2, Z: -1}},
	} {
		if got := c.turn.matrix().apply(v); got != c.want {
			t.Errorf("%v: %v, want %v", c.turn, got, c.want)
		}
	}
	for i, up := range append(Spread(200), r3.Vec{X: 1}, r3.Vec{X: -1}, r3.Vec{Y: 1}, r3.Vec{Z: -1}) {
		along := Spread(200)[(i*7+3)%200]
		turn := turnUp(up, along)
		if a := angleBetween(turn.Up(), up); a > 2e-6 {
			t.Errorf("%v brings up %.5f, want %.5f", turn, turn.Up(), up)
		}
		if turned := turn.matrix().apply(along); math.Abs(turned.Y) > 1e-5 {
			t.Errorf("%v: what should lie along X is at %.5f", turn, turned)
		}
		if read, err := ParseTurn(turn.String()); err != nil || read != turn {
			t.Errorf("%v reads back as %v: %v", turn, read, err)
		}
	}
	for _, bad := range []string{"", "1", "1,2", "1,2,x", "1,2,3,4", "361,0,0", "Inf,0,0", "NaN,0,0"} {
		if _, err := ParseTurn(bad); err == nil {
			t.Errorf("%q is taken for a turn", bad)
		}
	}
	// What stands on the plate stays as it is, to the last bit.
	m := meshtest.Blob(200)
	if d := cmp.Diff(m, (Turn{}).Place(m)); d != "" {
		t.Errorf("the given pose moves the part:\n%s", d)
	}
}

func TestWeights(t *testing.T) {
	w, err := ParseWeights(" time=2, height=0")
	want := DefaultWeights
	want[Time], want[Height] = 2, 0
	if err != nil || w != want {
		t.Errorf("%v, %v; want %v", w, err, want)
	}
	if again, err := ParseWeights(w.String()); err != nil || again != w {
		t.Errorf("%v reads back as %v: %v", w, again, err)
	}
	// Each amount that the help names makes one point.
	m := Measures{Time: 600, Plastic: 1600, Contact: 100, Height: 50, Slender: 10, Tipping: 10 * math.Pi / 180, Layers: 1.25, Clean: 50}
	for c := range Criteria {
		if p := c.points(m[c]); !within(p, 1, 1e-9) {
			t.Errorf("%v: %g is %g points, want 1", c, m[c], p)
		}
	}
	if p := want.Points(m); !within(p, 8, 1e-9) {
		t.Errorf("%g points, want 8", p)
	}
}

// On the front is what nothing beats in everything that has a weight.
func TestRankFindsTheFront(t *testing.T) {
	firm := Measures{Tipping: 1, Layers: 1}
	with := func(time, height float64) Pose {
		m := firm
		m[Time], m[Height] = time, height
		return Pose{Measures: m}
	}
	given := with(1200, 50) // 3 points
	given.Kind = Given
	fails := with(0, 10)
	fails.Laid = &Laid{}
	poses := []Pose{given, with(600, 75), with(0, 60), with(600, 60), fails}
	Rank(poses, Weights{})
	var got [][3]float64
	for _, p := range poses {
		got = append(got, [3]float64{p.Measures[Time], p.Measures[Height], float64(p.BeatenBy)})
	}
	want := [][3]float64{{0, 60, 0}, {600, 60, 1}, {600, 75, 1}, {1200, 50, 0}, {0, 10, 0}}
	// What fails is beaten by nothing that is worse in height, but comes last.
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("order and front (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]Criterion{Time}, poses[1].Wins); d != "" {
		t.Errorf("wins: %s", d)
	}
	if d := cmp.Diff([]Criterion{Height}, poses[1].Loses); d != "" {
		t.Errorf("loses: %s", d)
	}
	// What no supports could be built for is on no front, whatever is expected of it.
	guess := with(0, 1)
	guess.Laid = &Laid{Problem: "no room"}
	list := []Pose{guess, given, with(600, 75)}
	Rank(list, Weights{})
	if last := list[2]; last.Laid == nil || last.Front || last.BeatenBy != 1 || len(last.Wins) > 0 {
		t.Errorf("not built, and yet: %+v", last)
	}
	// It beats none that was, and comes after those that fail.
	list = []Pose{guess, fails}
	Rank(list, Weights{})
	if list[0].Laid.Problem != "" || !list[0].Front || list[1].BeatenBy != 1 {
		t.Errorf("beaten by what was not built: %+v", list)
	}
	Rank(poses, Weights{Time: 1})
	if poses[0].Measures[Time] != 0 || poses[len(poses)-2].Kind != Given || poses[len(poses)-2].Front {
		t.Errorf("by time alone: %+v", poses)
	}
}

// A level bore of 4 mm holds and one of 12 does not, as layers say too; the sums of
// the small one have the crown left out.
func TestSmallBoresHold(t *testing.T) {
	for radius, holds := range map[float64]bool{2: true, 6: false} {
		block := mesh.Tube(rectangleRound(20, 48), mesh.RegularPolygon(r2.Vec{}, radius, 48, 0), 0, 15)
		m := Turn{XDeg: 90}.Place(block)
		w := summerOf(t, m, Options{})
		s := w.sum([]r3.Vec{{Z: 1}})[0]
		exact := needOn(m, Turn{}, w.s)
		if smallBore(radius, w.s) != holds || (s.NeedMM2 == 0) != holds || (exact == 0) != holds {
			t.Errorf("radius %g mm: small %t, by sums %.1f mm², on layers %.1f mm², want it to hold: %t", radius, smallBore(radius, w.s), s.NeedMM2, exact, holds)
		}
	}
}

// rectangleRound has n corners, a multiple of 4, on a square of that side, each in the
// direction of a corner of a regular polygon.
func rectangleRound(side float64, n int) []r2.Vec {
	p := mesh.RegularPolygon(r2.Vec{}, 1, n, 0)
	for i, v := range p {
		p[i] = r2.Scale(side/2/max(math.Abs(v.X), math.Abs(v.Y)), v)
	}
	return p
}
