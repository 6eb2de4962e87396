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
type stretches struct {
	x0, y0, w, h int // the squares
	at           [][]stretch
}

// tile is the edge of these, in mm, and nearby how near.
const tile, nearby = 2.0, 0.8

// near returns what may be nearby p.
func (w *stretches) near(p r2.Vec) []stretch {
	i, j := int(math.Floor(p.X/tile))-w.x0, int(math.Floor(p.Y/tile))-w.y0
	if i < 0 || j < 0 || i >= w.w || j >= w.h {
		return nil
	}
	return w.at[j*w.w+i]
}

// stretches returns all walls as they hang.
func (n *Network) stretches() *stretches {
	if len(n.Stations) == 0 {
		return &stretches{}
	}
	lo, hi := n.Stations[0].P, n.Stations[0].P
	for i := range n.Stations {
		p := n.Stations[i].P
		lo = r2.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = r2.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	square := func(v float64) int { return int(math.Floor(v / tile)) }
	out := &stretches{x0: square(lo.X - nearby), y0: square(lo.Y - nearby)}
	out.w, out.h = square(hi.X+nearby)-out.x0+1, square(hi.Y+nearby)-out.y0+1
	out.at = make([][]stretch, out.w*out.h)
	together := n.together()
	for l, wall := range n.Walls {
		for k := 1; k < len(wall); k++ {
			if !n.built(wall[k-1]) || !n.built(wall[k]) {
				continue
			}
			s, t := &n.Stations[wall[k-1]], &n.Stations[wall[k]]
			piece := stretch{s.P, t.P, max(s.Low, t.Low), min(s.Top, t.Top), l, together[wall[k]]}
			i1, j1 := square(max(s.P.X, t.P.X)+nearby)-out.x0, square(max(s.P.Y, t.P.Y)+nearby)-out.y0
			for j := square(min(s.P.Y, t.P.Y)-nearby) - out.y0; j <= j1; j++ {
				for i := square(min(s.P.X, t.P.X)-nearby) - out.x0; i <= i1; i++ {
					out.at[j*out.w+i] = append(out.at[j*out.w+i], piece)
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
func (w *stretches) meets(p r2.Vec, z float64, structure int) bool {
	for _, t := range w.near(p) {
		if t.structure != structure && t.low <= z && z < t.high && raster.SegmentDistance(p, t.a, t.b) <= nearby {
			return true
		}
	}
	return false
}

// has tells whether there is a wall within r ≤ nearby of p at height z, of another line
// than but, −1 for any.
func (w *stretches) has(p r2.Vec, z, r float64, but int) bool {
	list := w.near(p)
	for i := range list {
		t := &list[i]
		if t.low <= z && z < t.high && t.line != but && raster.SegmentDistance(p, t.a, t.b) <= r {
			return true
		}
	}
	return false
}

// along tells whether a wall that runs about as u does is near p at height z, of another
// line than two.
func (w *stretches) along(p, u r2.Vec, z float64, but, or int) bool {
	for _, t := range w.near(p) {
		if t.line != but && t.line != or && t.low <= z && z < t.high && raster.SegmentDistance(p, t.a, t.b) <= nearby && math.Abs(r2.Dot(heading(t.a, t.b), u)) > sideBySide {
			return true
		}
	}
	return false
}

// goOn tells whether walls go on where one of line l ends at p, heading along u.
func (w *stretches) goOn(l int, p, u r2.Vec, z float64, s supports.Settings) bool {
	return w.has(p, z, s.Wall/2+samePlace, l) || w.has(r2.Add(p, r2.Scale(s.Wall, u)), z, s.Wall/2, -1)
}
