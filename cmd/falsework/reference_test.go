package main

import (
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"falsework/mesh"
)

// referenceTool returns the path of a program that other people wrote and that
// judges our files. A machine without it skips the test, but where
// FALSEWORK_REFERENCE=1 is set, as the test command of the README does, a missing
// program is a failure.
func referenceTool(t *testing.T, program, install string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		missing(t, program+" is not installed; on Debian: apt-get install "+install)
	}
	return path
}

func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("FALSEWORK_REFERENCE") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// judged are the parts whose outputs the reference programs look at.
func judged(t *testing.T) []string {
	if testing.Short() {
		return []string{"drip-hook", "tip-bucket-weight"}
	}
	return parts(t)
}

// admesh mends STL files and reports what it had to do: nothing, for ours. It
// matches edges by the coordinates of their ends.
func TestReferenceAdmeshFindsNothingToMend(t *testing.T) {
	admesh := referenceTool(t, "admesh", "admesh")
	figures := []string{
		`Total disconnected facets +: +(\d+)`, `Degenerate facets +: +(\d+)`, `Edges fixed +: +(\d+)`,
		`Facets removed +: +(\d+)`, `Facets added +: +(\d+)`, `Facets reversed +: +(\d+)`,
		`Backwards edges +: +(\d+)`, `Normals fixed +: +(\d+)`,
	}
	for _, name := range judged(t) {
		out := filepath.Join(t.TempDir(), "out")
		bakeJSON(t, partFile(name), "--out", out)
		files, err := filepath.Glob(filepath.Join(out, "*.stl"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: no STL (%v)", name, err)
		}
		for _, path := range files {
			report, err := exec.Command(admesh, path).CombinedOutput()
			if err != nil {
				t.Errorf("%s: %v\n%s", path, err, report)
				continue
			}
			for _, f := range figures {
				found := regexp.MustCompile(f).FindSubmatch(report)
				if found == nil {
					t.Fatalf("%s: no %q in\n%s", path, f, report)
				}
				if n, err := strconv.Atoi(string(found[1])); err != nil || n != 0 {
					t.Errorf("%s: %s is %s", filepath.Base(path), f, found[1])
				}
			}
		}
	}
}

// lib3mf, the library of the format's own makers, in strict mode.
func TestReferenceLib3MFFindsTwoBodies(t *testing.T) {
	gxx := referenceTool(t, "g++", "g++")
	const headers = "/usr/include/lib3mf"
	if _, err := os.Stat(headers); err != nil {
		missing(t, headers+" is missing; on Debian: apt-get install lib3mf-dev")
	}
	check := filepath.Join(t.TempDir(), "lib3mfcheck")
	source := filepath.Join("..", "..", "testdata", "lib3mfcheck", "main.cpp")
	if out, err := exec.Command(gxx, "-Wall", "-I"+headers, source, "-l3MF", "-o", check).CombinedOutput(); err != nil {
		missing(t, fmt.Sprintf("building %s failed (it needs lib3mf-dev 1.8): %v\n%s", source, err, out))
	}
	for _, name := range judged(t) {
		out := filepath.Join(t.TempDir(), "out")
		_, r := bakeJSON(t, partFile(name), "--out", out)
		text, err := exec.Command(check, filepath.Join(out, name+".3mf")).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v\n%s", name, err, text)
			continue
		}
		got := html.UnescapeString(string(text))
		want := []string{"warnings 0\n", "millimetres yes\n", "name=part\n"}
		bodies := 1
		if r.Supports.Bodies > 0 || r.Supports.closes() {
			bodies = 2
			want = append(want, "name=supports\n", "assembly components=2 valid=yes")
			m, _, err := mesh.ReadSTL(filepath.Join(out, name+"-supports.stl"))
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, fmt.Sprintf(" triangles=%d manifold=yes valid=yes model=yes name=supports\n", len(m.Triangles)))
		}
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: no %q in\n%s", name, w, got)
			}
		}
		if n := strings.Count(got, "\nmesh "); n != bodies {
			t.Errorf("%s: %d bodies, want %d", name, n, bodies)
		}
		if n := strings.Count(got, "manifold=yes valid=yes"); n != bodies {
			t.Errorf("%s: %d valid meshes, want %d:\n%s", name, n, bodies, got)
		}
	}
}
