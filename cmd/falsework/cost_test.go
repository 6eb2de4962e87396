package main

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"

	"github.com/google/go-cmp/cmp"
)

// costJSON prices and returns what --json says.
func costJSON(t *testing.T, args ...string) costReport {
	t.Helper()
	code, out, stderr := call(append([]string{"cost", "--json"}, args...)...)
	if code != exitHolds {
		t.Fatalf("cost %q: exit %d: %s", args, code, stderr)
	}
	var r costReport
	dec := json.NewDecoder(strings.NewReader(out))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&r); err != nil {
		t.Fatalf("cost %q: %v in %q", args, err, out)
	}
	return r
}

// baked bakes a demo part into a new folder.
func baked(t *testing.T, name string) (part, sup, both string, r bakeReport) {
	t.Helper()
	dir := t.TempDir()
	_, r = bakeJSON(t, partFile(name), "--out", dir)
	n := outputsOf(name)
	return filepath.Join(dir, n.part), filepath.Join(dir, n.supports), filepath.Join(dir, n.model), r
}

// The program adds nothing to what the library says, and what it derives follows
// its formulas.
func TestCostIsTheLibrarys(t *testing.T) {
	const name, density, diameter, price = "mast-clamp", 1.25, 1.75, 24.0
	part, sup, _, bake := baked(t, name)
	r := costJSON(t, part, sup, "--price", fmt.Sprint(price))
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	section := func(path string) *raster.Stack {
		m, _, err := mesh.ReadSTL(path)
		if err != nil {
			t.Fatal(err)
		}
		return raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, margin), s.Layers(), 1)
	}
	near := func(what string, got, want, tol float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tol) || want == 0 {
			t.Errorf("%s is %g, want %g", what, got, want)
		}
	}
	ours := cost.Supports(section(sup), s, cost.Machine{})
	check := func(what string, e estimateReport, want cost.Estimate) {
		t.Helper()
		near(what+": time", e.TimeS, want.TimeS, 0.005)
		near(what+": volume", e.VolumeMM3, want.VolumeMM3, 0.0005)
		near(what+": length", e.LengthMM, want.LengthMM, 0.005)
		near(what+": travel", e.TravelMM, want.TravelMM, 0.005)
		near(what+": paths", float64(e.Paths), float64(want.Paths), 0)
		near(what+": mass", e.MassG, want.VolumeMM3*density/1000, 0.0005)
		near(what+": filament", e.FilamentMM, want.VolumeMM3*4/(math.Pi*diameter*diameter), 0.005)
		near(what+": price", *e.Price, want.VolumeMM3*density/1e6*price, 1e-4)
	}
	check("supports", *r.Supports, ours)
	if len(r.Baselines) != 3 {
		t.Fatalf("%d baselines", len(r.Baselines))
	}
	for i, spacing := range []float64{2, 2.5, 4} {
		d := r.Baselines[i]
		_, want := cost.Baseline(section(part), s, cost.Machine{}, spacing)
		near("spacing", d.SpacingMM, spacing, 0)
		check(denseName(spacing), d.estimateReport, want)
		near("time ratio", *d.Ratio.Time, ours.TimeS/want.TimeS, 5e-5)
		near("plastic ratio", *d.Ratio.Plastic, ours.VolumeMM3/want.VolumeMM3, 5e-5)
		// A rectangle of 0.2 × 0.2 between two half circles of 0.2, in mm: a line
		// 0.4 wide in a layer of 0.2.
		near("bead", d.VolumeMM3/d.LengthMM, 0.2*0.2+math.Pi*0.2*0.2/4, 1e-6)
	}
	body := cost.Part(section(part), s, cost.Machine{})
	check("part", r.Body, body)
	whole := func(what string, p printReport, things ...cost.Estimate) {
		t.Helper()
		want := cost.Machine{}.Total(append(things, body)...)
		near(what+": time", p.TimeS, want.TimeS, 0.005)
		near(what+": mass", p.MassG, want.VolumeMM3*density/1000, 0.0005)
		near(what+": filament", p.FilamentMM, want.VolumeMM3*4/(math.Pi*diameter*diameter), 0.005)
		near(what+": price", *p.Price, want.VolumeMM3*density/1e6*price, 1e-4)
	}
	whole("part alone", r.Body.Print)
	whole("print with supports", r.Supports.Print, ours)
	_, dense := cost.Baseline(section(part), s, cost.Machine{}, 2.5)
	whole("print with dense supports", r.Baselines[1].Print, dense)
	near("ratio of the prints", *r.Baselines[1].PrintRatio.Time, r.Supports.Print.TimeS/r.Baselines[1].Print.TimeS, 5e-5)
	// bake says the same.
	near("bake's print", bake.Print.Supports.TimeS, r.Supports.Print.TimeS, 0)
	near("bake's dense print", bake.Print.Dense.TimeS, r.Baselines[1].Print.TimeS, 0)
	near("bake's time", bake.Supports.TimeS, r.Supports.TimeS, 0)
	near("bake's plastic", bake.Supports.VolumeMM3, r.Supports.VolumeMM3, 0)
	near("bake's baseline", bake.Baseline.TimeS, r.Baselines[1].TimeS, 0)
	near("bake's time ratio", *bake.Ratio.Time, *r.Baselines[1].Ratio.Time, 0)
}

