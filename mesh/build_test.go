package mesh_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// sound asserts that m is one watertight shell without degenerate triangles.
func sound(t interface{ Errorf(string, ...any) }, name string, m *mesh.Mesh) {
	if err := m.Check(); err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	if top := m.Topology(); !top.Watertight() || top.Shells != 1 || top.Degenerate != 0 {
		t.Errorf("%s: %+v", name, top)
	}
	if v := m.Volume(); !(v > 0) {
		t.Errorf("%s: volume %g mm³", name, v)
	}
}

func near(t *testing.T, name string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*math.Abs(want) {
		t.Errorf("%s: %.12g, want %.12g", name, got, want)
	}
}

func reversed(p []r2.Vec) []r2.Vec {
	q := slices.Clone(p)
	slices.Reverse(q)
	return q
}

// star alternates between two radii, so half its corners are reflex.
func star(r0, r1 float64, n int) []r2.Vec {
	p := mesh.RegularPolygon(r2.Vec{X: 3, Y: -2}, r0, n, 0.1)
	for i := 1; i < n; i += 2 {
		p[i] = r2.Add(r2.Vec{X: 3, Y: -2}, r2.Scale(r1/r0, r2.Sub(p[i], r2.Vec{X: 3, Y: -2})))
	}
	return p
}

var outlines = map[string][]r2.Vec{
	"triangle": {{}, {X: 3}, {Y: 4}},
	"square":   {{}, {X: 3}, {X: 3, Y: 3}, {Y: 3}},
	// Corners on straight edges tempt the cutter into triangles without area.
	"triangle with corners on its edges": {{}, {X: 1}, {X: 2}, {X: 3}, {X: 2, Y: 1}, {X: 1, Y: 2}, {Y: 3}, {Y: 2}, {Y: 1}},
	"L":                                  {{}, {X: 4}, {X: 4, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 5}, {Y: 5}},
	"comb":                               {{}, {X: 7}, {X: 7, Y: 5}, {X: 6, Y: 5}, {X: 6, Y: 1}, {X: 5, Y: 1}, {X: 5, Y: 5}, {X: 4, Y: 5}, {X: 4, Y: 1}, {X: 3, Y: 1}, {X: 3, Y: 5}, {Y: 5}},
	"star":                               star(10, 4, 14),
	"circle":                             mesh.RegularPolygon(r2.Vec{}, 10, 200, 0),
	"sliver":                             {{}, {X: 100}, {X: 100, Y: 0.001}, {Y: 0.001}},
}

// Prism: V = A·h.
func TestPrismVolume(t *testing.T) {
	for name, p := range outlines {
		area := math.Abs(mesh.PolygonArea(p))
		for way, q := range map[string][]r2.Vec{"ccw": p, "cw": reversed(p)} {
			for _, z := range [][2]float64{{0, 7}, {7, 0}, {-3, 4}} {
				m := mesh.Prism(q, z[0], z[1])
				sound(t, name+" "+way, m)
				near(t, name+" "+way, m.Volume(), 7*area)
				if b := m.Bounds(); b.Min.Z != min(z[0], z[1]) || b.Max.Z != max(z[0], z[1]) {
					t.Errorf("%s: %v", name, b)
				}
				if want := 4*len(p) - 4; len(m.Triangles) != want {
					t.Errorf("%s: %d triangles, want %d", name, len(m.Triangles), want)
				}
			}
		}
	}
}

// Any simple polygon is cut into triangles that point one way: random radii
// round a centre, corners on edges added.
func TestPrismOfRandomPolygons(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 40).Draw(t, "corners")
		radius := rapid.Float64Range(0.5, 10)
		var p []r2.Vec
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			p = append(p, r2.Scale(radius.Draw(t, "radius"), r2.Vec{X: cos, Y: sin}))
			if i > 0 && rapid.Bool().Draw(t, "split") {
				q := p[len(p)-2]
				p = slices.Insert(p, len(p)-1, r2.Scale(0.5, r2.Add(q, p[len(p)-1])))
			}
		}
		m := mesh.Prism(p, 0, 2)
		sound(t, "star-shaped", m)
		if want := 2 * mesh.PolygonArea(p); math.Abs(m.Volume()-want) > 1e-9*want {
			t.Errorf("volume %g, want %g", m.Volume(), want)
		}
		for i := range m.Triangles {
			a, b, c := m.Corners(i)
			if up := m.AreaNormal(i).Z; a.Z == 2 && b.Z == 2 && c.Z == 2 && up <= 0 || a.Z == 0 && b.Z == 0 && c.Z == 0 && up >= 0 {
				t.Errorf("triangle %d of a cap faces into the solid (%g)", i, up)
			}
		}
	})
}

