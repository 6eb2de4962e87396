package layout

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r3"
)

// Places where three walls meet or one ends are odd: a bead ends there. A line along x
// with three across it is four beads, eight ends; each is half a hop a layer from where
// both its wall and its neighbour are.
func TestWallsArePricedByTheirBeads(t *testing.T) {
	g, _ := crossed(t, 0)
	got := g.walls(g.ledger()) // all stand on the plate
	layers := g.tops[0] / g.s.Layer
	want := layers * ((30+3*12)/speed + 8*islandTime/2)
	if math.Abs(got/want-1) > 0.01 {
		t.Errorf("%.1f s, by hand %.1f", got, want)
	}
}

// What choosing posts believes a structure takes is near what its toolpaths take, but
// for the visit that every layer costs anyway. It does not know which ends are linked, so
// it may believe more.
func TestPriceIsNearTheCost(t *testing.T) {
	var m mesh.Mesh
	m.Append(meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 30, Z: 22}))
	m.Append(meshtest.Box(r3.Vec{Z: 20}, r3.Vec{X: 34, Y: 30, Z: 23}))
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(&m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := Layout("shelf", &m, part, need.Find(&m, part, s, 0), s, 0)
	j := newJob(newSite(part, s), grow.NewUndersides(&m), 0)
	believed := 0.0
	for _, g := range j.structures(j.network(&p), p.Lines) {
		g.survey()
		_, _, total := g.choose()
		believed += total
	}
	takes := cost.Supports(j.grown(p), s, cost.Machine{Visit: -1}).TimeS
	if r := believed / takes; r < 0.75 || r > 1.4 {
		t.Errorf("posts were chosen for %.0f s, the toolpaths take %.0f", believed, takes)
	}
}
