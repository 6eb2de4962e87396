package desk_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/desk"
	"falsework/supports/grow"
	"falsework/supports/plan"
	"falsework/supports/pose"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// emptyPlan is a plan with default settings and nothing in it.
func emptyPlan(t testing.TB) plan.Plan {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s)}
}

// table is a slab on a column, its underside 5 mm up.
func table() *mesh.Mesh {
	m := meshtest.Box(r3.Vec{X: -3, Y: -3}, r3.Vec{X: 3, Y: 3, Z: 5})
	m.Append(meshtest.Box(r3.Vec{X: -10, Y: -10, Z: 5}, r3.Vec{X: 10, Y: 10, Z: 7}))
	return m
}

func kit(t testing.TB, name string) *mesh.Mesh {
	t.Helper()
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
	if err != nil {
		t.Fatal(err)
	}
	m.Round32()
	return m
}

func open(t testing.TB, m *mesh.Mesh, p plan.Plan) *desk.Desk {
	t.Helper()
	d, err := desk.New(m, p, desk.Options{Name: "part.stl"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close(); d.Wait() })
	return d
}

// edit applies edits in JSON to the newest revision.
func edit(d *desk.Desk, edits string) error {
	revision, _, _ := d.Version()
	r, err := desk.DecodeRequest(fmt.Appendf(nil, `{"base": %d, "edits": [%s]}`, revision, edits))
	if err != nil {
		return err
	}
	return d.Edit(r.Base, r.Edits)
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func proofReady(r desk.Ready) bool { return r.Proof }

// laidOut has the rest laid out and waits for the proof.
func laidOut(t testing.TB, d *desk.Desk) {
	t.Helper()
	before, _, _ := d.Version()
	must(t, d.LayOut(before))
	done := errors.New("done")
	err := d.Watch(t.Context(), func(s desk.Status) error {
		if s.Revision > before && s.Ready.Proof {
			return done
		}
		return nil
	})
	if !errors.Is(err, done) {
		t.Fatal(err)
	}
}

// A contact that is deleted fails the proof where it was, undo brings it back, redo takes it
// away again: with the same plan each time.
func TestDeleteUndoRedo(t *testing.T) {
	d := open(t, kit(t, "bearing-block"), emptyPlan(t))
	laidOut(t, d)
	s := d.State()
	if s.Proof.Verdict != "holds" || len(s.Need.Regions) == 0 {
		t.Fatalf("laid out: %s, %d regions", s.Proof.Verdict, len(s.Need.Regions))
	}
	_, drawn, _ := d.Version()
	gone := drawn.Lines[0]
	must(t, edit(d, fmt.Sprintf(`{"op": "delete", "id": %q}`, gone.ID)))
	until(t, d, proofReady)
	s = d.State()
	if s.Proof.Verdict != "fails" || !s.CanUndo || s.SavedRevision == s.Revision {
		t.Fatalf("without %s: %s, can undo %v", gone.ID, s.Proof.Verdict, s.CanUndo)
	}
	near := slices.ContainsFunc(s.Proof.Reasons, func(r desk.ReasonState) bool {
		return r.Rule == prove.PartUnheld && r.AtMM[2] > gone.At[0][2]-1 && r.AtMM[2] < gone.At[0][2]+1
	})
	if !near {
		t.Errorf("no reason at the height of the line at %v: %+v", gone.At, s.Proof.Reasons)
	}
	revision, _, _ := d.Version()
	must(t, d.Undo(revision))
	until(t, d, proofReady)
	if _, p, _ := d.Version(); !reflect.DeepEqual(p, drawn) || d.State().Proof.Verdict != "holds" {
		t.Error("undo does not give the plan of before, which holds")
	}
	must(t, d.Redo(revision+1))
	until(t, d, proofReady)
	if s := d.State(); s.Proof.Verdict != "fails" || s.CanRedo {
		t.Error("redo does not give what was undone")
	}
	if err := d.Redo(s.Revision + 2); err == nil {
		t.Error("more is done again than was undone")
	}
}

// What the desk proves step by step is what is proved afresh, as bake does it.
func TestProofIsThatOfTheWhole(t *testing.T) {
	if testing.Short() {
		t.Skip("lays out and proves many times")
	}
	m := kit(t, "level-bob")
	d := open(t, m, emptyPlan(t))
	laidOut(t, d)
	_, p, _ := d.Version()
	var edits []string
	for _, q := range p.Posts {
		edits = append(edits, fmt.Sprintf(`{"op": "move", "id": %q, "by": [0.4, -0.3]}`, q.ID))
	}
	edits = append(edits, fmt.Sprintf(`{"op": "delete", "id": %q}`, p.Lines[len(p.Lines)-1].ID),
		`{"op": "settings", "bridge_mm": 9, "layer_heights_mm": [0.16]}`)
	for _, e := range edits {
		var refused *desk.Refused
		if err := edit(d, e); errors.As(err, &refused) {
			continue // moved into the part: then it stays
		} else if err != nil {
			t.Fatal(err)
		}
		until(t, d, proofReady)
		_, p, _ := d.Version()
		s, err := p.Resolve()
		must(t, err)
		layers := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0)
		solids, err := grow.Grow(p, m, layers)
		must(t, err)
		all := &mesh.Mesh{}
		for _, s := range solids {
			all.Append(s.Mesh)
		}
		all.Round32()
		want, _, err := desk.Prove(p, m, layers, solids, all, prove.Options{})
		must(t, err)
		got := d.State().Proof
		if got.Verdict != string(want.Verdict) || len(got.Reasons) != len(want.Reasons) || len(got.Notes) != len(want.Notes) || len(got.Bodies) != len(want.Bodies) {
			t.Fatalf("after %s: %s with %d reasons, want %s with %d", e, got.Verdict, len(got.Reasons), want.Verdict, len(want.Reasons))
		}
		for i, r := range want.Reasons {
			if got.Reasons[i].Text != r.Text {
				t.Errorf("after %s: reason %q, want %q", e, got.Reasons[i].Text, r.Text)
			}
		}
	}
}