// Tube: V = (A − a)·h with the polygons' areas n/2·r²·sin(2π/n); with n growing,
// π(R² − r²)h.
func TestTubeVolume(t *testing.T) {
	for _, n := range []int{3, 4, 16, 1000} {
		outer := mesh.RegularPolygon(r2.Vec{X: 20}, 5, n, 0)
		inner := mesh.RegularPolygon(r2.Vec{X: 20}, 4.2, n, 0)
		polygon := float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
		for way, q := range map[string][2][]r2.Vec{
			"ccw": {outer, inner}, "cw": {reversed(outer), reversed(inner)},
			"bore cw": {outer, append(inner[:1:1], reversed(inner[1:])...)},
		} {
			m := mesh.Tube(q[0], q[1], 0, 30)
			sound(t, "tube "+way, m)
			near(t, "tube "+way, m.Volume(), polygon*(25-4.2*4.2)*30)
			if len(m.Triangles) != 8*n {
				t.Errorf("%d triangles, want %d", len(m.Triangles), 8*n)
			}
		}
		if n == 1000 {
			ideal := math.Pi * (25 - 4.2*4.2) * 30
			if v := mesh.Tube(outer, inner, 0, 30).Volume(); math.Abs(v-ideal) > 1e-5*ideal {
				t.Errorf("tube of %d sides: %g, want about %g", n, v, ideal)
			}
		}
	}
}

// Frustum of similar polygons: V = h/3·(A₁ + A₂ + √(A₁A₂)).
func TestFrustumVolume(t *testing.T) {
	for name, p := range outlines {
		for _, scale := range []float64{0.25, 1, 2} {
			q := make([]r2.Vec, len(p))
			for i := range p {
				q[i] = r2.Scale(scale, p[i])
			}
			a1, a2 := math.Abs(mesh.PolygonArea(p)), math.Abs(mesh.PolygonArea(q))
			for way, f := range map[string]func([]r2.Vec) []r2.Vec{"ccw": slices.Clone[[]r2.Vec], "cw": reversed} {
				m := mesh.Frustum(f(p), f(q), 1, 10)
				sound(t, name+" "+way, m)
				near(t, name+" "+way, m.Volume(), 9./3*(a1+a2+math.Sqrt(a1*a2)))
			}
		}
	}
	apex := slices.Repeat([]r2.Vec{{X: 1, Y: 1}}, 4)
	pyramid := mesh.Frustum(outlines["square"], apex, 0, 5)
	sound(t, "pyramid", pyramid)
	near(t, "pyramid", pyramid.Volume(), 9*5./3)
	funnel := mesh.Frustum(apex, reversed(outlines["square"]), 0, 5)
	sound(t, "pyramid on its tip", funnel)
	near(t, "pyramid on its tip", funnel.Volume(), 9*5./3)
}

