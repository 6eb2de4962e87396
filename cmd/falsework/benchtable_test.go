package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func benchJSON(t *testing.T, args ...string) (exitCode, benchReport) {
	t.Helper()
	code, out, stderr := call(append([]string{"bench", "--json"}, args...)...)
	var r benchReport
	dec := json.NewDecoder(strings.NewReader(out))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&r); err != nil {
		t.Fatalf("bench %q: exit %d, %v in %q; %s", args, code, err, out, stderr)
	}
	return code, r
}

// A few parts still give the README's rows. Seconds depend on the computer.
func TestReadmeResults(t *testing.T) {
	_, r := benchJSON(t, partFile("bearing-block"), partFile("drip-hook"), partFile("mast-clamp"), partFile("tall-arm"), partFile("tip-bucket-weight"))
	_, rest, _ := strings.Cut(readme(t), markBegin+"\n")
	table, _, ok := strings.Cut(rest, markEnd)
	if !ok {
		t.Fatal("the README has no results")
	}
	cells := func(line string) []string {
		c := strings.Split(strings.Trim(line, "| "), "|")
		for i := range c {
			c[i] = strings.TrimSpace(c[i])
		}
		return c[:len(c)-1] // seconds
	}
	rows := map[string][]string{}
	for _, line := range strings.Split(table, "\n") {
		if strings.HasPrefix(line, "| ") {
			rows[cells(line)[0]] = cells(line)
		}
	}
	want := map[string][]string{"part": benchHeads}
	for _, row := range r.Rows {
		want[row.Name] = row.cells()
	}
	for name, row := range want {
		if d := cmp.Diff(row[:len(row)-1], rows[name]); d != "" {
			t.Errorf("%s: make results would change the README (-now +README):\n%s", name, d)
		}
	}
	parts, err := partsOf([]string{filepath.Dir(partFile("x"))})
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range parts {
		if rows[stem(path)] == nil {
			t.Errorf("the README's results lack %s", stem(path))
		}
	}
	for _, p := range published {
		if !strings.Contains(table, p.source) {
			t.Errorf("the README's results lack %s", p.source)
		}
	}
}

// A row says what bake and cost say, and the means are those of the rows.
func TestBenchIsBakes(t *testing.T) {
	part, sup, _, bake := baked(t, "mast-clamp")
	price := costJSON(t, part, sup)
	dir := filepath.Join(t.TempDir(), "out")
	code, r := benchJSON(t, partFile("mast-clamp"), partFile("tall-arm"), "--out", dir)
	if code != exitHolds || len(r.Rows) != 2 {
		t.Fatalf("exit %d, %d rows", code, len(r.Rows))
	}
	row := r.Rows[0]
	if row.Supports.TimeS != bake.Supports.TimeS || row.ContactMM2 != bake.Supports.ContactMM2 || row.Bodies != bake.Supports.Bodies || row.Verdict != bake.Proof.Verdict {
		t.Errorf("bench says %+v, bake %+v", row, bake)
	}
	if d := cmp.Diff(bake.Print, row.Print); d != "" {
		t.Errorf("(-bake +bench):\n%s", d)
	}
	for i, d := range row.Dense {
		if b := price.Baselines[i]; d.TimeS != b.TimeS || d.VolumeMM3 != b.VolumeMM3 || *d.Ratio.Time != *b.Ratio.Time || d.SpacingMM != b.SpacingMM {
			t.Errorf("bench says %+v, cost %+v", d, b)
		}
	}
	saved, sum := 0.0, [2]float64{}
	for _, row := range r.Rows {
		saved += (1 - row.Supports.TimeS/row.Dense[1].TimeS) / 2
		sum[0] += row.Supports.VolumeMM3
		sum[1] += row.Dense[1].VolumeMM3
	}
	if math.Abs(r.Mean.Time-saved) > 1e-4 || math.Abs(r.Mean.SumPlastic-(1-sum[0]/sum[1])) > 1e-4 || r.Mean.Parts != 2 {
		t.Errorf("means %+v, want time %g, sum of plastic %g", r.Mean, saved, 1-sum[0]/sum[1])
	}
	files := folder(t, dir)
	table, err := csv.NewReader(strings.NewReader(string(files["bench.csv"]))).ReadAll()
	if err != nil || len(table) != 3 || table[1][slices.Index(table[0], "dense_4mm_time_s")] != number(row.Dense[2].TimeS) {
		t.Errorf("%v in %v", err, table)
	}
	var written benchReport
	if err := json.Unmarshal(files["bench.json"], &written); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(r, written, cmp.AllowUnexported(benchDense{})); d != "" {
		t.Errorf("(-told +written):\n%s", d)
	}
}

