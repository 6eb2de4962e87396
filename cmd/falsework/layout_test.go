package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"falsework/supports/plan"

	"github.com/google/go-cmp/cmp"
)

// layoutJSON lays out and returns what --json says.
func layoutJSON(t *testing.T, args ...string) (exitCode, layoutReport) {
	t.Helper()
	code, out, stderr := call(append([]string{"layout", "--json"}, args...)...)
	if code != exitHolds && code != exitFails {
		t.Fatalf("layout %q: exit %d: %s", args, code, stderr)
	}
	var r layoutReport
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatalf("layout %q: %v in %q", args, err, out)
	}
	return code, r
}

// drawnPlan draws a plan for a part into a file of its own.
func drawnPlan(t *testing.T, part string) (path, text string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "mine.plan.yaml")
	if code, _ := layoutJSON(t, partFile(part), "--plan", path); code != exitHolds {
		t.Fatalf("exit %d", code)
	}
	return path, read(t, path)
}

func read(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// edited writes a plan with one thing replaced.
func edited(t *testing.T, path, from, to string) {
	t.Helper()
	text := read(t, path)
	// Not in the comment at its head.
	i := strings.Index(text, "\nfalsework:")
	body := strings.Replace(text[i:], from, to, 1)
	if body == text[i:] {
		t.Fatalf("no %q in\n%s", from, text)
	}
	if err := os.WriteFile(path, []byte(text[:i]+body), 0o640); err != nil {
		t.Fatal(err)
	}
}

// Layout draws what bake draws, a second run changes no byte of the file, and bake
// builds from it what it would have built by itself.
func TestLayoutIsWhatBakeDraws(t *testing.T) {
	path, text := drawnPlan(t, "drip-hook")
	_, r := layoutJSON(t, partFile("drip-hook"), "--plan", path)
	if r.Plan.Written || len(r.Changes) > 0 || read(t, path) != text {
		t.Errorf("a second run changes %v", r.Changes)
	}
	dir := t.TempDir()
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "a"))
	bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "b"), "--plan", path)
	a, b := folder(t, filepath.Join(dir, "a")), folder(t, filepath.Join(dir, "b"))
	if namesOf(a) != namesOf(b) {
		t.Fatalf("files %s and %s", namesOf(a), namesOf(b))
	}
	for n := range a {
		if !bytes.Equal(a[n], b[n]) {
			t.Errorf("%s differs", n)
		}
	}
}

