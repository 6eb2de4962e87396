package layout

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func circle(c r2.Vec, r float64) []r2.Vec { return mesh.RegularPolygon(c, r, 96, 0) }

// The field of distances is that of every cell to every other.
func TestDistancesAgainstAllPairs(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for round := range 20 {
		x0, y0, x1, y1 := -7, 3, 41, 36
		b := raster.NewBits(x0, y0, x1, y1)
		for range 1 + r.IntN(60) {
			b.Set(x0+r.IntN(x1-x0), y0+r.IntN(y1-y0))
		}
		got := distances(&b, x0, y0, x1, y1)
		for j := y0; j < y1; j++ {
			for i := x0; i < x1; i++ {
				want := math.Inf(1)
				b.Each(func(a, c int) { want = min(want, math.Hypot(float64(a-i), float64(c-j))) })
				if is := got[(j-y0)*(x1-x0)+i-x0]; math.Abs(is-want) > 1e-9 {
					t.Fatalf("round %d, cell %d, %d: %g cells, want %g", round, i, j, is, want)
				}
			}
		}
	}
}

// ringedPart is a part with a level ceiling that goes round something.
type ringedPart struct {
	name  string
	m     *mesh.Mesh
	z     float64
	hoops map[pattern]int // closed lines
}

func ringedParts() []ringedPart {
	c := r2.Vec{X: 40, Y: 40}
	flange := mesh.Prism(circle(c, 24), 0, 19)
	flange.Append(mesh.Tube(circle(c, 36), circle(c, 23), 16, 19))
	box := []r2.Vec{{X: 20, Y: 20}, {X: 60, Y: 20}, {X: 60, Y: 60}, {X: 20, Y: 60}}
	around := func(r float64, z0, z1 float64) *mesh.Mesh {
		m, err := mesh.Loft([][]r2.Vec{rim96(box), rim96(box)}, [][]r2.Vec{circle(c, r), circle(c, r)}, []float64{z0, z1})
		if err != nil {
			panic(err)
		}
		return m
	}
	pocket := around(11, 0, 7)
	pocket.Append(around(4, 7, 12))
	return []ringedPart{
		{"flange round a stem", flange, 16, map[pattern]int{hooped: 2, snug: 2}},
		{"pocket round a hole", pocket, 7, map[pattern]int{hooped: 1, snug: 2}},
	}
}

// rim96 is a square outline of 96 corners, to be lofted round a circle of as many.
func rim96(box []r2.Vec) (out []r2.Vec) {
	mid := r2.Scale(0.5, r2.Add(box[0], box[2]))
	for n := range 96 {
		sin, cos := math.Sincos(2 * math.Pi * float64(n) / 96)
		far := (box[2].X - mid.X) / max(math.Abs(cos), math.Abs(sin))
		out = append(out, r2.Vec{X: mid.X + far*cos, Y: mid.Y + far*sin})
	}
	return out
}

// Round a stem and round a hole no straight bead between hoops, spokes and walls is longer than
// a planned bridge, in any of 36 directions, walked cell by cell; every spoke begins and ends
// on a hoop or reaches for a wall; and walls under the hoops alone carry them all.
func TestHoopsLeaveNoLongerBead(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	most := s.Bridge * (1 - s.Margin)
	for _, c := range ringedParts() {
		c.m.Round32()
		part := raster.Section(c.m, raster.GridFor(c.m.Bounds(), s.Cell, 5), s.Layers(), 0)
		n := need.Find(c.m, part, s, 0)
		k := part.Above(c.z + 0.1)
		for _, way := range []pattern{hooped, snug} {
			name := fmt.Sprintf("%s, pattern %d", c.name, way)
			site := newSite(part, s)
			site.pattern = way
			if !site.ringed(n) {
				t.Fatalf("%s: not seen to go round anything", name)
			}
			var lines []line
			for _, r := range n.Regions {
				for _, cut := range r.Cuts {
					if cut.K == k {
						for _, piece := range site.fresh(k, &cut) {
							lines = append(lines, site.flat(k, &piece, 1)...)
						}
					}
				}
			}
			closed := 0
			for _, l := range lines {
				if ends := l.ends(); len(l.at) > 4 && ends[0] == ends[1] {
					closed++
					continue
				}
				on := 0
				for _, p := range l.ends() {
					for _, o := range lines {
						if len(o.at) > 2 && o.from(p.Vec) < 0.45*s.Wall {
							on++
							break
						}
					}
				}
				if on == 0 {
					t.Errorf("%s: a spoke at %v hangs from no hoop", name, l.at)
				}
			}
			if closed != c.hoops[way] {
				t.Errorf("%s: %d hoops, want %d", name, closed, c.hoops[way])
			}
			// Lines keep clear of walls: what beads along one there lack is mended (patches).
			walls, ground := site.mask(lines, s.Wall/2), raster.Dilate(site.ground(k), raster.DiscOf(s.Clearance/part.Cell+2))
			for deg := 0; deg < 180; deg += 5 {
				sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
				u, v := r2.Vec{X: cos, Y: sin}, r2.Vec{X: -sin, Y: cos}
				for off := -40.0; off < 40; off += 0.15 {
					run := 0.0
					for at := -40.0; at < 40; at += part.Cell / 2 {
						q := r2.Add(r2.Vec{X: 40, Y: 40}, r2.Add(r2.Scale(at, u), r2.Scale(off, v)))
						i, j := part.At(q)
						if !part.Layer(k).Has(i, j) || walls.Has(i, j) || ground.Has(i, j) {
							run = 0
							continue
						}
						// A cell to either end is the raster's.
						if run += part.Cell / 2; run > most+2*part.Cell {
							t.Fatalf("%s: a bead at %d° is longer than %g mm at x %.1f, y %.1f", name, deg, most, q.X, q.Y)
						}
					}
				}
			}
		}
		p := Layout("ring", c.m, part, n, s, 0)
		j := newJob(newSite(part, s), grow.NewUndersides(c.m), 0)
		if bare := count(j.open(j.grown(p))); bare > 0 {
			t.Errorf("%s: the layout leaves %d cells bare", c.name, bare)
		}
	}
}

// What goes round nothing, round two things, is far wider on one side than on the other, or ends
// at a wall here and in the air there, is not ringed.
func TestHoopsWantAnEvenRing(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	c := r2.Vec{X: 40, Y: 40}
	stem := func(at r2.Vec, r float64) *mesh.Mesh { return mesh.Prism(circle(at, r), 0, 12) }
	for name, more := range map[string][]*mesh.Mesh{
		"a plate on a wall beside it": {meshtest.Box(r3.Vec{X: 10, Y: 10}, r3.Vec{X: 70, Y: 12, Z: 12})},
		"two stems":                   {stem(r2.Vec{X: 30, Y: 40}, 5), stem(r2.Vec{X: 52, Y: 40}, 5)},
		"a stem near one side":        {stem(r2.Vec{X: 20, Y: 40}, 8)},
		"a stem and a wall":           {stem(c, 14), meshtest.Box(r3.Vec{X: 10, Y: 10}, r3.Vec{X: 70, Y: 12, Z: 12})},
	} {
		m := meshtest.Box(r3.Vec{X: 10, Y: 10, Z: 10}, r3.Vec{X: 70, Y: 70, Z: 12})
		for _, o := range more {
			m.Append(o)
		}
		m.Round32()
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0)
		if newSite(part, s).ringed(need.Find(m, part, s, 0)) {
			t.Errorf("%s is ringed", name)
		}
	}
}