// Two towers of 50 layers are 100 islands, and supports without anything beside
// them have no ratio.
func TestCostCountsIslands(t *testing.T) {
	towers := box(3, 3, 0, 10)
	other := box(3, 3, 0, 10)
	for i := range other.Vertices {
		other.Vertices[i].X += 6
	}
	towers.Append(other)
	r := costJSON(t, stlFile(t, "block", box(20, 20, 0, 10)), stlFile(t, "towers", towers))
	if r.Supports.Islands != 100 || r.Supports.Paths < 100 {
		t.Errorf("%d islands of %d paths, want 100", r.Supports.Islands, r.Supports.Paths)
	}
	for _, d := range r.Baselines {
		if d.Ratio.Time != nil || d.Ratio.Plastic != nil || d.TimeS != 0 || d.Islands != 0 {
			t.Errorf("a block that needs nothing: %+v", d)
		}
	}
	_, stdout, _ := call("cost", stlFile(t, "block", box(20, 20, 0, 10)), stlFile(t, "towers", towers))
	if !strings.Contains(stdout, "would be empty") {
		t.Errorf("not said that there is no baseline:\n%s", stdout)
	}
}

// A 3MF file with both costs what its bodies cost in files of their own, however it
// tells which are the supports.
func TestCostOf3MF(t *testing.T) {
	part, sup, both, _ := baked(t, "mast-clamp")
	want := costJSON(t, part, sup)
	for what, edit := range map[string]string{
		"by name": `name="supports"`, "by a longer name": `name="Clamp, SUPPORT 1"`, "by type": `name="x" type="solidsupport"`,
	} {
		path := writeFile(t, "clamp.3mf", edit3MF(t, both, `name="supports"`, edit))
		got := costJSON(t, path)
		if got.Supports == nil {
			t.Fatalf("%s: no supports", what)
		}
		if d := cmp.Diff(want.Supports, got.Supports); d != "" {
			t.Errorf("%s (-two files +one):\n%s", what, d)
		}
		for i, d := range got.Baselines {
			if d := cmp.Diff(want.Baselines[i].estimateReport, d.estimateReport); d != "" {
				t.Errorf("%s (-two files +one):\n%s", what, d)
			}
		}
	}
	_, _, stderr := call("cost", writeFile(t, "two.3mf", edit3MF(t, both, `name="supports"`, `name="lid"`)))
	oneClearLine(t, stderr, "two.3mf", "holds 2 bodies", "no supports by name or type")
	_, _, stderr = call("cost", both, sup)
	oneClearLine(t, stderr, "holds supports of its own", "leave out "+sup)
	alone := costJSON(t, part)
	if alone.Supports != nil || alone.Baselines[0].Ratio.Time != nil {
		t.Errorf("supports out of nothing: %+v", alone.Supports)
	}
	if d := cmp.Diff(want.Baselines[0].estimateReport, alone.Baselines[0].estimateReport); d != "" {
		t.Errorf("the baseline depends on the supports:\n%s", d)
	}
}

// edit3MF replaces a text in the model of a 3MF file.
func edit3MF(t *testing.T, path, from, to string) []byte {
	t.Helper()
	in, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var b bytes.Buffer
	out := zip.NewWriter(&b)
	found := false
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
			found = bytes.Contains(data, []byte(from))
			data = bytes.ReplaceAll(data, []byte(from), []byte(to))
		}
		w, err := out.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := out.Close(); err != nil || !found {
		t.Fatalf("%s: %q found: %v, %v", path, from, found, err)
	}
	return b.Bytes()
}