// Two who edit the same revision do not lose each other's work: the later one is told.
func TestStaleBase(t *testing.T) {
	d := open(t, table(), emptyPlan(t))
	r, err := desk.DecodeRequest([]byte(`{"base": 1, "edits": [{"op": "add-post", "at": [-15, 0]}]}`))
	must(t, err)
	must(t, d.Edit(r.Base, r.Edits))
	_, was, _ := d.Version()
	for name, err := range map[string]error{
		"edit": d.Edit(1, r.Edits), "undo": d.Undo(1), "redo": d.Redo(1), "layout": d.LayOut(1), "turn": d.Turn(1, pose.Turn{XDeg: 90}),
	} {
		if !errors.Is(err, desk.ErrStale) {
			t.Errorf("%s of revision 1 after an edit: %v", name, err)
		}
	}
	if _, now, _ := d.Version(); !reflect.DeepEqual(was, now) {
		t.Error("a stale edit changed the plan")
	}
}

func TestEdits(t *testing.T) {
	m := kit(t, "bearing-block")
	d := open(t, m, emptyPlan(t))
	laidOut(t, d)
	_, p, _ := d.Version()
	line := p.Lines[0]
	for _, c := range []struct {
		name, edit string
		check      func(p plan.Plan) bool
	}{
		{"a moved line is the designer's", fmt.Sprintf(`{"op": "move", "id": %q, "by": [0.1, 0]}`, line.ID), func(p plan.Plan) bool {
			return p.Lines[0].By == plan.Designer && p.Lines[0].At[0][0] > line.At[0][0]+0.09 && p.Lines[0].At[0][0] < line.At[0][0]+0.11
		}},
		{"pinning", fmt.Sprintf(`{"op": "set", "id": %q, "by": "designer"}`, p.Posts[0].ID), func(p plan.Plan) bool {
			return p.Posts[0].By == plan.Designer
		}},
		{"freeing", fmt.Sprintf(`{"op": "set", "id": %q, "by": "tool"}`, p.Posts[0].ID), func(p plan.Plan) bool {
			return p.Posts[0].By == plan.Tool
		}},
		{"a zone", `{"op": "add-zone", "kind": "keep-clean", "box": {"min": [0, 0, 0], "max": [1, 1, 1]}}`, func(p plan.Plan) bool {
			return len(p.Zones) == 1 && p.Zones[0].Kind == plan.KeepClean && p.Zones[0].Box.Max == [3]float64{1, 1, 1}
		}},
		{"a moved zone", `{"op": "move", "id": "Z1", "by": [2, 3]}`, func(p plan.Plan) bool {
			return p.Zones[0].Box.Min == [3]float64{2, 3, 0}
		}},
		{"another kind", `{"op": "set", "id": "Z1", "kind": "no-go", "cylinder": {"from": [0, 0, 0], "to": [0, 0, 1], "radius": 1}}`, func(p plan.Plan) bool {
			return p.Zones[0].Kind == plan.NoGo && p.Zones[0].Box == nil && p.Zones[0].Cylinder.Radius == 1
		}},
		{"a deleted zone", `{"op": "delete", "id": "Z1"}`, func(p plan.Plan) bool { return len(p.Zones) == 0 }},
		{"settings", `{"op": "settings", "gap_mm": 0.25, "bridge_mm": 8, "pad_mm": 0.6, "weights": {"plastic_g": 30}}`, func(p plan.Plan) bool {
			return p.Settings.Gap == 0.25 && p.Settings.Bridge == 8 && p.Taste.Pad == 0.6 && p.Taste.Weights.Plastic == 30
		}},
		{"several at once", `{"op": "add-line", "at": [[1, 1, 5], [2, 1, 5]], "tie": true}, {"op": "add-post", "at": [-20, -20], "side": 4}`, func(p plan.Plan) bool {
			l, q := p.Lines[len(p.Lines)-1], p.Posts[len(p.Posts)-1]
			return l.Tie && l.By == plan.Designer && l.ID[0] == 'T' && q.Side == 4 && q.Foot == 0 && q.By == plan.Designer
		}},
	} {
		if err := edit(d, c.edit); err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if _, p, _ := d.Version(); !c.check(p) {
			t.Errorf("%s: %s did not do that", c.name, c.edit)
		}
	}
	// What is in the plan afterwards reads back from its document.
	_, p, _ = d.Version()
	text, err := p.Encode()
	must(t, err)
	back, err := plan.Decode("the plan", text)
	must(t, err)
	if n := len(plan.Diff(p, back)); n > 0 {
		t.Errorf("read back it differs in %d things: %v", n, plan.Diff(p, back))
	}
}

