package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// needsNothing are the demo parts that hold as they are.
var needsNothing = []string{"tip-bucket-weight"}

func TestDemoPartsHold(t *testing.T) {
	for _, name := range parts(t) {
		t.Run(name, func(t *testing.T) {
			if testing.Short() && name != "tip-bucket-weight" && name != "drip-hook" {
				t.Skip("one part of each kind in short mode")
			}
			out := filepath.Join(t.TempDir(), "out")
			code, r := bakeJSON(t, partFile(name), "--out", out)
			if code != exitHolds || r.Proof.Verdict != "holds" {
				t.Errorf("exit %d, %s: %q", code, r.Proof.Verdict, r.Proof.Reasons[:min(3, len(r.Proof.Reasons))])
			}
			if r.Proof.UnheldMM2 != 0 || r.Proof.CollisionsMM3 != 0 || r.Proof.BlockedBodies != 0 {
				t.Errorf("%g mm² unheld, %g mm³ of collisions, %d blocked bodies; want none",
					r.Proof.UnheldMM2, r.Proof.CollisionsMM3, r.Proof.BlockedBodies)
			}
			_, err := os.Stat(filepath.Join(out, name+"-supports.stl"))
			bare := slices.Contains(needsNothing, name)
			if (r.Need.Regions == 0) != bare || os.IsNotExist(err) != bare || (r.Supports.Bodies == 0 && !r.Supports.closes()) != bare {
				t.Errorf("%d regions, %d bodies, supports file: %v; needs nothing: %v", r.Need.Regions, r.Supports.Bodies, err, bare)
			}
		})
	}
}

// The least that sparse supports must save against the dense baseline.
func TestSavings(t *testing.T) {
	if testing.Short() {
		t.Skip("bakes large parts")
	}
	for _, name := range []string{"wall-bracket", "cable-arch", "mast-clamp"} {
		t.Run(name, func(t *testing.T) {
			_, r := bakeJSON(t, partFile(name), "--out", filepath.Join(t.TempDir(), "out"))
			if r.Ratio.Plastic == nil || r.Ratio.Time == nil {
				t.Fatal("no ratios")
			}
			t.Logf("plastic %.3f, time %.3f of the baseline", *r.Ratio.Plastic, *r.Ratio.Time)
			if *r.Ratio.Plastic > 0.5 || *r.Ratio.Time > 0.6 {
				t.Errorf("plastic %.3f, time %.3f of the baseline; want at most 0.5 and 0.6", *r.Ratio.Plastic, *r.Ratio.Time)
			}
		})
	}
}