// keysOf lists the names in an object of JSON.
func keysOf(v any) string {
	var keys []string
	for k := range v.(map[string]any) {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return strings.Join(keys, " ")
}

// The fields of --json are those that help and README document.
func TestCostJSONFields(t *testing.T) {
	sup := stlFile(t, "sup", box(1, 20, 0, 5))
	_, stdout, stderr := call("cost", partFile("drip-hook"), sup, "--json", "--price", "20")
	var got map[string]any
	if err := json.Unmarshal([]byte(stdout), &got); err != nil {
		t.Fatalf("%v; %s", err, stderr)
	}
	const one = "filament_mm islands length_mm mass_g paths price print time_s travel_mm volume_mm3"
	var fields []string
	for _, f := range printerFields {
		fields = append(fields, f.name)
	}
	fields = append(fields, "name")
	sort.Strings(fields)
	dense := got["baselines"].([]any)[1].(map[string]any)
	for _, c := range []struct {
		what string
		v    any
		want string
	}{
		{"", got, "baselines body files part printer seconds supports warnings"},
		{"part", got["part"], "name size_mm triangles volume_mm3"},
		{"printer", got["printer"], strings.Join(fields, " ")},
		{"body", got["body"], one},
		{"supports", got["supports"], one},
		{"print", dense["print"], "filament_mm mass_g price time_s"},
		{"baselines", dense, "filament_mm islands length_mm mass_g paths price print print_ratio ratio spacing_mm time_s travel_mm volume_mm3"},
		{"ratio", dense["ratio"], "plastic time"},
		{"seconds", got["seconds"], "cost cut read write"},
	} {
		if d := cmp.Diff(c.want, keysOf(c.v)); d != "" {
			t.Errorf("%s: (-want +got):\n%s", c.what, d)
		}
		for _, f := range strings.Fields(c.want) {
			if !strings.Contains(costHelp, f) && c.what != "printer" {
				t.Errorf("the help does not name the field %s", f)
			}
			if !strings.Contains(readme(t), f) {
				t.Errorf("the README does not name the field %s", f)
			}
		}
	}
	for _, list := range []string{"files", "warnings"} {
		if _, ok := got[list].([]any); !ok {
			t.Errorf("%s is %v", list, got[list])
		}
	}
	if r := costJSON(t, partFile("drip-hook"), sup); r.Supports.Price != nil {
		t.Error("a price without --price")
	}
}

func TestCostTable(t *testing.T) {
	part := partFile("drip-hook")
	code, stdout, stderr := call("cost", part)
	if code != exitHolds || stderr != "" {
		t.Errorf("exit %d: %s", code, stderr)
	}
	r := costJSON(t, part)
	for _, d := range r.Baselines {
		row := ""
		for _, line := range strings.Split(stdout, "\n") {
			if strings.HasPrefix(line, denseName(d.SpacingMM)+" ") {
				row = line
			}
		}
		for _, want := range []string{duration(d.TimeS), fmt.Sprintf(" %.0f ", d.VolumeMM3), fmt.Sprintf(" %.2f ", d.MassG), fmt.Sprintf(" %d ", d.Paths), "–"} {
			if !strings.Contains(row, want) {
				t.Errorf("no %q in the row of %g mm: %q", want, d.SpacingMM, row)
			}
		}
	}
	for _, want := range []string{"printer   default: 60 mm/s", "none given", "a planner's"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("no %q in\n%s", want, stdout)
		}
	}
	if strings.Contains(stdout, "price") || strings.Contains(stdout, "files ") {
		t.Errorf("told what was not asked for:\n%s", stdout)
	}
}

