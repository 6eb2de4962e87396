package grow

import (
	"math"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// stretch is a piece of wall between two neighbouring stations.
type stretch struct {
	a, b      r2.Vec
	low, high float64
	line      int
	structure int // what hangs together
}

// stretches are pieces of wall by the squares that they are near.
type stretches map[[2]int][]stretch

// tile is the edge of these, in mm, and nearby how near.
const tile, nearby = 2.0, 0.8

func squareOf(p r2.Vec) [2]int {
	return [2]int{int(math.Floor(p.X / tile)), int(math.Floor(p.Y / tile))}
}

// stretches returns all walls as they hang.
func (n *Network) stretches() stretches {
	out := stretches{}
	together := n.together()
	for l, wall := range n.Walls {
		for k := 1; k < len(wall); k++ {
			if !n.built(wall[k-1]) || !n.built(wall[k]) {
				continue
			}
			s, t := &n.Stations[wall[k-1]], &n.Stations[wall[k]]
			piece := stretch{s.P, t.P, max(s.Low, t.Low), min(s.Top, t.Top), l, together[wall[k]]}
			lo := squareOf(r2.Vec{X: min(s.P.X, t.P.X) - nearby, Y: min(s.P.Y, t.P.Y) - nearby})
			hi := squareOf(r2.Vec{X: max(s.P.X, t.P.X) + nearby, Y: max(s.P.Y, t.P.Y) + nearby})
			for i := lo[0]; i <= hi[0]; i++ {
				for j := lo[1]; j <= hi[1]; j++ {
					out[[2]int{i, j}] = append(out[[2]int{i, j}], piece)
				}
			}
		}
	}
	return out
}

// together numbers what hangs together, for every station.
func (n *Network) together() []int {
	sets := mesh.NewDisjoint[int](len(n.Stations))
	for i := range n.Stations {
		for _, w := range n.Stations[i].next {
			if n.built(i) && n.built(w.To) {
				sets.Union(i, w.To)
			}
		}
	}
	out := make([]int, len(n.Stations))
	for i := range out {
		out[i] = sets.Find(i)
	}
	return out
}

// meets tells whether a wall of another structure is within nearby of p at height z.
func (w stretches) meets(p r2.Vec, z float64, structure int) bool {
	for _, t := range w[squareOf(p)] {
		if t.structure != structure && t.low <= z && z < t.high && raster.SegmentDistance(p, t.a, t.b) <= nearby {
			return true
		}
	}
	return false
}

// has tells whether there is a wall within r ≤ nearby of p at height z, of another line
// than but, −1 for any.
func (w stretches) has(p r2.Vec, z, r float64, but int) bool {
	for _, t := range w[squareOf(p)] {
		if t.line != but && t.low <= z && z < t.high && raster.SegmentDistance(p, t.a, t.b) <= r {
			return true
		}
	}
	return false
}

// along tells whether a wall that runs about as u does is near p at height z, of another
// line than two.
func (w stretches) along(p, u r2.Vec, z float64, but, or int) bool {
	for _, t := range w[squareOf(p)] {
		if t.line != but && t.line != or && t.low <= z && z < t.high && raster.SegmentDistance(p, t.a, t.b) <= nearby && math.Abs(r2.Dot(heading(t.a, t.b), u)) > sideBySide {
			return true
		}
	}
	return false
}

// goOn tells whether walls go on where one of line l ends at p, heading along u.
func (w stretches) goOn(l int, p, u r2.Vec, z float64, s supports.Settings) bool {
	return w.has(p, z, s.Wall/2, l) || w.has(r2.Add(p, r2.Scale(s.Wall, u)), z, s.Wall/2, -1)
}
