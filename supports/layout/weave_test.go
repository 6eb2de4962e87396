package layout

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Five lines 6 mm apart with one across their upper ends: linked by turns they are one
// line, 5 × 20 + 4 × 6 mm long, and of the one across nothing is left but the two
// stretches between links.
func TestLinesAreWovenToOne(t *testing.T) {
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{X: -5, Y: -5, Z: 10}, r3.Vec{X: 29, Y: 25, Z: 12}))
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	site := newSite(part, s)
	open := part.Layer(part.Above(10.1))
	var lines []line
	for _, x := range []float64{12, 0, 24, 6, 18} {
		lines = append(lines, line{at: []point{{r2.Vec{X: x}, 10}, {r2.Vec{X: x, Y: 20}, 10}}})
	}
	lines = append(lines, line{at: []point{{r2.Vec{Y: 20}, 10}, {r2.Vec{X: 24, Y: 20}, 10}}})
	got := site.woven(open, lines, math.Pi/2, 6)
	if len(got) != 3 {
		t.Fatalf("%d lines, want one woven and two between its links: %v", len(got), got)
	}
	if l := got[0].length(); math.Abs(l-124) > 0.5 {
		t.Errorf("woven line of %.1f mm, want 5 × 20 + 4 × 6", l)
	}
	// Each runs on to the middle of the walls at its ends.
	for _, l := range got[1:] {
		if d := l.length(); math.Abs(d-6) > 1 {
			t.Errorf("%.1f mm left across between two links, want about 6: %v", d, l.at)
		}
	}
}

// A crossing hides nothing, a stretch that runs along what is there is left out.
func TestBeyondKeepsCrossings(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 40, Y: 20, Z: 1}))
	site := newSite(raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), s)
	l := line{at: []point{{r2.Vec{X: 2, Y: 10}, 1}, {r2.Vec{X: 38, Y: 10}, 1}}}
	cross := line{at: []point{{r2.Vec{X: 12, Y: 2}, 1}, {r2.Vec{X: 12, Y: 18}, 1}}}
	beside := line{at: []point{{r2.Vec{X: 20, Y: 10.2}, 1}, {r2.Vec{X: 30, Y: 10.2}, 1}}}
	served := site.mask([]line{cross, beside}, 2*s.Line)
	got := site.beyond(l, &served)
	if len(got) != 2 || math.Abs(got[0].length()-18) > 1 || math.Abs(got[1].length()-8) > 1 {
		t.Errorf("left %v, want x 2 to 20 and 30 to 38", got)
	}
}
