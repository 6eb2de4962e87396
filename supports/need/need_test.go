package need_test

import (
	"fmt"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r3"
)

func find(t testing.TB, m *mesh.Mesh) need.Need {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return need.Find(m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), s, 0)
}

// planBeyond sums, facet by facet, the plan area that looks down steeper than 45°
// from the vertical, above the first layer.
func planBeyond(m *mesh.Mesh) (surface, plan float64) {
	for t := range m.Triangles {
		n := m.AreaNormal(t)
		l := math.Sqrt(r3.Norm2(n))
		a, b, c := m.Corners(t)
		if -n.Z > l*math.Sqrt2/2+1e-12 && max(a.Z, b.Z, c.Z) > 0.2 {
			surface += l
			plan -= n.Z
		}
	}
	return
}

// Handbook: the cap of a sphere of radius r beyond 45° has area 2πr²(1 − cos 45°)
// (Archimedes' hat box) and πr²/2 in plan. The lowest 0.2 mm, 2πr·0.2 of either,
// are left out of the facets. The sphere floats, out of the plate's reach, so the
// need begins at its pole. Within 45° and a line the last rim may go untold.
func TestSphere(t *testing.T) {
	const r = 15.0
	m := meshtest.Sphere(r3.Vec{Z: r}, r, 192)
	surface, plan := planBeyond(m)
	if want := 2*math.Pi*r*r*(1-math.Sqrt2/2) - 2*math.Pi*r*0.2; math.Abs(surface/want-1) > 0.01 {
		t.Errorf("facets beyond 45°: %.1f mm², formula %.1f", surface, want)
	}
	if want := math.Pi*r*r/2 - 2*math.Pi*r*0.2; math.Abs(plan/want-1) > 0.01 {
		t.Errorf("facets beyond 45° in plan: %.1f mm², formula %.1f", plan, want)
	}
	m.Translate(r3.Vec{Z: 2})
	if got, want := find(t, m).AreaMM2, math.Pi*r*r/2; math.Abs(got/want-1) > 0.03 {
		t.Errorf("need %.1f mm² in plan, formula %.1f", got, want)
	}
}

// Handbook: a cone whose half-angle is beyond 45° needs all of it: here 60° from
// the vertical, from radius 4 to 14 mm, and floating, so the face below too: π14²
// in plan. Up to 5 % may go untold: at the rim the last line or so of debt that
// never falls due (two steps of 0.35 mm, 3.4 %).
func TestCone(t *testing.T) {
	h := 10 / math.Tan(60*math.Pi/180)
	m := meshtest.Cone(0, 4, h, 14, 192)
	m.Translate(r3.Vec{Z: 2})
	want := math.Pi * 14 * 14
	if got := find(t, m).AreaMM2; math.Abs(got/want-1) > 0.05 {
		t.Errorf("need %.1f mm², formula %.1f", got, want)
	}
}

func TestRegionsApart(t *testing.T) {
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 4, Z: 20})
	for _, x := range []float64{-16, 4} { // two arms, 16 mm from edge to edge
		m.Append(meshtest.Box(r3.Vec{X: min(x, 2), Z: 15}, r3.Vec{X: max(x+16, 2), Y: 4, Z: 18}))
	}
	n := find(t, m)
	if len(n.Regions) != 2 {
		t.Fatalf("%d regions, want 2", len(n.Regions))
	}
	for i, r := range n.Regions {
		if r.ID != i+1 || math.Abs(r.AreaMM2-64) > 1 || r.Bounds.Min.Z != r.Bounds.Max.Z {
			t.Errorf("region %d: %.1f mm², %v", r.ID, r.AreaMM2, r.Bounds)
		}
	}
}

// A shelf of 20 × 10 mm; its corners lie within a ledge of the wall.
func ExampleFind() {
	s, _ := supports.Settings{}.Resolve()
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 10, Z: 20})
	m.Append(meshtest.Box(r3.Vec{Z: 15}, r3.Vec{X: 24, Y: 10, Z: 18}))
	layers := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	for _, r := range need.Find(m, layers, s, 0).Regions {
		fmt.Printf("region %d: %.0f mm² at z %.1f mm\n", r.ID, r.AreaMM2, r.Bounds.Min.Z)
	}
	// Output: region 1: 199 mm² at z 15.0 mm
}

func BenchmarkFind(b *testing.B) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	m := meshtest.Blob(100000)
	st := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			need.Find(m, st, s, 0)
		}
	})
}
