package pose

import (
	"bufio"
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

	"gonum.org/v1/gonum/spatial/r3"
)

// missing skips a check that needs a program of other people, or fails it where
// FALSEWORK_REFERENCE=1 is set, as the test command of the README does.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("FALSEWORK_REFERENCE") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// cgalHull builds testdata/cgalhull, which has CGAL make the hull.
func cgalHull(t *testing.T) string {
	t.Helper()
	gxx, err := exec.LookPath("g++")
	if err != nil {
		missing(t, "g++ is not installed; on Debian: apt-get install g++")
	}
	if _, err := os.Stat("/usr/include/CGAL"); err != nil {
		missing(t, "CGAL is not installed; on Debian: apt-get install libcgal-dev")
	}
	program := filepath.Join(t.TempDir(), "cgalhull")
	source := filepath.Join("..", "..", "testdata", "cgalhull", "main.cpp")
	if out, err := exec.Command(gxx, "-DNDEBUG", source, "-lgmp", "-lmpfr", "-o", program).CombinedOutput(); err != nil {
		missing(t, fmt.Sprintf("building %s failed (it needs libcgal-dev): %v\n%s", source, err, out))
	}
	return program
}

// cgal is what CGAL says of a hull.
type cgal struct {
	corners      int
	area, volume float64
	rests        []Rest // one for each triangle; without tipping
}

func askCGAL(t *testing.T, program string, centre r3.Vec, points []r3.Vec) (c cgal) {
	t.Helper()
	var in bytes.Buffer
	for _, p := range append([]r3.Vec{centre}, points...) {
		fmt.Fprintf(&in, "%.17g %.17g %.17g\n", p.X, p.Y, p.Z)
	}
	cmd := exec.Command(program)
	cmd.Stdin = &in
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		var n r3.Vec
		var v float64
		switch word, rest, _ := strings.Cut(lines.Text(), " "); word {
		case "corners":
			_, err = fmt.Sscan(rest, &c.corners)
		case "area":
			_, err = fmt.Sscan(rest, &c.area)
		case "volume":
			_, err = fmt.Sscan(rest, &c.volume)
		case "rest":
			_, err = fmt.Sscan(rest, &n.X, &n.Y, &n.Z, &v)
			c.rests = append(c.rests, Rest{Up: r3.Scale(-1, n), AreaMM2: v})
		}
		if err != nil {
			t.Fatalf("%q: %v", lines.Text(), err)
		}
	}
	return c
}

// modelFiles are the demo parts, and what the folder FALSEWORK_MODELS holds.
func modelFiles(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "parts", "*.stl"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no demo parts: %v", err)
	}
	return append(files, ownModels(t)...)
}

func ownModels(t *testing.T) (files []string) {
	t.Helper()
	dir := os.Getenv("FALSEWORK_MODELS")
	if dir == "" {
		return nil
	}
	for _, pattern := range []string{"*.stl", "*.STL", "*.3mf", "*.obj"} {
		list, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, list...)
	}
	return files
}

// readModel reads a mesh and brings one that was drawn in another unit to a size
// that is printed.
func readModel(t *testing.T, path string) *mesh.Mesh {
	t.Helper()
	doc, err := mesh.Read(path, mesh.Unit{})
	if err != nil {
		t.Logf("left out: %v", err)
		return nil
	}
	m := &mesh.Mesh{}
	for _, b := range doc.Bodies {
		m.Append(b.Mesh)
	}
	size := r3.Sub(m.Bounds().Max, m.Bounds().Min)
	if most := max(size.X, size.Y, size.Z); most < 10 || most > 150 {
		for i, v := range m.Vertices {
			m.Vertices[i] = r3.Scale(80/most, v)
		}
	}
	m.Round32()
	return m
}

// CGAL's hull has the same area and volume, and a part rests on the same
// sides of it.
func TestReferenceCGALHull(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	program := cgalHull(t)
	solids := map[string]*mesh.Mesh{
		"blob": meshtest.Blob(20_000), "sphere": meshtest.Sphere(r3.Vec{}, 10, 12),
		"box": meshtest.Box(r3.Vec{}, r3.Vec{X: 3, Y: 4, Z: 5}), "cone": meshtest.Cone(0, 10, 12, 0, 60),
	}
	for _, path := range modelFiles(t) {
		if m := readModel(t, path); m != nil {
			solids[filepath.Base(path)] = m
		}
	}
	for name, m := range solids {
		h, err := HullOf(m.Vertices)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		centre := Centroid(m)
		want := askCGAL(t, program, centre, m.Vertices)
		got := h.asMesh()
		if top := got.Topology(); !top.Watertight() {
			t.Errorf("%s: %+v", name, top)
		}
		if a := got.Area(); math.Abs(a-want.area) > 1e-6*want.area {
			t.Errorf("%s: area %.9g mm², CGAL has %.9g", name, a, want.area)
		}
		if v := got.Volume(); math.Abs(v-want.volume) > 1e-6*want.volume {
			t.Errorf("%s: volume %.9g mm³, CGAL has %.9g", name, v, want.volume)
		}
		// CGAL's sides are single triangles. What they rest on is found where corners a
		// little off the plane count too; what is found without is a side of theirs.
		rests := h.Rests(centre, 0.05)
		agree(t, name+", found by CGAL", rests, want.rests, want.area)
		agree(t, name+", not found by CGAL", want.rests, h.Rests(centre, 1e-3), want.area)
		t.Logf("%s: %d corners, %d of CGAL; %d sides to rest on, %d triangles of CGAL", name, len(h.Points), want.corners, len(rests), len(want.rests))
	}
}

// agree wants for each side of some size that one of has lies within the angle that
// sides are told apart by.
func agree(t *testing.T, name string, has, want []Rest, area float64) {
	t.Helper()
	for _, w := range want {
		if w.AreaMM2 < 1e-3*area {
			continue
		}
		found := false
		for _, h := range has {
			found = found || angleBetween(h.Up, w.Up) <= 2*sameSide
		}
		if !found {
			t.Errorf("%s: side of %.4g mm² with up %.6f", name, w.AreaMM2, w.Up)
		}
	}
}
