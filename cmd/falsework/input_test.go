package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

func stlFile(t *testing.T, name string, m *mesh.Mesh) string {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.EncodeSTL(&b, m, name); err != nil {
		t.Fatal(err)
	}
	return writeFile(t, name+".stl", b.Bytes())
}

func box(x, y, z, height float64) *mesh.Mesh {
	return meshtest.Box(r3.Vec{Z: z}, r3.Vec{X: x, Y: y, Z: z + height})
}

func TestBadInputIsRefusedInOneLine(t *testing.T) {
	for _, c := range []struct {
		name string
		path string
		want []string // file, place and remedy
	}{
		{"prose", badFile("not-a-mesh"), []string{"not-a-mesh.stl", "byte 0", "export"}},
		{"empty", badFile("empty"), []string{"empty.stl", "empty", "export"}},
		{"truncated", badFile("truncated"), []string{"truncated.stl", "byte 451", "triangle 8", "export"}},
		{"trailing bytes", badFile("trailing-bytes"), []string{"trailing-bytes.stl", "byte 684", "export"}},
		{"false count", badFile("false-count"), []string{"false-count.stl", "4294967295", "export"}},
		{"NaN", badFile("nan"), []string{"nan.stl", "triangle 8", "NaN", "repair"}},
		{"infinite", badFile("infinite"), []string{"infinite.stl", "triangle 8", "Inf", "repair"}},
		{"no volume", badFile("flat"), []string{"flat.stl", "flat", "thickness"}},
		{"inches", badFile("inches"), []string{"inches.stl", "1.5 × 1 × 0.75 mm", "--unit", "inch"}},
		{"kilometre", badFile("kilometre"), []string{"kilometre.stl", "1000 mm", "scale"}},
		{"below the plate", badFile("below-plate"), []string{"below-plate.stl", "z = -3", "lift it by 3 mm"}},
		{"above the plate", stlFile(t, "afloat", box(20, 10, 2.5, 5)), []string{"afloat.stl", "z = 2.5", "lower it by 2.5 mm"}},
		{"missing", filepath.Join(t.TempDir(), "nowhere.stl"), []string{"nowhere.stl", "no such file", "check the path"}},
		{"folder", t.TempDir(), []string{"holds no STL, 3MF or OBJ file"}},
		{"3MF that is none", writeFile(t, "half.3mf", []byte("PK\x03\x04 and no more")), []string{"half.3mf", "again"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := filepath.Join(t.TempDir(), "out")
			code, stdout, stderr := call("bake", c.path, "--out", out)
			if code != exitRefused || stdout != "" {
				t.Errorf("exit %d, said %q; want 2 and silence", code, stdout)
			}
			oneClearLine(t, stderr, c.want...)
			if _, err := os.Stat(out); !os.IsNotExist(err) {
				t.Errorf("%s was made", out)
			}
		})
	}
}

// What is odd but sound is worked on, with a warning where it is not clean.
func TestOddInputIsWorkedOn(t *testing.T) {
	for _, c := range []struct {
		name      string
		triangles int
		volume    float64 // by ../../testdata/SOURCES.md; 0: not a solid
		warning   string
	}{
		{"ascii-two-solids", 24, 6400, ""},
		{"header-says-solid", 12, 3200, ""},
		{"upper-case", 12, 3200, ""},
		{"open", 10, 0, "4 open edges"},
		{"nonmanifold", 24, 5440, "1 edge with more than two triangles"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, r := bakeJSON(t, badFile(c.name), "--out", filepath.Join(t.TempDir(), "out"))
			if code == exitHolds && r.Proof.Verdict != "holds" {
				t.Errorf("exit 0 with the verdict %q", r.Proof.Verdict)
			}
			if r.Part.Triangles != c.triangles {
				t.Errorf("%d triangles, want %d", r.Part.Triangles, c.triangles)
			}
			if c.volume != 0 && r.Part.VolumeMM3 != c.volume {
				t.Errorf("volume %g, want %g", r.Part.VolumeMM3, c.volume)
			}
			warnings := strings.Join(r.Warnings, "\n")
			if c.warning == "" && warnings != "" || !strings.Contains(warnings, c.warning) {
				t.Errorf("warnings %q, want %q", warnings, c.warning)
			}
		})
	}
}

func TestSmallPartIsAskedAbout(t *testing.T) {
	_, r := bakeJSON(t, stlFile(t, "small", box(4, 5, 0, 3)), "--out", filepath.Join(t.TempDir(), "out"))
	if w := strings.Join(r.Warnings, ""); !strings.Contains(w, "inches") {
		t.Errorf("warnings %q", w)
	}
}