func TestFilesAndSummary(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	code, stdout, stderr := call("bake", partFile("drip-hook"), "--out", out, "--picture-width", "600")
	if code == exitRefused {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	files := folder(t, out)
	want := "drip-hook-below.png drip-hook-exploded.png drip-hook-listing.md drip-hook-part.stl drip-hook-proof.json drip-hook-sheet.html drip-hook-supports.stl " +
		"drip-hook-three-quarter.png drip-hook.3mf drip-hook.plan.yaml"
	if got := namesOf(files); got != want {
		t.Errorf("files %s, want %s", got, want)
	}
	if got := namesOf(folder(t, filepath.Dir(out))); got != "out/" {
		t.Errorf("left beside the folder: %s", got)
	}
	if n := strings.Count(stdout, "\n"); n > 15 {
		t.Errorf("the summary has %d lines, want at most 15:\n%s", n, stdout)
	}
	for _, w := range []string{"part ", "54 × 24 × 60 mm", "need ", "supports ", "cost ", "ratio ", "proof ", "files ", "caution ", "no strength calculation"} {
		if !strings.Contains(stdout, w) {
			t.Errorf("no %q in the summary:\n%s", w, stdout)
		}
	}
	for _, name := range []string{"below", "three-quarter"} {
		img, err := png.Decode(bytes.NewReader(files["drip-hook-"+name+".png"]))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if s := img.Bounds().Size(); s.X != 600 || s.Y != 450 {
			t.Errorf("%s is %v", name, s)
		}
	}

	// The files agree with one another, and the part with what was given.
	given, _, err := mesh.ReadSTL(partFile("drip-hook"))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := mesh.Decode3MF("3mf", files["drip-hook.3mf"])
	if err != nil {
		t.Fatal(err)
	}
	if len(doc.Bodies) != 2 || doc.Bodies[0].Name != "part" || doc.Bodies[1].Name != "supports" {
		t.Fatalf("3MF holds %d bodies", len(doc.Bodies))
	}
	for i, name := range []string{"part", "supports"} {
		m, _, err := mesh.DecodeSTL(name, files["drip-hook-"+name+".stl"])
		if err != nil {
			t.Fatal(err)
		}
		in3MF := doc.Bodies[i].Mesh
		if len(m.Triangles) != len(in3MF.Triangles) || len(m.Vertices) > len(in3MF.Vertices) {
			t.Errorf("%s: %d triangles as STL, %d as 3MF", name, len(m.Triangles), len(in3MF.Triangles))
		}
		// Both files hold part and supports in one frame; the build item may move
		// both alike.
		shift := r3.Sub(doc.Bodies[0].Mesh.Bounds().Min, given.Bounds().Min)
		if d := r3.Sub(r3.Sub(in3MF.Bounds().Min, shift), m.Bounds().Min); r3.Norm(d) > 1e-4 {
			t.Errorf("%s: 3MF and STL lie %v apart", name, d)
		}
		if name == "part" && (m.Volume() != given.Volume() || len(m.Triangles) != len(given.Triangles)) {
			t.Errorf("the part was changed")
		}
	}
}

// The documented fields of --json, each with its kind.
func TestJSONFields(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	code, stdout, _ := call("bake", partFile("drip-hook"), "--out", out, "--json", "--no-pictures")
	if code == exitRefused {
		t.Fatalf("exit %d", code)
	}
	dec := json.NewDecoder(strings.NewReader(stdout))
	var got map[string]any
	if err := dec.Decode(&got); err != nil {
		t.Fatal(err)
	}
	if dec.More() {
		t.Error("more than one object")
	}
	for group, fields := range map[string]string{
		"part":     "triangles volume_mm3",
		"need":     "area_mm2 regions", // findings are compared with survey's
		"supports": "bodies volume_mm3 time_s contact_mm2 plate_mm2 contact_length_mm contact_bound_mm",
		"baseline": "volume_mm3 time_s",
		"ratio":    "plastic time",
		"proof":    "unheld_mm2 unheld_best_direction_mm2 collisions_mm3 blocked_bodies",
		"seconds":  "read cut survey layout grow prove cost write",
	} {
		m, _ := got[group].(map[string]any)
		for _, f := range strings.Fields(fields) {
			if _, ok := m[f].(float64); !ok {
				t.Errorf("%s.%s is %v, want a number", group, f, m[f])
			}
		}
	}
	if size, _ := got["part"].(map[string]any)["size_mm"].([]any); len(size) != 3 {
		t.Errorf("part.size_mm is %v", size)
	}
	verdict := got["proof"].(map[string]any)["verdict"]
	if verdict != map[exitCode]string{exitHolds: "holds", exitFails: "fails"}[code] {
		t.Errorf("proof.verdict is %v, exit %d", verdict, code)
	}
	files, _ := got["files"].([]any)
	if len(files) != 7 {
		t.Errorf("files: %v", files)
	}
	for _, f := range files {
		if _, err := os.Stat(f.(string)); err != nil {
			t.Error(err)
		}
	}
}

func TestHoldsAsItIs(t *testing.T) {
	dir := t.TempDir()
	code, stdout, _ := call("bake", partFile("tip-bucket-weight"), "--out", filepath.Join(dir, "a"), "--no-pictures")
	if code != exitHolds || !strings.Contains(stdout, "holds as it is") {
		t.Errorf("exit %d: %s", code, stdout)
	}
	doc, err := mesh.Read3MF(filepath.Join(dir, "a", "tip-bucket-weight.3mf"))
	if err != nil {
		t.Fatal(err)
	}
	if len(doc.Bodies) != 1 || doc.Title != "tip-bucket-weight" {
		t.Errorf("%d bodies, title %q", len(doc.Bodies), doc.Title)
	}
}

// Files that a plan leads to again, byte for byte.
func TestPlanReproducesTheSameBytes(t *testing.T) {
	names := []string{"drip-hook", "tip-bucket-weight"}
	if !testing.Short() {
		names = append(names, "wall-bracket", "level-bob", "shelf-over-shelf")
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			first, second := filepath.Join(dir, "a"), filepath.Join(dir, "b")
			code, r := bakeJSON(t, partFile(name), "--out", first, "--limit", "44", "--gap", "0.25", "--direction", "30")
			plan := filepath.Join(first, name+".plan.yaml")
			code2, r2 := bakeJSON(t, partFile(name), "--out", second, "--plan", plan)
			if code != code2 {
				t.Errorf("exit %d, then %d", code, code2)
			}
			r.Seconds, r2.Seconds, r.Files, r2.Files = stageSeconds{}, stageSeconds{}, nil, nil
			if d := cmp.Diff(r, r2); d != "" {
				t.Errorf("result (-first +second):\n%s", d)
			}
			a, b := folder(t, first), folder(t, second)
			if namesOf(a) != namesOf(b) {
				t.Fatalf("files %s, then %s", namesOf(a), namesOf(b))
			}
			for n := range a {
				if !bytes.Equal(a[n], b[n]) {
					t.Errorf("%s differs: %d and %d bytes", n, len(a[n]), len(b[n]))
				}
			}
		})
	}
}

