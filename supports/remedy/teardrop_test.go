package remedy_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/supports"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const deg = math.Pi / 180

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s %.6g, want %.6g", what, got, want)
	}
}

// Elementary trigonometry of the circle and its tangent. At 45° the leg of a
// square's half is 1/√2 and its diagonal √2; at 30° and 60° an equilateral
// triangle's half has the sides 1, √3 and 2.
func TestTeardropByHand(t *testing.T) {
	for _, c := range []struct {
		r, limit             float64 // mm, degrees
		tanX, tanY, apex     float64
		extra, flat          float64 // area; width of a flat at the circle's own top
		chord, rise, crownAt float64 // crownAt in degrees
	}{
		{10, 45, 10 / math.Sqrt2, 10 / math.Sqrt2, 10 * math.Sqrt2,
			100 * (1 - math.Pi/4), 20 * (math.Sqrt2 - 1), 20 / math.Sqrt2, 10 - 10/math.Sqrt2, 90},
		{2, 30, math.Sqrt(3), 1, 4,
			4 * (math.Sqrt(3) - math.Pi/3), 4 / math.Sqrt(3), 2 * math.Sqrt(3), 1, 120},
		{2, 60, 1, math.Sqrt(3), 4 / math.Sqrt(3),
			4 * (1/math.Sqrt(3) - math.Pi/6), 2 * (4 - 2*math.Sqrt(3)), 2, 2 - math.Sqrt(3), 60},
	} {
		d := remedy.Teardrop{Radius: c.r, Limit: c.limit * deg}
		near(t, "tangent x", d.Tangent().X, c.tanX, 1e-12)
		near(t, "tangent y", d.Tangent().Y, c.tanY, 1e-12)
		near(t, "apex", d.Apex(), c.apex, 1e-12)
		near(t, "extra area", d.ExtraArea(), c.extra, 1e-12)
		near(t, "width of no flat", d.FlatWidth(), 0, 0)
		d.Flat = c.r
		near(t, "flat", d.FlatWidth(), c.flat, 1e-12)
		top := remedy.Crown{Radius: c.r, Limit: c.limit * deg}
		near(t, "chord", top.Chord(), c.chord, 1e-12)
		near(t, "rise", top.Rise(), c.rise, 1e-12)
		near(t, "angle", top.Angle(), c.crownAt*deg, 1e-12)
		near(t, "arc", top.Arc(), c.r*c.crownAt*deg, 1e-12)
	}
}

// The formula against the area between the outline and a circle of a million
// sides, which is short of the true one by a share of 2π²/3n².
func TestExtraAreaAgainstPolygon(t *testing.T) {
	const n = 1_000_000
	for _, limit := range []float64{20, 30, 45, 50, 60, 75} {
		for _, flat := range []float64{0, 0.2, 0.8} { // of the way from the top of the circle to the apex
			d := remedy.Teardrop{Radius: 7, Limit: limit * deg}
			outline := []r2.Vec{{Y: d.Apex()}}
			if flat > 0 {
				d.Flat = d.Radius + flat*(d.Apex()-d.Radius)
				outline = []r2.Vec{{X: d.FlatWidth() / 2, Y: d.Flat}, {X: -d.FlatWidth() / 2, Y: d.Flat}}
			}
			for i := range n + 1 { // back over the crown
				sin, cos := math.Sincos((180 - limit - (180-2*limit)*float64(i)/n) * deg)
				outline = append(outline, r2.Vec{X: 7 * cos, Y: 7 * sin})
			}
			near(t, d.String(), d.ExtraArea(), mesh.PolygonArea(outline), 1e-6)
		}
	}
}

func TestCrownCloses(t *testing.T) {
	for _, c := range []struct {
		diameter, limit, line float64
		want                  bool
	}{
		{3.2, 45, 0.4, true},
		{5.6, 45, 0.4, true}, // 10 lines over 2·cos 45° are 5.657 mm
		{5.7, 45, 0.4, false},
		{11.3, 45, 0.8, true}, // twice the line, twice the bore
		{3.9, 30, 0.4, true},  // 2.5 lines over 1 − sin 30° are 2 mm of radius
		{4.1, 30, 0.4, false},
		{25, 45, 0.4, false},
	} {
		top := remedy.Crown{Radius: c.diameter / 2, Limit: c.limit * deg}
		if got := top.Closes(supports.Settings{Line: c.line}); got != c.want {
			t.Errorf("%g mm at %g° with a line of %g mm: closes %v", c.diameter, c.limit, c.line, got)
		}
	}
}

// theBore returns the only bore of a tube laid at an azimuth.
func theBore(t *testing.T, b tube, tilt, yaw float64) (*mesh.Mesh, remedy.Bore) {
	t.Helper()
	m := b.mesh()
	place(m, false, tilt, yaw, r3.Vec{X: 10, Y: 20, Z: 50})
	got := remedy.Bores(m)
	if len(got) != 1 {
		t.Fatalf("%d bores", len(got))
	}
	return m, got[0]
}