// A part read from 3MF gives what the same part read from STL gives.
func TestPartFrom3MF(t *testing.T) {
	m, _, err := mesh.ReadSTL(partFile("tip-bucket-weight"))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := mesh.Encode3MF(&b, mesh.Package{Part: mesh.Body{Name: "part", Mesh: m}}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	code, r := bakeJSON(t, writeFile(t, "weight.3mf", b.Bytes()), "--out", filepath.Join(dir, "a"))
	codeSTL, rSTL := bakeJSON(t, partFile("tip-bucket-weight"), "--out", filepath.Join(dir, "b"))
	if code != codeSTL || r.Part.VolumeMM3 != rSTL.Part.VolumeMM3 || !cmp.Equal(r.Need, rSTL.Need) {
		t.Errorf("exit %d and %+v from 3MF, exit %d and %+v from STL", code, r.Part, codeSTL, rSTL.Part)
	}
}

// Several bodies of a 3MF file are one part, as one mesh of both is.
func TestPartOfSeveralBodies(t *testing.T) {
	lower, upper := box(20, 20, 0, 5), box(8, 8, 5, 10)
	var b bytes.Buffer
	if err := mesh.Encode3MF(&b, mesh.Package{Part: mesh.Body{Name: "base", Mesh: lower}, Supports: []mesh.Body{{Name: "knob", Mesh: upper}}}); err != nil {
		t.Fatal(err)
	}
	both := lower.Clone()
	both.Append(upper)
	dir := t.TempDir()
	code, r := bakeJSON(t, writeFile(t, "two.3mf", b.Bytes()), "--out", filepath.Join(dir, "a"))
	codeOne, rOne := bakeJSON(t, stlFile(t, "one", both), "--out", filepath.Join(dir, "b"))
	if code != codeOne || r.Part.VolumeMM3 != rOne.Part.VolumeMM3 || r.Part.Triangles != rOne.Part.Triangles || !cmp.Equal(r.Need, rOne.Need) {
		t.Errorf("exit %d and %+v of two bodies, exit %d and %+v of one mesh", code, r.Part, codeOne, rOne.Part)
	}
	if w := strings.Join(r.Warnings, ""); !strings.Contains(w, `"base", "knob"`) {
		t.Errorf("warnings %q", w)
	}
}

// An inch is 25.4 mm by definition. The same part in any format and unit is the same.
func TestUnits(t *testing.T) {
	inches := stlFile(t, "inches", box(1, 0.5, 0, 0.75))
	var text strings.Builder
	m := box(2.54, 1.27, 0, 1.905) // centimetres
	for _, v := range m.Vertices {
		fmt.Fprintf(&text, "v %g %g %g\n", v.X, v.Y, v.Z)
	}
	for _, f := range m.Triangles {
		fmt.Fprintf(&text, "f %d %d %d\n", f[0]+1, f[1]+1, f[2]+1)
	}
	centimetres := writeFile(t, "centimetres.obj", []byte(text.String()))
	for path, unit := range map[string]string{inches: "inch", centimetres: "centimetre"} {
		if code, _, stderr := call("bake", path, "--out", filepath.Join(t.TempDir(), "a")); code != exitRefused || !strings.Contains(stderr, "--unit") {
			t.Errorf("%s without a unit: exit %d, %q", path, code, stderr)
		}
		_, r := bakeJSON(t, path, "--out", filepath.Join(t.TempDir(), "b"), "--unit", unit)
		if r.Part.SizeMM != [3]float64{25.4, 12.7, 19.05} {
			t.Errorf("%s: %v mm", unit, r.Part.SizeMM)
		}
	}
}

func TestBakedModelIsNoPart(t *testing.T) {
	m := box(10, 10, 0, 10)
	var b bytes.Buffer
	if err := mesh.Encode3MF(&b, mesh.Package{Part: mesh.Body{Name: "part", Mesh: m}, Supports: []mesh.Body{{Name: "supports", Mesh: m}}}); err != nil {
		t.Fatal(err)
	}
	code, _, stderr := call("bake", writeFile(t, "two.3mf", b.Bytes()), "--out", filepath.Join(t.TempDir(), "out"))
	if code != exitRefused {
		t.Errorf("exit %d, want 2", code)
	}
	oneClearLine(t, stderr, "two.3mf", "2 bodies", "the part alone")
}

func TestPartTooLargeForItsLayers(t *testing.T) {
	code, _, stderr := call("bake", stlFile(t, "huge", box(990, 990, 0, 990)), "--out", filepath.Join(t.TempDir(), "out"),
		"--nozzle", "0.1", "--layer", "0.03")
	if code != exitRefused {
		t.Errorf("exit %d, want 2", code)
	}
	oneClearLine(t, stderr, "huge.stl", "memory", "--layer")
}

func TestStem(t *testing.T) {
	for path, want := range map[string]string{
		"a/b/bracket.stl": "bracket", "bracket": "bracket", "v1.2 bracket.STL": "v1.2 bracket", "x/.stl": "part",
	} {
		if got := stem(path); got != want {
			t.Errorf("stem(%q) = %q, want %q", path, got, want)
		}
	}
}