// A part that cannot be baked does not stop the rest; rows of an earlier run are
// taken over for the same file and settings alone.
func TestBenchGoesOn(t *testing.T) {
	models := t.TempDir()
	copyTo := func(name, from string) {
		data, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(models, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	copyTo("b-hook.stl", partFile("drip-hook"))
	copyTo("a-inches.STL", badFile("inches"))
	copyTo("notes.txt", badFile("inches"))
	out := filepath.Join(t.TempDir(), "out")
	code, first := benchJSON(t, models, "--out", out)
	if code != exitFails || len(first.Rows) != 2 || first.Rows[0].Verdict != "refused" || !strings.Contains(first.Rows[0].Problem, "--unit") || first.Rows[1].Verdict != "holds" {
		t.Fatalf("exit %d, %+v", code, first.Rows)
	}
	// Mark the row: whether it is baked again shows.
	path := filepath.Join(out, "bench.json")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	seconds := func(args ...string) float64 {
		t.Helper()
		marked := strings.ReplaceAll(string(data), `"seconds": `, `"seconds": 9`)
		if err := os.WriteFile(path, []byte(marked), 0o666); err != nil {
			t.Fatal(err)
		}
		_, r := benchJSON(t, append([]string{models, "--out", out}, args...)...)
		return r.Rows[1].Seconds
	}
	if s := seconds(); s < 9 {
		t.Errorf("baked again: %g s", s)
	}
	if s := seconds("--bridge", "9"); s >= 9 {
		t.Errorf("other settings: the row of %g s was taken over", s)
	}
	if s := seconds("--force"); s >= 9 {
		t.Errorf("--force: the row of %g s was taken over", s)
	}
	copyTo("b-hook.stl", partFile("bearing-block"))
	if s := seconds(); s >= 9 {
		t.Errorf("another file: the row of %g s was taken over", s)
	}
	// Files of those names that are not ours stay.
	if err := os.WriteFile(path, []byte(`{"precious": 1}`), 0o666); err != nil {
		t.Fatal(err)
	}
	code, _, stderr := call("bench", models, "--out", out)
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
	oneClearLine(t, stderr, "exists already", "--force")
	// An interrupt leaves what is done.
	ctx, stop := context.WithCancel(context.Background())
	stop()
	o := &benchOptions{parts: []string{models}, out: filepath.Join(t.TempDir(), "new"), delay: progressDelay}
	o.printer.set = newBenchCommand(streams{}).Flags()
	if err := runBench(ctx, streams{out: &strings.Builder{}, err: &strings.Builder{}}, o); err == nil || !strings.Contains(err.Error(), "after 0 of 2 parts; run it again") {
		t.Errorf("interrupted: %v", err)
	}
}

func TestBenchIntoAPage(t *testing.T) {
	page := writeFile(t, "page.md", []byte("Before.\n\n"+markBegin+"\nstale\n"+markEnd+"\n\nAfter.\n"))
	if code, stdout, stderr := call("bench", partFile("drip-hook"), "--into", page); code != exitHolds || !strings.Contains(stdout, "drip-hook") || !strings.Contains(stdout, "mean") {
		t.Fatalf("exit %d: %s%s", code, stdout, stderr)
	}
	data, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	if !strings.HasPrefix(text, "Before.\n\n"+markBegin) || !strings.HasSuffix(text, markEnd+"\n\nAfter.\n") || !strings.Contains(text, "| drip-hook |") || strings.Contains(text, "stale") {
		t.Errorf("the page became\n%s", text)
	}
	bare := writeFile(t, "bare.md", []byte("No marks.\n"))
	_, stdout, stderr := call("bench", partFile("drip-hook"), "--into", bare)
	oneClearLine(t, stderr, "bare.md", "has no lines", "add them")
	if stdout != "" {
		t.Errorf("said %q", stdout)
	}
	// Others' figures are exceeded only where both times are.
	for _, c := range []struct {
		m    benchMean
		want string
	}{
		{benchMean{Parts: 1, Time: 0.4, PrintTime: 0.1, Plastic: 0.3}, "plastic does not exceed it; time does not exceed it"},
		{benchMean{Parts: 1, Time: 0.4, PrintTime: 0.3, Plastic: 0.5}, "plastic exceeds the published figure under our stated baseline; time exceeds the published figure under our stated baseline"},
	} {
		for _, line := range strings.Split((&benchReport{Mean: c.m}).markdown(), "\n") {
			if strings.HasPrefix(line, "| Vanek") && !strings.HasSuffix(line, "| "+c.want+" |") {
				t.Errorf("%+v: %s", c.m, line)
			}
		}
	}
}

func TestBenchUsage(t *testing.T) {
	part := partFile("drip-hook")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"bench"}, "given none"},
		{[]string{"bench", ""}, "PART is empty"},
		{[]string{"bench", part, "--out", ""}, "--out is empty"},
		{[]string{"bench", part, "--into", ""}, "--into is empty"},
		{[]string{"bench", part, "--limit", "89"}, "limit 89°"},
		{[]string{"bench", part, "--printer", ""}, "--printer is empty"},
	} {
		code, stdout, stderr := call(c.args...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" || !strings.Contains(first, c.want) || !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: exit %d, said %q, %q", c.args, code, stdout, stderr)
		}
	}
	_, _, stderr := call("bench", t.TempDir())
	oneClearLine(t, stderr, "holds no STL, 3MF or OBJ file")
	_, _, stderr = call("bench", filepath.Join(t.TempDir(), "nowhere"))
	oneClearLine(t, stderr, "nowhere", "check the path")
	_, help, _ := call("bench", "--help")
	for _, o := range strings.Fields("--out --into --printer --layer --json --force") {
		if !strings.Contains(help, o+" ") || !strings.Contains(readme(t), "`"+o) {
			t.Errorf("help or README do not list %s", o)
		}
	}
	for _, name := range tablesOf("bench") {
		if !strings.Contains(help, name) || !strings.Contains(readme(t), "`"+name+"`") {
			t.Errorf("help or README do not say what %s is", name)
		}
	}
}