// A designer's comments and layout of the document come through.
func TestPlanIsWrittenAsItWasGiven(t *testing.T) {
	dir := t.TempDir()
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "a"))
	data, err := os.ReadFile(filepath.Join(dir, "a", "drip-hook.plan.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	data = append(data, "# the tip wants a line of its own\n"...)
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "b"), "--plan", writeFile(t, "mine.yaml", data))
	got, err := os.ReadFile(filepath.Join(dir, "b", "drip-hook.plan.yaml"))
	if err != nil || !bytes.Equal(got, data) {
		t.Errorf("the plan was changed (%v)", err)
	}
}

func TestOptionStandsInForThePlans(t *testing.T) {
	dir := t.TempDir()
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "a"))
	plan := filepath.Join(dir, "a", "drip-hook.plan.yaml")
	_, r := bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "b"), "--plan", plan, "--bridge", "9", "--limit", "45")
	told := strings.Join(r.Warnings, "\n")
	if !strings.Contains(told, "--bridge 9 in place of 10") || strings.Contains(told, "--limit") {
		t.Errorf("told %q", told)
	}
	if got := readPlanFile(t, filepath.Join(dir, "b", "drip-hook.plan.yaml")).Settings.Bridge; got != 9 {
		t.Errorf("written plan has a bridge of %g", got)
	}
}

// A plan is made with a tenth of the bridge in hand.
func TestBracketsPlanHoldsOnAPrinterThatBridgesLess(t *testing.T) {
	if testing.Short() {
		t.Skip("bakes a large part")
	}
	dir := t.TempDir()
	bakeJSON(t, partFile("wall-bracket"), "--out", filepath.Join(dir, "a"))
	code, r := bakeJSON(t, partFile("wall-bracket"), "--out", filepath.Join(dir, "b"),
		"--plan", filepath.Join(dir, "a", "wall-bracket.plan.yaml"), "--bridge", "9")
	if code != exitHolds {
		t.Errorf("exit %d: %q", code, r.Proof.Reasons[:min(3, len(r.Proof.Reasons))])
	}
}

