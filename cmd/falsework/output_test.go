package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func text(files map[string][]byte) map[string]string {
	out := map[string]string{}
	for n, d := range files {
		out[n] = string(d)
	}
	return out
}

func place(t *testing.T, o output, files ...file) {
	t.Helper()
	if err := o.place(files, nil); err != nil {
		t.Fatal(err)
	}
}

func TestPlace(t *testing.T) {
	names := []string{"a", "b", "c"}
	dir := filepath.Join(t.TempDir(), "some", "where")
	o := output{dir: dir, names: names}
	place(t, o, file{"a", []byte("1")}, file{"b", []byte("2")})
	if d := cmp.Diff(map[string]string{"a": "1", "b": "2"}, text(folder(t, dir))); d != "" {
		t.Errorf("new folder (-want +got):\n%s", d)
	}
	if got := namesOf(folder(t, filepath.Dir(dir))); got != "where/" {
		t.Errorf("beside it: %s", got)
	}

	err := o.place([]file{{"a", []byte("3")}}, nil)
	if err == nil || !strings.Contains(err.Error(), "--force") {
		t.Errorf("error %v, want one that names --force", err)
	}
	if d := cmp.Diff(map[string]string{"a": "1", "b": "2"}, text(folder(t, dir))); d != "" {
		t.Errorf("refused (-want +got):\n%s", d)
	}

	// What belongs to another run goes, what is not ours stays.
	if err := os.WriteFile(filepath.Join(dir, "mine"), []byte("9"), 0o644); err != nil {
		t.Fatal(err)
	}
	o.force = true
	place(t, o, file{"a", []byte("4")}, file{"c", []byte("5")})
	if d := cmp.Diff(map[string]string{"a": "4", "c": "5", "mine": "9"}, text(folder(t, dir))); d != "" {
		t.Errorf("forced (-want +got):\n%s", d)
	}

	// Half-way through, a file that cannot be placed: all is as it was.
	if err := o.place([]file{{"a", []byte("6")}, {filepath.Join("no", "such"), []byte("7")}}, nil); err == nil {
		t.Error("no error")
	}
	if d := cmp.Diff(map[string]string{"a": "4", "c": "5", "mine": "9"}, text(folder(t, dir))); d != "" {
		t.Errorf("failed to write aside (-want +got):\n%s", d)
	}
	if err := os.MkdirAll(filepath.Join(dir, "b", "full"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := o.placeAmong([]file{{"a", []byte("6")}, {"mine", []byte("8")}, {"b/full", []byte("7")}}, nil); err == nil {
		t.Error("no error")
	}
	os.RemoveAll(filepath.Join(dir, "b"))
	if d := cmp.Diff(map[string]string{"a": "4", "c": "5", "mine": "9"}, text(folder(t, dir))); d != "" {
		t.Errorf("failed to move (-want +got):\n%s", d)
	}
}

// Ways to name the same folder.
func TestFolderNames(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	part := stlFile(t, "cube", box(12, 12, 0, 12))
	for _, out := range []string{"a/", "./b", "c/../d/", "e/f//g", ".", filepath.Join(dir, "h") + "/"} {
		if code, _, stderr := call("bake", part, "--out", out, "--no-pictures"); code != exitHolds {
			t.Errorf("%q: exit %d: %s", out, code, stderr)
		}
		if got := namesOf(folder(t, filepath.Clean(out))); !strings.Contains(got, "cube.3mf") {
			t.Errorf("%q holds %s", out, got)
		}
	}
	if got, want := namesOf(folder(t, dir)), "a/ b/ cube-listing.md cube-part.stl cube-proof.json cube-sheet.html cube.3mf cube.plan.yaml d/ e/ h/"; got != want {
		t.Errorf("there is %s, want %s", got, want)
	}
}

func TestNothingIsOverwrittenWithoutForce(t *testing.T) {
	for _, name := range outputsOf("tip-bucket-weight").all() {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, name), []byte("precious"), 0o644); err != nil {
			t.Fatal(err)
		}
		code, stdout, stderr := call("bake", partFile("tip-bucket-weight"), "--out", dir, "--no-pictures")
		if code != exitRefused || stdout != "" {
			t.Errorf("%s: exit %d, said %q", name, code, stdout)
		}
		oneClearLine(t, stderr, name, "exists already", "--force")
		if d := cmp.Diff(map[string]string{name: "precious"}, text(folder(t, dir))); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
	}
	dir := t.TempDir()
	precious := filepath.Join(dir, "tip-bucket-weight-supports.stl")
	if err := os.WriteFile(precious, []byte("of an earlier run"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, stderr := call("bake", partFile("tip-bucket-weight"), "--out", dir, "--no-pictures", "--force"); code == exitRefused {
		t.Errorf("--force: exit %d: %s", code, stderr)
	}
	if _, err := os.Stat(precious); !os.IsNotExist(err) {
		t.Error("supports of an earlier run lie beside a part that needs none")
	}
}

func TestUnwritableOutput(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "plain")
	if err := os.WriteFile(plain, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	taken := filepath.Join(dir, "taken", "tip-bucket-weight.3mf")
	if err := os.MkdirAll(taken, 0o755); err != nil {
		t.Fatal(err)
	}
	cases := map[string]string{
		plain:                        "is a file",
		filepath.Join(plain, "in"):   "cannot be written to",
		filepath.Dir(taken):          "is a folder",
		"/proc/falsework":            "cannot be written to",
		filepath.Join(dir, "a\x00b"): "cannot be written to",
	}
	if os.Getuid() != 0 { // root may write anywhere
		locked := filepath.Join(dir, "locked")
		if err := os.Mkdir(locked, 0o555); err != nil {
			t.Fatal(err)
		}
		cases[locked] = "permission denied"
		cases[filepath.Join(locked, "in")] = "permission denied"
	}
	for out, want := range cases {
		code, stdout, stderr := call("bake", partFile("tip-bucket-weight"), "--out", out, "--no-pictures", "--force")
		if code != exitRefused || stdout != "" {
			t.Errorf("%q: exit %d, said %q", out, code, stdout)
		}
		oneClearLine(t, stderr, want, "--out")
	}
	if got := namesOf(folder(t, dir)); got != "plain taken/" && got != "locked/ plain taken/" {
		t.Errorf("left behind: %s", got)
	}
}

func TestPartIsNeverReplaced(t *testing.T) {
	dir := t.TempDir()
	data, err := os.ReadFile(partFile("drip-hook"))
	if err != nil {
		t.Fatal(err)
	}
	// NAME-part.stl of "a" is the name of the part "a-part"'s own file.
	link := filepath.Join(dir, "a-part.stl")
	if err := os.WriteFile(link, data, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("a-part.stl", filepath.Join(dir, "a.stl")); err != nil {
		t.Skip(err)
	}
	code, _, stderr := call("bake", filepath.Join(dir, "a.stl"), "--out", dir, "--no-pictures", "--force")
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
	oneClearLine(t, stderr, "is the part itself")
	if got := namesOf(folder(t, dir)); got != "a-part.stl a.stl" {
		t.Errorf("folder holds %s", got)
	}
}

func TestInterruptLeavesNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stderr strings.Builder
	dir := filepath.Join(t.TempDir(), "out")
	code := run(ctx, streams{in: strings.NewReader(""), out: io.Discard, err: &stderr},
		[]string{"bake", partFile("wall-bracket"), "--out", dir})
	if code != exitRefused {
		t.Errorf("exit %d, want 2", code)
	}
	oneClearLine(t, stderr.String(), "interrupted")
	if got := namesOf(folder(t, filepath.Dir(dir))); got != "" {
		t.Errorf("left behind: %s", got)
	}
}