// Whatever bake refuses as a part cost refuses too, with the same words, and as
// supports what cannot be read.
func TestCostRefusesBadInput(t *testing.T) {
	files, err := filepath.Glob(badFile("*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no bad input: %v", err)
	}
	files = append(files, filepath.Join(t.TempDir(), "nowhere.stl"), stlFile(t, "afloat", box(20, 10, 2.5, 5)),
		writeFile(t, "half.3mf", []byte("PK\x03\x04 and no more")))
	refused := 0
	for _, path := range files {
		out := filepath.Join(t.TempDir(), "out")
		code, stdout, stderr := call("cost", path, "--out", out, "--no-pictures", "--json")
		bakeCode, _, bake := call("survey", path, "--json")
		if code != bakeCode || stderr != bake {
			t.Errorf("%s: exit %d, %q; survey: exit %d, %q", filepath.Base(path), code, stderr, bakeCode, bake)
		}
		if code == exitRefused {
			refused++
			oneClearLine(t, stderr, filepath.Base(path))
			if _, err := os.Stat(out); stdout != "" || !os.IsNotExist(err) {
				t.Errorf("%s: said %q, folder %v", path, stdout, err)
			}
		}
	}
	if refused < 12 {
		t.Errorf("only %d files were refused", refused)
	}
	part := stlFile(t, "block", box(20, 20, 0, 10))
	for _, c := range []struct{ sup, want string }{
		{badFile("not-a-mesh"), "not-a-mesh.stl"}, {badFile("empty"), "empty.stl"},
		{filepath.Join(t.TempDir(), "nowhere.stl"), "nowhere.stl"},
		{stlFile(t, "deep", box(5, 5, -1, 5)), "below the plate"},
	} {
		code, stdout, stderr := call("cost", part, c.sup)
		if code != exitRefused || stdout != "" {
			t.Errorf("%s: exit %d, said %q", c.sup, code, stdout)
		}
		oneClearLine(t, stderr, c.want)
	}
	far := box(5, 5, 0, 5)
	for i := range far.Vertices {
		far.Vertices[i].X += 200
	}
	if r := costJSON(t, part, stlFile(t, "far", far)); len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "one frame") {
		t.Errorf("supports far from the part: %q", r.Warnings)
	}
	if r := costJSON(t, part, badFile("open")); len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "4 open edges") {
		t.Errorf("open supports: %q", r.Warnings)
	}
}

func TestCostUsage(t *testing.T) {
	part := partFile("drip-hook")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"cost"}, "0 arguments"},
		{[]string{"cost", part, part, part}, "3 arguments"},
		{[]string{"cost", part, ""}, "SUPPORTS is empty"},
		{[]string{"cost", part, "--print-printer"}, "takes no part"},
		{[]string{"cost", part, "--out", ""}, "--out is empty"},
		{[]string{"cost", part, "--printer", ""}, "--printer is empty"},
		{[]string{"cost", part, "--price", "-1"}, "--price -1"},
		{[]string{"cost", part, "--price", "NaN"}, "--price NaN"},
		{[]string{"cost", part, "--limit", "89"}, "limit 89°"},
		{[]string{"cost", part, "--picture-width", "3"}, "--picture-width 3"},
		{[]string{"cost", part, "--plan", "x"}, "--plan"},
	} {
		code, stdout, stderr := call(c.args...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" || !strings.Contains(first, c.want) || !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: exit %d, said %q, %q", c.args, code, stdout, stderr)
		}
	}
}

func TestCostHelpAndReadme(t *testing.T) {
	code, stdout, _ := call("cost", "--help")
	if code != exitHolds {
		t.Errorf("exit %d", code)
	}
	text := readme(t)
	for _, o := range strings.Fields("--out --printer --print-printer --price --layer --first-layer --nozzle --line --limit --bridge --gap --direction --json --force --no-pictures --picture-width") {
		if !strings.Contains(stdout, o+" ") || !strings.Contains(text, "`"+o) {
			t.Errorf("help or README do not list %s", o)
		}
	}
	for _, line := range strings.Split(stdout, "\n") {
		if n := len([]rune(line)); n > 120 {
			t.Errorf("%d letters in %q", n, line)
		}
	}
	for _, name := range costOutputsOf("NAME").all() {
		if !strings.Contains(text, "`"+name+"`") || !strings.Contains(stdout, name) {
			t.Errorf("help or README do not say what %s is for", name)
		}
	}
}