// A person moves a post by 5 mm in a text editor and deletes a line. Both last, with
// the comments, and the part holds.
func TestLayoutKeepsWhatAPersonDid(t *testing.T) {
	path, text := drawnPlan(t, "wall-bracket")
	p := readPlanFile(t, path)
	var q plan.Post
	for _, one := range p.Posts {
		if one.Side > 0 || one.Under != "" {
			q = one
			break
		}
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	line := p.Lines[4] // one of many across the shelf
	was := vectorText(q.At)
	q.At[0] += 5
	edited(t, path, "at: "+was, "at: "+vectorText(q.At)+" # clear of the screw")
	gone := text[strings.Index(text, "  - id: "+line.ID+"\n"):]
	gone = gone[:strings.Index(gone[4:], "  - id: ")+4]
	edited(t, path, gone, "  # the label goes here\n")

	code, r := layoutJSON(t, partFile("wall-bracket"), "--plan", path)
	if code != exitHolds {
		t.Errorf("exit %d: %v", code, r.Bare)
	}
	got := readPlanFile(t, path)
	q.By = plan.Designer
	found := false
	for _, one := range got.Posts {
		found = found || one == q
	}
	if !found {
		t.Errorf("the moved post is not among %+v", got.Posts)
	}
	if len(got.Struck.Lines) != 1 || got.Struck.Lines[0].ID != line.ID {
		t.Errorf("struck: %+v", got.Struck)
	}
	for _, l := range got.Lines {
		if cmp.Equal(l.At, line.At) {
			t.Errorf("%s is drawn again as %s", line.ID, l.ID)
		}
	}
	after := read(t, path)
	for _, comment := range []string{"# clear of the screw", "# the label goes here", "# What the program drew last"} {
		if strings.Count(after, comment) != 1 {
			t.Errorf("%q is there %d times", comment, strings.Count(after, comment))
		}
	}
	told := map[plan.Op]string{}
	for _, c := range r.Changes {
		told[c.Op] += c.ID + " "
	}
	if !strings.Contains(told[plan.Pinned], q.ID) || !strings.Contains(told[plan.Struck], line.ID) {
		t.Errorf("told %v", told)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("permissions %v, %v", info.Mode(), err)
	}
	if _, again := layoutJSON(t, partFile("wall-bracket"), "--plan", path); again.Plan.Written {
		t.Errorf("a second run changes %v", again.Changes)
	}
	if files := namesOf(folder(t, filepath.Dir(path))); files != "mine.plan.yaml" {
		t.Errorf("left behind: %s", files)
	}
	if code, b := bakeJSON(t, partFile("wall-bracket"), "--plan", path, "--out", filepath.Join(t.TempDir(), "o")); code != exitHolds {
		t.Errorf("baked: %+v", b.Proof)
	}
}

func vectorText(at [2]float64) string {
	data, _ := json.Marshal(at)
	return strings.ReplaceAll(string(data), ",", ", ")
}

// A wish that cannot be granted is refused with id and reason by layout and bake
// alike, and nothing is written.
func TestImpossibleWishes(t *testing.T) {
	// The hook's underside is found from its own plan.
	path, text := drawnPlan(t, "drip-hook")
	p := readPlanFile(t, path)
	l := p.Lines[0]
	mid := l.At[0]
	pair := strings.TrimSuffix(jsonText(l.At), "]") + "]"
	zones := func(z string) func() { return func() { edited(t, path, "\nlines:", "\nzones:\n"+z+"\nlines:") } }
	mine := func() { edited(t, path, "at: "+pair+"\n    by: tool", "at: "+pair+"\n    by: designer") }
	for _, c := range []struct {
		name string
		edit []func()
		want []string
	}{
		{"post through the part", []func(){func() {
			edited(t, path, "posts:\n", "posts:\n  - {id: mine, at: [22, 3], side: 4, head: 40}\n")
		}}, []string{"mine: goes through the part at", "z 0"}},
		{"post on nothing", []func(){func() {
			edited(t, path, "posts:\n", "posts:\n  - {id: mine, at: [-60, 0], side: 4, head: 40, foot: 20}\n")
		}}, []string{"mine:", "no upper side"}},
		{"contact under nothing", []func(){func() {
			edited(t, path, "\nlines:\n", "\nlines:\n  - {id: mine, at: [[-60, 0, 20], [-50, 0, 20]]}\n")
		}}, []string{"mine: no underside"}},
		{"contact on a clean face", []func(){mine, zones("  - {id: face, kind: keep-clean, box: {min: " + boxText(mid, -1) + ", max: " + boxText(mid, 1) + "}}")},
			[]string{l.ID + ": touches what face keeps clean"}},
		{"wall in a no-go zone", []func(){mine, zones("  - {id: hose, kind: no-go, box: {min: " + boxText(mid, -1) + ", max: " + boxText(mid, 1) + "}}")},
			[]string{l.ID + ": enters hose"}},
		{"no such face", []func(){zones("  - {id: face, kind: keep-clean, face: {at: [-90, 0, 0], normal: [0, 0, 1]}}")}, []string{"face: no face within"}},
		{"nothing to hold", []func(){zones("  - {id: hold, kind: must-hold, box: {min: [-90, 0, 0], max: [-80, 1, 1]}}")}, []string{"hold: must be held, but nothing"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
			for _, f := range c.edit {
				f()
			}
			before := read(t, path)
			out := filepath.Join(t.TempDir(), "out")
			for _, args := range [][]string{{"layout", partFile("drip-hook"), "--plan", path}, {"bake", partFile("drip-hook"), "--plan", path, "--out", out}} {
				code, stdout, stderr := call(args...)
				if code != exitImpossible || stdout != "" {
					t.Errorf("%s: exit %d, said %q", args[0], code, stdout)
				}
				oneClearLine(t, stderr, append(c.want, path)...)
			}
			if read(t, path) != before || namesOf(folder(t, out)) != "" {
				t.Error("something was written")
			}
		})
	}
}

func jsonText(v any) string {
	data, _ := json.Marshal(v)
	return strings.ReplaceAll(string(data), ",", ", ")
}

func boxText(p [3]float64, d float64) string {
	return jsonText([3]float64{p[0] + d, p[1] + d, p[2] + d})
}

// A file that someone else changes meanwhile is left as it is; so is one that cannot
// be written; a link stays a link.
func TestReplace(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.plan.yaml")
	if err := replace(path, nil, []byte("one")); err != nil || read(t, path) != "one" {
		t.Fatal(err)
	}
	if err := replace(path, nil, []byte("two")); err == nil || !strings.Contains(err.Error(), "meanwhile") {
		t.Errorf("a file that appeared was replaced: %v", err)
	}
	if err := replace(path, []byte("none"), []byte("two")); err == nil || read(t, path) != "one" {
		t.Errorf("a file that changed was replaced: %v", err)
	}
	link := filepath.Join(dir, "link.yaml")
	if err := os.Symlink(path, link); err != nil {
		t.Skip(err)
	}
	if err := replace(link, []byte("one"), []byte("two")); err != nil || read(t, path) != "two" {
		t.Errorf("through a link: %v", err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v", err)
	}
	if err := replace(filepath.Join(dir, "no", "a.yaml"), nil, nil); err == nil {
		t.Error("wrote into a folder that is not there")
	}
	if got := namesOf(folder(t, dir)); got != "a.plan.yaml link.yaml" {
		t.Errorf("left behind: %s", got)
	}
}

// A zone that leaves a spot bare is told with place and id, by layout and by bake.
func TestBareSpotsAreTold(t *testing.T) {
	path, _ := drawnPlan(t, "drip-hook")
	p := readPlanFile(t, path)
	at := p.Lines[0].At[0]
	edited(t, path, "\nlines:", "\nzones:\n  - {id: face, kind: keep-clean, box: {min: "+boxText(at, -14)+", max: "+boxText(at, 14)+"}}\nlines:")
	code, r := layoutJSON(t, partFile("drip-hook"), "--plan", path)
	if code != exitFails || len(r.Bare) == 0 {
		t.Fatalf("exit %d, %v", code, r.Bare)
	}
	first := r.Bare[0]
	if first.Because != "face" || first.AreaMM2 <= 0 || !strings.Contains(first.Why, "face is to be kept clean") {
		t.Errorf("%+v", first)
	}
	for i, v := range first.AtMM {
		if v < at[i]-14 || v > at[i]+14 {
			t.Errorf("told at %v, outside the zone about %v", first.AtMM, at)
		}
	}
	code, stdout, _ := call("layout", partFile("drip-hook"), "--plan", path)
	if code != exitFails || !strings.Contains(stdout, "bare ") || !strings.Contains(stdout, "changes   none") {
		t.Errorf("exit %d, said\n%s", code, stdout)
	}
	code, b := bakeJSON(t, partFile("drip-hook"), "--plan", path, "--out", filepath.Join(t.TempDir(), "o"))
	if told := strings.Join(b.Warnings, "\n"); code != exitFails || !strings.Contains(told, "face is to be kept clean") {
		t.Errorf("bake: exit %d, told %q", code, told)
	}
}

func TestDiffCommand(t *testing.T) {
	path, text := drawnPlan(t, "drip-hook")
	old := writeFile(t, "old.plan.yaml", []byte(text))
	edited(t, path, "bridge_mm: 10", "bridge_mm: 8")
	code, stdout, stderr := call("diff", old, path)
	if want := "changes   1 changed\n          – changed setting bridge_mm: 10 → 8\n"; code != exitHolds || stdout != want || stderr != "" {
		t.Errorf("exit %d, said %q, %q", code, stdout, stderr)
	}
	code, stdout, _ = call("diff", "--json", old, path)
	var r struct{ Changes []plan.Change }
	if err := json.Unmarshal([]byte(stdout), &r); err != nil || code != exitHolds {
		t.Fatal(err)
	}
	if d := cmp.Diff([]plan.Change{{Op: plan.Changed, What: "setting", ID: "bridge_mm", From: "10", To: "8"}}, r.Changes); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	if code, stdout, _ := call("diff", old, old); code != exitHolds || stdout != "changes   none\n" {
		t.Errorf("exit %d, said %q", code, stdout)
	}
	code, _, stderr = call("diff", old, partFile("drip-hook"))
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
	oneClearLine(t, stderr, "drip-hook.stl", "not a plan")
}

func TestLayoutUsage(t *testing.T) {
	part := partFile("drip-hook")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"layout"}, "takes one part"},
		{[]string{"layout", part}, "--plan is missing"},
		{[]string{"layout", part, "--print-schema"}, "takes no part"},
		{[]string{"layout", part, "--plan", "x", "--bridge", "-1"}, "--bridge"},
		{[]string{"diff", "a"}, "two plans"},
	} {
		code, stdout, stderr := call(c.args...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" || !strings.Contains(first, c.want) || !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: exit %d, said %q, %q", c.args, code, stdout, stderr)
		}
	}
	code, stdout, _ := call("layout", "--print-schema")
	if code != exitHolds || stdout != string(plan.Schema()) {
		t.Errorf("exit %d, %d bytes of schema", code, len(stdout))
	}
}

