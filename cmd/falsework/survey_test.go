package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/need"
	"falsework/supports/survey"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// surveyJSON surveys without pictures and returns what --json says.
func surveyJSON(t *testing.T, args ...string) surveyReport {
	t.Helper()
	code, out, stderr := call(append([]string{"survey", "--json"}, args...)...)
	if code != exitHolds {
		t.Fatalf("survey %q: exit %d: %s", args, code, stderr)
	}
	var r surveyReport
	dec := json.NewDecoder(strings.NewReader(out))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&r); err != nil {
		t.Fatalf("survey %q: %v in %q", args, err, out)
	}
	if dec.More() {
		t.Errorf("survey %q: more than one object", args)
	}
	return r
}

// Whatever bake refuses survey refuses in the same words, and where bake warns so
// does survey.
func TestSurveyReadsAsBakeDoes(t *testing.T) {
	files, err := filepath.Glob(badFile("*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no bad input: %v", err)
	}
	files = append(files, filepath.Join(t.TempDir(), "nowhere.stl"), stlFile(t, "afloat", box(20, 10, 2.5, 5)),
		writeFile(t, "half.3mf", []byte("PK\x03\x04 and no more")), stlFile(t, "small", box(4, 5, 0, 3)))
	refused := 0
	for _, path := range files {
		t.Run(filepath.Base(path), func(t *testing.T) {
			dir := t.TempDir()
			out, cutters := filepath.Join(dir, "survey"), filepath.Join(dir, "cutters.stl")
			bakeCode, _, baked := call("bake", path, "--out", filepath.Join(dir, "bake"), "--no-pictures", "--json")
			code, stdout, surveyed := call("survey", path, "--out", out, "--cutters", cutters, "--no-pictures", "--json")
			if code == exitFails || (code == exitRefused) != (bakeCode == exitRefused) {
				t.Errorf("exit %d, bake's is %d", code, bakeCode)
			}
			if d := cmp.Diff(baked, surveyed); d != "" {
				t.Errorf("on standard error (-bake +survey):\n%s", d)
			}
			if code != exitRefused {
				return
			}
			refused++
			oneClearLine(t, surveyed)
			if stdout != "" {
				t.Errorf("said %q", stdout)
			}
			for _, p := range []string{out, cutters} {
				if _, err := os.Stat(p); !os.IsNotExist(err) {
					t.Errorf("%s was made", p)
				}
			}
		})
	}
	if refused < 12 {
		t.Errorf("only %d files were refused", refused)
	}
}

// Kinds, places and sizes against the CAD scripts of the parts.
func TestSurveyOfKnownParts(t *testing.T) {
	for _, c := range []struct {
		part   string
		kinds  string
		rule   survey.Rule
		area   float64 // mm² of all regions, to 2 %; 0 is not known
		lo, hi float64 // z of the regions, mm
		nameOf []string
	}{
		// A shelf of 56 × 40 mm at z = 30.
		{"wall-bracket", "ledge", survey.Span, 56 * 40, 30, 30, []string{"chamfer", "supports"}},
		// A pocket of 22 mm with a bore of 8 mm above it, at z = 7.2.
		{"bearing-block", "ring ceiling", survey.Span, 0, 7, 7.4, []string{"bridging steps", "one-layer sheet", "supports"}},
		// A bore of 25 mm with its axis at z = 19.5, its crown above 45°.
		{"mast-clamp", "2 × bore crown", survey.Overhang, 0, 19.5 + 12.5*math.Sqrt2/2 - 0.4, 19.5 + 12.5, []string{"teardrop", "supports"}},
		// A drip tip that ends 12 mm above the plate.
		{"drip-hook", "tip", survey.Island, 0, 12, 12, []string{"supports"}},
		{"tip-bucket-weight", "", "", 0, 0, 0, nil},
	} {
		t.Run(c.part, func(t *testing.T) {
			r := surveyJSON(t, partFile(c.part))
			if got := r.Need.kinds(); got != c.kinds {
				t.Errorf("kinds %q, want %q", got, c.kinds)
			}
			if c.area != 0 && math.Abs(r.Need.AreaMM2/c.area-1) > 0.02 {
				t.Errorf("%g mm², want %g", r.Need.AreaMM2, c.area)
			}
			for _, f := range r.Need.Findings {
				if f.Rule != c.rule || f.ZMM[0] < c.lo-1e-6 || f.ZMM[1] > c.hi+1e-6 {
					t.Errorf("region %d: rule %s, z %v; want %s, z %g to %g", f.ID, f.Rule, f.ZMM, c.rule, c.lo, c.hi)
				}
				var names []string
				for _, re := range f.Remedies {
					names = append(names, re.Name)
				}
				for _, n := range c.nameOf {
					if !slices.Contains(names, n) {
						t.Errorf("region %d: remedies %q lack %q", f.ID, names, n)
					}
				}
			}
		})
	}
}

