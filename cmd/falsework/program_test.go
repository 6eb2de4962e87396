package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"

	"falsework/supports/plan"
)

// call runs the whole program in this process.
func call(args ...string) (code exitCode, stdout, stderr string) {
	var out, err bytes.Buffer
	code = run(context.Background(), streams{in: strings.NewReader(""), out: &out, err: &err}, args)
	return code, out.String(), progressLine.ReplaceAllString(err.String(), "")
}

// progressLine is what a command that takes long says meanwhile: on a busy machine any
// of them may.
var progressLine = regexp.MustCompile(`(?m)^[a-z][^:\n]* …( \d+ s so far)?\n`)

func partFile(name string) string { return filepath.Join("..", "..", "testdata", "parts", name+".stl") }
func badFile(name string) string  { return filepath.Join("..", "..", "testdata", "bad", name+".stl") }

// parts returns the names of all demo parts.
func parts(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(partFile("*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no demo parts: %v", err)
	}
	for i, f := range files {
		files[i] = stem(f)
	}
	return files
}

// folder returns the files of a folder, hidden ones too; a folder that is not
// there has none.
func folder(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	list, err := os.ReadDir(dir)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	for _, e := range list {
		if e.IsDir() {
			files[e.Name()+"/"] = nil
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		files[e.Name()] = data
	}
	return files
}

func namesOf(files map[string][]byte) string {
	var names []string
	for n := range files {
		names = append(names, n)
	}
	sort.Strings(names)
	return strings.Join(names, " ")
}

// bakeJSON bakes without pictures and returns what --json says.
func bakeJSON(t *testing.T, args ...string) (exitCode, bakeReport) {
	t.Helper()
	code, out, stderr := call(append([]string{"bake", "--json", "--no-pictures"}, args...)...)
	if code == exitRefused {
		t.Fatalf("bake %q: exit %d: %s", args, code, stderr)
	}
	var r bakeReport
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatalf("bake %q: %v in %q", args, err, out)
	}
	return code, r
}

func readPlanFile(t *testing.T, path string) plan.Plan {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Decode(path, data)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func writePlanFile(t *testing.T, p plan.Plan) string {
	t.Helper()
	data, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return writeFile(t, "edited.plan.yaml", data)
}

func writeFile(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// oneClearLine checks the form of an error: a single line, begun by the
// program's name, that holds all of want.
func oneClearLine(t *testing.T, stderr string, want ...string) {
	t.Helper()
	if strings.Count(stderr, "\n") != 1 || !strings.HasPrefix(stderr, "falsework: ") {
		t.Errorf("not one line of the program's: %q", stderr)
	}
	for _, w := range want {
		if !strings.Contains(stderr, w) {
			t.Errorf("no %q in %q", w, stderr)
		}
	}
	if !strings.Contains(stderr, "; ") {
		t.Errorf("no remedy in %q", stderr)
	}
}
