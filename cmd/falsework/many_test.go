package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// bakeMany bakes into a folder and returns what it says as JSON.
func bakeMany(t *testing.T, args ...string) (exitCode, benchReport) {
	t.Helper()
	code, stdout, stderr := call(append([]string{"bake", "--json", "--no-pictures"}, args...)...)
	var r benchReport
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatalf("exit %d: %s%s", code, stdout, stderr)
	}
	return code, r
}

func verdicts(r benchReport) string {
	var out []string
	for _, row := range r.Rows {
		out = append(out, row.Name+" "+row.Verdict)
	}
	return strings.Join(out, ", ")
}

func TestBakeMany(t *testing.T) {
	models := t.TempDir()
	for name, from := range map[string]string{"b.stl": partFile("nut-pocket-plate"), "c.STL": partFile("tip-bucket-weight"), "a.stl": badFile("truncated"), "notes.txt": badFile("empty")} {
		data, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(models, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	out := filepath.Join(t.TempDir(), "out")
	code, r := bakeMany(t, models, "--out", out)
	// The damaged one does not stop the others.
	if got := verdicts(r); code != exitFails || got != "a refused, b holds, c holds" || !strings.Contains(r.Rows[0].Problem, "cut short") {
		t.Errorf("exit %d: %s", code, got)
	}
	files := folder(t, out)
	for _, name := range []string{"b.3mf", "b-sheet.html", "b-supports.stl", "c.3mf", "bake.csv", "bake.json", "bake.md"} {
		if files[name] == nil {
			t.Errorf("no %s", name)
		}
	}
	// One at a time gives the same files.
	alone := filepath.Join(t.TempDir(), "alone")
	if code, _, stderr := call("bake", filepath.Join(models, "b.stl"), "--out", alone, "--no-pictures"); code != exitHolds {
		t.Fatal(stderr)
	}
	for name, data := range folder(t, alone) {
		if string(files[name]) != string(data) {
			t.Errorf("%s differs from that of the part baked alone", name)
		}
	}

	if code, _, stderr := call("bake", models, "--out", out); code != exitRefused || !strings.Contains(stderr, "--resume") {
		t.Errorf("exit %d over what is there: %s", code, stderr)
	}
	// Going on: what is done stays as it is, what is missing or has changed is baked,
	// what was refused is tried again.
	mark := []byte("mark")
	if err := os.WriteFile(filepath.Join(out, "c-proof.json"), mark, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(out, "b.3mf")); err != nil {
		t.Fatal(err)
	}
	mended, err := os.ReadFile(partFile("tip-bucket-weight"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(models, "a.stl"), mended, 0o666); err != nil {
		t.Fatal(err)
	}
	code, r = bakeMany(t, filepath.Join(models, "*"), "--out", out, "--resume")
	if got := verdicts(r); code != exitHolds || got != "a holds, b holds, c holds" {
		t.Errorf("exit %d: %s", code, got)
	}
	again := folder(t, out)
	if string(again["c-proof.json"]) != string(mark) {
		t.Error("a part that was done was baked again")
	}
	if string(again["b.3mf"]) != string(files["b.3mf"]) || again["a.3mf"] == nil {
		t.Error("a part that was not done was left out")
	}
	// Other settings are another job.
	if _, r = bakeMany(t, models, "--out", out, "--resume", "--gap", "0.3"); string(folder(t, out)["c-proof.json"]) == string(mark) {
		t.Errorf("other settings took over what was done: %s", verdicts(r))
	}
}

func TestBakeManyRefusals(t *testing.T) {
	dir := t.TempDir()
	part := stlFile(t, "cube", box(12, 12, 0, 12))
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{part, filepath.Join(dir, "nowhere.stl")}, "nowhere.stl"},
		{[]string{filepath.Join(dir, "*.stl")}, "no STL, 3MF or OBJ file is named like this"},
		{[]string{dir}, "holds no STL, 3MF or OBJ file"},
		{[]string{part, stlFile(t, "CUBE", box(12, 12, 0, 12))}, "another folder"},
	} {
		out := filepath.Join(t.TempDir(), "out")
		code, stdout, stderr := call(append([]string{"bake", "--out", out}, c.args...)...)
		if code != exitRefused || stdout != "" || !strings.Contains(stderr, c.want) {
			t.Errorf("%q: exit %d, %q, %q; want %q", c.args, code, stdout, stderr, c.want)
		}
		if _, err := os.Stat(out); !os.IsNotExist(err) {
			t.Errorf("%q made its folder", c.args)
		}
	}
}