func TestCostWritesOnlyWhatWasAskedFor(t *testing.T) {
	part, err := filepath.Abs(partFile("drip-hook"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ args, want string }{
		{"", ""},
		{"--out D --picture-width 600", "drip-hook-cost.csv drip-hook-cost.png"},
		{"--out D --no-pictures", "drip-hook-cost.csv"},
	} {
		here, dir := t.TempDir(), filepath.Join(t.TempDir(), "new")
		t.Chdir(here)
		args := append([]string{"cost", part}, strings.Fields(strings.Replace(c.args, "D", dir, 1))...)
		if code, stdout, stderr := call(args...); code != exitHolds || strings.Contains(stdout, "files ") != (c.want != "") {
			t.Errorf("%s: exit %d, %q, %q", c.args, code, stdout, stderr)
		}
		if got := namesOf(folder(t, dir)); got != c.want {
			t.Errorf("%s: wrote %s, want %s", c.args, got, c.want)
		}
		if got := namesOf(folder(t, here)); got != "" {
			t.Errorf("%s: left where it ran: %s", c.args, got)
		}
	}
	for _, name := range costOutputsOf("drip-hook").all() {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, name), []byte("precious"), 0o644); err != nil {
			t.Fatal(err)
		}
		args := []string{"cost", part, "--out", dir, "--picture-width", "600"}
		code, stdout, stderr := call(args...)
		if code != exitRefused || stdout != "" || string(folder(t, dir)[name]) != "precious" {
			t.Errorf("%s: exit %d, said %q", name, code, stdout)
		}
		oneClearLine(t, stderr, name, "exists already", "--force")
		if code, _, stderr := call(append(args, "--force")...); code != exitHolds || string(folder(t, dir)[name]) == "precious" {
			t.Errorf("%s: --force: exit %d: %s", name, code, stderr)
		}
	}
}

// The same bytes on any number of processors, a picture of the size asked for, and
// a table whose columns add up to what is told.
func TestCostFiles(t *testing.T) {
	part, sup, _, _ := baked(t, "mast-clamp")
	var first map[string][]byte
	was := runtime.GOMAXPROCS(0)
	defer runtime.GOMAXPROCS(was)
	var r costReport
	for _, workers := range []int{1, 3} {
		runtime.GOMAXPROCS(workers)
		dir := t.TempDir()
		r = costJSON(t, part, sup, "--out", dir, "--picture-width", "801")
		files := folder(t, dir)
		if first == nil {
			first = files
		}
		for name := range first {
			if !bytes.Equal(first[name], files[name]) {
				t.Errorf("%s differs with %d workers", name, workers)
			}
		}
	}
	names := costOutputsOf("mast-clamp-part")
	img, err := png.Decode(bytes.NewReader(first[names.picture]))
	if err != nil {
		t.Fatal(err)
	}
	if b := img.Bounds(); b.Dx() != 801 || b.Dy() != 601 {
		t.Errorf("a picture of %d × %d, want 801 × 601", b.Dx(), b.Dy())
	}
	rows, err := csv.NewReader(bytes.NewReader(first[names.layers])).ReadAll()
	if err != nil || len(rows) < 100 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	sums := map[string]float64{}
	for k, row := range rows[1:] {
		for i, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatalf("row %d: %v", k, err)
			}
			sums[rows[0][i]] += v
			if rows[0][i] == "z_mm" && math.Abs(v-0.2*float64(k)) > 1e-6 {
				t.Errorf("layer %d begins at %g mm", k, v)
			}
		}
	}
	check := func(name string, e estimateReport) {
		for column, want := range map[string]float64{
			"time_s": e.TimeS, "volume_mm3": e.VolumeMM3, "length_mm": e.LengthMM, "travel_mm": e.TravelMM, "paths": float64(e.Paths),
		} {
			got := sums[name+"_"+column]
			if math.Abs(got-want) > 0.02 || want == 0 { // rounded, row by row
				t.Errorf("column %s_%s adds up to %g, want %g", name, column, got, want)
			}
		}
	}
	check("part", r.Body)
	check("supports", *r.Supports)
	for _, d := range r.Baselines {
		check(fmt.Sprintf("dense_%gmm", d.SpacingMM), d.estimateReport)
	}
}