func TestCutter(t *testing.T) {
	for _, limit := range []float64{30, 45, 60} {
		for _, tilt := range []float64{0, 20} {
			for _, pointed := range []bool{true, false} {
				for k := range 24 {
					_, b := theBore(t, tube{radius: 5, sides: 24, rings: 1, length: 16}, tilt*deg, float64(k)*15*deg)
					s, err := supports.Settings{Limit: limit * deg}.Resolve()
					if err != nil {
						t.Fatal(err)
					}
					roof := math.Inf(1)
					if !pointed {
						roof = b.Radius + 0.9 // leaves 0.1 mm over the crown's top
					}
					d, ok := b.Teardrop(s, roof)
					if !ok || (d.Flat == 0) != pointed {
						t.Fatalf("limit %g°, roof %g mm: %v %v", limit, roof, d, ok)
					}
					cut := b.Cutter(d)
					if top := cut.Topology(); !top.Watertight() || top.Shells != 1 || top.Degenerate != 0 {
						t.Errorf("%v: %+v", d, top)
					}
					// Triangle from the axis to the apex, less its bottom, which
					// is 0.9 as high as the tangents, less what the flat takes.
					p := d.Tangent()
					off := d.Apex() - d.Top()
					area := p.X*d.Apex() - 0.81*p.X*p.Y - off*off*math.Tan(d.Limit)
					near(t, "volume", cut.Volume(), area*(b.Length()+0.2), 1e-6)
					for _, v := range cut.Vertices {
						rel := r3.Sub(v, b.Point)
						along := r3.Dot(rel, b.Axis)
						up := r3.Sub(r3.Vec{Z: 1}, r3.Scale(b.Axis.Z, b.Axis))
						high := r3.Dot(rel, r3.Unit(up))
						if high < 0.9*p.Y-1e-9 || high > d.Top()+1e-9 || math.Abs(along) > b.Length()/2+0.1+1e-9 {
							t.Errorf("%v: corner %g mm up, %g mm along", d, high, along)
						}
					}
					// The part's new faces are the cutter's, seen from behind: its
					// widest ones that look up must lean as far as the limit.
					flanks := 0
					for i := range cut.Triangles {
						n := r3.Unit(cut.AreaNormal(i))
						side := math.Abs(r3.Dot(n, r3.Cross(r3.Vec{Z: 1}, b.Axis)))
						if n.Z > 0.01 && side > 0.01 {
							flanks++
							near(t, "flank's lean", math.Asin(n.Z)/deg, limit, 1e-3)
						}
					}
					if flanks != 4 { // two flanks of two triangles
						t.Errorf("%v: %d triangles lean", d, flanks)
					}
				}
			}
		}
	}
}

func TestTeardropUnderRoof(t *testing.T) {
	s, err := supports.Settings{}.Resolve() // 45°, line 0.4 mm: 0.8 mm must stay
	if err != nil {
		t.Fatal(err)
	}
	_, b := theBore(t, tube{radius: 5, sides: 24, rings: 1, length: 16}, 0, 0)
	b.Radius = 5 // exactly
	for _, c := range []struct {
		name string
		roof float64
		flat float64
		ok   bool
	}{
		{"open above", math.Inf(1), 0, true},
		{"just room for the apex at 7.07 mm", 7.88, 0, true},
		{"apex too near", 7.8, 7, true},
		{"down to the crown", 5.8, 5, true},
		{"not even that", 5.5, 5, false},
	} {
		d, ok := b.Teardrop(s, c.roof)
		near(t, c.name, d.Flat, c.flat, 1e-9)
		if ok != c.ok {
			t.Errorf("%s: %v", c.name, ok)
		}
	}
	if d, ok := (&remedy.Bore{}).Teardrop(s, 10); ok || d != (remedy.Teardrop{}) {
		t.Errorf("no bore gives %v", d)
	}
	if m := (&remedy.Bore{}).Cutter(remedy.Teardrop{}); len(m.Triangles) != 0 {
		t.Errorf("no teardrop gives a cutter of %d triangles", len(m.Triangles))
	}
}

func TestRoof(t *testing.T) {
	for k := range 12 {
		yaw := float64(k) * 30 * deg
		m, b := theBore(t, tube{radius: 5, sides: 24, rings: 1, length: 16}, 0, yaw)
		// The bar's outside: its highest line is a corner, and 0.8 mm beside it
		// the facet, which leans by half its turn of 15°, is lower.
		near(t, "bar", b.Roof(m, 0.8), 10-0.8*math.Tan(7.5*deg), 1e-4)
		near(t, "bar, over the axis", b.Roof(m, 0), 10, 1e-4)

		put := func(x, high float64) { // a slab 1 mm thick, from x on, over a quarter of the bore
			slab := meshtest.Box(r3.Vec{X: x, Y: -4, Z: high - 1}, r3.Vec{X: x + 30, Z: high})
			place(slab, false, 0, yaw, b.Point)
			m.Append(slab)
		}
		put(2, 7)
		near(t, "a slab out of the way", b.Roof(m, 0.8), 10-0.8*math.Tan(7.5*deg), 1e-4)
		put(-15, 7)
		near(t, "a slab across", b.Roof(m, 0.8), 7, 1e-4)
		put(-15, -7)
		near(t, "a slab below", b.Roof(m, 0.8), 7, 1e-4)
	}
	_, b := theBore(t, tube{radius: 5, sides: 24, rings: 1, length: 16}, 0, 0)
	if got := b.Roof(&mesh.Mesh{}, 1); !math.IsInf(got, 1) {
		t.Errorf("nothing above is %g mm up", got)
	}
}
