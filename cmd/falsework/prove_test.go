package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"image"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports/prove"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// proofJSON is what a reader of the documented JSON takes from it.
type proofJSON struct {
	Part     string
	Settings json.RawMessage
	Proof    json.RawMessage
	Voids    []prove.Void
	Files    []string
	Warnings []string
}

func (p proofJSON) verdict(t *testing.T) string {
	t.Helper()
	var v struct{ Verdict string }
	if err := json.Unmarshal(p.Proof, &v); err != nil {
		t.Fatal(err)
	}
	return v.Verdict
}

func proveJSON(t *testing.T, args ...string) (exitCode, proofJSON) {
	t.Helper()
	code, out, stderr := call(append([]string{"prove", "--json"}, args...)...)
	if code == exitRefused {
		t.Fatalf("prove %q: exit %d: %s", args, code, stderr)
	}
	var p proofJSON
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatalf("prove %q: %v in %q", args, err, out)
	}
	return code, p
}

// shelf is a shelf of 14 mm between two cheeks, its underside at z = 10, and a wall
// of support under its middle that ends at top.
func shelf(top float64) (part, sup *mesh.Mesh) {
	part = &mesh.Mesh{}
	for _, b := range [][6]float64{{0, 0, 0, 3, 20, 12}, {17, 0, 0, 20, 20, 12}, {0, 0, 10, 20, 20, 12}} {
		m := box(b[3]-b[0], b[4]-b[1], b[2], b[5]-b[2])
		m.Translate(r3.Vec{X: b[0], Y: b[1]})
		part.Append(m)
	}
	sup = box(0.48, 20, 0, top)
	sup.Translate(r3.Vec{X: 9.76})
	return part, sup
}

func shelfFiles(t *testing.T, top float64) (part, sup string) {
	p, s := shelf(top)
	return stlFile(t, "shelf", p), stlFile(t, "mine", s)
}

// Across stated beads the 14 mm are two bridges, with nothing in the way of the wall.
func TestProveAnySupports(t *testing.T) {
	for _, c := range []struct {
		top  float64
		code exitCode
		says string
	}{
		{9.8, exitHolds, "HOLDS"},
		{9.2, exitFails, "part-unheld"},
		{10, exitFails, "fused"},
		{11, exitFails, "collision"},
	} {
		part, sup := shelfFiles(t, c.top)
		code, stdout, stderr := call("prove", part, sup, "--direction", "0")
		if code != c.code || !strings.Contains(stdout, c.says) || stderr != "" {
			t.Errorf("top at %g: exit %d, want %d and %q: %s%s", c.top, code, c.code, c.says, stdout, stderr)
		}
	}
}

// What bake wrote is proved with the same result, from either kind of file, whether
// it holds or not.
func TestProveAgreesWithBake(t *testing.T) {
	names := []string{"drip-hook", "mast-clamp", "bearing-block"}
	if testing.Short() {
		names = names[:1]
	}
	for _, name := range names {
		out := filepath.Join(t.TempDir(), "out")
		_, _ = bakeJSON(t, partFile(name), "--out", out)
		at := func(dir, end string) string { return filepath.Join(dir, name+end) }
		weak := filepath.Join(filepath.Dir(out), "weak")
		_, _ = bakeJSON(t, partFile(name), "--out", weak, "--plan", at(out, ".plan.yaml"), "--bridge", "2")
		for _, c := range []struct{ dir, bridge string }{{out, "10"}, {weak, "2"}} {
			data, err := os.ReadFile(at(c.dir, "-proof.json"))
			if err != nil {
				t.Fatal(err)
			}
			var baked proofJSON
			if err := json.Unmarshal(data, &baked); err != nil {
				t.Fatal(err)
			}
			want := exitHolds
			if baked.verdict(t) != "holds" {
				want = exitFails
			}
			code, pair := proveJSON(t, at(c.dir, "-part.stl"), at(c.dir, "-supports.stl"), "--plan", at(c.dir, ".plan.yaml"), "--bridge", c.bridge)
			if code != want {
				t.Errorf("%s, bridges to %s: exit %d, bake says %s", name, c.bridge, code, baked.verdict(t))
			}
			if d := cmp.Diff(indented(t, baked.Proof), indented(t, pair.Proof)); d != "" {
				t.Errorf("%s, bridges to %s (-bake +prove):\n%s", name, c.bridge, d)
			}
			if d := cmp.Diff(indented(t, baked.Settings), indented(t, pair.Settings)); d != "" {
				t.Errorf("%s, bridges to %s: settings (-bake +prove):\n%s", name, c.bridge, d)
			}
			// In the 3MF all may be moved by whole millimetres.
			if code, one := proveJSON(t, at(c.dir, ".3mf"), "--bridge", c.bridge); code != want || one.verdict(t) != baked.verdict(t) {
				t.Errorf("%s.3mf, bridges to %s: exit %d, %s; bake says %s", name, c.bridge, code, one.verdict(t), baked.verdict(t))
			}
		}
	}
}

