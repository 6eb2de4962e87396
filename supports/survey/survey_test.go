package survey_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/survey"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func of(t testing.TB, m *mesh.Mesh, o survey.Options) survey.Report {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	return survey.Survey(m, part, s, o)
}

func box(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	return meshtest.Box(r3.Vec{X: x0, Y: y0, Z: z0}, r3.Vec{X: x1, Y: y1, Z: z1})
}

func join(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		out.Append(m)
	}
	return out
}

func round(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{}, r, 96, math.Pi/96) }

// square has as many corners as round, corner for corner.
func square(half float64) []r2.Vec {
	out := round(half)
	for i, p := range out {
		out[i] = r2.Scale(half/max(math.Abs(p.X), math.Abs(p.Y)), p)
	}
	return out
}

// bored is a block of 2·half with a bore of radius r along y, at half its height.
func bored(half, r, long float64) *mesh.Mesh {
	m := mesh.Tube(square(half), round(r), 0, long)
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Vec{X: v.X, Y: -v.Z, Z: v.Y + half}
	}
	return m
}

// pocket is a cap of 4.5 mm radius inside, 2 mm thick, with a hole.
func pocket(hole []r2.Vec) *mesh.Mesh {
	m := mesh.Tube(round(6), round(4.5), 0, 8)
	m.Append(mesh.Tube(round(6), hole, 8, 10))
	return m
}

// Values are elementary geometry: the crown of a bore of radius r beyond 45° is
// √2·r wide; a teardrop's apex stands √2·r over the axis; steps over a hole r in a
// pocket R bridge 2√(R² − r²); a chamfer adds depth²/2 for each mm.
func TestKinds(t *testing.T) {
	wall := box(-3, 0, 0, 0, 10, 14)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		kind survey.Kind
		rule survey.Rule
		span float64
		says string // what the first remedy says
	}{
		{"pin", join(wall, box(0, 0, 12, 9, 10, 14), box(7, 4, 7, 8, 5, 13)), survey.Tip, survey.Island, 1, "lean-to"},
		{"keel", join(wall, box(0, 0, 12, 9, 10, 14), box(7, 1, 7, 7.8, 9, 13)), survey.Edge, survey.Island, 0.8, "chamfer"},
		{"stump", join(wall, box(0, 0, 12, 9, 10, 14), box(3, 2, 7, 8, 8, 13)), survey.Hanging, survey.Island, 5, "5.0 mm high"},
		{"ledge", join(wall, box(0, 0, 12, 6, 10, 14)), survey.Ledge, survey.Span, 6, "adds 180.0 mm³"},
		{"deck", join(wall, box(-3, 0, 12, 20, 10, 14), box(18, 0, 0, 20, 10, 14)), survey.Bridge, survey.Span, 18, "two bridges of 8.8 mm"},
		{"long deck", join(wall, box(-3, 0, 12, 35, 10, 14), box(33, 0, 0, 35, 10, 14)), survey.Bridge, survey.Span, 33, "3 of 0.4 mm"},
		{"table", join(box(0, 0, 0, 4, 4, 12), box(26, 0, 0, 30, 4, 12), box(0, 26, 0, 4, 30, 12), box(26, 26, 0, 30, 30, 12), box(0, 0, 12, 30, 30, 14)),
			survey.Ceiling, survey.Span, -1, "supports over"},
		{"pocket", pocket(round(2.5)), survey.Ring, survey.Span, 2 * math.Sqrt(4.5*4.5-2.5*2.5), "bridging 9.0 mm"},
		{"pocket, square hole", pocket(square(1.8)), survey.Ring, survey.Span, -1, "bridging 9.0 mm; pierce 1"},
		{"bore", bored(14, 9, 20), survey.Crown, survey.Overhang, 9 * math.Sqrt2, "apex 12.73 mm above the axis"},
		{"slope", join(box(0, 0, 0, 4, 10, 2), mesh.Frustum(
			[]r2.Vec{{X: 0}, {X: 4}, {X: 4, Y: 10}, {X: 0, Y: 10}},
			[]r2.Vec{{X: 0}, {X: 4 + 5*math.Sqrt(3)}, {X: 4 + 5*math.Sqrt(3), Y: 10}, {X: 0, Y: 10}}, 2, 7)),
			survey.Slope, survey.Overhang, -1, "from 60° to 45°"},
		{"drum", join(meshtest.Sphere(r3.Vec{Z: 10}, 8, 128), mesh.Prism(round(3), 0, 10)), survey.Slope, survey.Overhang, -1, "end the curve"},
	} {
		r := of(t, c.m, survey.Options{})
		if len(r.Findings) == 0 {
			t.Errorf("%s: nothing found", c.name)
			continue
		}
		f := r.Findings[0]
		first := f.Remedies[0].Name + ": " + f.Remedies[0].Text
		if f.Kind != c.kind || f.Rule != c.rule || c.span >= 0 && math.Abs(f.Span-c.span) > 0.2 || !strings.Contains(first, c.says) {
			t.Errorf("%s: %s by rule %s, span %.2f mm, %q; want %s, %s, %.2f, %q", c.name, f.Kind, f.Rule, f.Span, first, c.kind, c.rule, c.span, c.says)
		}
		if len(f.Faces) == 0 {
			t.Errorf("%s: no triangles", c.name)
		}
		for _, g := range r.Findings {
			for _, y := range g.Remedies {
				if y.Cutter == nil {
					continue
				}
				if top := y.Cutter.Topology(); !top.Watertight() || y.Cutter.Volume() <= 0 {
					t.Errorf("%s: the cutter of %q is open or inside out: %+v", c.name, y.Text, top)
				}
			}
		}
	}
}

