package view

import (
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"falsework/mesh"
)

// Marker returns a regular octahedron of the given radius in mm, a closed solid,
// for a spot that has no area of its own.
func Marker(at r3.Vec, radius float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, d := range []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}} {
		m.Vertices = append(m.Vertices, r3.Add(at, r3.Scale(radius, d)))
	}
	m.Triangles = [][3]uint32{
		{0, 2, 4}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4},
		{2, 0, 5}, {1, 2, 5}, {3, 1, 5}, {0, 3, 5},
	}
	return m
}

// Tile is a flat rectangle parallel to the plate, in mm.
type Tile struct {
	Min, Max r2.Vec
	Z        float64
}

// Tiles returns the rectangles as one open mesh. It is drawn from both sides,
// and neighbours that share corners make one area. It is no solid: do not write
// it to a printable file.
func Tiles(tiles []Tile) *mesh.Mesh {
	m := &mesh.Mesh{
		Vertices:  make([]r3.Vec, 0, 4*len(tiles)),
		Triangles: make([][3]uint32, 0, 2*len(tiles)),
	}
	for _, t := range tiles {
		k := uint32(len(m.Vertices))
		m.Vertices = append(m.Vertices,
			r3.Vec{X: t.Min.X, Y: t.Min.Y, Z: t.Z}, r3.Vec{X: t.Max.X, Y: t.Min.Y, Z: t.Z},
			r3.Vec{X: t.Max.X, Y: t.Max.Y, Z: t.Z}, r3.Vec{X: t.Min.X, Y: t.Max.Y, Z: t.Z})
		m.Triangles = append(m.Triangles, [3]uint32{k, k + 1, k + 2}, [3]uint32{k, k + 2, k + 3})
	}
	return m
}