// The documented fields of --json, each of its type, and what must be true of
// them whatever the part.
func TestSurveyJSONFields(t *testing.T) {
	_, stdout, _ := call("survey", partFile("mast-clamp"), "--json", "--load", "0,0,-1")
	var got map[string]any
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatal(err)
	}
	check := func(where string, m map[string]any, fields string) {
		t.Helper()
		for _, f := range strings.Fields(fields) {
			name, kind, _ := strings.Cut(f, ":")
			v, ok := m[name], false
			switch kind {
			case "":
				_, ok = v.(float64)
			case "text":
				s, _ := v.(string)
				ok = s != ""
			case "bool":
				_, ok = v.(bool)
			case "list":
				_, ok = v.([]any)
			case "group":
				_, ok = v.(map[string]any)
			default:
				list, _ := v.([]any)
				ok = fmt.Sprint(len(list)) == kind
			}
			if !ok {
				t.Errorf("%s.%s is %v, want %s", where, name, v, f)
			}
		}
	}
	check("", got, "part:group need:group notes:list certified_deg certified_rise_mm seconds:group files:list warnings:list")
	check("part", got["part"].(map[string]any), "name:text triangles size_mm:3 volume_mm3")
	check("seconds", got["seconds"].(map[string]any), "read cut survey write")
	needs := got["need"].(map[string]any)
	check("need", needs, "area_mm2 regions findings:2")
	for _, f := range needs["findings"].([]any) {
		m := f.(map[string]any)
		check("finding", m, "id kind:text rule:text z_mm:2 first_layer area_mm2 from_plate_mm2 center_mm:3 span_mm worst_span_mm "+
			"span_deg open:bool steepest_deg faces:list remedies:list")
		for _, re := range m["remedies"].([]any) {
			check("remedy", re.(map[string]any), "name:text text:text cutter_triangles")
		}
	}
	notes := got["notes"].([]any)
	if len(notes) == 0 {
		t.Error("no notes on the small bores")
	}
	for _, n := range notes {
		check("note", n.(map[string]any), "name:text text:text at_mm:3 advice:bool")
	}

	for _, name := range parts(t) {
		if testing.Short() && name != "mast-clamp" && name != "drip-hook" {
			continue
		}
		r := surveyJSON(t, partFile(name))
		sum := 0.0
		for i, f := range r.Need.Findings {
			sum += f.AreaMM2
			switch {
			case f.ID != i+1, len(f.Remedies) == 0, f.FirstLayer < 1, f.ZMM[0] > f.ZMM[1]:
				t.Errorf("%s: region %+v", name, f)
			case f.FromPlateMM2 > f.AreaMM2+1e-3, f.SpanMM > f.WorstSpanMM+1e-3 && f.Kind != survey.Ledge:
				t.Errorf("%s: region %d: %g of %g mm² from the plate, span %g, worst %g", name, f.ID, f.FromPlateMM2, f.AreaMM2, f.SpanMM, f.WorstSpanMM)
			case !slices.IsSorted(f.Faces), len(f.Faces) == 0, f.Faces[len(f.Faces)-1] >= r.Part.Triangles:
				t.Errorf("%s: region %d has the faces %v", name, f.ID, f.Faces)
			}
		}
		if r.Need.Regions != len(r.Need.Findings) || math.Abs(sum-r.Need.AreaMM2) > 0.01 {
			t.Errorf("%s: %d regions of %g mm², findings %d of %g", name, r.Need.Regions, r.Need.AreaMM2, len(r.Need.Findings), sum)
		}
		if r.CertifiedDeg < 45 || r.CertifiedRise <= 0 {
			t.Errorf("%s: certified %g° over %g mm with a limit of 45°", name, r.CertifiedDeg, r.CertifiedRise)
		}
	}
}

