package grow

import (
	"math"
	"testing"

	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// second returns a polygon's second moment about the X axis by the sum over its edges,
// (x₀y₁ − x₁y₀)(y₀² + y₀y₁ + y₁²)/12 (handbook).
func second(outline []r2.Vec) (sum float64) {
	for i, p := range outline {
		q := outline[(i+1)%len(outline)]
		sum += r2.Cross(p, q) * (p.Y*p.Y + p.Y*q.Y + q.Y*q.Y) / 12
	}
	return sum
}

// A hollow post is as stiff as its formula says: the second moment of the very outlines that
// it is built with, about an axis along its sides and one along its diagonal, is within 3 % of
// it (16 corners lie inside the circles that the formula has), and its outline is as long.
func TestTubeIsThatOfItsOutlines(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	for _, side := range []float64{2.5, 5, 12} {
		outside, bore := n.outside(plan.Post{Side: side}, 0), n.bore(plan.Post{Side: side}, 0)
		want, reach := Tube(side, s.Wall)
		for _, turn := range []float64{0, math.Pi / 4} {
			far, turned := 0.0, [2][]r2.Vec{}
			for k, o := range [2][]r2.Vec{outside, bore} {
				for _, p := range o {
					far = max(far, math.Sqrt(r2.Norm2(p)))
					turned[k] = append(turned[k], r2.Rotate(p, turn, r2.Vec{}))
				}
			}
			if is := second(turned[0]) - second(turned[1]); math.Abs(is/want-1) > 0.03 {
				t.Errorf("side %g turned by %.2f: second moment %.2f mm⁴, by formula %.2f", side, turn, is, want)
			}
			if math.Abs(far/reach-1) > 0.02 {
				t.Errorf("side %g: corners are %.2f mm out, by formula %.2f", side, far, reach)
			}
		}
		long := 0.0
		for i, p := range outside {
			long += dist(p, outside[(i+1)%len(outside)])
		}
		if is := Around(side); math.Abs(long/is-1) > 0.01 {
			t.Errorf("side %g: the outline is %.2f mm long, by formula %.2f", side, long, is)
		}
	}
}

// What slabs' lever is, from cells of them.
func leverByCells(feet []slab) float64 {
	const cell = 0.02
	type sum struct{ n, x, y, xx, xy, yy float64 }
	var s sum
	var far []r2.Vec
	for x := -10.0; x < 10; x += cell {
		for y := -10.0; y < 10; y += cell {
			p := r2.Vec{X: x + cell/2, Y: y + cell/2}
			for _, f := range feet {
				u := r2.Unit(r2.Sub(f.b, f.a))
				along, across := r2.Dot(r2.Sub(p, f.a), u), r2.Cross(u, r2.Sub(p, f.a))
				if along < 0 || along > dist(f.a, f.b) || across < -f.right || across > f.left {
					continue
				}
				s.n, s.x, s.y = s.n+1, s.x+p.X, s.y+p.Y
				s.xx, s.xy, s.yy = s.xx+p.X*p.X, s.xy+p.X*p.Y, s.yy+p.Y*p.Y
				far = append(far, p)
			}
		}
	}
	a := cell * cell
	mx, my := s.x/s.n, s.y/s.n
	xx, xy, yy := a*(s.xx-s.n*mx*mx), a*(s.xy-s.n*mx*my), a*(s.yy-s.n*my*my)
	most := 0.0
	for _, p := range far {
		dx, dy := p.X-mx, p.Y-my
		most = max(most, math.Hypot(yy*dx-xy*dy, xx*dy-xy*dx)/(xx*yy-xy*xy))
	}
	return most
}

// The lever of slabs is that of their cells, and of one alone 1/Z = 6/(l·w²) at its corner
// across it, with its share along (any handbook of beams).
func TestLever(t *testing.T) {
	for name, feet := range map[string][]slab{
		"one":          {{r2.Vec{}, r2.Vec{X: 5}, 0.5, 0.5}},
		"wider left":   {{r2.Vec{X: 1}, r2.Vec{X: 1, Y: 4}, 1.4, 0.2}},
		"slanting":     {{r2.Vec{X: -1, Y: -1}, r2.Vec{X: 2, Y: 3}, 0.3, 1.2}},
		"an angle":     {{r2.Vec{}, r2.Vec{X: 5}, 0.3, 0.3}, {r2.Vec{X: 0.3, Y: 0.3}, r2.Vec{X: 0.3, Y: 4}, 0.3, 0.3}},
		"two and away": {{r2.Vec{}, r2.Vec{X: 3}, 0.3, 0.3}, {r2.Vec{X: -4, Y: 2}, r2.Vec{X: -4, Y: 6}, 0.6, 0.3}},
	} {
		got, want := lever(feet), leverByCells(feet)
		if math.Abs(got-want) > 0.03*want {
			t.Errorf("%s: %g, by cells %g", name, got, want)
		}
	}
	if got, want := lever([]slab{{r2.Vec{}, r2.Vec{X: 5}, 0.5, 0.5}}), math.Hypot(6/5.0, 6/25.0); math.Abs(got-want) > 1e-9 {
		t.Errorf("a slab 5 × 1 mm: %g, by the handbook %g", got, want)
	}
	if lever(nil) != 0 {
		t.Error("nothing has a lever")
	}
}

// F·H over the section modulus, the second moment over the distance of the outermost corner
// (handbook), is the tension at a foot's edge. Only where it is more than the plate holds has
// a post a flare.
func TestFlareOnlyWhereThePlateMightLetGo(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	const side = 5.0
	moment, reach := Tube(side, s.Wall)
	modulus := moment / reach
	limit := footKept * s.Adhesion * modulus / s.Drag // the height
	for _, c := range []struct {
		z     float64
		flare bool
	}{{limit * 0.98, false}, {limit * 1.02, true}} {
		m, err := n.post(plan.Post{Side: side, Head: 20}, c.z)
		if err != nil {
			t.Fatal(err)
		}
		b := m.Bounds()
		if wide := b.Max.X - b.Min.X; (wide > side+1e-6) != c.flare {
			t.Errorf("under %.0f mm of support the foot is %.1f mm wide", c.z, wide)
		}
	}
}