// What cannot be granted is refused with the id and the reason, and changes nothing.
func TestRefusals(t *testing.T) {
	d := open(t, kit(t, "bearing-block"), emptyPlan(t))
	before, was, _ := d.Version()
	for _, e := range []struct{ name, edit, id, says string }{
		{"a post in the part", `{"op": "add-post", "at": [2, 2], "foot": 0}`, "P1", ""},
		{"a line where nothing is", `{"op": "add-line", "at": [[-90, 0, 5], [-80, 0, 5]]}`, "L1", ""},
		{"one of many", `{"op": "add-post", "at": [-30, 0]}, {"op": "delete", "id": "L77"}`, "L77", "no such"},
		{"an unknown field", `{"op": "add-zone", "kind": "keep-clean", "box": {"min": [0, 0, 0], "max": [1, 1, 1]}}, {"op": "set", "id": "Z1", "side": 3}`, "Z1", "no such field"},
		{"an impossible setting", `{"op": "settings", "layer_mm": 3}`, "", ""},
		{"far beyond", `{"op": "add-post", "at": [1e9, 0]}`, "", "beyond"},
	} {
		err := edit(d, e.edit)
		var refused *desk.Refused
		if !errors.As(err, &refused) || refused.ID != e.id || refused.Reason == "" || !strings.Contains(refused.Reason, e.says) {
			t.Errorf("%s: %v", e.name, err)
		}
	}
	if now, p, _ := d.Version(); now != before || !reflect.DeepEqual(p, was) {
		t.Error("what was refused changed the plan")
	}
}

func TestDecodeRequestRefuses(t *testing.T) {
	for _, bad := range []string{
		``, `{}`, `{"base": 1}`, `{"base": 1, "edits": []}`, `{"edits": [{"op": "delete", "id": "L1"}]}`,
		`{"base": 1, "edits": [{"op": "paint"}]}`, `{"base": 1, "edits": [{"op": "delete", "id": "L1", "more": 1}]}`,
		`{"base": 1, "edits": [{"op": "settings"}]}`, `{"base": 1, "edits": [{"op": "move", "id": "P1", "by": [1e400, 0]}]}`,
		`{"base": 1, "edits": [{"op": "delete", "id": "L1"}]} trailing`, `{"base": 1.5, "edits": [{"op": "delete", "id": "L1"}]}`,
	} {
		if _, err := desk.DecodeRequest([]byte(bad)); err == nil {
			t.Errorf("%s: accepted", bad)
		}
	}
}

