package raster

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Corner is a corner of the cell grid: corner (i, j) is the lower left of cell
// (i, j).
type Corner struct{ I, J int }

// Contours returns the closed outlines of b along cell edges, cells on the left:
// outer outlines run counter-clockwise, holes clockwise. Each is the list of its
// corners, one cell edge apart, the first not repeated. Cells that touch only at
// a corner share an outline, as they share a Piece.
func Contours(b *Bits) [][]Corner {
	x0, y0, x1, y1 := b.Bounds()
	if x0 == x1 {
		return nil
	}
	// An outline starts at every bottom edge not yet walked.
	walked := NewBits(x0, y0, x1, y1)
	var out [][]Corner
	b.Each(func(i, j int) {
		if b.Has(i, j-1) || walked.Has(i, j) {
			return
		}
		var loop []Corner
		at, dx, dy := Corner{i, j}, 1, 0
		for {
			if dx == 1 {
				if walked.Has(at.I, at.J) {
					break
				}
				walked.Set(at.I, at.J)
			}
			loop = append(loop, at)
			at = Corner{at.I + dx, at.J + dy}
			// The two cells ahead, left and right of the way.
			left := b.Has(at.I+(dx-dy-1)/2, at.J+(dy+dx-1)/2)
			right := b.Has(at.I+(dx+dy-1)/2, at.J+(dy-dx-1)/2)
			switch {
			case right: // a corner contact is walked across
				dx, dy = dy, -dx
			case !left:
				dx, dy = -dy, dx
			}
		}
		out = append(out, loop)
	})
	return out
}

// Point returns the place of a corner in mm.
func (g Grid) Point(c Corner) r2.Vec {
	return r2.Vec{X: g.Origin.X + float64(c.I)*g.Cell, Y: g.Origin.Y + float64(c.J)*g.Cell}
}

// Simplify returns the points of path that a polyline needs to stay within tol of
// it (Douglas and Peucker 1973, Cartographica 10(2) 112–122). The ends are kept.
func Simplify(path []r2.Vec, tol float64) []r2.Vec {
	if len(path) < 3 {
		return append([]r2.Vec(nil), path...)
	}
	keep := make([]bool, len(path))
	keep[0], keep[len(path)-1] = true, true
	type span struct{ a, b int }
	for todo := []span{{0, len(path) - 1}}; len(todo) > 0; {
		s := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		far, at := tol, -1
		for i := s.a + 1; i < s.b; i++ {
			if d := SegmentDistance(path[i], path[s.a], path[s.b]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			todo = append(todo, span{s.a, at}, span{at, s.b})
		}
	}
	var out []r2.Vec
	for i, p := range path {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// SegmentDistance returns the distance of p from the segment a–b.
func SegmentDistance(p, a, b r2.Vec) float64 {
	d := r2.Sub(b, a)
	t := 0.0
	if n := r2.Norm2(d); n > 0 {
		t = min(1, max(0, r2.Dot(r2.Sub(p, a), d)/n))
	}
	return math.Sqrt(r2.Norm2(r2.Sub(p, r2.Add(a, r2.Scale(t, d)))))
}
