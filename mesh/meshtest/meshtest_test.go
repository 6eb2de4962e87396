package meshtest_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

func TestSolidsAreWatertight(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"blob/8":        meshtest.Blob(8),
		"blob/5000":     meshtest.Blob(5000),
		"blob/100000":   meshtest.Blob(100000),
		"sphere/1":      meshtest.Sphere(r3.Vec{}, 5, 1),
		"sphere/20":     meshtest.Sphere(r3.Vec{X: 1, Y: 2, Z: 30}, 5, 20),
		"box":           meshtest.Box(r3.Vec{X: -1}, r3.Vec{X: 2, Y: 3, Z: 4}),
		"cone":          meshtest.Cone(0, 10, 20, 0, 48),
		"inverted cone": meshtest.Cone(0, 0, 20, 10, 48),
		"frustum":       meshtest.Cone(0, 4, 20, 10, 48),
	} {
		top := m.Topology()
		if !top.Watertight() || top.Degenerate != 0 || top.Shells != 1 {
			t.Errorf("%s: %+v", name, top)
		}
		if m.Volume() <= 0 {
			t.Errorf("%s: volume %g mm³", name, m.Volume())
		}
		if err := m.Check(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestBlobMeetsItsDescription(t *testing.T) {
	for _, n := range []int{1000, 100000, 1000000} {
		m := meshtest.Blob(n)
		if got := len(m.Triangles); math.Abs(float64(got-n)) > 0.1*float64(n) {
			t.Errorf("Blob(%d) has %d triangles", n, got)
		}
		b := m.Bounds()
		if b.Min.Z != 0 {
			t.Errorf("Blob(%d) rests at z %g", n, b.Min.Z)
		}
		size := r3.Sub(b.Max, b.Min)
		for _, s := range []float64{size.X, size.Y, size.Z} {
			if s < 45 || s > 75 {
				t.Errorf("Blob(%d) measures %v", n, size)
			}
		}
	}
}

// The volumes are the handbook ones of the bodies that the polygons inscribe.
func TestVolumes(t *testing.T) {
	n := 64
	polygon := float64(n) / 2 * math.Sin(2*math.Pi/float64(n)) // area over r²
	for _, c := range []struct {
		name      string
		got, want float64
		tolerance float64
	}{
		{"box", meshtest.Box(r3.Vec{X: -1}, r3.Vec{X: 2, Y: 3, Z: 4}).Volume(), 36, 1e-12},
		{"cone", meshtest.Cone(0, 10, 20, 0, n).Volume(), polygon * 100 * 20 / 3, 1e-6},
		{"frustum", meshtest.Cone(0, 10, 20, 4, n).Volume(), polygon * 20. / 3 * (100 + 16 + 40), 1e-6},
		{"sphere", meshtest.Sphere(r3.Vec{X: 3}, 10, 100).Volume(), 4. / 3 * math.Pi * 1000, 5e-4},
	} {
		if math.Abs(c.got-c.want) > c.tolerance*c.want {
			t.Errorf("%s: volume %g, want %g mm³", c.name, c.got, c.want)
		}
	}
}
