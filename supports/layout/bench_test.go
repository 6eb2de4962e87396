package layout_test

import (
	"fmt"
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkLayout lays parts out whose need is known. The rate is in bytes of the part's
// binary STL file.
func BenchmarkLayout(b *testing.B) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	run := func(name string, m *mesh.Mesh, lay func(string, *mesh.Mesh, *raster.Stack, need.Need, supports.Settings, int) plan.Plan) {
		b.Run(fmt.Sprintf("%s/%d", name, len(m.Triangles)), func(b *testing.B) {
			part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
			n := need.Find(m, part, s, 0)
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			for b.Loop() {
				lay(name, m, part, n, s, 0)
			}
		})
	}
	for _, name := range []string{"wall-bracket", "sensor-hood", "shelf-over-shelf", "catch-funnel"} {
		m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
		if err != nil {
			b.Fatal(err)
		}
		run("kit/"+name, m, layout.Layout)
		run("once/"+name, m, layout.Once)
	}
	for _, triangles := range []int{25_000, 100_000} {
		m := meshtest.Blob(triangles)
		m.Translate(r3.Vec{Z: -m.Bounds().Min.Z})
		run("blob", m, layout.Layout)
	}
}