// A sheet goes under the hole of the bearing block, is moved and deleted again; where no hole
// is, it is refused.
func TestSheets(t *testing.T) {
	d := open(t, kit(t, "bearing-block"), emptyPlan(t))
	until(t, d, func(r desk.Ready) bool { return r.Need })
	at := d.State().Need.Regions[0].CenterMM
	var narrow *desk.Refused
	if err := edit(d, fmt.Sprintf(`{"op": "add-sheet", "at": [%g, %g, %g]}`, at[0], at[1], at[2])); !errors.As(err, &narrow) {
		t.Errorf("a sheet wider than a bridge: %v", err)
	}
	must(t, edit(d, `{"op": "settings", "bridge_mm": 25}`))
	for _, op := range []string{"add-sheet", "add-steps"} {
		if err := edit(d, fmt.Sprintf(`{"op": %q, "at": [%g, %g, %g]}`, op, at[0], at[1], at[2])); err != nil {
			t.Errorf("%s: %v", op, err)
		}
		var refused *desk.Refused
		if err := edit(d, fmt.Sprintf(`{"op": %q, "at": [-50, 0, 5]}`, op)); !errors.As(err, &refused) {
			t.Errorf("%s beside the part: %v", op, err)
		}
		_, p, _ := d.Version()
		if len(p.Sheets)+len(p.Steps) != 1 {
			t.Fatalf("%s: %d sheets, %d steps", op, len(p.Sheets), len(p.Steps))
		}
		id := ""
		for _, q := range p.Sheets {
			id = q.ID
		}
		for _, q := range p.Steps {
			id = q.ID
		}
		must(t, edit(d, fmt.Sprintf(`{"op": "set", "id": %q, "by": "tool"}`, id)))
		must(t, edit(d, fmt.Sprintf(`{"op": "delete", "id": %q}`, id)))
	}
}

// A layout that is cancelled, or that an edit overtakes, changes nothing.
func TestLayoutIsLeft(t *testing.T) {
	d := open(t, kit(t, "bearing-block"), emptyPlan(t))
	revision, was, _ := d.Version()
	must(t, d.LayOut(revision))
	if err := d.LayOut(revision); !errors.Is(err, desk.ErrBusy) {
		t.Errorf("a second layout beside the first: %v", err)
	}
	d.Cancel()
	idle := errors.New("idle")
	err := d.Watch(t.Context(), func(s desk.Status) error {
		if strings.Contains(s.Message, "cancelled") {
			return idle
		}
		return nil
	})
	if !errors.Is(err, idle) {
		t.Fatal(err)
	}
	if now, p, _ := d.Version(); now != revision || !reflect.DeepEqual(p, was) {
		t.Error("a cancelled layout changed the plan")
	}
}

// A turned part is another part to hold; undo brings back the plan of before, and zones on
// faces stay on their faces.
func TestTurn(t *testing.T) {
	m := kit(t, "bearing-block")
	d := open(t, m, emptyPlan(t))
	b := m.Bounds()
	must(t, edit(d, fmt.Sprintf(`{"op": "add-zone", "kind": "keep-clean", "face": {"at": [%g, %g, %g], "normal": [1, 0, 0]}}`,
		b.Max.X, (b.Min.Y+b.Max.Y)/2, 1.0)))
	revision, was, _ := d.Version()
	must(t, d.Turn(revision, pose.Turn{YDeg: 90}))
	until(t, d, proofReady)
	now, p, turn := d.Version()
	if turn.YDeg != 90 || len(p.Zones) != 1 || len(p.Lines) != 0 {
		t.Fatalf("turned by %v: %d zones, %d lines", turn, len(p.Zones), len(p.Lines))
	}
	// The side that looked along +X looks down, and lies on the plate.
	if f := p.Zones[0].Face; f.At[2] > 0.01 || f.Normal[2] > -0.999 {
		t.Errorf("the face is at %v, looking along %v", f.At, f.Normal)
	}
	turned, _, _ := d.Part()
	if _, err := plan.NewSpace(p.Zones, turned); err != nil {
		t.Error(err)
	}
	must(t, d.Undo(now))
	if _, p, turn := d.Version(); turn != (pose.Turn{}) || !reflect.DeepEqual(p, was) {
		t.Error("undo does not bring the pose back")
	}
}

