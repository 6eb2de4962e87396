package mesh_test

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// builtSolids are one of each thing that this package builds.
func builtSolids(t *testing.T) map[string]*mesh.Mesh {
	t.Helper()
	ring := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{X: 1, Y: 2}, r, 24, 0) }
	flare, err := mesh.Loft([][]r2.Vec{ring(5), ring(5), ring(3), ring(3)},
		[][]r2.Vec{ring(2), ring(2), ring(2), ring(2)}, []float64{0, 0.6, 2.6, 20})
	if err != nil {
		t.Fatal(err)
	}
	wall, err := mesh.Wall([]mesh.Station{
		{P: r2.Vec{}, Low: 12, High: 12}, {P: r2.Vec{X: 9, Y: 1}, Low: 3, High: 13},
		{P: r2.Vec{X: 12, Y: 9}, High: 14}, {P: r2.Vec{X: 20, Y: 9}, High: 12},
	}, 0.48)
	if err != nil {
		t.Fatal(err)
	}
	several := meshtest.Blob(2000)
	ball := meshtest.Sphere(r3.Vec{X: 60, Z: 8}, 8, 10)
	several.Append(ball)
	solids := map[string]*mesh.Mesh{
		"blob": meshtest.Blob(20000), "comb": mesh.Prism(outlines["comb"], 0, 8), "star": mesh.Prism(outlines["star"], 0, 3),
		"tube": mesh.Tube(ring(5), ring(4.2), 0, 30), "flared post": flare, "wall": wall,
		"pyramid": meshtest.Cone(0, 10, 12, 0, 7), "two shells": several,
	}
	for _, m := range solids {
		m.Round32()
	}
	return solids
}

// admeshFigures are the labelled numbers of admesh's report that would tell of
// a defect; each must be zero.
var admeshFigures = []string{
	`Facets with 1 disconnected edge +: +(\d+)`,
	`Facets with 2 disconnected edges +: +(\d+)`,
	`Facets with 3 disconnected edges +: +(\d+)`,
	`Total disconnected facets +: +(\d+)`,
	`Degenerate facets +: +(\d+)`,
	`Edges fixed +: +(\d+)`,
	`Facets removed +: +(\d+)`,
	`Facets added +: +(\d+)`,
	`Facets reversed +: +(\d+)`,
	`Backwards edges +: +(\d+)`,
	`Normals fixed +: +(\d+)`,
}

func TestReferenceAdmesh(t *testing.T) {
	admesh := referenceTool(t, "admesh", "admesh")
	dir := t.TempDir()
	for name, m := range builtSolids(t) {
		path := filepath.Join(dir, name+".stl")
		if err := os.WriteFile(path, encode(t, m, name), 0o644); err != nil {
			t.Fatal(err)
		}
		report, err := exec.Command(admesh, path).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v\n%s", name, err, report)
			continue
		}
		figure := func(pattern string) float64 {
			found := regexp.MustCompile(pattern).FindSubmatch(report)
			if found == nil {
				t.Fatalf("%s: no %q in\n%s", name, pattern, report)
			}
			v, err := strconv.ParseFloat(string(found[1]), 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		for _, f := range admeshFigures {
			if n := figure(f); n != 0 {
				t.Errorf("%s: %s is %g", name, f, n)
			}
		}
		if n := figure(`Number of facets +: +(\d+)`); int(n) != len(m.Triangles) {
			t.Errorf("%s: %g facets, want %d", name, n, len(m.Triangles))
		}
		if n := figure(`Number of parts +: +(\d+)`); int(n) != m.Topology().Shells {
			t.Errorf("%s: %g parts, want %d", name, n, m.Topology().Shells)
		}
		// admesh sums in float32.
		if v := figure(`Volume +: +(-?[\d.]+)`); math.Abs(v-m.Volume()) > 1e-3*m.Volume() {
			t.Errorf("%s: volume %g, want %g mm³", name, v, m.Volume())
		}
	}
}
