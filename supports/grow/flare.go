package grow

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// flareStray is how far, in mm, a flare's straight run may stray from the wall that it
	// widens.
	flareStray = 0.2
	// longestFlare is the length of walls on a sole, in mm, from which it is long enough
	// without.
	longestFlare = 16.0
)

// flares returns what widens a sole's foot on the plate for what is so high, where walls one
// line thick would lever themselves off.
func (n *Network) flares(p *plan.Plan, q plan.Post, highest float64, part *raster.Stack, under *Undersides) []*mesh.Mesh {
	if q.Side > 0 || q.Foot > 0 {
		return nil
	}
	on := map[int]bool{}
	for _, i := range n.Afoot(p.Lines, q) {
		if s := &n.Stations[i]; s.Low <= 0 && s.Top >= 2*flareHeight {
			on[i] = true
		}
	}
	if !n.levers(on, highest) {
		return nil
	}
	space, _ := under.Space(p.Zones) // checked by GrowUnder
	free := func(at r2.Vec, r float64) bool {
		low, _ := Descend(part, at, flareHeight+n.settings.Clearance, r+n.settings.Clearance)
		_, id := space.Column(plan.NoGo, r3.Vec{X: at.X, Y: at.Y}, r, 0, flareHeight)
		return low == 0 && id == ""
	}
	half := n.settings.Wall / 2
	// sides tells to which sides of a straight run there is room.
	sides := func(run []int) (left, right bool) {
		a, b := n.Stations[run[0]].P, n.Stations[run[len(run)-1]].P
		u := r2.Unit(r2.Sub(b, a))
		v := r2.Scale((half+flareOut)/2, r2.Vec{X: -u.Y, Y: u.X})
		left, right = true, true
		for _, i := range run {
			p := n.Stations[i].P
			left = left && free(r2.Add(p, v), (half+flareOut)/2)
			right = right && free(r2.Sub(p, v), (half+flareOut)/2)
		}
		return
	}
	var out []*mesh.Mesh
	for _, wall := range n.Walls {
		for i := 0; i+1 < len(wall); i++ {
			k := i
			for k+1 < len(wall) && on[wall[k]] && on[wall[k+1]] && n.runsStraight(wall[i:k+2]) {
				k++
			}
			if a, b := n.Stations[wall[i]].P, n.Stations[wall[k]].P; dist(a, b) > samePlace {
				if left, right := sides(wall[i : k+1]); left || right {
					out = append(out, flare(a, b, half, left, right))
				}
			}
			i = max(i, k-1)
		}
	}
	return out
}

// levers tells whether the plate could let go of short walls that stand on it at these
// stations when the nozzle drags at height z: the tension at a corner is F·z/Z.
func (n *Network) levers(on map[int]bool, z float64) bool {
	var area, x, y, xx, xy, yy, long float64
	half := n.settings.Wall / 2
	var corners []r2.Vec
	for _, wall := range n.Walls {
		for i := 1; i < len(wall); i++ {
			if !on[wall[i-1]] || !on[wall[i]] {
				continue
			}
			p, q := n.Stations[wall[i-1]].P, n.Stations[wall[i]].P
			d, m := r2.Sub(q, p), r2.Scale(0.5, r2.Add(p, q))
			l := math.Sqrt(r2.Norm2(d))
			if l == 0 {
				continue
			}
			long += l
			a, t := 2*half*l, half*half/3 // t·a about the wall's own middle, across it
			area, x, y = area+a, x+a*m.X, y+a*m.Y
			xx += a * (m.X*m.X + d.X*d.X/12 + t*d.Y*d.Y/(l*l))
			xy += a * (m.X*m.Y + d.X*d.Y/12 - t*d.X*d.Y/(l*l))
			yy += a * (m.Y*m.Y + d.Y*d.Y/12 + t*d.X*d.X/(l*l))
			v := r2.Scale(half/l, r2.Vec{X: -d.Y, Y: d.X})
			corners = append(corners, r2.Add(p, v), r2.Sub(p, v), r2.Add(q, v), r2.Sub(q, v))
		}
	}
	if area == 0 || long > longestFlare {
		return false
	}
	xx, xy, yy = xx-x*x/area, xy-x*y/area, yy-y*y/area
	most, det := 0.0, xx*yy-xy*xy
	for _, c := range corners {
		dx, dy := c.X-x/area, c.Y-y/area
		most = max(most, math.Hypot(yy*dx-xy*dy, xx*dy-xy*dx)/det)
	}
	return n.settings.Drag*z*most > n.settings.Adhesion
}

// runsStraight tells whether stations hardly stray from the straight between the first
// and the last.
func (n *Network) runsStraight(run []int) bool {
	a, b := n.Stations[run[0]].P, n.Stations[run[len(run)-1]].P
	return !slices.ContainsFunc(run, func(i int) bool {
		return raster.SegmentDistance(n.Stations[i].P, a, b) > flareStray
	})
}

// flare returns the foot of a wall from a to b that is flareOut thicker to its left, its right
// or both.
func flare(a, b r2.Vec, half float64, left, right bool) *mesh.Mesh {
	u := r2.Unit(r2.Sub(b, a))
	v := r2.Vec{X: -u.Y, Y: u.X}
	box := func(out float64) []r2.Vec {
		l, r := half, half
		if left {
			l += out
		}
		if right {
			r += out
		}
		at := func(p r2.Vec, across float64) r2.Vec { return r2.Add(p, r2.Scale(across, v)) }
		return []r2.Vec{at(a, -r), at(b, -r), at(b, l), at(a, l)}
	}
	return mesh.Frustum(box(flareOut), box(0), 0, flareHeight)
}
