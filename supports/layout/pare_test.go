package layout

import (
	"math"
	"path/filepath"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// ceiling is a level ceiling on a wall along one side, with more below it.
func ceiling(t testing.TB, long, wide, high float64, more ...*mesh.Mesh) (*mesh.Mesh, *raster.Stack, supports.Settings) {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: long, Y: 4, Z: high + 3})
	m.Append(meshtest.Box(r3.Vec{Z: high}, r3.Vec{X: long, Y: 4 + wide, Z: high + 3}))
	for _, o := range more {
		m.Append(o)
	}
	m.Round32()
	return m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0), s
}

// However the rectangles between crossed lines are shaped, no straight bead in them is longer
// than a planned bridge, in any of 36 directions, walked cell by cell; and the long side
// of oblong ones lies across the family that is to be sparse.
func TestPatternsLeaveNoLongerBead(t *testing.T) {
	m, part, s := ceiling(t, 56, 37, 30)
	n := need.Find(m, part, s, 0)
	k := part.Above(30.1)
	count := map[pattern][2]int{}
	for _, p := range []pattern{square, broad, deep} {
		site := newSite(part, s)
		site.pattern = p
		var lines []line
		for _, c := range n.Regions[0].Cuts {
			if c.K == k {
				for _, piece := range site.fresh(k, &c) {
					lines = append(lines, site.flat(k, &piece, 1)...)
				}
			}
		}
		var by [2]int // lines along x and along y
		for _, l := range lines {
			d := r2.Sub(l.at[len(l.at)-1].Vec, l.at[0].Vec)
			if math.Abs(d.X) > math.Abs(d.Y) {
				by[0]++
			} else {
				by[1]++
			}
		}
		count[p] = by
		walls := site.mask(lines, s.Wall/2)
		most := s.Bridge * (1 - s.Margin)
		for deg := 0; deg < 180; deg += 5 {
			sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
			u, v := r2.Vec{X: cos, Y: sin}, r2.Vec{X: -sin, Y: cos}
			for off := -60.0; off < 60; off += 0.7 {
				run := 0.0
				for at := -60.0; at < 60; at += part.Cell / 2 {
					q := r2.Add(r2.Vec{X: 28, Y: 20}, r2.Add(r2.Scale(at, u), r2.Scale(off, v)))
					i, j := part.At(q)
					if q.Y < 5 || !part.Layer(k).Has(i, j) || walls.Has(i, j) {
						run = 0
						continue
					}
					if run += part.Cell / 2; run > most+part.Cell {
						t.Fatalf("pattern %d: a bead at %d° is longer than %g mm at x %.1f, y %.1f", p, deg, most, q.X, q.Y)
					}
				}
			}
		}
	}
	a, b, c := count[square], count[broad], count[deep]
	if b[0] == a[0] && b[1] == a[1] || c == a || b == c {
		t.Errorf("lines along x and y: %v square, %v broad, %v deep: want them to differ", a, b, c)
	}
	if (b[0] < a[0]) == (b[1] < a[1]) || (c[0] < a[0]) == (c[1] < a[1]) {
		t.Errorf("lines along x and y: %v square, %v broad, %v deep: want fewer of one and more of the other", a, b, c)
	}
}

// A line beside another and a post that nothing needs go, and what is printed takes less for
// it; a designer's line stays, needed or not.
func TestParingDropsWhatIsIdle(t *testing.T) {
	m, part, s := ceiling(t, 30, 20, 20)
	p := Once("ceiling", m, part, need.Find(m, part, s, 0), s, 0)
	beside := plan.Line{ID: "X1", By: plan.Tool, At: [][3]float64{{5, 10.2, 20}, {5, 19.3, 20}}}
	mine := plan.Line{ID: "X2", By: plan.Designer, At: [][3]float64{{26, 10.2, 20}, {26, 19.3, 20}}}
	p.Lines = append(p.Lines, beside, mine)
	p.Posts = append(p.Posts, plan.Post{ID: "Y1", By: plan.Tool, At: [2]float64{5, 14}, Side: 4, Head: 10})
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	solids := j.grown(p)
	was := finished{plan: p, bare: count(j.open(solids)), solids: solids}
	is := j.pare(was)
	has := func(id string) bool {
		return slices.ContainsFunc(is.plan.Lines, func(l plan.Line) bool { return l.ID == id }) ||
			slices.ContainsFunc(is.plan.Posts, func(q plan.Post) bool { return q.ID == id })
	}
	if has("X1") || has("Y1") || !has("X2") {
		t.Errorf("the idle line is there: %v, the idle post: %v, the designer's line: %v; want only the last", has("X1"), has("Y1"), has("X2"))
	}
	before, over := j.score(was, math.Inf(1))
	after, sways := j.score(is, math.Inf(1))
	if !(after < before) || sways > 0 && over == 0 {
		t.Errorf("pared it costs %.1f s and is %.2g over the limits, before %.1f s and %.2g", after, sways, before, over)
	}
	if left := count(j.open(is.solids)); left > was.bare {
		t.Errorf("pared it leaves %d cells bare, before %d", left, was.bare)
	}
}

