package raster_test

import (
	"fmt"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkSection cuts a lumpy body 150 mm tall into layers of 0.2 mm and cells of
// 0.1 mm. The rate is in bytes of the binary STL file.
func BenchmarkSection(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		m := meshtest.Blob(n)
		box := m.Bounds()
		for i, v := range m.Vertices {
			m.Vertices[i] = r3.Scale(150/(box.Max.Z-box.Min.Z), v)
		}
		g := raster.GridFor(m.Bounds(), 0.1, 3)
		b.Run(fmt.Sprintf("blob/%dk", n/1000), func(b *testing.B) {
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			for b.Loop() {
				raster.Section(m, g, raster.Layers{First: 0.2, Height: 0.2}, 0)
			}
		})
	}
}