// The area under the chart's stair is the time that was told, and between its steps
// it reads the layers.
func TestCostChartShowsEveryLayer(t *testing.T) {
	lay := raster.Layers{First: 0.3, Height: 0.2}
	e := cost.Estimate{Layers: []cost.Layer{{TimeS: 9, Paths: 1}, {}, {TimeS: 4, Paths: 2}, {TimeS: 5, Paths: 1}, {}}}
	s := steps{XYs: stepsOf(e, lay)}
	area := 0.0
	for i := 1; i < len(s.XYs); i++ {
		area += s.XYs[i-1].Y * (s.XYs[i].X - s.XYs[i-1].X)
	}
	if want := 9*0.3 + 4*0.2 + 5*0.2; math.Abs(area-want) > 1e-9 {
		t.Errorf("area %g, want %g", area, want)
	}
	for x, want := range map[float64]float64{-1: 0, 0.1: 9, 0.4: 0, 0.6: 4, 0.8: 5, 0.95: 0} {
		if got := s.at(x); got != want {
			t.Errorf("at %g mm: %g s, want %g", x, got, want)
		}
	}
	if stepsOf(cost.Estimate{}, lay) != nil {
		t.Error("a stair of nothing")
	}
	for hi, want := range map[float64]string{60: "0 10 20 30 40 50 60", 1.2: "0 0.2 0.4 0.6 0.8 1 1.2", 129: "0 20 40 60 80 100 120", 8: "0 1 2 3 4 5 6 7 8"} {
		var labels []string
		for _, k := range (ticks{}).Ticks(0, hi) {
			labels = append(labels, k.Label)
		}
		if got := strings.Join(labels, " "); got != want {
			t.Errorf("marks up to %g: %s, want %s", hi, got, want)
		}
	}
}

// Hatching stays below the edge.
func TestCostPictureHasInkWhereItShould(t *testing.T) {
	lay := raster.Layers{First: 0.2, Height: 0.2}
	layers := make([]cost.Layer, 50)
	for k := range layers {
		layers[k] = cost.Layer{TimeS: 5, Paths: 1}
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	c := &costing{name: "x", settings: s, machine: printer{name: "x"}, partCut: &raster.Stack{Layers: lay, Cut: make([]raster.Bits, 100)},
		ours: &priced{Estimate: cost.Estimate{Layers: layers}}}
	data, err := c.draw(600)
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	ink := func(x0, y0, x1, y1 int) (n int) {
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				if r, _, _, _ := img.At(x, y).RGBA(); r < 0xB000 {
					n++
				}
			}
		}
		return n
	}
	// The left half is hatched, the right half is free; in it are rules alone.
	if l, r := ink(100, 250, 250, 350), ink(350, 250, 500, 350); l < 500 || r != 0 {
		t.Errorf("%d dark pixels where supports are printed and %d where none are", l, r)
	}
}

// printerParts lets printers be compared.
var printerParts = cmp.AllowUnexported(printer{})

