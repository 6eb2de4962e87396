package main

import (
	"bytes"
	"context"
	"encoding/json"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/plan"
	"falsework/supports/pose"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// hook is a small T that stands on its stem: it hangs over on both sides. It floats by
// z mm.
func hook(t *testing.T, z float64) string {
	t.Helper()
	m := mesh.Prism([]r2.Vec{{X: 8}, {X: 12}, {X: 12, Y: 8}, {X: 20, Y: 8}, {X: 20, Y: 11}, {Y: 11}, {Y: 8}, {X: 8, Y: 8}}, 0, 14)
	m = pose.Turn{XDeg: 90}.Place(m)
	for i := range m.Vertices {
		m.Vertices[i].Z += z
	}
	return stlFile(t, "hook", m)
}

func poseJSON(t *testing.T, args ...string) poseReport {
	t.Helper()
	code, out, stderr := call(append([]string{"pose", "--json"}, args...)...)
	if code != exitHolds {
		t.Fatalf("pose %q: exit %d: %s", args, code, stderr)
	}
	var r poseReport
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatalf("pose %q: %v in %q", args, err, out)
	}
	return r
}

func TestPoseRanksAndBakeTakesOne(t *testing.T) {
	path := hook(t, 3) // it need not stand on the plate
	dir := filepath.Join(t.TempDir(), "out")
	r := poseJSON(t, path, "--out", dir, "--picture-width", "600")
	if n := len(r.Poses); n < 3 || n > 1+pose.Finalists {
		t.Fatalf("%d poses", n)
	}
	if r.CellMM != 0.1 { // a quarter of a line
		t.Errorf("drawn on cells of %g mm", r.CellMM)
	}
	given := -1
	for i, p := range r.Poses {
		if p.Number != i+1 || p.Front != (p.BeatenBy == 0) {
			t.Errorf("pose %d: %+v", i+1, p)
		}
		if p.Holds != (p.Fault == "") || p.Undrawn && (p.Holds || p.TimeS != 0) {
			t.Errorf("pose %d: holds %t, undrawn %t, fault %q", i+1, p.Holds, p.Undrawn, p.Fault)
		}
		if p.Kind == pose.Given {
			given = i
		}
		if i > 0 && p.Holds == r.Poses[i-1].Holds && p.Points < r.Poses[i-1].Points {
			t.Errorf("pose %d has fewer points than the one before", i+1)
		}
		up := pose.Turn{XDeg: p.TurnDeg[0], YDeg: p.TurnDeg[1], ZDeg: p.TurnDeg[2]}.Up()
		if d := math.Abs(up.X-p.Up[0]) + math.Abs(up.Y-p.Up[1]) + math.Abs(up.Z-p.Up[2]); d > 1e-5 {
			t.Errorf("pose %d: up %v does not go with its turn", i+1, p.Up)
		}
	}
	best := r.Poses[0]
	if given < 1 || r.Poses[given].NeedMM2 == 0 || best.TimeS != 0 || len(best.Wins) == 0 {
		t.Errorf("given pose %d, best %+v", given, best)
	}
	picture, err := os.ReadFile(filepath.Join(dir, posesPicture("hook")))
	if err != nil {
		t.Fatal(err)
	}
	if img, err := png.Decode(bytes.NewReader(picture)); err != nil || img.Bounds().Dx() != 600 || img.Bounds().Dy() != 450 {
		t.Errorf("picture: %v", err)
	}
	code, _, stderr := call("pose", path, "--out", dir)
	if code != exitRefused {
		t.Errorf("a picture was replaced without --force: exit %d", code)
	}
	oneClearLine(t, stderr, "exists already")

	// The best by its name and by its degrees are the same files.
	one, two := filepath.Join(dir, "one"), filepath.Join(dir, "two")
	_, baked := bakeJSON(t, path, "--pose", "best", "--out", one)
	if baked.Pose == nil || baked.Pose.TurnDeg != best.TurnDeg || baked.Pose.Number != 1 || baked.Pose.Of != len(r.Poses) {
		t.Errorf("baked in pose %+v, want %v", baked.Pose, best.TurnDeg)
	}
	if baked.Need.Regions != 0 || math.Abs(baked.Part.SizeMM[2]-best.HeightMM) > 1e-3 {
		t.Errorf("the part baked needs %d supports and is %v mm", baked.Need.Regions, baked.Part.SizeMM)
	}
	turn := pose.Turn{XDeg: best.TurnDeg[0], YDeg: best.TurnDeg[1], ZDeg: best.TurnDeg[2]}.String()
	code, out, stderr := call("bake", path, "--no-pictures", "--pose", turn, "--out", two)
	if code != exitHolds || !strings.Contains(out, "turned by "+turn) {
		t.Errorf("exit %d, %s: %q does not say how the part was turned", code, stderr, out)
	}
	if d := cmp.Diff(folder(t, one), folder(t, two)); d != "" {
		t.Error("named and by degrees, the same pose gives other files")
	}
	written, _, err := mesh.ReadSTL(filepath.Join(one, "hook-part.stl"))
	if err != nil {
		t.Fatal(err)
	}
	if b := written.Bounds(); b.Min.Z != 0 || math.Abs(b.Max.Z-best.HeightMM) > 1e-3 {
		t.Errorf("the part written stands from z %g to %g", b.Min.Z, b.Max.Z)
	}
	// A plan of a turned part is built again by the same degrees.
	_, again := bakeJSON(t, path, "--pose", "0,0,30", "--out", filepath.Join(dir, "three"))
	_, planned := bakeJSON(t, path, "--pose", "0,0,30", "--plan", filepath.Join(dir, "three", "hook.plan.yaml"), "--out", filepath.Join(dir, "four"))
	if again.Supports.Lines == 0 || again.Supports.VolumeMM3 != planned.Supports.VolumeMM3 {
		t.Errorf("supports of %g mm³, from their plan %g mm³", again.Supports.VolumeMM3, planned.Supports.VolumeMM3)
	}
}

