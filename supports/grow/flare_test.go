package grow

import (
	"math"
	"testing"

	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

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

// Handbook: a hollow square of side a and bore b has the section modulus
// (a⁴ − b⁴)/12/(a/√2) about its diagonal; F·H over that is the tension at its corner.
// Only where it is more than the plate holds has a post a flare.
func TestFlareOnlyWhereThePlateMightLetGo(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	const side = 5.0
	bore := side - 2*s.Wall
	modulus := (math.Pow(side, 4) - math.Pow(bore, 4)) / 12 / (side / math.Sqrt2)
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