// Every contact line of the bracket's plan is needed.
func TestEveryContactLineOfTheBracketIsNeeded(t *testing.T) {
	if testing.Short() {
		t.Skip("bakes a large part many times")
	}
	dir := t.TempDir()
	bakeJSON(t, partFile("wall-bracket"), "--out", filepath.Join(dir, "a"))
	whole := readPlanFile(t, filepath.Join(dir, "a", "wall-bracket.plan.yaml"))
	contacts := 0
	for i, l := range whole.Lines {
		if l.Tie {
			continue
		}
		contacts++
		p := whole
		p.Lines = slices.Delete(slices.Clone(whole.Lines), i, i+1)
		// On a printer that bridges no further than was planned: with a tenth in hand.
		code, r := bakeJSON(t, partFile("wall-bracket"), "--out", filepath.Join(dir, l.ID), "--plan", writePlanFile(t, p), "--bridge", "9")
		if code != exitFails || r.Proof.Verdict != "fails" {
			t.Errorf("without line %s: exit %d, %s", l.ID, code, r.Proof.Verdict)
		}
	}
	if contacts < 3 {
		t.Errorf("only %d contact lines", contacts)
	}
}

// A failing proof is said in the summary, in the 3MF's title and by the exit
// code, and what was made is written all the same.
func TestFailingProof(t *testing.T) {
	dir := t.TempDir()
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "a"))
	p := readPlanFile(t, filepath.Join(dir, "a", "drip-hook.plan.yaml"))
	p.Lines, p.Posts = p.Lines[:0], p.Posts[:0]
	out := filepath.Join(dir, "b")
	code, stdout, stderr := call("bake", partFile("drip-hook"), "--out", out, "--plan", writePlanFile(t, p), "--picture-width", "600")
	if code != exitFails {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	if !strings.Contains(stdout, "FAILS") || !strings.Contains(stdout, "– ") {
		t.Errorf("the summary does not say why it fails:\n%s", stdout)
	}
	doc, err := mesh.Read3MF(filepath.Join(out, "drip-hook.3mf"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasSuffix(doc.Title, "PROOF FAILS") || !strings.Contains(doc.Description, "Do not publish") {
		t.Errorf("title %q, description %q", doc.Title, doc.Description)
	}
	files := folder(t, out)
	if got := namesOf(files); !strings.Contains(got, "drip-hook-below.png") {
		t.Errorf("files: %s", got)
	}
	// The layers that it fails in are drawn, two beside each other.
	img, err := png.Decode(bytes.NewReader(files["drip-hook-proof-layers.png"]))
	if err != nil {
		t.Fatalf("the picture of its layers: %v", err)
	}
	red := 0
	for y := 60; y < img.Bounds().Dy()/2; y++ {
		for x := range leastSheet / 2 {
			if r, g, b, _ := img.At(x, y).RGBA(); r > 0xb000 && g < 0x5000 && b < 0x5000 {
				red++
			}
		}
	}
	if img.Bounds().Dx() != leastSheet || red < 100 {
		t.Errorf("the picture of its layers is %v, %d pixels of what is wrong", img.Bounds(), red)
	}
}

func TestBadPlans(t *testing.T) {
	dir := t.TempDir()
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "a"))
	good, err := os.ReadFile(filepath.Join(dir, "a", "drip-hook.plan.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	edit := func(from, to string) string {
		if !bytes.Contains(good, []byte(from)) {
			t.Fatalf("no %q in the plan", from)
		}
		return writeFile(t, "edited.plan.yaml", bytes.Replace(good, []byte(from), []byte(to), 1))
	}
	for _, c := range []struct {
		name, plan string
		args       []string
		want       []string
	}{
		{"missing", filepath.Join(dir, "none.yaml"), nil, []string{"none.yaml", "no such file"}},
		{"no plan", partFile("drip-hook"), nil, []string{"drip-hook.stl", "not a plan"}},
		{"empty", writeFile(t, "empty.yaml", nil), nil, []string{"empty.yaml"}},
		{"unknown word", edit("settings:", "setings:"), nil, []string{"edited.plan.yaml", "setings"}},
		{"version", edit("\nfalsework: 5", "\nfalsework: 99"), nil, []string{"99"}},
		{"bridge", edit("bridge_mm: 10", "bridge_mm: 1e9"), nil, []string{"bridge"}},
		{"another part's", filepath.Join(dir, "a", "drip-hook.plan.yaml"), []string{partFile("shelf-over-shelf")}, []string{"size_mm", "44 × 46 × 56", "on purpose"}},
		{"option out of range", filepath.Join(dir, "a", "drip-hook.plan.yaml"), []string{partFile("drip-hook"), "--bridge", "900"}, []string{"bridge 900 mm"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := c.args
			if args == nil {
				args = []string{partFile("drip-hook")}
			}
			out := filepath.Join(t.TempDir(), "out")
			code, stdout, stderr := call(append([]string{"bake", "--plan", c.plan, "--out", out}, args...)...)
			if code != exitRefused || stdout != "" {
				t.Errorf("exit %d, said %q", code, stdout)
			}
			oneClearLine(t, stderr, c.want...)
			if got := namesOf(folder(t, out)); got != "" {
				t.Errorf("wrote %s", got)
			}
		})
	}
}

func TestMeaninglessOptionBesideAPlanIsAUsageError(t *testing.T) {
	code, _, stderr := call("bake", partFile("drip-hook"), "--out", "x", "--plan", "any.yaml", "--layer", "0")
	if code != exitRefused || !strings.Contains(stderr, "--layer 0") || !strings.Contains(stderr, "Usage:") {
		t.Errorf("exit %d: %s", code, stderr)
	}
}

// The same bytes whatever the number of processors.
func TestBytesDoNotDependOnProcessors(t *testing.T) {
	was := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(was)
	dir := t.TempDir()
	name := "cable-arch"
	if testing.Short() {
		name = "drip-hook"
	}
	bakeJSON(t, partFile(name), "--out", filepath.Join(dir, "1"))
	for _, n := range []int{2, 5} {
		runtime.GOMAXPROCS(n)
		bakeJSON(t, partFile(name), "--out", filepath.Join(dir, fmt.Sprint(n)))
		if d := cmp.Diff(text(folder(t, filepath.Join(dir, "1"))), text(folder(t, filepath.Join(dir, fmt.Sprint(n))))); d != "" {
			t.Errorf("on %d processors the files differ", n)
		}
	}
}

// Real meshes must not crash the program, whatever comes of them. The folder
// FALSEWORK_MODELS holds STL and 3MF files.
func TestRealMeshes(t *testing.T) {
	dir := os.Getenv("FALSEWORK_MODELS")
	if dir == "" || testing.Short() {
		t.Skip("FALSEWORK_MODELS names no folder of meshes, or short mode")
	}
	var files []string
	for _, pattern := range []string{"*.stl", "*.STL", "*.3mf"} {
		list, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, list...)
	}
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			try := func(how string, args ...string) {
				code, _, stderr := call(append(args, "--out", filepath.Join(t.TempDir(), "out"))...)
				t.Logf("%s, %s: exit %d %s", args[0], how, code, strings.TrimSpace(stderr))
				if code == exitRefused && !strings.HasPrefix(lastLine(stderr), "falsework: ") {
					t.Errorf("refused without saying why: %q", stderr)
				}
			}
			try("as it is", "bake", path, "--no-pictures")
			m, ok := onThePlate(path)
			if !ok {
				return
			}
			moved := stlFile(t, "moved", m)
			try("on the plate", "bake", moved, "--no-pictures")
			try("on the plate", "survey", moved, "--json", "--load", "0,0,-1")
		})
	}
}

func lastLine(s string) string {
	lines := strings.Split(strings.TrimSpace(s), "\n")
	return lines[len(lines)-1]
}

// onThePlate returns a file's mesh moved onto the plate, if it was not there and
// can be read.
func onThePlate(path string) (*mesh.Mesh, bool) {
	m := &mesh.Mesh{}
	if strings.HasSuffix(path, ".3mf") {
		doc, err := mesh.Read3MF(path)
		if err != nil {
			return nil, false
		}
		for _, b := range doc.Bodies {
			m.Append(b.Mesh)
		}
	} else {
		var err error
		if m, _, err = mesh.ReadSTL(path); err != nil {
			return nil, false
		}
	}
	z := m.Bounds().Min.Z
	m.Translate(r3.Vec{Z: -z})
	return m, z != 0 || strings.HasSuffix(path, ".3mf")
}
