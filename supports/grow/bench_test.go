package grow_test

import (
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
)

// BenchmarkGrow grows a drawn plan. The rate is in bytes of the part's binary STL
// file.
func BenchmarkGrow(b *testing.B) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range []string{"wall-bracket", "junction-dome"} {
		m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
		if err != nil {
			b.Fatal(err)
		}
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		p := layout.Layout(name, m, part, need.Find(m, part, s, 0), s, 0)
		b.Run("kit/"+name, func(b *testing.B) {
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := grow.Grow(p, m, part); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
