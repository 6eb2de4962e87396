package prove_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// missing skips a check by other people's software where it is not installed; with
// FALSEWORK_REFERENCE=1, as the test command of the README sets, it is a failure.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("FALSEWORK_REFERENCE") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// cgalCheck builds testdata/cgalcheck, which measures with CGAL (www.cgal.org).
func cgalCheck(t *testing.T) func(a, b *mesh.Mesh) (volume, distance float64) {
	t.Helper()
	if testing.Short() {
		t.Skip("building on CGAL takes half a minute")
	}
	gxx, err := exec.LookPath("g++")
	if err != nil {
		missing(t, "g++ is not installed; on Debian: apt-get install g++")
	}
	if _, err := os.Stat("/usr/include/CGAL"); err != nil {
		missing(t, "/usr/include/CGAL is missing; on Debian: apt-get install libcgal-dev")
	}
	dir := t.TempDir()
	program := filepath.Join(dir, "cgalcheck")
	source := filepath.Join("..", "..", "testdata", "cgalcheck", "main.cpp")
	if out, err := exec.Command(gxx, "-std=c++17", "-Wall", source, "-lgmp", "-lmpfr", "-o", program).CombinedOutput(); err != nil {
		missing(t, fmt.Sprintf("building %s failed (it needs libcgal-dev 5.5): %v\n%s", source, err, out))
	}
	return func(a, b *mesh.Mesh) (volume, distance float64) {
		t.Helper()
		args := []string{filepath.Join(dir, "a.off"), filepath.Join(dir, "b.off")}
		for n, m := range []*mesh.Mesh{a, b} {
			if err := os.WriteFile(args[n], off(m), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		out, err := exec.Command(program, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("cgalcheck: %v\n%s", err, out)
		}
		if _, err := fmt.Sscanf(string(out), "volume %g\ndistance %g\n", &volume, &distance); err != nil {
			t.Fatalf("cgalcheck said %q: %v", out, err)
		}
		return volume, distance
	}
}

// off writes a mesh in the Object File Format.
func off(m *mesh.Mesh) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "OFF\n%d %d 0\n", len(m.Vertices), len(m.Triangles))
	for _, v := range m.Vertices {
		fmt.Fprintln(&b, v.X, v.Y, v.Z)
	}
	for _, t := range m.Triangles {
		fmt.Fprintln(&b, 3, t[0], t[1], t[2])
	}
	return b.Bytes()
}

// turned turns a mesh about the vertical through the origin, and moves it.
func turned(m *mesh.Mesh, deg float64, by r3.Vec) *mesh.Mesh {
	s, c := math.Sincos(deg * math.Pi / 180)
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Add(by, r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z})
	}
	return m
}

func rod(x, y, r, z0, z1 float64) *mesh.Mesh {
	return mesh.Prism(mesh.RegularPolygon(r2.Vec{X: x, Y: y}, r, 48, 0.1), z0, z1)
}

func TestReferenceCGAL(t *testing.T) {
	measure := cgalCheck(t)
	blob := meshtest.Blob(2000)
	blob.Translate(r3.Vec{Z: -blob.Bounds().Min.Z})
	middle := blob.Bounds()
	at := r3.Scale(0.5, r3.Add(middle.Min, middle.Max))
	for name, c := range map[string][2]*mesh.Mesh{
		"turned boxes":     {box(0, 0, 0, 10, 10, 8), turned(box(0, 0, 0, 9, 5, 12), 27, r3.Vec{X: 5, Y: 4})},
		"a rod in a block": {box(0, 0, 0, 10, 10, 8), rod(9, 5, 3, 0, 20)},
		"a post in a blob": {blob, box(at.X, at.Y, 0, at.X+4.03, at.Y+6.07, at.Z)},
		"a wall in a rod":  {rod(0, 0, 6, 0, 9), turned(box(-20, 0, 0, 20, 0.48, 9), 33, r3.Vec{})},
		"apart":            {box(0, 0, 0, 4, 4, 8), turned(box(0, 0, 0, 4, 4, 8), 20, r3.Vec{X: 9})},
	} {
		want, _ := measure(c[0], c[1])
		got := proof(t, c[0], supports.Settings{}, c[1]).CollisionsMM3
		// Cells and layers know every face to half of theirs.
		if math.Abs(got-want) > 0.02*want {
			t.Errorf("%s: %g mm³ in both, CGAL finds %g", name, got, want)
		}
	}

	// Under half the clearance of 0.5 mm a support fuses, under the whole it is near;
	// distances are known to a cell.
	fused, near, clear := 0, 0, 0
	for n := range 24 {
		gap := 0.03 + 0.03*float64(n)
		deg := 7 * float64(n)
		part, sup := box(0, 0, 0, 10, 10, 8), rod(10+2+gap, 4, 2, 0, 7)
		if n%2 == 1 {
			part = rod(0, 0, 8, 0, 8)
			sup = box(8+gap, -3, 0, 11, 3, 7)
		}
		part, sup = turned(part, deg, r3.Vec{}), turned(sup, deg, r3.Vec{})
		_, d := measure(part, sup)
		r := proof(t, part, supports.Settings{}, sup)
		fails, noted := strings.Contains(kinds(r), "side-fused"), noted(r, prove.SideNear) || noted(r, prove.SideFused)
		switch {
		case d < 0.25-0.1 && !fails, d > 0.25+0.1 && fails, d < 0.5-0.15 && !fails && !noted, d > 0.5 && (noted || fails):
			t.Errorf("CGAL measures %.3f mm at %g°: side-fused %v, noted %v", d, deg, fails, noted)
		}
		switch {
		case fails:
			fused++
		case noted:
			near++
		default:
			clear++
		}
	}
	if fused < 3 || near < 3 || clear < 3 {
		t.Errorf("%d fused, %d near, %d clear: too easy a test", fused, near, clear)
	}
}