func TestLoftFlare(t *testing.T) {
	n := 24
	ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{X: 1, Y: 2}, r, n, 0) }
	m, err := mesh.Loft(
		[][]r2.Vec{ring(5), ring(5), ring(3), ring(3)},
		[][]r2.Vec{ring(2), ring(2), ring(2), ring(2)},
		[]float64{0, 0.6, 2.6, 20})
	if err != nil {
		t.Fatal(err)
	}
	sound(t, "flared post", m)
	polygon := float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
	near(t, "flared post", m.Volume(), polygon*(25*0.6+2./3*(25+9+15)+9*17.4-4*20))

	solid, err := mesh.Loft([][]r2.Vec{ring(5), ring(3), ring(3)}, nil, []float64{0, 2, 20})
	if err != nil {
		t.Fatal(err)
	}
	sound(t, "solid post", solid)
	near(t, "solid post", solid.Volume(), polygon*(2./3*(25+9+15)+9*18))

	for name, f := range map[string]func() (*mesh.Mesh, error){
		"falling": func() (*mesh.Mesh, error) { return mesh.Loft([][]r2.Vec{ring(1), ring(1)}, nil, []float64{1, 0}) },
		"levels":  func() (*mesh.Mesh, error) { return mesh.Loft([][]r2.Vec{ring(1)}, nil, []float64{0, 1}) },
		"corners": func() (*mesh.Mesh, error) { return mesh.Loft([][]r2.Vec{ring(1), ring(1)[:5]}, nil, []float64{0, 1}) },
		"not finite": func() (*mesh.Mesh, error) {
			return mesh.Loft([][]r2.Vec{ring(1), ring(math.NaN())}, nil, []float64{0, 1})
		},
		"endless height": func() (*mesh.Mesh, error) {
			return mesh.Loft([][]r2.Vec{ring(1), ring(1)}, nil, []float64{0, math.Inf(1)})
		},
	} {
		if _, err := f(); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestBuildersWithoutVolumeAreEmpty(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"no outline": mesh.Prism(nil, 0, 1),
		"two points": mesh.Prism([]r2.Vec{{}, {X: 1}}, 0, 1),
		"no height":  mesh.Prism(outlines["L"], 2, 2),
		"one point":  mesh.Prism(slices.Repeat([]r2.Vec{{X: 1}}, 5), 0, 1),
	} {
		if len(m.Triangles) != 0 {
			t.Errorf("%s: %d triangles", name, len(m.Triangles))
		}
	}
}

func TestWallVolume(t *testing.T) {
	at := func(x, y, lo, hi float64) mesh.Station { return mesh.Station{P: r2.Vec{X: x, Y: y}, Low: lo, High: hi} }
	for _, c := range []struct {
		name      string
		line      []mesh.Station
		thickness float64
		want      float64 // mm³
	}{
		{"straight", []mesh.Station{at(0, 0, 0, 10), at(20, 0, 0, 10)}, 0.5, 20 * 10 * 0.5},
		{"on a slant in plan", []mesh.Station{at(0, 0, 0, 10), at(3, 4, 0, 10)}, 0.5, 5 * 10 * 0.5},
		{"leaning lower edge", []mesh.Station{at(0, 0, 0, 10), at(10, 0, 5, 10)}, 0.5, 7.5 * 10 * 0.5},
		{"sloping top", []mesh.Station{at(0, 0, 0, 10), at(10, 0, 0, 14)}, 0.5, 12 * 10 * 0.5},
		{"taper at the end", []mesh.Station{at(0, 0, 0, 10), at(10, 0, 10, 10)}, 0.5, 5 * 10 * 0.5},
		{"taper at the start", []mesh.Station{at(0, 0, 10, 10), at(10, 0, 0, 10)}, 0.5, 5 * 10 * 0.5},
		{"taper at both", []mesh.Station{at(0, 0, 5, 5), at(4, 0, 0, 9), at(8, 0, 3, 3)}, 0.5, 9. / 2 * 8 * 0.5},
		{"straight station between", []mesh.Station{at(0, 0, 0, 10), at(4, 0, 0, 12), at(20, 0, 0, 10)}, 0.5, 20 * 11 * 0.5},
		{"repeated station", []mesh.Station{at(0, 0, 0, 10), at(0, 0, 0, 10), at(20, 0, 0, 10), at(20, 0, 0, 10)}, 0.5, 20 * 10 * 0.5},
		// A full mitre keeps the plan area at centre-line length times thickness.
		{"right angle", []mesh.Station{at(0, 0, 0, 10), at(10, 0, 0, 10), at(10, 8, 0, 10)}, 0.5, 18 * 10 * 0.5},
		{"left and right", []mesh.Station{at(0, 0, 0, 10), at(10, 0, 0, 10), at(12, 9, 0, 10), at(22, 3, 0, 10)}, 0.5,
			(10 + math.Sqrt(85) + math.Sqrt(136)) * 10 * 0.5},
		{"zigzag of 120°", []mesh.Station{at(0, 0, 0, 5), at(10, 0, 0, 5), at(5.1, 8.66, 0, 5)}, 0.5, (10 + math.Hypot(4.9, 8.66)) * 5 * 0.5},
	} {
		m, err := mesh.Wall(c.line, c.thickness)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		sound(t, c.name, m)
		near(t, c.name, m.Volume(), c.want)
		if !mesh32(m).Topology().Watertight() {
			t.Errorf("%s: leaks after rounding", c.name)
		}
	}
}