// bake tells the same of each region, but for its faces.
func TestSurveyIsPartOfBake(t *testing.T) {
	for _, name := range []string{"drip-hook", "mast-clamp", "tip-bucket-weight"} {
		args := []string{partFile(name), "--bridge", "8"}
		s := surveyJSON(t, args...)
		_, b := bakeJSON(t, append(args, "--out", filepath.Join(t.TempDir(), "out"))...)
		for i := range s.Need.Findings {
			s.Need.Findings[i].Faces = nil
		}
		if d := cmp.Diff(s.Need, b.Need); d != "" {
			t.Errorf("%s: (-survey +bake):\n%s", name, d)
		}
	}
	_, stdout, _ := call("bake", partFile("mast-clamp"), "--out", filepath.Join(t.TempDir(), "out"), "--no-pictures")
	if !strings.Contains(stdout, "2 places would fall: 2 × bore crown\n") {
		t.Errorf("the summary does not name the kinds:\n%s", stdout)
	}
}

// Every region has its row, every remedy its sentence, and what was asked for by
// the way is said.
func TestSurveyTable(t *testing.T) {
	for _, name := range []string{"mast-clamp", "bearing-block", "gutter-hanger"} {
		code, stdout, _ := call("survey", partFile(name), "--load", "0,0,-1")
		r := surveyJSON(t, partFile(name), "--load", "0,0,-1")
		if code != exitHolds {
			t.Errorf("%s: exit %d", name, code)
		}
		for _, f := range r.Need.Findings {
			row := ""
			for _, line := range strings.Split(stdout, "\n") {
				if strings.HasPrefix(line, fmt.Sprint(f.ID, " ")) {
					row = line
				}
			}
			for _, want := range []string{string(f.Kind), string(f.Rule), fmt.Sprintf("%.2f", f.ZMM[0]), fmt.Sprintf("%.1f, %.1f", f.CenterMM[0], f.CenterMM[1]), area(f.AreaMM2)} {
				if !strings.Contains(row, want) {
					t.Errorf("%s: no %q in the row of region %d: %q", name, want, f.ID, row)
				}
			}
			for _, re := range f.Remedies {
				if !strings.Contains(strings.Join(strings.Fields(stdout), " "), sentence(strings.Join(strings.Fields(re.Text), " "))) {
					t.Errorf("%s: the table lacks %q", name, re.Text)
				}
			}
		}
		for _, want := range []string{"part ", "need ", "no  kind", "\n    a  ", "\n    b  ", "certified ", "total ", "advice ", "no strength calculation"} {
			if !strings.Contains(stdout, want) {
				t.Errorf("%s: no %q in\n%s", name, want, stdout)
			}
		}
		if strings.Contains(stdout, "files ") || strings.Contains(stdout, "cutters ") {
			t.Errorf("%s: files were told though none were asked for:\n%s", name, stdout)
		}
	}
	code, stdout, _ := call("survey", partFile("tip-bucket-weight"))
	if code != exitHolds || !strings.Contains(stdout, "holds as it is") || strings.Contains(stdout, "no  kind") || strings.Contains(stdout, "total ") {
		t.Errorf("exit %d:\n%s", code, stdout)
	}
}