// Poses are ranked for what zones keep clean, and again only when that has changed.
func TestPosesHeedZones(t *testing.T) {
	d := open(t, table(), emptyPlan(t))
	clean := func() float64 {
		t.Helper()
		for deadline := time.Now().Add(2 * time.Minute); ; time.Sleep(20 * time.Millisecond) {
			poses, ok, err := d.Poses()
			if err != nil && !errors.Is(err, desk.ErrBusy) || time.Now().After(deadline) {
				t.Fatalf("no poses: %v", err)
			}
			if ok {
				i := slices.IndexFunc(poses, func(p pose.Pose) bool { return p.Kind == pose.Given })
				return poses[i].Laid.CleanMM2
			}
		}
	}
	if c := clean(); c != 0 {
		t.Errorf("without zones %.1f mm² are to be kept clean", c)
	}
	// The slab's underside beyond one side of the column.
	must(t, edit(d, `{"op": "add-zone", "kind": "keep-clean", "box": {"min": [3, -11, 4.9], "max": [11, 11, 5.1]}}`))
	if _, ok, _ := d.Poses(); ok {
		t.Error("a zone was added, and the poses are those of before")
	}
	// Its ceiling is 20 × 20 mm less the column's 6 × 6, cut into triangles that the zone
	// holds shares of.
	if c, want := clean(), 7*20.0; math.Abs(c-want) > 0.1*want {
		t.Errorf("%.1f mm² are to be kept clean, want %.0f", c, want)
	}
	must(t, edit(d, `{"op": "add-zone", "kind": "no-go", "box": {"min": [30, 30, 0], "max": [31, 31, 1]}}`))
	if _, ok, err := d.Poses(); !ok {
		t.Errorf("another zone keeps nothing clean, yet poses are ranked again: %v", err)
	}
}

// The answer for a place agrees with the proof.
func TestWhy(t *testing.T) {
	m := kit(t, "wall-bracket")
	d := open(t, m, emptyPlan(t))
	until(t, d, proofReady)
	down, side, up := r3.Vec{Z: -1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	shelf := r3.Vec{X: 28, Y: 25, Z: 30} // the underside that the README shows
	a := d.Why(shelf, down)
	if a.Held || a.Region == 0 || len(a.Remedies) == 0 || !a.Ready {
		t.Errorf("a bare shelf: %+v", a)
	}
	for _, c := range []struct {
		name   string
		at     r3.Vec
		normal r3.Vec
		rule   string
	}{{"the plate", r3.Vec{X: 28, Y: 3}, down, "plate"}, {"a wall", r3.Vec{X: 28, Y: 6, Z: 20}, side, "below"}, {"a top", r3.Vec{X: 28, Y: 3, Z: 60}, up, "below"}} {
		if a := d.Why(c.at, c.normal); !a.Held || a.Rule != c.rule {
			t.Errorf("%s: %+v", c.name, a)
		}
	}
	if testing.Short() {
		return // laying it out takes a while
	}
	laidOut(t, d)
	_, p, _ := d.Version()
	if a := d.Why(shelf, down); !a.Held || len(a.By) == 0 {
		t.Errorf("a held shelf: %+v", a)
	}
	l := p.Lines[0]
	mid := r3.Vec{X: (l.At[0][0] + l.At[1][0]) / 2, Y: (l.At[0][1] + l.At[1][1]) / 2, Z: l.At[0][2]}
	if a := d.Why(mid, down); !a.Held || a.Rule != "contact" || !slices.Contains(a.By, l.ID) {
		t.Errorf("over line %s: %+v", l.ID, a)
	}
}

// Layers have the area that the cut part has, and show what is bare.
func TestLayer(t *testing.T) {
	m := kit(t, "wall-bracket")
	d := open(t, m, emptyPlan(t))
	until(t, d, proofReady)
	area := func(list []desk.Polygon) (sum float64) {
		one := func(p [][2]float64) (a float64) {
			for i := range p {
				q := p[(i+1)%len(p)]
				a += (p[i][0]*q[1] - q[0]*p[i][1]) / 2
			}
			return a
		}
		for _, p := range list {
			sum += one(p.Outer)
			for _, h := range p.Holes {
				sum += one(h)
			}
		}
		return sum
	}
	s, err := emptyPlan(t).Resolve()
	must(t, err)
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0)
	for _, z := range []float64{0, 0.1, 5, 29.9, 30, 30.1, 59.9} {
		l := d.Layer(z)
		if l.Z > z+1e-9 || l.Z+l.Height < z-1e-9 {
			t.Errorf("z %g: the layer from %g, %g thick", z, l.Z, l.Height)
		}
		want := float64(part.Layer(l.Index).Count()) * part.CellArea()
		if got := area(l.Part); got < want-0.01 || got > want+0.01 {
			t.Errorf("z %g: %g mm² in outlines, %g in cells", z, got, want)
		}
	}
	if l := d.Layer(30); area(l.Bare) < 1000 {
		t.Errorf("of the shelf's underside %g mm² are bare", area(l.Bare))
	}
	if testing.Short() {
		return // laying it out takes a while
	}
	laidOut(t, d)
	l := d.Layer(20)
	if len(l.Supports) == 0 || area(l.Supports[0].Polygons) <= 0 || l.Supports[0].Body == 0 {
		t.Errorf("supports half way up: %+v", l.Supports)
	}
	if l := d.Layer(30); len(l.Bare) != 0 || len(l.Held) == 0 || len(l.Bridges) == 0 {
		t.Errorf("the shelf once held: %d bare, %d held, %d bridged", len(l.Bare), len(l.Held), len(l.Bridges))
	}
}

