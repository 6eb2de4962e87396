package raster

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Hull returns the convex hull of points, anticlockwise, without points on its sides
// (Andrew's monotone chain, 1979, Information Processing Letters 9(5) 216–219). It sorts
// points in place.
func Hull(points []r2.Vec) []r2.Vec {
	slices.SortFunc(points, func(a, b r2.Vec) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y))
	})
	points = slices.Compact(points)
	if len(points) < 3 {
		return slices.Clone(points)
	}
	half := func(list []r2.Vec, q r2.Vec, least int) []r2.Vec {
		for len(list) > least {
			a, b := list[len(list)-2], list[len(list)-1]
			if r2.Cross(r2.Sub(b, a), r2.Sub(q, b)) > 0 {
				break
			}
			list = list[:len(list)-1]
		}
		return append(list, q)
	}
	var out []r2.Vec
	for _, q := range points {
		out = half(out, q, 1)
	}
	n := len(out)
	for i := len(points) - 2; i >= 0; i-- {
		out = half(out, points[i], n)
	}
	return out[:len(out)-1]
}