// The default printer printed is the default printer read, and the first example.
func TestPrinterRoundTrip(t *testing.T) {
	code, text, stderr := call("cost", "--print-printer")
	if code != exitHolds || stderr != "" {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	want, err := cost.Machine{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	got, err := decodePrinter("x", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(printer{Machine: want}, got, printerParts); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	const folder = "../../testdata/printers/"
	if example, err := os.ReadFile(folder + "steady.yaml"); err != nil || string(example) != text {
		t.Errorf("steady.yaml is not what --print-printer says (%v)", err)
	}
	brisk, err := readPrinter(folder + "brisk.yaml")
	if err != nil || brisk.name != "brisk" || brisk.Speed <= want.Speed {
		t.Errorf("brisk.yaml: %+v, %v", brisk, err)
	}
	var b bytes.Buffer
	if err := encodePrinter(&b, brisk); err != nil {
		t.Fatal(err)
	}
	again, err := decodePrinter("x", b.Bytes())
	again.name = brisk.name
	if d := cmp.Diff(brisk, again, printerParts); d != "" || err != nil {
		t.Errorf("%v; (-written +read):\n%s", err, d)
	}
	// Every number of either says where it comes from, whether it counts or not.
	for _, name := range []string{"steady.yaml", "brisk.yaml"} {
		data, err := os.ReadFile(folder + name)
		if err != nil {
			t.Fatal(err)
		}
		numbers := 0
		for _, block := range strings.Split(string(data), "\n\n")[1:] {
			said := strings.ReplaceAll(block, "\n# ", " ")
			if !strings.Contains(said, "no source") && !strings.Contains(said, "Processes 2025") && !strings.Contains(said, "An assumption") && !strings.Contains(said, "Mazlan 2020") {
				t.Errorf("%s: no source in %q", name, block)
			}
			numbers++
		}
		if numbers < 15 {
			t.Errorf("%s: %d numbers", name, numbers)
		}
	}
	for _, f := range printerFields {
		if !slices.ContainsFunc([]string{"_mm_s", "_mm_s2", "_mm", "_s", "_g_cm3", "_deg", "_mpa", "_per_kg", "_share", "loops", "layers"}, func(unit string) bool { return strings.HasSuffix(f.name, unit) }) {
			t.Errorf("%s has no unit", f.name)
		}
	}
}

// What was read off a coupon is the default of every command, and an option stands
// in for it.
func TestPrinterReadingsAreDefaults(t *testing.T) {
	mine := writeFile(t, "mine.yaml", []byte("limit_deg: 40\nbridge_mm: 7\ngap_mm: 0.25\nledge_mm: 0.3\nadhesion_mpa: 1.5\nline_mm: 0.42\nspeed_mm_s: 90\nprice_per_kg: 30\n"))
	dir := t.TempDir()
	_, r := bakeJSON(t, partFile("drip-hook"), "--out", dir, "--printer", mine, "--bridge", "8")
	p, _, _, err := readPlan(filepath.Join(dir, "drip-hook.plan.yaml"), partFile("drip-hook"), mustRead(t, partFile("drip-hook")))
	if err != nil {
		t.Fatal(err)
	}
	s := p.Settings
	if s.Limit != 40 || s.Bridge != 8 || s.Gap != 0.25 || s.LoneLedge != 0.3 || s.Line != 0.42 || s.Adhesion != 1.5 {
		t.Errorf("the plan's settings are %+v", s)
	}
	if r.Printer.Name != "mine" || r.Printer.Speed != 90 || math.Abs(*r.Supports.Price-r.Supports.MassG/1000*30) > 1e-4 {
		t.Errorf("bake used %+v and charged %v", r.Printer, *r.Supports.Price)
	}
	if len(r.Warnings) != 0 {
		t.Errorf("warnings %q", r.Warnings)
	}
	// The plan's own settings count when it is built again, and that is said.
	plan := filepath.Join(dir, "drip-hook.plan.yaml")
	_, again := bakeJSON(t, partFile("drip-hook"), "--out", filepath.Join(dir, "again"), "--plan", plan, "--printer", mine)
	if len(again.Warnings) != 1 || !strings.Contains(again.Warnings[0], "not the readings in "+mine) {
		t.Errorf("warnings %q", again.Warnings)
	}
	if again.Supports.TimeS != r.Supports.TimeS {
		t.Errorf("the plan built again takes %g s, not %g", again.Supports.TimeS, r.Supports.TimeS)
	}
	code, _, stderr := call("survey", partFile("drip-hook"), "--printer", filepath.Join(dir, "nowhere.yaml"))
	oneClearLine(t, stderr, "nowhere.yaml", "check the path")
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
}

func mustRead(t *testing.T, path string) *mesh.Mesh {
	t.Helper()
	m, _, err := readPart(path, inputOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Every number of a file counts, and the speeds and material do what they should.
func TestPrinterFileCounts(t *testing.T) {
	sup := stlFile(t, "sup", box(6, 20, 0, 5))
	part := partFile("drip-hook")
	run := func(text string) costReport {
		return costJSON(t, part, sup, "--printer", writeFile(t, "mine.yaml", []byte(text)))
	}
	base := costJSON(t, part, sup)
	if d := cmp.Diff(base.Supports, run("speed_mm_s: 60\n").Supports); d != "" {
		t.Errorf("a file of defaults (-want +got):\n%s", d)
	}
	for _, c := range []struct {
		text   string
		faster bool
	}{
		{"speed_mm_s: 120", true}, {"first_speed_mm_s: 60", true}, {"travel_speed_mm_s: 300", true}, {"accel_mm_s2: 500", false},
		{"corner_tolerance_mm: 0.5", true}, {"visit_mm: 0", true}, {"retract_s: 0", true}, {"retract_s: 1", false},
	} {
		r := run(c.text)
		if r.Printer.Name != "mine" || (r.Supports.TimeS < base.Supports.TimeS) != c.faster || r.Supports.TimeS == base.Supports.TimeS {
			t.Errorf("%s: %g s, was %g", c.text, r.Supports.TimeS, base.Supports.TimeS)
		}
		if r.Supports.VolumeMM3 != base.Supports.VolumeMM3 {
			t.Errorf("%s changed the plastic", c.text)
		}
	}
	r := run("density_g_cm3: 2.5\nfilament_diameter_mm: 3.5 # twice\nvisit_mm: 0\n")
	if math.Abs(r.Supports.MassG/base.Supports.MassG-2) > 0.01 || math.Abs(r.Supports.FilamentMM/base.Supports.FilamentMM-0.25) > 0.001 || r.Printer.Visit != 0 {
		t.Errorf("twice the density and diameter: %+v, was %+v", r.Supports, base.Supports)
	}
}

func TestPrinterRefuses(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "printer"},
		{"# nothing\n", "printer"},
		{"speed_mm_s: 60\nspede_mm_s: 50\n", `line 2: "spede_mm_s" is no field`},
		{"speed: 60\n", `line 1: "speed" is no field`},
		{"\n\nspeed_mm_s: fast\n", "line 3: speed_mm_s is not a number"},
		{"speed_mm_s: \"60\"\n", "line 1: speed_mm_s is not a number"},
		{"speed_mm_s:\n", "line 1: speed_mm_s is not a number"},
		{"speed_mm_s: [60]\n", "line 1: speed_mm_s is not a number"},
		{"speed_mm_s: .nan\n", "line 1: speed_mm_s is not a number"},
		{"speed_mm_s: .inf\n", "line 1: speed_mm_s is not a number"},
		{"visit_mm: 1e999\n", "line 1: visit_mm"},
		{"speed_mm_s: 0x10\n", "line 1: speed_mm_s"},
		{"visit_mm: 3\nspeed_mm_s: 60\nvisit_mm: 4\n", "line 3"},
		{"speed_mm_s: 0\n", "line 1: speed_mm_s: 0 is no size"},
		{"accel_mm_s2: -5\n", "line 1: accel_mm_s2: -5 is negative"},
		{"\nspeed_mm_s: 5000\n", "line 2: speed_mm_s: speed 5000 mm/s is outside 1 to 1000"},
		{"min_layer_s: 5000\n", "line 1: min_layer_s"},
		{"loops: 1.5\n", "line 1: loops: 1.5 is no count"},
		{"loops: 0\n", "line 1: loops: 0 is no size"},
		{"infill_share: 15\n", "line 1: infill_share: infill 15 is more"},
		{"gap_mm: 0\n", "line 1: gap_mm: 0 is outside 0.01 to 1"},
		{"bridge_mm: 1000\n", "line 1: bridge_mm: 1000 is outside 2 to 200"},
		{"- 1\n- 2\n", "line 1: not a list of names and numbers"},
		{"speed_mm_s: 60\n---\nspeed_mm_s: 50\n", "2 documents"},
		{"speed_mm_s: 60\n  accel: : 3\n", "line "},
		{"speed_mm_s: {a\n", "YAML"},
		{strings.Repeat("# long\n", 2000), "more than 8192 bytes"},
	} {
		path := writeFile(t, "mine.yaml", []byte(c.text))
		code, stdout, stderr := call("cost", partFile("drip-hook"), "--printer", path)
		if code != exitRefused || stdout != "" {
			t.Errorf("%.40q: exit %d, said %q", c.text, code, stdout)
		}
		oneClearLine(t, stderr, "mine.yaml: ", c.want)
	}
	_, _, stderr := call("cost", partFile("drip-hook"), "--printer", filepath.Join(t.TempDir(), "nowhere.yaml"))
	oneClearLine(t, stderr, "nowhere.yaml", "check the path")
}

func FuzzPrinter(f *testing.F) {
	for _, seed := range []string{"speed_mm_s: 60\n", "visit_mm: 0\nretract_s: 0.1 # s\n", "speed_mm_s: 1\nloops: 3\ngap_mm: 0.2\n", "speed_mm_s: 1e3\n", "&a [*a]", "? speed_mm_s\n: 60", "{speed_mm_s: 60}", "speed_mm_s: !!float 6\n", "<<: {a: 1}\n", "a: |\n  b\n"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := decodePrinter("fuzz", data)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fuzz: ") {
				t.Errorf("the error does not name the file: %v", err)
			}
			return
		}
		if _, err := m.Resolve(); err != nil {
			t.Errorf("a printer that was read is refused: %v", err)
		}
		var b bytes.Buffer
		if err := encodePrinter(&b, m); err != nil {
			t.Fatal(err)
		}
		again, err := decodePrinter("again", b.Bytes())
		if d := cmp.Diff(m, again, printerParts); d != "" || err != nil {
			t.Errorf("%v; (-written +read):\n%s", err, d)
		}
	})
}
