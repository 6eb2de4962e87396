package mesh_test

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// objCube is a cube of side 10 in quads, each corner named in a form of its own.
const objCube = `# a rain gauge's ballast
mtllib gauge.mtl
o ballast
v 0 0 0
v 10 0 0 1.0
v 10.0 1e1 0 0.5 0.5 0.5
v 0 10 0
v 0 0 10
v 10 0 10
v 10 10 10
v 0 10 10
vt 0 0
vn 0 0 -1
usemtl stone
s off
f 1/1/1 4/1/1 3/1/1 2/1/1
f 5//1 6//1 7//1 8//1
f -8 -7 -3 -4
f 2/1 3/1 7/1 6/1
f 3 4 \
  8 7
f 4 1 5 8
`

// obj writes a mesh as OBJ.
func obj(m *mesh.Mesh) string {
	var b strings.Builder
	for _, v := range m.Vertices {
		fmt.Fprintf(&b, "v %v %v %v\n", float32(v.X), float32(v.Y), float32(v.Z))
	}
	for _, t := range m.Triangles {
		fmt.Fprintf(&b, "f %d %d %d\n", t[0]+1, t[1]+1, t[2]+1)
	}
	return b.String()
}

// prismOBJ is a plan drawn counter-clockwise and raised to a height, its ends as one
// face each, with its axes turned in cyclic order so many times.
func prismOBJ(plan [][2]float64, height float64, turns int) string {
	var b strings.Builder
	for _, z := range []float64{0, height} {
		for _, p := range plan {
			c := [3]float64{p[0], p[1], z}
			fmt.Fprintf(&b, "v %g %g %g\n", c[turns%3], c[(turns+1)%3], c[(turns+2)%3])
		}
	}
	n := len(plan)
	top, foot := "f", "f"
	for i := range n {
		j := (i + 1) % n
		fmt.Fprintf(&b, "f %d %d %d %d\n", i+1, j+1, n+j+1, n+i+1)
		top += fmt.Sprintf(" %d", n+i+1)
		foot += fmt.Sprintf(" %d", n-i)
	}
	return b.String() + top + "\n" + foot + "\n"
}

func TestOBJ(t *testing.T) {
	m, notes, err := mesh.DecodeOBJ("cube.obj", []byte(objCube))
	if err != nil {
		t.Fatal(err)
	}
	if m.Volume() != 1000 || !m.Topology().Watertight() || notes.Facets != 12 || notes.InsideOut {
		t.Errorf("volume %g, %+v, %+v", m.Volume(), m.Topology(), notes)
	}
	if d := cmp.Diff([]string{"ballast"}, notes.Names); d != "" {
		t.Error(d)
	}

	// A comb has corners that fans would cut across: 6 × 4 less two notches of 1 × 3,
	// by the shoelace formula.
	comb := [][2]float64{{0, 0}, {6, 0}, {6, 4}, {5, 4}, {5, 1}, {4, 1}, {4, 4}, {2, 4}, {2, 1}, {1, 1}, {1, 4}, {0, 4}}
	for turns := range 3 {
		m, _, err := mesh.DecodeOBJ("comb.obj", []byte(prismOBJ(comb, 5, turns)))
		if err != nil {
			t.Fatal(err)
		}
		if v := m.Volume(); math.Abs(v-5*(24-6)) > 1e-9 || !m.Topology().Watertight() {
			t.Errorf("turned %d times: volume %g, %+v", turns, v, m.Topology())
		}
		if a := m.Area(); math.Abs(a-(2*18+5*(20+12))) > 1e-9 { // ends and sides
			t.Errorf("turned %d times: area %g", turns, a)
		}
	}
}

// The same part as STL and as OBJ is the same mesh.
func TestOBJAgreesWithSTL(t *testing.T) {
	for _, name := range []string{"drip-hook", "catch-funnel"} {
		want, _, err := mesh.ReadSTL(filepath.Join("..", "testdata", "parts", name+".stl"))
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := mesh.DecodeOBJ(name, []byte(obj(want)))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s (-STL +OBJ):\n%s", name, d)
		}
	}
}