// Options, fields and exit codes are in help and README.
func TestLayoutHelpAndReadme(t *testing.T) {
	code, stdout, _ := call("layout", "--help")
	if code != exitHolds {
		t.Errorf("exit %d", code)
	}
	text := readme(t)
	for _, o := range strings.Fields("--plan --print-schema --bridge --json") {
		if !strings.Contains(stdout, o+" ") || !strings.Contains(text, "`"+o) {
			t.Errorf("help or README do not list %s", o)
		}
	}
	for _, word := range strings.Fields("keep-clean must-hold no-go struck distance_mm because area_mm2") {
		if !strings.Contains(stdout, word) || !strings.Contains(text, word) {
			t.Errorf("help or README do not name %s", word)
		}
	}
	for _, line := range strings.Split(stdout, "\n") {
		if n := len([]rune(line)); n > 120 {
			t.Errorf("%d letters in %q", n, line)
		}
	}
}

// Layer heights that a plan declares bind the verdict: the arch's supports, drawn for
// 0.2 mm, hold at 0.12 and not at 0.28, as prove says too.
func TestDeclaredLayerHeightsBind(t *testing.T) {
	dir := t.TempDir()
	bakeJSON(t, partFile("cable-arch"), "--out", filepath.Join(dir, "a"))
	path := filepath.Join(dir, "a", "cable-arch.plan.yaml")
	text := read(t, path)
	for _, h := range []string{"0.12", "0.28"} {
		want, _, _ := call("prove", filepath.Join(dir, "a", "cable-arch-part.stl"), filepath.Join(dir, "a", "cable-arch-supports.stl"), "--layer", h, "--first-layer", "0.2")
		// The lean stays that of the plan as drawn, so that the same solids are judged.
		declared := strings.Replace(text, "\nlines:", "\ntaste:\n  layer_heights_mm: ["+h+"]\nlines:", 1)
		code, r := bakeJSON(t, partFile("cable-arch"), "--plan", writeFile(t, "mine.yaml", []byte(declared)), "--out", filepath.Join(dir, h))
		if h == "0.12" && code != want {
			t.Errorf("at %s mm: exit %d, prove %d", h, code, want)
		}
		if fails := code == exitFails; fails != strings.Contains(strings.Join(r.Proof.Reasons, "\n"), "at layers of "+h+" mm") || h == "0.28" && !fails {
			t.Errorf("at %s mm: exit %d, reasons %q", h, code, r.Proof.Reasons)
		}
	}
}

// The README's example of zones is granted on its part, and the part holds.
func TestReadmesZonesAreGranted(t *testing.T) {
	if testing.Short() {
		t.Skip("lays out a large part")
	}
	_, example, _ := strings.Cut(readme(t), "```yaml\nzones:")
	example, _, found := strings.Cut(example, "```")
	if !found {
		t.Fatal("the README shows no zones")
	}
	path, _ := drawnPlan(t, "wall-bracket")
	edited(t, path, "\nlines:", "\nzones:"+example+"lines:")
	code, r := layoutJSON(t, partFile("wall-bracket"), "--plan", path)
	if code != exitHolds || r.Plan.Zones != 4 || len(r.Bare) > 0 {
		t.Errorf("exit %d, %d zones, bare %+v", code, r.Plan.Zones, r.Bare)
	}
	if !strings.Contains(read(t, path), "# no support enters") {
		t.Error("a comment was lost")
	}
	if code, b := bakeJSON(t, partFile("wall-bracket"), "--plan", path, "--out", filepath.Join(t.TempDir(), "o")); code != exitHolds {
		t.Errorf("baked: %+v", b.Proof)
	}
}
