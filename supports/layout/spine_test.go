package layout

import (
	"math"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Arms up a cone are joined by one level tie through all of them, at the radius that
// the share says, open at the widest gap: 15 mm of arm from radius 5 mm, a share of 0.4
// of it.
func TestSpineRoundACone(t *testing.T) {
	const arms, missing = 24, 7
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Cone(10, 4, 18, 20, 128)
	for i := range m.Vertices {
		m.Vertices[i] = r3.Add(m.Vertices[i], r3.Vec{X: 22, Y: 22})
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	var lines []line
	for n := range arms {
		if n == missing {
			continue
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(n) / arms)
		at := func(r float64) point { return point{r2.Vec{X: 22 + r*cos, Y: 22 + r*sin}, 8 + r/2} }
		lines = append(lines, line{at: []point{at(5), at(20)}, arm: true})
	}
	spines := newSite(part, s).spines(lines, 0.4)
	if len(spines) != 1 || len(spines[0].at) != arms-1 || !spines[0].tie {
		t.Fatalf("%d spines, want one tie through %d arms: %v", len(spines), arms-1, spines)
	}
	for _, q := range spines[0].at {
		if r := distance(q.Vec, r2.Vec{X: 22, Y: 22}); math.Abs(r-11) > 1e-6 || q.z != spines[0].at[0].z || q.z >= 13.5 {
			t.Errorf("the spine is at radius %.2f mm and z %.2f, want 11 and below 13.5", r, q.z)
		}
	}
	first, last := spines[0].at[0], spines[0].at[arms-2]
	if gap, want := distance(first.Vec, last.Vec), 2*11*math.Sin(2*math.Pi/arms); math.Abs(gap-want) > 1e-6 {
		t.Errorf("it opens by %.2f mm, want %.2f where an arm is missing", gap, want)
	}
	if few := newSite(part, s).spines(lines[:fewestArms-1], 0.4); len(few) != 0 {
		t.Errorf("%d spines for %d arms", len(few), fewestArms-1)
	}
}