func indented(t *testing.T, data []byte) string {
	t.Helper()
	var b bytes.Buffer
	if err := json.Indent(&b, data, "", " "); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func threemf(t *testing.T, name string, part mesh.Body, more ...mesh.Body) string {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.Encode3MF(&b, mesh.Package{Part: part, Supports: more}); err != nil {
		t.Fatal(err)
	}
	return writeFile(t, name+".3mf", b.Bytes())
}

// retyped gives an object of a 3MF file a type.
func retyped(t *testing.T, path, object, kind string) string {
	t.Helper()
	in, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	changed := 0
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(f.Name, ".model") {
			was := `name="` + object + `"`
			changed = strings.Count(string(data), was)
			data = []byte(strings.Replace(string(data), was, was+` type="`+kind+`"`, 1))
		}
		w, err := out.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil || changed != 1 {
		t.Fatalf("%d objects named %s: %v", changed, object, err)
	}
	return writeFile(t, "retyped.3mf", b.Bytes())
}

func TestProveTellsPartFromSupports(t *testing.T) {
	part, sup := shelf(9.8)
	named := func(name string, m *mesh.Mesh) mesh.Body { return mesh.Body{Name: name, Mesh: m} }
	legs := threemf(t, "legs", named("shelf", part), named("legs", sup))
	for name, path := range map[string]string{
		"by name":        threemf(t, "named", named("shelf", part), named("My SUPPORT walls", sup)),
		"supports first": threemf(t, "first", named("supports", sup), named("shelf", part)),
		"by type":        retyped(t, legs, "legs", "solidsupport"),
	} {
		if code, p := proveJSON(t, path, "--direction", "0"); code != exitHolds || p.Voids[0].Grade != prove.VoidGood {
			t.Errorf("%s: exit %d, own voids %s", name, code, p.Voids[0].Grade)
		}
	}
	for _, c := range []struct {
		name, path string
		want       []string
	}{
		{"neither", legs, []string{"legs.3mf", `"shelf"`, `"legs"`}},
		{"both", threemf(t, "both", named("support of a shelf", part), named("supports", sup)), []string{`"support of a shelf"`, `"supports"`}},
		{"two parts", threemf(t, "two", named("lid", part), named("shelf", part), named("supports", sup)), []string{"3 bodies", `"lid"`, `"shelf"`, `"supports"`}},
	} {
		code, stdout, stderr := call("prove", c.path)
		if code != exitRefused || stdout != "" {
			t.Errorf("%s: exit %d, said %q", c.name, code, stdout)
		}
		oneClearLine(t, stderr, c.want...)
	}
}

// Without supports that can be judged the part is proved alone, and that is said:
// 14 mm are too far to bridge.
func TestProvePartAlone(t *testing.T) {
	part, sup := shelf(9.8)
	alone := threemf(t, "alone", mesh.Body{Name: "shelf", Mesh: part})
	surface := retyped(t, threemf(t, "surface", mesh.Body{Name: "shelf", Mesh: part}, mesh.Body{Name: "legs", Mesh: sup}), "legs", "support")
	for path, want := range map[string]string{alone: "proved alone", surface: "legs) of type support"} {
		code, p := proveJSON(t, path, "--direction", "0")
		if code != exitFails || !strings.Contains(strings.Join(p.Warnings, "\n"), want) {
			t.Errorf("exit %d, warnings %q; want %q", code, p.Warnings, want)
		}
		if code, p := proveJSON(t, path, "--direction", "0", "--bridge", "15"); code != exitHolds || p.Voids[0].Grade != prove.VoidNone {
			t.Errorf("bridging 15 mm: exit %d, voids %s", code, p.Voids[0].Grade)
		}
	}
}

// A part is refused in bake's words, and supports where they are as bad.
func TestProveReadsAsBakeDoes(t *testing.T) {
	part, sup := shelfFiles(t, 9.8)
	files, err := filepath.Glob(badFile("*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no bad input: %v", err)
	}
	refused := 0
	for _, path := range append(files, filepath.Join(t.TempDir(), "nowhere.stl")) {
		out := filepath.Join(t.TempDir(), "out")
		bakeCode, _, baked := call("bake", path, "--out", out, "--no-pictures", "--json")
		if bakeCode != exitRefused {
			continue
		}
		refused++
		if code, stdout, stderr := call("prove", path, sup, "--out", out); code != exitRefused || stdout != "" || stderr != baked {
			t.Errorf("%s as part: exit %d, %q, want %q", path, code, stderr, baked)
		}
		if strings.Contains(path, "inches") || strings.Contains(path, "below-plate") {
			continue // small supports are none of ours to refuse; below the plate has a line of its own
		}
		if code, stdout, stderr := call("prove", part, path, "--out", out); code != exitRefused || stdout != "" || stderr != baked {
			t.Errorf("%s as supports: exit %d, %q, want %q", path, code, stderr, baked)
		}
		if _, err := os.Stat(out); !os.IsNotExist(err) {
			t.Errorf("%s was made", out)
		}
	}
	if refused < 10 {
		t.Errorf("only %d files were refused", refused)
	}
	code, _, stderr := call("prove", part, badFile("below-plate"))
	if code != exitRefused {
		t.Errorf("supports below the plate: exit %d", code)
	}
	oneClearLine(t, stderr, "below-plate.stl", "below the plate")
}

func TestProveWritesOnlyWhatWasAskedFor(t *testing.T) {
	part, sup := shelfFiles(t, 9.8)
	out := filepath.Join(t.TempDir(), "out")
	if code, stdout, _ := call("prove", part, sup, "--direction", "0"); code != exitHolds || strings.Contains(stdout, "files ") {
		t.Errorf("exit %d: %s", code, stdout)
	}
	if got := namesOf(folder(t, filepath.Dir(part))); got != "shelf.stl" {
		t.Errorf("beside the part: %s", got)
	}
	all := []string{"prove", part, sup, "--direction", "0", "--out", out, "--picture-width", "600"}
	if code, stdout, stderr := call(all...); code != exitHolds || !strings.Contains(stdout, "files ") {
		t.Errorf("exit %d: %s%s", code, stdout, stderr)
	}
	files := folder(t, out)
	if got, want := namesOf(files), "shelf-proof-below.png shelf-proof-three-quarter.png shelf-proof.json"; got != want {
		t.Errorf("files %s, want %s", got, want)
	}
	for _, name := range []string{"below", "three-quarter"} {
		img, err := png.Decode(bytes.NewReader(files["shelf-proof-"+name+".png"]))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if s := img.Bounds().Size(); s.X != 600 || s.Y != 450 {
			t.Errorf("%s is %v", name, s)
		}
	}
	// What is told as JSON and what is written are one proof.
	var written proofJSON
	if err := json.Unmarshal(files["shelf-proof.json"], &written); err != nil {
		t.Fatal(err)
	}
	_, told := proveJSON(t, all[1:5]...)
	if written.Part != "shelf.stl" || indented(t, written.Proof) != indented(t, told.Proof) || !cmp.Equal(written.Voids, told.Voids) {
		t.Error("the proof file differs from --json")
	}

	code, _, stderr := call(all...)
	if code != exitRefused {
		t.Errorf("written over: exit %d", code)
	}
	oneClearLine(t, stderr, "exists already", "--force")
	if code, _, stderr := call(append(all, "--force", "--no-pictures")...); code != exitHolds {
		t.Errorf("--force: exit %d: %s", code, stderr)
	}
	if got := namesOf(folder(t, out)); got != "shelf-proof.json" {
		t.Errorf("after --force --no-pictures: %s", got)
	}
}

// Where the proof fails, the layers of the reasons are drawn too, two panels beside
// each other; where it holds they are not (TestProveWritesOnlyWhatWasAskedFor).
func TestProveDrawsLayersOfFailures(t *testing.T) {
	want := image.Point{X: 1400, Y: 525}
	for _, top := range []float64{9.2, 10, 11} {
		part, sup := shelfFiles(t, top)
		out := filepath.Join(t.TempDir(), "out")
		if code, _, stderr := call("prove", part, sup, "--direction", "0", "--out", out, "--picture-width", "600"); code != exitFails {
			t.Fatalf("top at %g: exit %d: %s", top, code, stderr)
		}
		files := folder(t, out)
		img, err := png.Decode(bytes.NewReader(files["shelf-proof-layers.png"]))
		if err != nil {
			t.Fatalf("top at %g: %v in %s", top, err, namesOf(files))
		}
		if img.Bounds().Size() != want {
			t.Errorf("top at %g: %v, want %v", top, img.Bounds().Size(), want)
		}
		// The first panel shows what is wrong in its colour.
		red := 0
		for y := range img.Bounds().Dy() * 3 / 4 {
			for x := range 700 {
				if r, g, b, _ := img.At(x, y).RGBA(); y > 60 && r > 0xb000 && g < 0x5000 && b < 0x5000 {
					red++
				}
			}
		}
		if red < 100 {
			t.Errorf("top at %g: only %d pixels of what is wrong", top, red)
		}
	}
}

// The table has a row for each body, reason and layer height.
func TestProveTable(t *testing.T) {
	part, sup := shelfFiles(t, 10)
	code, stdout, _ := call("prove", part, sup, "--direction", "0")
	if code != exitFails {
		t.Errorf("exit %d", code)
	}
	for _, want := range []string{
		"FAILS", "\n1     9.8 to 10.2  0.0 to 20.0  0.0 to 10.0  ", "90°, 270°",
		"\n1   fused   –          10.00  ", "marks 8.00 mm² under the face of", "room for a pair of pliers", "Leave at least one whole layer empty between them.",
		"\n0.2 (own)  0.2 ", "\n0.12       0.3 ", "\n0.28       0.2 ",
		"Say on the page which layers it was made for.", "no strength calculation",
	} {
		if !strings.Contains(stdout, want) {
			t.Errorf("no %q in:\n%s", want, stdout)
		}
	}
}

func TestProveRowsAreBounded(t *testing.T) {
	rows := [][]string{{"no", "what"}}
	for range mostRows + 3 {
		rows = append(rows, []string{"1", "x"})
	}
	var b strings.Builder
	table(&b, rows, func(int) string { return "Why." })
	if got := b.String(); strings.Count(got, "Why.") != mostRows || !strings.HasSuffix(got, "and 3 more; --json lists all\n") {
		t.Errorf("%d rows:\n%s", strings.Count(got, "Why."), got)
	}
	b.Reset()
	if table(&b, rows[:1], nil); b.Len() > 0 {
		t.Errorf("heads without rows: %q", b.String())
	}
}

func TestProveWaysOut(t *testing.T) {
	for want, ways := range map[string][]prove.Way{
		"none": nil, "down": {"down"}, "90°, 270°": {"90°", "270°"},
		"up, 3 sideways": {"0°", "22.5°", "45°", "up"}, "90° and 15° up": {"90° and 15° up"},
	} {
		if got := waysOut(ways); got != want {
			t.Errorf("%q: %q, want %q", ways, got, want)
		}
	}
}

// With a plan its settings count, and reasons name its structures.
func TestProvePlan(t *testing.T) {
	dir := t.TempDir()
	part := filepath.Join("..", "..", "testdata", "parts", "nut-pocket-plate.stl")
	if code, _, stderr := call("bake", part, "--out", dir, "--no-pictures"); code != exitHolds {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	file := filepath.Join(dir, "nut-pocket-plate.plan.yaml")
	p := readPlanFile(t, file)
	ids := map[string]bool{}
	for _, l := range p.Lines {
		ids[l.ID] = true
	}
	for _, q := range p.Posts {
		ids[q.ID] = true
	}
	for _, h := range p.Sheets {
		ids[h.ID] = true
	}
	for _, h := range p.Steps {
		ids[h.ID] = true
	}
	args := []string{"prove", part, filepath.Join(dir, "nut-pocket-plate-supports.stl"), "--plan", file, "--json"}
	if code, stdout, stderr := call(args...); code != exitHolds {
		t.Errorf("as baked: exit %d: %s%s", code, stdout, stderr)
	}
	// On a printer that bridges hardly at all it fails.
	code, stdout, _ := call(append(args, "--bridge", "2.5")...)
	var r struct {
		Proof struct {
			Reasons []struct{ ID, Kind, Remedy string }
		}
		Warnings []string
	}
	if err := json.Unmarshal([]byte(stdout), &r); err != nil || code != exitFails || len(r.Proof.Reasons) == 0 {
		t.Fatalf("exit %d, %v: %s", code, err, stdout)
	}
	for _, q := range r.Proof.Reasons {
		if !ids[q.ID] || q.Remedy == "" {
			t.Errorf("%+v names no structure of the plan", q)
		}
	}
	if !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "the plan's settings do not all count") }) {
		t.Errorf("warnings %q", r.Warnings)
	}
	if code, _, stderr := call("prove", part, args[2], "--plan", filepath.Join(dir, "none.yaml")); code != exitRefused || !strings.Contains(stderr, "none.yaml") {
		t.Errorf("a plan that is not there: exit %d, %s", code, stderr)
	}
}

