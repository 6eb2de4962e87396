package remedy_test

import (
	"fmt"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkBores runs on a lumpy body without a bore and on a perforated plate.
// The rate is in bytes of the binary STL file.
func BenchmarkBores(b *testing.B) {
	for _, corpus := range []struct {
		name string
		make func(triangles int) (m *mesh.Mesh, bores int)
	}{
		{"blob", func(n int) (*mesh.Mesh, int) { return meshtest.Blob(n), 0 }},
		{"plate", plate},
	} {
		for _, n := range []int{100_000, 1_000_000} {
			m, want := corpus.make(n)
			b.Run(fmt.Sprintf("%s/%dk", corpus.name, n/1000), func(b *testing.B) {
				b.ReportAllocs()
				b.SetBytes(int64(84 + 50*len(m.Triangles)))
				for b.Loop() {
					if got := len(remedy.Bores(m)); got != want {
						b.Fatalf("%d bores, want %d", got, want)
					}
				}
			})
		}
	}
}

// plate returns rows of level tubes, 12 mm apart, with nearly the given number of
// triangles, and how many there are.
func plate(triangles int) (*mesh.Mesh, int) {
	one := tube{radius: 4, sides: 48, rings: 12, length: 20}.mesh()
	count := triangles / len(one.Triangles)
	row := int(math.Ceil(math.Sqrt(float64(count))))
	all := &mesh.Mesh{}
	for i := range count {
		c := one.Clone()
		c.Translate(r3.Vec{X: 12 * float64(i%row), Z: 12 * float64(i/row)})
		all.Append(c)
	}
	return all, count
}