func TestSurveyWritesOnlyWhatWasAskedFor(t *testing.T) {
	const bare, crowned = "drip-hook", "mast-clamp" // without and with something to subtract
	for _, c := range []struct {
		name, part string
		args       []string // D is the folder
		want       string
		says       string
	}{
		{"nothing", crowned, nil, "", ""},
		{"pictures", bare, []string{"--out", "D", "--picture-width", "600"}, bare + "-survey-below.png", "files "},
		{"a second view of what the first hides", "nut-pocket-plate", []string{"--out", "D", "--picture-width", "600"},
			"nut-pocket-plate-survey-below.png nut-pocket-plate-survey-glass.png", "files "},
		{"a picture of a part that holds", "tip-bucket-weight", []string{"--out", "D", "--picture-width", "600"}, "tip-bucket-weight-survey-below.png", "files "},
		{"no pictures", crowned, []string{"--out", "D", "--no-pictures"}, "", ""},
		{"cutters", crowned, []string{"--cutters", "D/c.STL"}, "c.STL", "files "},
		{"no cutters to write", bare, []string{"--cutters", "D/c.stl"}, "", "no cutters to write"},
		{"both", crowned, []string{"--out", "D", "--cutters", "D/c.stl", "--picture-width", "600"},
			"c.stl mast-clamp-survey-below.png mast-clamp-survey-glass.png", "c.stl"},
	} {
		t.Run(c.name, func(t *testing.T) {
			here, root := t.TempDir(), t.TempDir()
			dir := filepath.Join(root, "new")
			part, err := filepath.Abs(partFile(c.part))
			if err != nil {
				t.Fatal(err)
			}
			t.Chdir(here)
			args := []string{"survey", part}
			for _, a := range c.args {
				args = append(args, strings.Replace(a, "D", dir, 1))
			}
			code, stdout, stderr := call(args...)
			if code != exitHolds || !strings.Contains(stdout, c.says) {
				t.Errorf("exit %d, want %q in %q, %q", code, c.says, stdout, stderr)
			}
			if got := namesOf(folder(t, dir)); got != c.want {
				t.Errorf("wrote %s, want %s", got, c.want)
			}
			if got, want := namesOf(folder(t, root)), map[bool]string{true: "", false: "new/"}[c.want == ""]; got != want {
				t.Errorf("left beside the folder: %s", got)
			}
			if got := namesOf(folder(t, here)); got != "" {
				t.Errorf("left where it ran: %s", got)
			}
			for name, data := range folder(t, dir) {
				if filepath.Ext(name) != ".png" {
					continue
				}
				if img, err := png.Decode(bytes.NewReader(data)); err != nil || img.Bounds().Dx() != 600 || img.Bounds().Dy() != 450 {
					t.Errorf("%s: %v", name, err)
				}
			}
		})
	}
}

func TestSurveyOverwritesNothingWithoutForce(t *testing.T) {
	names := append(surveyOutputsOf("mast-clamp").all(), "cutters.stl")
	for _, name := range names {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, name), []byte("precious"), 0o644); err != nil {
			t.Fatal(err)
		}
		args := []string{"survey", partFile("mast-clamp"), "--out", dir, "--cutters", filepath.Join(dir, "cutters.stl"), "--picture-width", "600"}
		code, stdout, stderr := call(args...)
		if code != exitRefused || stdout != "" {
			t.Errorf("%s: exit %d, said %q", name, code, stdout)
		}
		option := "--out"
		if name == "cutters.stl" {
			option = "--cutters"
		}
		oneClearLine(t, stderr, name, "exists already", "--force", "name another "+option)
		if d := cmp.Diff(map[string]string{name: "precious"}, text(folder(t, dir))); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
		if code, _, stderr := call(append(args, "--force")...); code != exitHolds {
			t.Errorf("%s: --force: exit %d: %s", name, code, stderr)
		}
		if string(folder(t, dir)[name]) == "precious" {
			t.Errorf("%s was not replaced", name)
		}
	}
	// Cutters of an earlier run go where there are none any more.
	dir := t.TempDir()
	old := filepath.Join(dir, "c.stl")
	if err := os.WriteFile(old, []byte("of an earlier run"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := call("survey", partFile("drip-hook"), "--cutters", old, "--force"); code != exitHolds {
		t.Errorf("exit %d: %s", code, stderr)
	}
	if got := namesOf(folder(t, dir)); got != "" {
		t.Errorf("%s is still there", got)
	}
}

func TestSurveyNeverReplacesThePart(t *testing.T) {
	data, err := os.ReadFile(partFile("mast-clamp"))
	if err != nil {
		t.Fatal(err)
	}
	path := writeFile(t, "clamp.stl", data)
	code, _, stderr := call("survey", path, "--cutters", path, "--force")
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
	oneClearLine(t, stderr, "is the part itself")
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, data) {
		t.Errorf("the part was changed (%v)", err)
	}
}