func TestProveUsage(t *testing.T) {
	part, sup := shelfFiles(t, 9.8)
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "0 arguments"}, {[]string{part, sup, sup}, "3 arguments"}, {[]string{part}, "shelf.stl alone"},
		{[]string{part, ""}, "SUPPORTS is empty"}, {[]string{part, sup, "--out", ""}, "--out is empty"},
		{[]string{part, sup, "--layer", "0.5"}, "thicker"}, {[]string{part, sup, "--bridge", "Inf"}, "--bridge +Inf"},
		{[]string{part, sup, "--picture-width", "3"}, "--picture-width 3"}, {[]string{part, sup, "--plan", ""}, "--plan is empty"},
	} {
		code, stdout, stderr := call(append([]string{"prove"}, c.args...)...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" || !strings.HasPrefix(first, "falsework: ") || !strings.Contains(first, c.want) || !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: exit %d, %q; want %q and usage", c.args, code, first, c.want)
		}
	}
}

func TestProveHelpAndReadme(t *testing.T) {
	code, help, _ := call("prove", "--help")
	if code != exitHolds {
		t.Errorf("exit %d", code)
	}
	page := readme(t)
	for _, o := range strings.Fields("--out --layer --first-layer --nozzle --line --limit --bridge --gap --direction --json --force --no-pictures --picture-width") {
		if !strings.Contains(help, o+" ") || !strings.Contains(page, "`"+o) {
			t.Errorf("help or README lack %s", o)
		}
	}
	for _, name := range proveOutputsOf("NAME").all() {
		if !strings.Contains(help, name) || !strings.Contains(page, "`"+name+"`") {
			t.Errorf("help or README lack %s", name)
		}
	}
	for _, kind := range []prove.Kind{prove.PartUnheld, prove.SupportUnheld, prove.Collision, prove.Blocked, prove.Fused, prove.SideFused} {
		if !strings.Contains(help, string(kind)) {
			t.Errorf("help lacks the reason %s", kind)
		}
	}
	for _, line := range strings.Split(help, "\n") {
		if n := len([]rune(line)); n > 120 {
			t.Errorf("%d letters in a line of help: %q", n, line)
		}
	}
	if _, root, _ := call("--help"); !strings.Contains(root, "falsework prove") {
		t.Error("the root's help does not mention prove")
	}
}