// State is JSON under the names of the document.
func TestStateNames(t *testing.T) {
	d := open(t, table(), emptyPlan(t))
	data, err := json.Marshal(d.State())
	must(t, err)
	var s struct {
		Plan struct {
			Settings map[string]any    `json:"settings"`
			Taste    map[string]any    `json:"taste"`
			Lines    []json.RawMessage `json:"lines"`
			Posts    []json.RawMessage `json:"posts"`
		} `json:"plan"`
	}
	must(t, json.Unmarshal(data, &s))
	for _, name := range []string{"nozzle_mm", "layer_mm", "bridge_mm", "gap_mm", "limit_deg", "direction"} {
		if _, ok := s.Plan.Settings[name]; !ok {
			t.Errorf("settings have no %s: %v", name, s.Plan.Settings)
		}
	}
	if s.Plan.Lines == nil || s.Plan.Posts == nil {
		t.Error("empty lists are not lists")
	}
}

// FuzzDecodeRequest gives the decoder anything, and what it takes to a desk: the plan is
// sound afterwards, whatever was asked for.
func FuzzDecodeRequest(f *testing.F) {
	for _, s := range []string{
		`{"base": 1, "edits": [{"op": "add-post", "at": [1, 2], "side": 4, "foot": 0}]}`,
		`{"base": 1, "edits": [{"op": "add-line", "at": [[1, 2, 3], [4, 5, 6]], "posts": ["P1"]}]}`,
		`{"base": 1, "edits": [{"op": "move", "id": "P1", "by": [1, -1]}, {"op": "delete", "id": "L1"}]}`,
		`{"base": 1, "edits": [{"op": "set", "id": "L1", "at": [[0, 0, 0]], "tie": false, "by": "tool"}]}`,
		`{"base": 1, "edits": [{"op": "add-zone", "kind": "no-go", "cylinder": {"from": [0, 0, 0], "to": [0, 0, 9], "radius": 2}}]}`,
		`{"base": 1, "edits": [{"op": "settings", "layer_mm": 0.1, "direction": "30", "weights": {"time": 2}}]}`,
	} {
		f.Add([]byte(s))
	}
	p := emptyPlan(f)
	p.Lines = []plan.Line{{ID: "L1", At: [][3]float64{{7, 0, 5}, {7, 4, 5}}, By: plan.Designer}}
	p.Posts = []plan.Post{{ID: "P1", At: [2]float64{7, 2}, Side: 3, By: plan.Designer}}
	d, err := desk.New(table(), p, desk.Options{Name: "part.stl", Room: func(box r3.Box, s supports.Settings) error {
		if size := r3.Sub(box.Max, box.Min); size.X*size.Y*size.Z/(s.Cell*s.Cell*s.Layer) > 1e8 {
			return errors.New("too fine")
		}
		return nil
	}})
	must(f, err)
	f.Cleanup(func() { d.Close(); d.Wait() })
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := desk.DecodeRequest(data)
		if err != nil {
			return
		}
		revision, was, _ := d.Version()
		if err := d.Edit(revision, r.Edits); err != nil {
			if now, p, _ := d.Version(); now != revision || !reflect.DeepEqual(p, was) {
				t.Fatalf("what was refused changed the plan: %v", err)
			}
			return
		}
		_, p, _ := d.Version()
		if err := p.Validate(); err != nil {
			t.Fatalf("an edit left what is no plan: %v", err)
		}
		if text, err := p.Encode(); err != nil {
			t.Fatal(err)
		} else if _, err := plan.Decode("the plan", text); err != nil {
			t.Fatalf("an edit left a plan that does not read back: %v", err)
		}
		must(t, d.Undo(revision+1))
	})
}