// Under a tip beside a low wall of the supports no post need stand: a spur carries it, and
// all of the part holds.
func TestTipsHangBySpurs(t *testing.T) {
	peg := meshtest.Box(r3.Vec{X: 11.3, Y: 18.4, Z: 14}, r3.Vec{X: 12.3, Y: 19.4, Z: 20})
	m, part, s := ceiling(t, 30, 24, 20, peg)
	n := need.Find(m, part, s, 0)
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	n.Regions = j.together(n.Regions)
	lines := j.draft(n, j.workers)
	first := j.stand(plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}, lines)
	hung := j.spurs(first.plan, lines)
	if len(hung) <= len(lines) {
		t.Fatal("no spur")
	}
	for _, l := range hung[len(lines):] {
		a, b := l.at[0], l.at[1]
		if !l.tie || a.z > 14 || math.Hypot(a.X-11.8, a.Y-18.9) > 2 || distance(a.Vec, b.Vec) > longestSpur {
			t.Errorf("a spur from %v to %v, want one from below the tip at 11.8, 18.9, 14", a, b)
		}
	}
	with := j.finish(plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}, hung)
	if with.bare > 0 {
		t.Errorf("%d cells bare on spurs", with.bare)
	}
	// Posts are placed by what they cost; without one under the tip all holds as well.
	under := func(q plan.Post) bool { return math.Hypot(q.At[0]-11.8, q.At[1]-18.9) < 3 }
	without := func(p plan.Plan) int {
		p.Posts = slices.DeleteFunc(slices.Clone(p.Posts), under)
		return count(j.open(j.grown(p)))
	}
	if !slices.ContainsFunc(first.plan.Posts, under) || without(first.plan) == 0 {
		t.Fatalf("without a spur the tip needs no post of %v", first.plan.Posts)
	}
	if left := without(with.plan); left > 0 {
		t.Errorf("%d cells bare on spurs alone", left)
	}
}

// Corners of waves are rounded where that prints faster and holds as well; the designer's stay
// as sharp as they are.
func TestParingRoundsCorners(t *testing.T) {
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", "mast-saddle.stl"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := Layout("mast-saddle", m, part, need.Find(m, part, s, 0), s, 0)
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	sharp := func(by plan.Author) plan.Plan {
		q := p
		q.Lines = slices.Clone(p.Lines)
		for i := range q.Lines {
			q.Lines[i].Round, q.Lines[i].By = 0, by
		}
		return q
	}
	round := func(p plan.Plan) (n int) {
		for _, l := range p.Lines {
			if l.Round > 0 {
				n++
			}
		}
		return n
	}
	q := sharp(plan.Tool)
	whole, cut := j.grown(p), j.grown(q)
	if round(p) == 0 || j.sampled(whole) >= j.sampled(cut) || count(j.open(whole)) > count(j.open(cut)) {
		t.Errorf("%d lines are rounded: %.1f s and %d cells bare, sharp %.1f s and %d", round(p), j.sampled(whole), count(j.open(whole)), j.sampled(cut), count(j.open(cut)))
	}
	q = sharp(plan.Designer)
	if is := j.pare(finished{plan: q, bare: count(j.open(cut)), solids: cut}); round(is.plan) > 0 {
		t.Errorf("%d of the designer's lines are rounded", round(is.plan))
	}
}

// Of two regions each is drawn as that one prints fastest, whatever the other is drawn as.
func TestRegionsAreMixed(t *testing.T) {
	m, part, s := ceiling(t, 60, 20, 20)
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	rows := func(region int, x0 float64, n int) (out []line) {
		for i := range n {
			x := x0 + 24*float64(i)/float64(n)
			out = append(out, line{region: region, at: []point{{r2.Vec{X: x, Y: 5}, 20}, {r2.Vec{X: x, Y: 23}, 20}}})
		}
		return out
	}
	few, many := func(r int, x float64) []line { return rows(r, x, 3) }, func(r int, x float64) []line { return rows(r, x, 7) }
	first := slices.Concat(many(0, 2), few(1, 34))
	other := slices.Concat(few(0, 2), many(1, 34))
	got := j.mixed(plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}, [][]line{first, other})
	if len(got) != 4 {
		t.Fatalf("%d mixtures of two by two, want 4", len(got))
	}
	if best := slices.Concat(few(0, 2), few(1, 34)); len(got[0]) != len(best) {
		t.Errorf("the fastest has %d lines, want the few of both regions", len(got[0]))
	}
	if len(got[3]) != 14 {
		t.Errorf("the slowest has %d lines, want the many of both", len(got[3]))
	}
	one := [][]line{few(0, 2), many(0, 2)}
	if got := j.mixed(plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}, one); len(got) != 1 || len(got[0]) != 7 {
		t.Errorf("of one region %d drawings are left, want all but the first", len(got))
	}
}