func mesh32(m *mesh.Mesh) *mesh.Mesh {
	m = m.Clone()
	m.Round32()
	return m
}

// A hairpin keeps its thickness: its outer corner is cut, not run out to a
// needle, and both legs stay whole.
func TestWallSharpTurn(t *testing.T) {
	for _, degrees := range []float64{121, 135, 150, 169, -121, -150, -169} {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		line := []mesh.Station{
			{P: r2.Vec{X: -20}, High: 5}, {High: 5}, {P: r2.Vec{X: 20 * cos, Y: 20 * sin}, High: 5}}
		m, err := mesh.Wall(line, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		sound(t, "hairpin", m)
		if b := m.Bounds(); b.Max.X > 0.55 {
			t.Errorf("%g°: the corner reaches %g mm", degrees, b.Max.X)
		}
		if v, want := m.Volume(), 40*5*0.5; math.Abs(v-want) > 0.05*want {
			t.Errorf("%g°: volume %g, want about %g", degrees, v, want)
		}
		outward(t, m)
	}
}

// outward asserts that no upright face of a plan-convex leg is turned inside
// out: tops face up, bottoms down.
func outward(t interface{ Errorf(string, ...any) }, m *mesh.Mesh) {
	b := m.Bounds()
	for i := range m.Triangles {
		p, q, r := m.Corners(i)
		n := m.AreaNormal(i)
		if p.Z == b.Max.Z && q.Z == b.Max.Z && r.Z == b.Max.Z && n.Z <= 0 {
			t.Errorf("triangle %d of the top faces down: %v %v %v", i, p, q, r)
		}
		if p.Z == b.Min.Z && q.Z == b.Min.Z && r.Z == b.Min.Z && n.Z >= 0 {
			t.Errorf("triangle %d of the bottom faces up: %v %v %v", i, p, q, r)
		}
	}
}

// planWinding is how often the top of m, at height z, covers p: upward
// triangles less downward ones.
func planWinding(m *mesh.Mesh, z float64, p r2.Vec) int {
	n := 0
	for i := range m.Triangles {
		a, b, c := m.Corners(i)
		if a.Z != z || b.Z != z || c.Z != z {
			continue
		}
		side := func(u, v r3.Vec) bool { return (v.X-u.X)*(p.Y-u.Y)-(v.Y-u.Y)*(p.X-u.X) > 0 }
		if s := side(a, b); s == side(b, c) && s == side(c, a) {
			if s {
				n++
			} else {
				n--
			}
		}
	}
	return n
}

// Random walks, hairpins and self-crossings among them: the wall covers every
// leg in its full thickness, nothing far from a leg, and nowhere less than
// nothing.
func TestWallOfRandomWalks(t *testing.T) {
	const thickness = 0.5
	rapid.Check(t, func(t *rapid.T) {
		var line []mesh.Station
		var p r2.Vec
		heading := 0.0
		for i := range rapid.IntRange(2, 9).Draw(t, "stations") {
			if i > 0 {
				heading += rapid.Float64Range(-2.9, 2.9).Draw(t, "turn")
				sin, cos := math.Sincos(heading)
				p = r2.Add(p, r2.Scale(rapid.Float64Range(thickness, 9).Draw(t, "leg"), r2.Vec{X: cos, Y: sin}))
			}
			line = append(line, mesh.Station{P: p, Low: 2, High: 5})
		}
		m, err := mesh.Wall(line, thickness)
		if err != nil {
			t.Fatal(err)
		}
		sound(t, "walk", m)
		distance := func(p r2.Vec) (d float64) { // to the nearest leg
			d = math.Inf(1)
			for i := range len(line) - 1 {
				u := r2.Sub(line[i+1].P, line[i].P)
				f := max(0, min(1, r2.Dot(r2.Sub(p, line[i].P), u)/r2.Norm2(u)))
				d = min(d, math.Sqrt(r2.Norm2(r2.Sub(p, r2.Add(line[i].P, r2.Scale(f, u))))))
			}
			return d
		}
		for i := range len(line) - 1 {
			u := r2.Sub(line[i+1].P, line[i].P)
			across := r2.Scale(1/math.Sqrt(r2.Norm2(u)), r2.Vec{X: -u.Y, Y: u.X})
			for range 20 {
				f := rapid.Float64Range(0.001, 0.999).Draw(t, "along")
				s := rapid.Float64Range(-1.6, 1.6).Draw(t, "across") // in thicknesses
				q := r2.Add(r2.Add(line[i].P, r2.Scale(f, u)), r2.Scale(s*thickness, across))
				q = r2.Add(q, r2.Vec{X: 1.3e-5, Y: 0.7e-5}) // off the diagonals
				got := planWinding(m, 5, q)
				switch d := distance(q); {
				case math.Abs(s) < 0.499 && got < 1:
					t.Errorf("leg %d is not covered at %v (%d)", i, q, got)
				case d > 1.01*thickness && got != 0: // a mitre of 120° reaches one thickness
					t.Errorf("%v, %g mm from the line, is covered %d times", q, d, got)
				case got < 0:
					t.Errorf("%v is covered %d times", q, got)
				}
			}
		}
	})
}

// Legs shorter than the thickness, and heights that change, stay closed.
func TestWallOfShortLegs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var line []mesh.Station
		var p r2.Vec
		heading := 0.0
		for i := range rapid.IntRange(2, 12).Draw(t, "stations") {
			if i > 0 {
				heading += rapid.Float64Range(-2.9, 2.9).Draw(t, "turn")
				sin, cos := math.Sincos(heading)
				p = r2.Add(p, r2.Scale(rapid.Float64Range(0.01, 1).Draw(t, "leg"), r2.Vec{X: cos, Y: sin}))
			}
			low := rapid.Float64Range(0, 3).Draw(t, "low")
			line = append(line, mesh.Station{P: p, Low: low, High: low + rapid.Float64Range(0.1, 5).Draw(t, "height")})
		}
		m, err := mesh.Wall(line, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		if top := m.Topology(); !top.Watertight() || top.Shells != 1 {
			t.Errorf("%+v", top)
		}
	})
}

