package remedy_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestSteps(t *testing.T) {
	for _, c := range []struct {
		name         string
		hole, pocket float64 // diameters
		layers       int
		span         float64
	}{
		{"hole wider than the pocket", 22, 8, 0, 0},
		{"bearing", 8, 22, 3, 20.4939},      // √(22² − 8²) = √420
		{"M3 head", 3.4, 6.5, 3, 5.5399},    // √(6.5² − 3.4²)
		{"fine hole", 1.8, 5, 2, 4.6648},    // a square's corners stand off 0.37 mm
		{"narrow ceiling", 8, 9, 3, 4.1231}, // √17: the walls leave no more of the slot of 8 mm
		{"wide hole", 40, 60, 4, 44.7214},
	} {
		p := remedy.Steps{Hole: c.hole / 2, Pocket: c.pocket / 2, Line: 0.4, Layer: 0.2}
		if got := p.Layers(); got != c.layers {
			t.Errorf("%s: %d layers, want %d", c.name, got, c.layers)
		}
		near(t, c.name+": span", p.Span(), c.span, 1e-4)
		near(t, c.name+": lowered", p.Lowered(), 0.2*float64(c.layers), 1e-12)
		if p.Holds(c.span-0.01) && c.layers > 0 || !p.Holds(c.span+0.01) {
			t.Errorf("%s: holds on a bridge other than %g mm", c.name, c.span)
		}

		// The twin: polygons of 4, 8, … sides drawn round the hole, measured at
		// their corners.
		twin := 0
		for k := 2; c.layers > 0 && twin == 0; k++ {
			n := 1 << k
			side := arc(1, 0, 360/float64(n), 1) // a chord of the unit circle
			inner := r2.Norm(r2.Scale(0.5, r2.Add(side[0], side[1])))
			out := p.Hole / inner // blown up until the chord touches the hole
			if out-p.Hole <= p.Line {
				twin = k
			}
		}
		if twin != c.layers {
			t.Errorf("%s: %d layers, the drawn polygons need %d", c.name, c.layers, twin)
		}
	}
	for _, p := range []remedy.Steps{{}, {Hole: 4, Pocket: 4}, {Hole: math.NaN(), Pocket: 5}, {Hole: -1, Pocket: 5}} {
		if p.Layers() != 0 || p.Span() != 0 || len(p.Seat(r3.Vec{}).Triangles) != 0 {
			t.Errorf("%+v has steps", p)
		}
	}
	if n := (remedy.Steps{Hole: 4, Pocket: 11}).Layers(); n != 6 {
		t.Errorf("a line of no width takes %d layers, want the bound of 6", n)
	}
}

func TestSeat(t *testing.T) {
	for _, pocket := range []float64{1.5, 11, 60} {
		p := remedy.Steps{Hole: 1, Pocket: pocket, Line: 0.4, Layer: 0.2}
		m := p.Seat(r3.Vec{X: 5, Y: 6, Z: 7})
		if top := m.Topology(); !top.Watertight() || top.Shells != 1 {
			t.Errorf("%+v", top)
		}
		b := m.Bounds()
		near(t, "bottom", b.Min.Z, 6.9, 1e-9)
		near(t, "top", b.Max.Z, 7+p.Lowered(), 1e-9)
		near(t, "width", b.Max.X-b.Min.X, 2*pocket, 1e-9)
		// At most 0.01 mm of the radius lacks all round.
		full := math.Pi * pocket * pocket * (p.Lowered() + 0.1)
		if v := m.Volume(); v > full || v < full*(1-0.02/pocket) {
			t.Errorf("volume %g mm³ of %g", v, full)
		}
	}
}

func TestChamfer(t *testing.T) {
	for _, c := range []struct{ depth, limit, height, volume float64 }{
		{4, 45, 4, 80}, // half a cube's cross-section of 16 mm², 10 mm long
		{3, 30, 3 * math.Sqrt(3), 45 * math.Sqrt(3)},
		{3, 60, math.Sqrt(3), 15 * math.Sqrt(3)},
		{0, 45, 0, 0},
	} {
		p := remedy.Chamfer{Depth: c.depth, Length: 10, Limit: c.limit * deg}
		near(t, "height", p.Height(), c.height, 1e-12)
		near(t, "volume", p.Volume(), c.volume, 1e-9)
		solid := mesh.Prism([]r2.Vec{{}, {X: p.Depth}, {Y: p.Height()}}, 0, p.Length)
		near(t, "volume of the solid", solid.Volume(), p.Volume(), 1e-9)
	}
}

func TestMidWall(t *testing.T) {
	for _, c := range []struct {
		span  float64
		helps bool
	}{
		{9.9, false}, // bridges by itself
		{10, false},
		{10.1, true},
		{20.4, true}, // two bridges of 10 mm
		{20.5, false},
	} {
		p := remedy.MidWall{Span: c.span, Line: 0.4}
		near(t, "half", 2*p.Half()+0.4, c.span, 1e-12)
		if p.Helps(10) != c.helps {
			t.Errorf("span %g mm: helps %v", c.span, !c.helps)
		}
	}
}

func TestSheet(t *testing.T) {
	p := remedy.RoundSheet(4, 11, 0.2)
	near(t, "span", p.Span, 22, 0)
	near(t, "area", p.Area, 16*math.Pi, 1e-12)
	if p.Holds(21.9) || !p.Holds(22) {
		t.Errorf("%v holds on another bridge than 22 mm", p)
	}
}

// Each sentence can be read out as it stands.
func TestSentences(t *testing.T) {
	for _, c := range []struct {
		got  interface{ String() string }
		want string
	}{
		{remedy.Teardrop{Radius: 5, Limit: 45 * deg},
			"teardrop: apex 7.07 mm above the axis, tangent at ±3.54 mm, 3.54 mm up"},
		{remedy.Teardrop{Radius: 5, Limit: 45 * deg, Flat: 5},
			"flat-topped teardrop: flat 4.14 mm wide at 5.00 mm above the axis, tangent at ±3.54 mm, 3.54 mm up"},
		{remedy.Crown{Radius: 5, Limit: 45 * deg},
			"crown beyond 45°: 7.07 mm wide, the top 90° of the bore, 1.46 mm high"},
		{remedy.Crown{}, "no crown beyond the limit"},
		{remedy.Steps{Hole: 4, Pocket: 11, Line: 0.4, Layer: 0.2},
			"bridging steps: 3 layers, longest bridge 20.5 mm; deepen the pocket by 0.60 mm to keep the seat"},
		{remedy.Steps{}, "no ceiling to step"},
		{remedy.RoundSheet(4, 11, 0.2),
			"sheet: one layer under the ceiling, bridging 22.0 mm; pierce 50.3 mm² after printing; deepen the pocket by 0.20 mm to keep the seat"},
		{remedy.Chamfer{Depth: 4, Length: 10, Limit: 45 * deg},
			"chamfer: 4.00 mm out, 4.00 mm down the wall, over 10.0 mm; adds 80.0 mm³"},
		{remedy.MidWall{Span: 18, Line: 0.4},
			"wall in the middle: 0.40 mm thick, leaves two bridges of 8.8 mm instead of one of 18.0 mm"},
	} {
		if got := c.got.String(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}
