package layout_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// recess is a block with a round pocket of radius R open below, its ceiling at z 8,
// and a hole of radius r in that.
func recess(t testing.TB, R, r float64, s supports.Settings) bench {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	if s, err = plan.FromSettings(s).Supports(); err != nil {
		t.Fatal(err)
	}
	ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{X: 3, Y: -2}, r, 128, 0) }
	m := mesh.Tube(ring(R+3), ring(R), 0, 8)
	m.Append(mesh.Tube(ring(R+3), ring(r), 8, 12))
	b := bench{m: m, s: s, part: raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)}
	b.need = need.Find(m, b.part, s, 0)
	if len(b.need.Regions) == 0 {
		t.Fatal("the ring holds by itself")
	}
	return b
}

// proved tells whether a plan's solids hold on the part.
func (b bench) proved(t testing.TB, p plan.Plan) prove.Report {
	t.Helper()
	r, err := prove.ProveStacks(b.part, b.solids(t, p), b.s, prove.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A sheet where the pocket's width is a planned bridge, 0.9·L; else steps where the
// chord that touches the hole is, 2·√(R² − r²); else supports. All of them hold.
func TestClosesWhatCanBeBridged(t *testing.T) {
	for _, c := range []struct {
		R, r          float64
		sheets, steps int
	}{
		{4.4, 2, 1, 0},                                                                                                      // 8.8 of 9 mm
		{4.7, 2.2, 0, 1} /* 9.4, and a chord of 8.31 */, {5, 3.2, 0, 1} /* 7.68 */, {5, 1.8, 0, 0} /* 9.33 */, {6, 3, 0, 0}, // 10.4
	} {
		b := recess(t, c.R, c.r, supports.Settings{})
		p := layout.Layout("bench.stl", b.m, b.part, b.need, b.s, 0)
		if len(p.Sheets) != c.sheets || len(p.Steps) != c.steps || (len(p.Lines) == 0) != (c.sheets+c.steps > 0) {
			t.Errorf("R %g, r %g: %d sheets, %d steps, %d lines", c.R, c.r, len(p.Sheets), len(p.Steps), len(p.Lines))
		}
		r := b.proved(t, p)
		if r.Verdict != prove.Holds || len(r.Sheets) != c.sheets+c.steps {
			t.Errorf("R %g, r %g: %s, %d of them seen: %+v", c.R, c.r, r.Verdict, len(r.Sheets), r.Reasons)
		}
		for _, h := range p.Steps {
			if math.Abs(h.Bore-2*c.r) > 0.06 || math.Hypot(h.At[0]-3, h.At[1]+2) > 0.05 || h.At[2] != 8 {
				t.Errorf("steps for Ø%g about 3, -2 at z 8 are %+v", 2*c.r, h)
			}
		}
	}
}

// A bridge's limit that is longer lets the wide pocket have a sheet.
func TestClosesWithALongerBridge(t *testing.T) {
	b := recess(t, 6, 3, supports.Settings{Bridge: 14})
	if p := layout.Layout("bench.stl", b.m, b.part, b.need, b.s, 0); len(p.Sheets) != 1 || len(p.Lines) != 0 {
		t.Errorf("%d sheets, %d lines", len(p.Sheets), len(p.Lines))
	}
}

// What was struck is not built again, nor anything else in its place; clean faces are
// not printed onto, and no sheet enters where nothing may go.
func TestClosingsHeedTheDesigner(t *testing.T) {
	b := recess(t, 4.4, 2, supports.Settings{})
	for name, change := range map[string]func(p *plan.Plan){
		"struck":     func(p *plan.Plan) { p.Struck.Sheets = []plan.Sheet{{ID: "S1", At: [3]float64{3, -2, 8}}} },
		"keep clean": func(p *plan.Plan) { p.Zones = []plan.Zone{ceilingZone(plan.KeepClean)} },
		"no go":      func(p *plan.Plan) { p.Zones = []plan.Zone{ceilingZone(plan.NoGo)} },
	} {
		p := b.plan()
		change(&p)
		got, _ := b.around(t, p)
		if len(got.Sheets)+len(got.Steps) != 0 || name == "struck" && len(got.Lines) == 0 {
			t.Errorf("%s: %d sheets, %d steps, %d lines", name, len(got.Sheets), len(got.Steps), len(got.Lines))
		}
	}
	// Deleting what was drawn strikes it.
	p, _ := b.around(t, b.plan())
	if len(p.Sheets) != 1 || len(p.Drawn.Sheets) != 1 {
		t.Fatalf("%+v", p.Sheets)
	}
	p.Sheets = nil
	got, _ := b.around(t, p)
	if len(got.Sheets) != 0 || len(got.Struck.Sheets) != 1 || len(got.Lines) == 0 {
		t.Errorf("deleted: %d sheets, %d struck, %d lines", len(got.Sheets), len(got.Struck.Sheets), len(got.Lines))
	}
}

// ceilingZone is over the whole ceiling of a recess.
func ceilingZone(kind plan.Kind) plan.Zone {
	return plan.Zone{ID: "Z1", Kind: kind, Box: &plan.Box{Min: [3]float64{-3, -8, 7.9}, Max: [3]float64{9, 4, 8.1}}}
}

// What the designer asks for is built where it holds at the whole bridge, kept as it
// is, and nothing is added; what cannot be is refused with id and reason.
func TestClosingsOnRequest(t *testing.T) {
	b := recess(t, 4.9, 1.5, supports.Settings{}) // a sheet of 9.8 mm: not by default
	if p, _ := b.around(t, b.plan()); len(p.Sheets)+len(p.Steps) != 0 || len(p.Lines) == 0 {
		t.Fatalf("by default %d sheets, %d steps", len(p.Sheets), len(p.Steps))
	}
	p := b.plan()
	p.Sheets = []plan.Sheet{{ID: "Lid", At: [3]float64{4.5, -2, 8.2}, By: plan.Designer}}
	got, spots := b.around(t, p)
	if d := cmp.Diff(p.Sheets, got.Sheets); d != "" || len(got.Lines)+len(got.Posts)+len(spots) != 0 {
		t.Errorf("%d lines, %d bare (-want +got)\n%s", len(got.Lines), len(spots), d)
	}
	if r := b.proved(t, got); r.Verdict != prove.Holds {
		t.Errorf("%+v", r.Reasons)
	}
	again, _ := b.around(t, got)
	if !bytes.Equal(text(t, again), text(t, got)) {
		t.Error("a second run changes it")
	}

	wide := recess(t, 6, 3, supports.Settings{})
	for _, c := range []struct {
		b      bench
		change func(p *plan.Plan)
		id     string
		reason string
	}{
		{b, func(p *plan.Plan) { p.Sheets = []plan.Sheet{{ID: "S7", At: [3]float64{3, -2, 4}, By: plan.Designer}} }, "S7", "no ceiling with a hole"},
		{b, func(p *plan.Plan) { p.Sheets = []plan.Sheet{{ID: "S7", At: [3]float64{30, -2, 8}, By: plan.Designer}} }, "S7", "not closed all round"},
		{b, func(p *plan.Plan) { p.Steps = []plan.Steps{{ID: "B7", At: [3]float64{6.5, -2, 8}, By: plan.Designer}} }, "B7", "no hole in the ceiling"},
		{wide, func(p *plan.Plan) { p.Sheets = []plan.Sheet{{ID: "S7", At: [3]float64{3, -2, 8}, By: plan.Designer}} }, "S7", "a bridge of 12.0 mm, and 10 mm hold"},
		{wide, func(p *plan.Plan) { p.Steps = []plan.Steps{{ID: "B7", At: [3]float64{3, -2, 8}, By: plan.Designer}} }, "B7", "a bridge of 10.4 mm, and 10 mm hold"},
		{b, func(p *plan.Plan) {
			p.Sheets = []plan.Sheet{{ID: "S7", At: [3]float64{3, -2, 8}, By: plan.Designer}}
			p.Zones = []plan.Zone{ceilingZone(plan.KeepClean)}
		}, "S7", "what Z1 keeps clean"},
	} {
		p := c.b.plan()
		c.change(&p)
		_, _, err := layout.Around(p, "bench.stl", c.b.m, c.b.part, c.b.need, 0)
		var no *layout.Impossible
		if !errors.As(err, &no) || len(no.Refusals) != 1 || no.Refusals[0].ID != c.id || !strings.Contains(no.Refusals[0].Reason, c.reason) {
			t.Errorf("%v, want %s: %s", err, c.id, c.reason)
		}
		if check := layout.Check(p, c.b.m, c.b.part); check == nil || err == nil || check.Error() != err.Error() {
			t.Errorf("Check says %v", check)
		}
	}
}

// From a place alone come a sheet and steps of the designer's that can be.
func TestClosingsFromAPlace(t *testing.T) {
	b := recess(t, 4.8, 3, supports.Settings{})
	p := b.plan()
	p.Sheets = []plan.Sheet{{ID: "S1", At: [3]float64{1, 2, 3}}}
	at := r3.Vec{X: 3.5, Y: -3, Z: 7.6}
	sheet, err := layout.SheetAt(p, b.m, b.part, at)
	if err != nil || sheet.ID != "S2" || sheet.At[2] != 8 || sheet.By != plan.Designer {
		t.Errorf("%+v, %v", sheet, err)
	}
	steps, err := layout.StepsAt(p, b.m, b.part, at)
	if err != nil || steps.ID != "B1" || math.Abs(steps.Bore-6) > 0.06 || steps.By != plan.Designer {
		t.Errorf("%+v, %v", steps, err)
	}
	p.Sheets, p.Steps = nil, []plan.Steps{steps}
	if err := layout.Check(p, b.m, b.part); err != nil {
		t.Error(err)
	}
	at.X = 3 + 4
	if _, err = layout.StepsAt(p, b.m, b.part, at); err == nil || !strings.Contains(err.Error(), "no hole") {
		t.Errorf("beside the hole: %v", err)
	}
	at.Z = 4
	if _, err = layout.SheetAt(p, b.m, b.part, at); err == nil || !strings.Contains(err.Error(), "no ceiling") {
		t.Errorf("half-way up the pocket: %v", err)
	}
}

// Whatever the pocket: the document reads back, any number of workers gives the same
// one, a second run changes nothing, and what is drawn holds.
func TestClosingsProperty(t *testing.T) {
	for seed := range 8 {
		if testing.Short() && seed > 3 {
			break
		}
		r := rand.New(rand.NewPCG(uint64(seed), 1))
		R := 3 + 3*r.Float64()
		hole := R * (0.3 + 0.55*r.Float64())
		s := supports.Settings{}
		if r.IntN(2) == 0 {
			s.Layer, s.First = 0.16, 0.24
		}
		s, err := s.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{}, r, 128, 0) }
		m := mesh.Tube(ring(R+3), ring(R), 0, 8)
		m.Append(mesh.Tube(ring(R+3), ring(hole), 8, 12))
		b := bench{m: m, s: s, part: raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)}
		if b.need = need.Find(m, b.part, s, 0); len(b.need.Regions) == 0 {
			continue
		}
		name := fmt.Sprintf("R %.2f, r %.2f, layers of %g", R, hole, s.Layer)
		p := layout.Layout("bench.stl", m, b.part, b.need, s, 1)
		data := text(t, p)
		if more := text(t, layout.Layout("bench.stl", m, b.part, b.need, s, 3)); !bytes.Equal(more, data) {
			t.Errorf("%s: workers change it", name)
		}
		back, err := plan.Decode("x", data)
		if err != nil {
			t.Fatal(err)
		}
		again, spots := b.around(t, back)
		if !bytes.Equal(text(t, again), data) && len(p.Lines) == 0 {
			t.Errorf("%s: a second run changes it\n%s", name, cmp.Diff(string(data), string(text(t, again))))
		}
		if report := b.proved(t, back); report.Verdict != prove.Holds || len(spots) > 0 || len(report.Sheets) != len(p.Sheets)+len(p.Steps) {
			t.Errorf("%s: %s with %d sheets, %d steps: %+v", name, report.Verdict, len(p.Sheets), len(p.Steps), report.Reasons)
		}
		if slices.ContainsFunc(p.Sheets, func(h plan.Sheet) bool { return 2*R > 0.9*10+0.2 }) {
			t.Errorf("%s: a sheet wider than a planned bridge", name)
		}
	}
}