func TestProveBytesDoNotDependOnProcessors(t *testing.T) {
	part, sup := shelfFiles(t, 10)
	was := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(was)
	var first map[string]string
	for _, n := range []int{1, 2, 5} {
		runtime.GOMAXPROCS(n)
		dir := filepath.Join(t.TempDir(), "out")
		if code, _, stderr := call("prove", part, sup, "--out", dir, "--picture-width", "600"); code != exitFails {
			t.Fatalf("exit %d: %s", code, stderr)
		}
		if got := text(folder(t, dir)); first == nil {
			first = got
		} else if !cmp.Equal(first, got) {
			t.Errorf("on %d processors the files differ", n)
		}
	}
}

func TestProveInterruptLeavesNothing(t *testing.T) {
	part, sup := shelfFiles(t, 9.8)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stderr strings.Builder
	dir := filepath.Join(t.TempDir(), "out")
	code := run(ctx, streams{in: strings.NewReader(""), out: io.Discard, err: &stderr}, []string{"prove", part, sup, "--out", dir})
	if code != exitRefused {
		t.Errorf("exit %d, want 2", code)
	}
	oneClearLine(t, stderr.String(), "interrupted")
	if got := namesOf(folder(t, filepath.Dir(dir))); got != "" {
		t.Errorf("left behind: %s", got)
	}
}

func TestProveWarnsOfSupportsElsewhere(t *testing.T) {
	p, s := shelf(9.8)
	s.Translate(r3.Vec{X: 200})
	_, r := proveJSON(t, stlFile(t, "shelf", p), stlFile(t, "far", s))
	if !slices.ContainsFunc(r.Warnings, func(w string) bool { return strings.Contains(w, "one frame") }) || r.Voids[0].Grade != prove.VoidNone {
		t.Errorf("warnings %q, voids %s", r.Warnings, r.Voids[0].Grade)
	}
}
