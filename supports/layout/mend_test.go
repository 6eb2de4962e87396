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

// A line beside a wall moves off it by what its own wall and the clearance are short of,
// square to itself; one that is far enough, runs into the wall or has a wall on either side
// stays where it is.
func TestMendingLinesKeepOffWalls(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 30, Z: 24})
	m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 30, Y: 30, Z: 24}))
	m.Append(meshtest.Box(r3.Vec{X: 5}, r3.Vec{X: 9, Y: 8, Z: 24}))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	site := newSite(part, s)
	least := 4 + s.Clearance + s.Wall/2
	for _, c := range []struct{ x0, y0, x1, y1, want float64 }{
		{4.5, 15, 4.5, 20, least},
		{4.3, 20, 4.3, 15, least},
		{4.8, 15, 4.8, 20, 4.8},
		{6, 15, 6, 20, 6},
		{3, 15, 7, 15, 3},
		{4.5, 2, 4.5, 6, 4.5},
	} {
		l := site.aside(line{at: []point{{r2.Vec{X: c.x0, Y: c.y0}, 20}, {r2.Vec{X: c.x1, Y: c.y1}, 20}}})
		off := r2.Sub(l.at[1].Vec, r2.Vec{X: c.x1, Y: c.y1})
		if got := l.at[0].X; math.Abs(got-c.want) > part.Cell || math.Abs(off.X-(got-c.x0)) > 1e-9 || math.Abs(off.Y) > 1e-9 {
			t.Errorf("a line from %g, %g to %g, %g begins at x %.2f, want %.2f", c.x0, c.y0, c.x1, c.y1, got, c.want)
		}
	}
}