// What cannot be written keeps the other files back too.
func TestSurveyWritesAllOrNothing(t *testing.T) {
	for _, there := range []bool{false, true} {
		root := t.TempDir()
		dir := filepath.Join(root, "out")
		if there {
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "a"), []byte("1"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		before := text(folder(t, dir))
		full := errors.New("the disk is full; make room")
		o := output{option: "--out", dir: dir, names: []string{"a", "b"}, force: true}
		if err := o.place([]file{{"a", []byte("2")}, {"b", []byte("3")}}, func() error { return full }); err != full {
			t.Errorf("error %v, want %v", err, full)
		}
		if d := cmp.Diff(before, text(folder(t, dir))); d != "" {
			t.Errorf("folder there before: %v (-before +after):\n%s", there, d)
		}
		if got := namesOf(folder(t, root)); got != map[bool]string{true: "out/", false: ""}[there] {
			t.Errorf("left behind: %s", got)
		}
	}
}

// Cutters are closed solids in the frame of the part, at the regions that they take
// away.
func TestSurveyCutters(t *testing.T) {
	for _, name := range []string{"mast-clamp", "bearing-block"} {
		path := filepath.Join(t.TempDir(), "c.stl")
		r := surveyJSON(t, partFile(name), "--cutters", path)
		if !slices.Equal(r.Files, []string{path}) {
			t.Errorf("%s: files %q", name, r.Files)
		}
		m, notes, err := mesh.ReadSTL(path)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if w := notes.Warnings(); len(w) > 0 || !m.Topology().Watertight() {
			t.Errorf("%s: %q, topology %+v", name, w, m.Topology())
		}
		triangles := 0
		for _, f := range r.Need.Findings {
			for _, re := range f.Remedies {
				triangles += re.CutterTriangles
			}
		}
		if len(m.Triangles) != triangles || triangles == 0 {
			t.Errorf("%s: %d triangles, the remedies have %d", name, len(m.Triangles), triangles)
		}
		b := m.Bounds()
		for _, s := range m.Shells() {
			if s.Volume() <= 0 {
				t.Errorf("%s: a cutter of %g mm³", name, s.Volume())
			}
		}
		for _, f := range r.Need.Findings {
			c := f.CenterMM
			if c[0] < b.Min.X || c[0] > b.Max.X || c[1] < b.Min.Y || c[1] > b.Max.Y || f.ZMM[1] > b.Max.Z+1 || f.ZMM[0] < b.Min.Z-1 {
				t.Errorf("%s: region %d at %v lies outside of the cutters' box %v", name, f.ID, c, b)
			}
		}
	}
}

func TestSurveyPacksAllCutters(t *testing.T) {
	finding := func(cutters ...*mesh.Mesh) survey.Finding {
		var f survey.Finding
		for _, c := range cutters {
			f.Remedies = append(f.Remedies, survey.Remedy{Cutter: c})
		}
		return f
	}
	r := survey.Report{Findings: []survey.Finding{finding(nil, box(1, 2, 3, 4)), finding(), finding(box(2, 2, 20, 2), nil)}}
	files, err := packCutters("x", "c.stl", r)
	if err != nil || len(files) != 1 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	m, _, err := mesh.DecodeSTL("c.stl", files[0].data)
	if err != nil {
		t.Fatal(err)
	}
	// 1·2·4 and 2·2·2 mm³.
	if m.Volume() != 16 || len(m.Shells()) != 2 || !m.Topology().Watertight() {
		t.Errorf("%g mm³ in %d shells", m.Volume(), len(m.Shells()))
	}
	if files, err := packCutters("x", "c.stl", survey.Report{Findings: []survey.Finding{finding(nil)}}); err != nil || len(files) != 0 {
		t.Errorf("%d files, %v; want none", len(files), err)
	}
}

// The same bytes whatever the number of processors.
func TestSurveyBytesDoNotDependOnProcessors(t *testing.T) {
	was := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(was)
	for _, name := range []string{"nut-pocket-plate", "mast-clamp"} {
		var first map[string]string
		for _, n := range []int{1, 2, 5} {
			runtime.GOMAXPROCS(n)
			dir := filepath.Join(t.TempDir(), "out")
			r := surveyJSON(t, partFile(name), "--out", dir, "--cutters", filepath.Join(dir, "c.stl"), "--picture-width", "800")
			got := text(folder(t, dir))
			r.Seconds, r.Files = surveySeconds{}, nil
			told, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			got["told"] = string(told)
			if first == nil {
				first = got
			} else if d := cmp.Diff(first, got); d != "" {
				t.Errorf("%s: on %d processors the files differ", name, n)
			}
		}
	}
}

func TestSurveyInterruptLeavesNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stderr strings.Builder
	dir := filepath.Join(t.TempDir(), "out")
	code := run(ctx, streams{in: strings.NewReader(""), out: io.Discard, err: &stderr}, []string{"survey", partFile("wall-bracket"), "--out", dir})
	if code != exitRefused {
		t.Errorf("exit %d, want 2", code)
	}
	oneClearLine(t, stderr.String(), "interrupted")
	if got := namesOf(folder(t, filepath.Dir(dir))); got != "" {
		t.Errorf("left behind: %s", got)
	}
}