func TestWallErrors(t *testing.T) {
	at := func(x, y, lo, hi float64) mesh.Station { return mesh.Station{P: r2.Vec{X: x, Y: y}, Low: lo, High: hi} }
	for _, c := range []struct {
		line      []mesh.Station
		thickness float64
		want      string
	}{
		{nil, 0.5, "0 distinct stations"},
		{[]mesh.Station{at(0, 0, 0, 1)}, 0.5, "1 distinct stations"},
		{[]mesh.Station{at(0, 0, 0, 1), at(0, 0, 0, 1)}, 0.5, "1 distinct stations"},
		{[]mesh.Station{at(0, 0, 0, 1), at(1, 0, 0, 1)}, 0, "thickness"},
		{[]mesh.Station{at(0, 0, 0, 1), at(1, 0, 2, 1)}, 0.5, "station 1 ends at z 1 mm, below"},
		{[]mesh.Station{at(0, 0, 1, 1), at(1, 0, 2, 2)}, 0.5, "no height at either end"},
		{[]mesh.Station{at(0, 0, 0, 1), at(1, 0, 1, 1), at(2, 0, 0, 1)}, 0.5, "no height at 1.000, 0.000"},
		{[]mesh.Station{at(0, 0, 0, 1), at(0, 0, 0, 2), at(2, 0, 0, 1)}, 0.5, "station 1 stands where"},
		{[]mesh.Station{at(0, 0, 0, 1), at(2, 0, 0, 1), at(0, 0.1, 0, 1)}, 0.5, "turns back"},
		{[]mesh.Station{at(0, 0, 0, 1), at(math.NaN(), 0, 0, 1)}, 0.5, "station 1 is not finite"},
	} {
		if _, err := mesh.Wall(c.line, c.thickness); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.line, err, c.want)
		}
	}
}
