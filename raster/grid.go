package raster

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Grid maps square cells to the plane. Cell (0, 0) has its lower left corner at
// Origin.
type Grid struct {
	Origin r2.Vec  // mm
	Cell   float64 // edge of a cell, mm
	W, H   int     // cells along x and y
	// LowI and LowJ are how many columns and rows were added on the low sides of a grid
	// that was widened. Digital lines are counted from before that, so that what is judged
	// along them does not depend on it.
	LowI, LowJ int
}

// GridFor returns the smallest grid of the given cell that covers box with
// margin (mm) to spare on each side. Its origin is a whole multiple of the cell,
// so that grids of one cell size share their cells.
func GridFor(box r3.Box, cell, margin float64) Grid {
	x0 := math.Floor((box.Min.X - margin) / cell)
	y0 := math.Floor((box.Min.Y - margin) / cell)
	x1 := math.Ceil((box.Max.X + margin) / cell)
	y1 := math.Ceil((box.Max.Y + margin) / cell)
	return Grid{
		Origin: r2.Vec{X: x0 * cell, Y: y0 * cell},
		Cell:   cell,
		W:      int(x1 - x0),
		H:      int(y1 - y0),
	}
}

// Center returns the centre of cell (i, j) in mm.
func (g Grid) Center(i, j int) r2.Vec {
	return r2.Vec{X: g.Origin.X + (float64(i)+0.5)*g.Cell, Y: g.Origin.Y + (float64(j)+0.5)*g.Cell}
}

// At returns the cell that holds point p; it may lie outside the grid.
func (g Grid) At(p r2.Vec) (i, j int) {
	return int(math.Floor((p.X - g.Origin.X) / g.Cell)), int(math.Floor((p.Y - g.Origin.Y) / g.Cell))
}

// Contains tells whether cell (i, j) is in the grid.
func (g Grid) Contains(i, j int) bool { return i >= 0 && j >= 0 && i < g.W && j < g.H }

// CellArea returns a cell's area in mm².
func (g Grid) CellArea() float64 { return g.Cell * g.Cell }

// Layers says how a print is cut: a first layer of its own thickness, then equal
// ones. All in mm.
type Layers struct {
	First  float64 // thickness of layer 0
	Height float64 // thickness of every other layer
}

// Plane returns the height at which layer k is cut, mid-way through it.
func (l Layers) Plane(k int) float64 {
	if k == 0 {
		return l.First / 2
	}
	return l.First + (float64(k)-0.5)*l.Height
}

// Bottom returns the height of layer k's underside.
func (l Layers) Bottom(k int) float64 {
	if k == 0 {
		return 0
	}
	return l.First + float64(k-1)*l.Height
}

// Top returns the height of layer k's upper side.
func (l Layers) Top(k int) float64 { return l.First + float64(k)*l.Height }

// Thickness returns layer k's thickness.
func (l Layers) Thickness(k int) float64 {
	if k == 0 {
		return l.First
	}
	return l.Height
}

// Above returns the first layer whose cutting plane is at z or higher.
func (l Layers) Above(z float64) int {
	k := int(math.Ceil((z-l.First)/l.Height + 0.5))
	k = max(k, 0)
	for k > 0 && l.Plane(k-1) >= z {
		k--
	}
	for l.Plane(k) < z {
		k++
	}
	return k
}

// Count returns how many layers a solid that reaches up to z is cut into.
func (l Layers) Count(z float64) int { return l.Above(z) }