// The drawn surface of a region against its cells counted one by one.
func TestSurveySkin(t *testing.T) {
	lay := raster.Layers{First: 0.2, Height: 0.2}
	cut := func(k int, at ...[2]int) need.Cut {
		c := need.Cut{K: k, Cells: raster.NewBits(0, 0, 64, 64)}
		for _, p := range at {
			c.Cells.Set(p[0], p[1])
		}
		return c
	}
	for _, c := range []struct {
		name  string
		cells int // along an edge of the grid
		cuts  []need.Cut
		level float64 // mm², in cells of a block's area
		up    float64 // mm² of upright faces, in block edges times layers
	}{
		{"nothing", 64, nil, 0, 0},
		{"one cell", 64, []need.Cut{cut(9, [2]int{3, 4})}, 1, 0},
		{"a row and one apart", 64, []need.Cut{cut(9, [2]int{3, 4}, [2]int{4, 4}, [2]int{6, 4})}, 3, 0},
		{"a step along x", 64, []need.Cut{cut(9, [2]int{3, 4}), cut(10, [2]int{4, 4})}, 2, 1},
		{"a step along y, two wide", 64, []need.Cut{cut(9, [2]int{3, 4}, [2]int{4, 4}), cut(11, [2]int{3, 5}, [2]int{4, 5})}, 4, 4},
		{"too high to be a step", 64, []need.Cut{cut(9, [2]int{3, 4}), cut(30, [2]int{4, 4})}, 2, 0},
		{"one above the other", 64, []need.Cut{cut(9, [2]int{3, 4}), cut(30, [2]int{3, 4})}, 2, 0},
		{"close above is the same surface", 64, []need.Cut{cut(9, [2]int{3, 4}), cut(10, [2]int{3, 4})}, 1, 0},
		{"cells of a large print, two to a block", 2 * mostBlocks, []need.Cut{cut(9, [2]int{2, 2}, [2]int{3, 3}, [2]int{4, 2})}, 2, 0},
	} {
		g := raster.Grid{Cell: 0.1, W: c.cells, H: c.cells}
		m := skin(g, lay, c.cuts)
		if err := m.Check(); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		edge := g.Cell * float64((c.cells+mostBlocks-1)/mostBlocks)
		level, up := 0.0, 0.0
		for i := range m.Triangles {
			n := m.AreaNormal(i)
			if n.Z != 0 {
				level += r3.Norm(n)
			} else {
				up += r3.Norm(n)
			}
		}
		if math.Abs(level-c.level*edge*edge) > 1e-9 || math.Abs(up-c.up*edge*lay.Height) > 1e-9 {
			t.Errorf("%s: %g mm² level and %g upright, want %g and %g", c.name, level, up, c.level*edge*edge, c.up*edge*lay.Height)
		}
	}
}