// Wishes show in the table, which always has the given pose.
func TestPoseTable(t *testing.T) {
	code, out, stderr := call("pose", hook(t, 0), "--rows", "1", "--load", "0,1,0", "--load", "1,0,0:0.5", "--keep-clean", "0,0,-1", "--weights", "height=0,layers=4")
	if code != exitHolds {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	for _, want := range []string{"layers", "clean", " given ", "yes", "pose 1", "wins", "no strength calculation", "height=0,slender=1,tipping=1,layers=4", "--pose "} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// A plan's keep-clean zones are faces of the part in whatever pose: as given, or as the
// plan's part was turned.
func TestPosePlanZones(t *testing.T) {
	path := hook(t, 0)
	read := func(p string) *mesh.Mesh {
		m, _, err := mesh.ReadSTL(p)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	given := read(path)
	turned := pose.Turn{XDeg: 180}.Place(given)
	planOf := func(m *mesh.Mesh, zones ...plan.Zone) string {
		b := m.Bounds()
		size := r3.Sub(b.Max, b.Min)
		return writePlanFile(t, plan.Plan{Version: plan.Version, Part: plan.Part{Name: "hook.stl", Triangles: len(m.Triangles), Size: [3]float64{size.X, size.Y, size.Z}},
			Settings: plan.FromSettings(mustResolve(t)), Zones: zones, Lines: []plan.Line{}, Posts: []plan.Post{}})
	}
	rowUp := func(r poseReport, z float64) *poseRow {
		for i := range r.Poses {
			if math.Abs(r.Poses[i].Up[2]-z) < 1e-6 {
				return &r.Poses[i]
			}
		}
		t.Fatalf("no pose with up z %g", z)
		return nil
	}
	// Under one arm of the T as given, 8 mm wide and 14 deep at z 8.
	arm := plan.Zone{ID: "Z1", Kind: plan.KeepClean, Box: &plan.Box{Min: [3]float64{-1, -100, 7.9}, Max: [3]float64{8, 100, 8.1}}}
	r := poseJSON(t, path, "--plan", planOf(given, arm), "--weights", "clean=50")
	both := poseJSON(t, path, "--keep-clean", "0,0,-1")
	one, two := rowUp(r, 1).CleanMM2, rowUp(both, 1).CleanMM2
	if math.Abs(one-112) > 6 || math.Abs(two-224) > 12 {
		t.Errorf("to be kept clean: %.1f mm² of one arm, want 112; %.1f of both, want 224", one, two)
	}
	if c := rowUp(r, -1).CleanMM2; c != 0 {
		t.Errorf("upside down %.1f mm² of the arm need holding", c)
	}
	// The same arm, picked as a face of the part as a plan has it that was turned.
	face := plan.Zone{ID: "Z1", Kind: plan.KeepClean, Face: &plan.Face{At: [3]float64{4, turned.Bounds().Min.Y + 5, 3}, Normal: [3]float64{0, 0, 1}}}
	r = poseJSON(t, path, "--plan", planOf(turned, face), "--pose", "180,0,0", "--weights", "clean=50")
	if c := rowUp(r, 1).CleanMM2; math.Abs(c-one) > 1e-6 {
		t.Errorf("from a plan that was turned %.1f mm² are to be kept clean, as given %.1f", c, one)
	}
	code, out, stderr := call("pose", path, "--plan", planOf(given), "--rows", "1")
	if code != exitHolds || !strings.Contains(out, "no keep-clean zones") {
		t.Errorf("a plan without zones: exit %d, %q %q", code, out, stderr)
	}
	nowhere := plan.Zone{ID: "Z9", Kind: plan.KeepClean, Face: &plan.Face{At: [3]float64{90, 90, 90}, Normal: [3]float64{0, 0, 1}}}
	code, _, stderr = call("pose", path, "--plan", planOf(given, nowhere))
	if code != exitRefused {
		t.Errorf("a zone that is nowhere: exit %d", code)
	}
	oneClearLine(t, stderr, "Z9", "no face within")
	code, _, stderr = call("pose", path, "--plan", planOf(turned), "--pose", "90,0,0")
	if code != exitRefused {
		t.Errorf("a plan of another pose: exit %d", code)
	}
	oneClearLine(t, stderr, "the plan was drawn for a part of")
}

func mustResolve(t *testing.T) supports.Settings {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestPoseUsage(t *testing.T) {
	part := partFile("drip-hook")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"pose"}, "takes one part"},
		{[]string{"pose", part, "--out", ""}, "--out is empty"},
		{[]string{"pose", part, "--rows", "0"}, "--rows 0"},
		{[]string{"pose", part, "--load", "up"}, `--load "up"`},
		{[]string{"pose", part, "--load", ""}, "--load is empty"},
		{[]string{"pose", part, "--load", "0,0,1:heavy"}, "no weight"},
		{[]string{"pose", part, "--load", "0,0,1:-1"}, "no weight"},
		{[]string{"pose", part, "--keep-clean", "0,0,0"}, "--keep-clean"},
		{[]string{"pose", part, "--plan", ""}, "--plan is empty"},
		{[]string{"pose", part, "--pose", "0,0,0"}, "give --plan with it"},
		{[]string{"pose", part, "--plan", "x", "--pose", "best"}, "no turn"},
		{[]string{"pose", part, "--weights", "speed=1"}, `no weight "speed"`},
		{[]string{"pose", part, "--weights", "time"}, "write a name"},
		{[]string{"pose", part, "--weights", "time=0,plastic=0,contact=0,height=0,slender=0,tipping=0,layers=0,clean=0"}, "all weights are 0"},
		{[]string{"pose", part, "--picture-width", "3"}, "--picture-width 3"},
		{[]string{"pose", part, "--limit", "89"}, "limit 89°"},
		{[]string{"bake", part, "--out", "x", "--pose", ""}, "--pose is empty"},
		{[]string{"bake", part, "--out", "x", "--pose", "worst"}, "no turn"},
		{[]string{"bake", part, "--out", "x", "--pose", "0"}, "--pose 0"},
		{[]string{"bake", part, "--out", "x", "--pose", "NaN,0,0"}, "no turn"},
		{[]string{"bake", part, "--out", "x", "--pose", "best", "--plan", "y"}, "a plan belongs to one"},
		{[]string{"bake", part, "--out", "x", "--weights", "time=2"}, "rank poses"},
	} {
		code, stdout, stderr := call(c.args...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" || !strings.Contains(first, c.want) || !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: exit %d, first line %q, want %q", c.args, code, first, c.want)
		}
	}
}

// An interrupt ends the ranking within a moment and leaves nothing.
func TestPoseInterruptLeavesNothing(t *testing.T) {
	for name, after := range map[string]time.Duration{"at once": 0, "at work": 300 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(context.Background(), after)
		defer cancel()
		var stderr strings.Builder
		dir := filepath.Join(t.TempDir(), "out")
		code := run(ctx, streams{in: strings.NewReader(""), out: io.Discard, err: &stderr}, []string{"pose", partFile("wall-bracket"), "--out", dir})
		if code != exitRefused || !strings.Contains(stderr.String(), "interrupted; nothing was written") {
			t.Errorf("%s: exit %d, %q", name, code, stderr.String())
		}
		if got := namesOf(folder(t, filepath.Dir(dir))); got != "" {
			t.Errorf("%s: left behind: %s", name, got)
		}
	}
}
