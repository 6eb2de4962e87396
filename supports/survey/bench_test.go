package survey_test

import (
	"fmt"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/survey"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkSurvey cuts a lumpy body 150 mm tall into layers of 0.2 mm and
// surveys it, at three sizes of the mesh and three of the body. The rate
// is in bytes of the binary STL file.
func BenchmarkSurvey(b *testing.B) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		triangles int
		tall      float64 // mm
	}{{100_000, 150}, {300_000, 150}, {1_000_000, 150}, {1_000_000, 75}, {1_000_000, 38}} {
		m := meshtest.Blob(c.triangles)
		scale(m, c.tall)
		b.Run(fmt.Sprintf("blob/%dk-%.0fmm", c.triangles/1000, c.tall), func(b *testing.B) {
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			for b.Loop() {
				part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
				survey.Survey(m, part, s, survey.Options{})
			}
		})
	}
}

// scale makes a mesh so tall.
func scale(m *mesh.Mesh, tall float64) {
	box := m.Bounds()
	f := tall / (box.Max.Z - box.Min.Z)
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Scale(f, v)
	}
}
