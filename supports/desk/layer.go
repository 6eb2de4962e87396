package desk

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Polygon is an outline with the holes in it, in mm. It runs along the edges of cells.
type Polygon struct {
	Outer [][2]float64   `json:"outer"`
	Holes [][][2]float64 `json:"holes,omitempty"`
}

// polygonsOf returns the outlines of cells, one for each piece.
func polygonsOf(g raster.Grid, cells *raster.Bits) []Polygon {
	out := []Polygon{}
	for _, p := range raster.Pieces(cells) {
		var one Polygon
		for _, loop := range raster.Contours(&p.Cells) {
			if path := cornersOf(g, loop); mesh.PolygonArea(path) > 0 {
				one.Outer = listed(path) // a piece has one
			} else {
				one.Holes = append(one.Holes, listed(path))
			}
		}
		out = append(out, one)
	}
	return out
}

// cornersOf returns the places at which an outline turns.
func cornersOf(g raster.Grid, loop []raster.Corner) []r2.Vec {
	var out []r2.Vec
	for i, c := range loop {
		a, b := loop[(i+len(loop)-1)%len(loop)], loop[(i+1)%len(loop)]
		if (c.I-a.I)*(b.J-c.J) != (c.J-a.J)*(b.I-c.I) {
			out = append(out, g.Point(c))
		}
	}
	return out
}

func listed(path []r2.Vec) [][2]float64 {
	out := make([][2]float64, len(path))
	for i, p := range path {
		out[i] = [2]float64{mm(p.X), mm(p.Y)}
	}
	return out
}

// Layer is one layer seen from above.
type Layer struct {
	Z        float64      `json:"z"` // underside
	Index    int          `json:"index"`
	Height   float64      `json:"height_mm"`
	Part     []Polygon    `json:"part"`
	Supports []LayerPiece `json:"supports"`
	Bare     []Polygon    `json:"bare"`    // nothing holds it
	Bridges  []Polygon    `json:"bridges"` // held across the air only
	Held     []Polygon    `json:"held"`    // on supports
	Below    []Polygon    `json:"below"`   // the part's layer below
	Revision int          `json:"revision"`
}

// LayerPiece is what a layer has of one structure.
type LayerPiece struct {
	ID       string    `json:"id"`
	Body     int       `json:"body"`
	Polygons []Polygon `json:"polygons"`
}

// Layer returns the layer at a height, as the newest results have it: the plan may be of a
// later revision.
func (d *Desk) Layer(z float64) Layer {
	d.mu.Lock()
	g, b, p := d.grounds, d.done.built, d.done.proof
	d.mu.Unlock()
	lay := g.layers.Layers
	k := max(0, lay.Above(z+lay.Height/2))
	for k > 0 && lay.Bottom(k) > z+1e-9 {
		k--
	}
	out := Layer{Z: mm(lay.Bottom(k)), Index: k, Height: mm(lay.Thickness(k)),
		Part: polygonsOf(g.layers.Grid, g.layers.Layer(k)), Supports: []LayerPiece{},
		Bare: []Polygon{}, Bridges: []Polygon{}, Held: []Polygon{}, Below: polygonsOf(g.layers.Grid, g.layers.Layer(k-1))}
	if b == nil || b.ground != g {
		return out
	}
	out.Revision = b.of
	_, pieces := d.Supports()
	for i := 0; i < len(b.solids); {
		id := b.solids[i].ID
		var cells raster.Bits
		body := 0
		for ; i < len(b.solids) && b.solids[i].ID == id; i++ {
			if c := b.cut(i, lay.Plane(k)); !c.Empty() {
				cells = raster.Or(&cells, &c)
			}
			if i < len(pieces) {
				body = max(body, pieces[i].Body)
			}
		}
		if !cells.Empty() {
			out.Supports = append(out.Supports, LayerPiece{id, body, polygonsOf(g.layers.Grid, &cells)})
		}
	}
	if p == nil || p.err != nil || p.built.ground != g {
		return out
	}
	show := func(lists ...[]prove.Spot) []Polygon {
		list := []Polygon{}
		for _, spots := range lists {
			for i := range spots {
				if spots[i].K == k {
					list = append(list, polygonsOf(p.report.Grid, &spots[i].Cells)...)
				}
			}
		}
		return list
	}
	out.Bare = show(p.report.UnheldSpots, p.report.SupportSpots)
	out.Bridges, out.Held = show(p.report.Bridges), show(p.report.Contacts)
	return out
}

// cut returns the cells of one solid at a height, on the part's grid.
func (b *built) cut(solid int, z float64) raster.Bits {
	box := b.boxes[solid]
	if z < box.Min.Z || z > box.Max.Z || z <= 0 {
		return raster.Bits{}
	}
	// One layer that is cut just there: all others lie above.
	lay := raster.Layers{First: 2 * z, Height: math.Inf(1)}
	s := raster.Section(b.solids[solid].Mesh, b.ground.layers.Grid, lay, 1)
	return *s.Layer(0)
}

// measure finds the bounds of each solid.
func (b *built) measure() {
	b.boxes = make([]r3.Box, len(b.solids))
	for i, s := range b.solids {
		b.boxes[i] = s.Mesh.Bounds()
	}
}

// bodiesOf finds the printed body that each solid belongs to, −1 for none: of those whose
// box holds most of the solid's the smallest.
func (b *built) bodiesOf(bodies []prove.Body) []int {
	out := make([]int, len(b.solids))
	for i := range out {
		out[i] = prove.BodyOf(b.boxes[i], bodies)
	}
	return out
}

// at returns the structures whose solids a place lies in, or within reach mm of its side.
func (b *built) at(p r3.Vec, reach float64) []string {
	var out []string
	for i, s := range b.solids {
		box := b.boxes[i]
		if fromBox(p, box) > reach || slices.Contains(out, s.ID) {
			continue
		}
		cells := b.cut(i, min(max(p.Z, box.Min.Z+1e-6), box.Max.Z-1e-6))
		grid := b.ground.layers.Grid
		x, y := grid.At(r2.Vec{X: p.X, Y: p.Y})
		one := raster.NewBits(x, y, x+1, y+1)
		one.Set(x, y)
		if raster.Near(&one, &cells, raster.DiscOf(reach/grid.Cell)) {
			out = append(out, s.ID)
		}
	}
	return out
}