// A label points at a cell of its region, well inside it.
func TestSurveyPlaces(t *testing.T) {
	// A ring of inner radius 20 and outer radius 40 cells about (50, 50): its middle
	// line is 30 cells out.
	ring := need.Cut{K: 3, Cells: raster.NewBits(0, 0, 101, 101)}
	for i := range 101 {
		for j := range 101 {
			if d := math.Hypot(float64(i-50), float64(j-50)); d >= 20 && d <= 40 {
				ring.Cells.Set(i, j)
			}
		}
	}
	part := &raster.Stack{Grid: raster.Grid{Cell: 0.1, W: 101, H: 101}, Layers: raster.Layers{First: 0.2, Height: 0.2}}
	c := part.Center(50, 50)
	r := need.Region{Center: r3.Vec{X: c.X, Y: c.Y, Z: part.Bottom(3)}, Cuts: []need.Cut{ring}}
	list := places(part, &r)
	if len(list) != 9 {
		t.Fatalf("%d places, want 9", len(list))
	}
	for _, p := range list {
		if d := math.Hypot(p.X-c.X, p.Y-c.Y) / part.Cell; d < 24 || d > 36 {
			t.Errorf("a place %.1f cells out, want it well within 20 to 40", d)
		}
	}
	if got := places(part, &need.Region{}); len(got) != 0 {
		t.Errorf("an empty region has the places %v", got)
	}
}

func TestSurveyWords(t *testing.T) {
	for n, want := range map[int]string{0: "a", 25: "z", 26: "aa", 51: "az", 52: "ba"} {
		if got := letter(n); got != want {
			t.Errorf("remedy %d is %q, want %q", n, got, want)
		}
	}
	for mm2, want := range map[float64]string{2234.5: "2234", 99.96: "100", 99.94: "99.9", 10: "10.0", 9.99: "9.99", 0.03: "0.03"} {
		if got := area(mm2); got != want {
			t.Errorf("%g mm² is written %q, want %q", mm2, got, want)
		}
	}
	if got := sentence("über 3 mm"); got != "Über 3 mm." {
		t.Errorf("%q", got)
	}
	got := wrapped(strings.Repeat("µµµµ ", 40), 7)
	for i, line := range strings.Split(got, "\n") {
		n := len([]rune(line))
		if i == 0 {
			n += 7
		} else if !strings.HasPrefix(line, "       µ") {
			t.Errorf("line %d is set in otherwise: %q", i, line)
		}
		if n > tableWidth {
			t.Errorf("line %d has %d letters", i, n)
		}
	}
	if strings.Count(got, "µµµµ") != 40 || strings.Count(got, "\n") != 2 {
		t.Errorf("wrapped to %q", got)
	}
	find := func(k survey.Kind, mm2 float64) findingReport { return findingReport{Kind: k, AreaMM2: mm2} }
	n := needReport{Findings: []findingReport{find(survey.Tip, 1), find(survey.Slope, 5), find(survey.Tip, 2), find(survey.Ledge, 9), find(survey.Slope, 6)}}
	if got := n.kinds(); got != "2 × slope, ledge, 2 × tip" {
		t.Errorf("kinds %q", got)
	}
}

func TestSurveyLoad(t *testing.T) {
	for text, want := range map[string]r3.Vec{"": {}, "0,0,-1": {Z: -1}, " 1, 2.5 ,3e2": {X: 1, Y: 2.5, Z: 300}} {
		if got, err := parseLoad(text); err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"0,0,0", "1,2", "1,2,3,4", "down", "1,,2", "NaN,0,1", "Inf,0,0", "1e99,0,0", ","} {
		if _, err := parseLoad(text); err == nil {
			t.Errorf("%q is taken for a direction", text)
		}
	}
}