func TestOBJErrors(t *testing.T) {
	for _, c := range []struct {
		name, text, want string
		as               any
	}{
		{"empty", "", "the file is empty", new(*mesh.FormatError)},
		{"prose", "This is no model.\n", "not OBJ", new(*mesh.FormatError)},
		{"PNG", "\x89PNG\r\n", "a PNG picture", new(*mesh.UnsupportedError)},
		{"no faces", "v 0 0 0\n", "no triangles", new(*mesh.FormatError)},
		{"two coordinates", "v 0 0\n", "line 1|2 coordinates", new(*mesh.FormatError)},
		{"a word", "v 0 0 0\nv 0 zero 0\n", `line 2|"zero" is no number`, new(*mesh.FormatError)},
		{"NaN", "v 0 nan 0\n", "not finite", new(*mesh.FormatError)},
		{"too far", "v 0 1e39 0\n", "not finite", new(*mesh.FormatError)},
		{"two corners", objCube + "f 1 2\n", "line 23|2 corners", new(*mesh.FormatError)},
		{"corner 0", objCube + "f 0 1 2\n", "names no vertex", new(*mesh.FormatError)},
		{"corner past the end", objCube + "f 1 2 9\n", "vertex 9, but only 8", new(*mesh.FormatError)},
		{"corner before the beginning", objCube + "f 1 2 -9\n", "vertex 9, but only 8", new(*mesh.FormatError)},
		{"corner of 2³¹", objCube + "f 1 2 2147483648\n", "names no vertex", new(*mesh.FormatError)},
		{"many corners", objCube + "f" + strings.Repeat(" 1", 3000), "3000 corners", new(*mesh.FormatError)},
		{"faces of many corners", objCube + strings.Repeat("f"+strings.Repeat(" 1 2 3", 600)+"\n", 30), "too many corners", new(*mesh.UnsupportedError)},
		{"curves", "v 0 0 0\nv 1 1 1\nl 1 2\n", "no triangles", new(*mesh.FormatError)},
		{"inches", strings.NewReplacer("10.0", "0.1", "1e1", "0.1", "10", "0.1").Replace(objCube), "measures only", new(*mesh.SizeError)},
	} {
		_, _, err := mesh.DecodeOBJ("part.obj", []byte(c.text))
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		for _, w := range strings.Split(c.want, "|") {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q lacks %q", c.name, err, w)
			}
		}
		if !errors.As(err, c.as) || !strings.HasPrefix(err.Error(), "part.obj: ") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %T %q", c.name, err, err)
		}
	}
}

func TestOBJNotes(t *testing.T) {
	_, notes, err := mesh.DecodeOBJ("part.obj", []byte(objCube+"l 1 2\nf 1 1 2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"1 of 13 triangles have no area and were left out", "left out: lines"}, notes.Warnings()); d != "" {
		t.Error(d)
	}
	inside, notes, err := mesh.DecodeOBJ("part.obj", []byte(strings.NewReplacer("f 1/1/1 4/1/1 3/1/1 2/1/1", "f 2 3 4 1", "f 5//1 6//1 7//1 8//1", "f 8 7 6 5",
		"f -8 -7 -3 -4", "f -4 -3 -7 -8", "f 2/1 3/1 7/1 6/1", "f 6 7 3 2", "f 3 4 \\\n  8 7", "f 7 8 4 3", "f 4 1 5 8", "f 8 5 1 4").Replace(objCube)))
	if err != nil || !notes.InsideOut || inside.Volume() != 1000 {
		t.Errorf("inside out: %v, %+v", err, notes)
	}
	if b := inside.Bounds(); b.Max != (r3.Vec{X: 10, Y: 10, Z: 10}) {
		t.Error(b)
	}
}