// Both halves of one bore's crown have one cutter between them, which takes the
// need away: the teardrop's flanks lean 45°.
func TestCutterTakesTheNeedAway(t *testing.T) {
	const r, long = 9.0, 20.0
	before := of(t, bored(14, r, long), survey.Options{})
	cutters := 0
	for _, f := range before.Findings {
		for _, y := range f.Remedies {
			if y.Cutter != nil {
				cutters++
			}
		}
	}
	if cutters != 1 {
		t.Errorf("%d cutters for one bore", cutters)
	}
	// The block with the teardrop's outline instead, built without the cutter:
	// the upper quarter of the circle gives way to its tangents at 45°.
	drop := round(r)
	for i, p := range drop {
		if p.Y > math.Abs(p.X) {
			drop[i] = r2.Scale(r*math.Sqrt2/(p.Y+math.Abs(p.X)), p)
		}
	}
	m := mesh.Tube(square(14), drop, 0, long)
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Vec{X: v.X, Y: -v.Z, Z: v.Y + 14}
	}
	if after := of(t, m, survey.Options{}); len(after.Findings) > 0 {
		t.Errorf("%.1f mm² still fall over the teardrop", after.Findings[0].AreaMM2)
	}
}

func TestReachFromPlate(t *testing.T) {
	shelf := box(0, 0, 12, 6, 10, 14)
	wall := box(-3, 0, 0, 0, 10, 14)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want float64 // share
	}{
		{"over the plate", join(wall, shelf), 1},
		{"over the part", join(wall, shelf, box(0, 0, 0, 6, 10, 2)), 0},
		{"half over each", join(wall, shelf, box(0, 0, 0, 6, 5, 2)), 0.5},
	} {
		f := of(t, c.m, survey.Options{}).Findings[0]
		if got := f.FromPlateMM2 / f.AreaMM2; math.Abs(got-c.want) > 0.02 {
			t.Errorf("%s: %.2f of the area can be reached from the plate, want %.2f", c.name, got, c.want)
		}
	}
}

func TestNotes(t *testing.T) {
	note := func(r survey.Report, name string) *survey.Note {
		for i := range r.Notes {
			if r.Notes[i].Name == name {
				return &r.Notes[i]
			}
		}
		return nil
	}
	fin := join(box(0, 0, 0, 10, 10, 3), box(2, 5, 3, 8, 5.2, 9))
	if n := note(of(t, fin, survey.Options{}), "thin wall"); n == nil || math.Abs(n.Z-3) > 0.5 {
		t.Errorf("a wall of 0.2 mm: %+v", n)
	}
	line := join(box(0, 0, 0, 10, 10, 3), box(2, 5, 3, 8, 5.4, 9))
	if n := note(of(t, line, survey.Options{}), "thin wall"); n != nil {
		t.Errorf("a wall of one line: %+v", n)
	}
	if n := note(of(t, bored(6, 2, 8), survey.Options{}), "bore holds"); n == nil {
		t.Error("a bore of 4 mm is not told to hold")
	}
	// An L of one outline, its inner corner along y at (3, 3).
	at := func(x, z float64) r2.Vec { return r2.Vec{X: x, Y: z} }
	angle := mesh.Prism([]r2.Vec{at(0, 0), at(12, 0), at(12, 3), at(3, 3), at(3, 12), at(0, 12)}, 0, 20)
	for i, v := range angle.Vertices {
		angle.Vertices[i] = r3.Vec{X: v.X, Y: -v.Z, Z: v.Y}
	}
	bent := of(t, angle, survey.Options{Load: r3.Vec{Z: -1}})
	if n := note(bent, "inner corner"); n == nil || !n.Advice || math.Abs(n.X-3) > 0.1 || math.Abs(n.Z-3) > 0.1 || !strings.Contains(n.Text, "20.0 mm long") {
		t.Errorf("inner corner: %+v", n)
	}
	if n := note(bent, "layers across the load"); n == nil || !n.Advice {
		t.Errorf("layers across the load: %+v", n)
	}
	if r := of(t, angle, survey.Options{Load: r3.Vec{Y: 1}}); note(r, "inner corner") != nil || note(r, "layers across the load") != nil {
		t.Errorf("a load along the corner and the layers: %+v", r.Notes)
	}
}

// The span of the ceiling and the remedy are told in words.
func ExampleSurvey() {
	s, _ := supports.Settings{}.Resolve()
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 10, Z: 20})
	m.Append(meshtest.Box(r3.Vec{Z: 15}, r3.Vec{X: 10, Y: 10, Z: 18}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	r := survey.Survey(m, part, s, survey.Options{})
	for _, f := range r.Findings {
		fmt.Printf("%s at z %.0f mm: %s\n", f.Kind, f.Bounds.Min.Z, f.Remedies[0].Text)
	}
	// Output: ledge at z 15 mm: chamfer: 6.00 mm out, 6.00 mm down the wall, over 10.0 mm; adds 180.0 mm³
}
