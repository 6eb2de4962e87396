package grow

import (
	"cmp"
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
	// LongestFlare is the length of walls on a sole, in mm, from which it is long enough
	// without, unless the plan says otherwise.
	LongestFlare = 16.0
	// flareStep is by how much narrower, in mm, a toe is tried where it has no room.
	flareStep = 0.6
)

// slab is a straight stretch of a foot, from a to b, and how far it reaches to its left and
// to its right, in mm.
type slab struct {
	a, b        r2.Vec
	left, right float64
}

// flares returns what widens a sole's foot on the plate: by its toe, or, where it has none
// and walls one line thick for what is so high would lever themselves off, by as much as
// hollow posts are.
func (n *Network) flares(p *plan.Plan, q plan.Post, highest float64, part *raster.Stack, under *Undersides) []*mesh.Mesh {
	if q.Side > 0 || q.Foot > 0 {
		return nil
	}
	out := cmp.Or(q.Toe, flareOut)
	half := n.settings.Wall / 2
	on := map[int]bool{}
	for _, i := range n.Afoot(p.Lines, q) {
		if s := &n.Stations[i]; s.Low <= 0 && s.Top >= 2*out {
			on[i] = true
		}
	}
	if q.Toe == 0 && !n.levers(on, highest) {
		return nil
	}
	space, _ := under.Space(p.Zones) // checked by GrowUnder
	free := func(at r2.Vec, r float64) bool {
		low, _ := Descend(part, at, out+n.settings.Clearance, r+n.settings.Clearance)
		_, id := space.Column(plan.NoGo, r3.Vec{X: at.X, Y: at.Y}, r, 0, out)
		return low == 0 && id == ""
	}
	var solids []*mesh.Mesh
	for _, f := range n.widened(on, out, free) {
		if f.left+f.right > 2*half {
			solids = append(solids, f.flare(half, max(f.left, f.right)-half))
		}
	}
	return solids
}

// levers tells whether the plate could let go of short walls that stand on it at these
// stations when the nozzle drags at height z.
func (n *Network) levers(on map[int]bool, z float64) bool {
	walls := n.between(on)
	return long(walls) <= LongestFlare && n.settings.Drag*z*lever(walls) > n.settings.Adhesion
}

// between returns the walls between some stations, each from one to the next.
func (n *Network) between(on map[int]bool) (walls []slab) {
	half := n.settings.Wall / 2
	for _, wall := range n.Walls {
		for i := 1; i < len(wall); i++ {
			if a, b := n.Stations[wall[i-1]].P, n.Stations[wall[i]].P; on[wall[i-1]] && on[wall[i]] && dist(a, b) > 0 {
				walls = append(walls, slab{a, b, half, half})
			}
		}
	}
	return walls
}

// long returns the length of all slabs, in mm.
func long(walls []slab) (l float64) {
	for _, w := range walls {
		l += dist(w.a, w.b)
	}
	return l
}

// Long returns the length of walls that a sole carries, in mm.
func (n *Network) Long(lines []plan.Line, q plan.Post) float64 {
	on := map[int]bool{}
	for _, i := range n.Afoot(lines, q) {
		on[i] = true
	}
	return long(n.between(on))
}

// widened returns the straight stretches of walls between some stations, wider by out, or by
// what of it there is room for, to either side. Free tells whether there is round a place.
func (n *Network) widened(on map[int]bool, out float64, free func(at r2.Vec, r float64) bool) (feet []slab) {
	half := n.settings.Wall / 2
	add := func(run []int) {
		first, last := n.Stations[run[0]].P, n.Stations[run[len(run)-1]].P
		if dist(first, last) <= samePlace {
			return
		}
		u := r2.Unit(r2.Sub(last, first))
		// room returns how much wider a stretch from a to b may be to the side that v points to.
		room := func(a, b, v r2.Vec) float64 {
			for w := out; w > 0; w -= flareStep {
				r := (half + w) / 2
				if off := r2.Scale(r, v); free(r2.Add(a, off), r) && free(r2.Add(b, off), r) {
					return w
				}
				if out <= flareOut {
					break
				}
			}
			return 0
		}
		// What of the run has the same room is one stretch.
		var f slab
		for i := 1; i < len(run); i++ {
			a, b := n.Stations[run[i-1]].P, n.Stations[run[i]].P
			v := r2.Vec{X: -u.Y, Y: u.X}
			next := slab{a, b, half + room(a, b, v), half + room(a, b, r2.Scale(-1, v))}
			if i > 1 && f.left == next.left && f.right == next.right {
				f.b = b
				continue
			}
			if i > 1 {
				feet = append(feet, f)
			}
			f = next
		}
		feet = append(feet, f)
	}
	for _, wall := range n.Walls {
		for i := 0; i+1 < len(wall); i++ {
			k := i
			for k+1 < len(wall) && on[wall[k]] && on[wall[k+1]] && n.runsStraight(wall[i:k+2]) {
				k++
			}
			if k > i {
				add(wall[i : k+1])
			}
			i = max(i, k-1)
		}
	}
	return slices.DeleteFunc(feet, func(f slab) bool { return dist(f.a, f.b) <= samePlace })
}

// lever returns the largest tension under a foot, in MPa, for a moment of 1 N·mm: 1/Z at its
// furthest corner.
func lever(feet []slab) float64 {
	var area, x, y, xx, xy, yy float64
	var corners []r2.Vec
	for _, f := range feet {
		l, w := dist(f.a, f.b), f.left+f.right
		d := r2.Sub(f.b, f.a)
		v := r2.Scale(1/l, r2.Vec{X: -d.Y, Y: d.X})
		m := r2.Add(r2.Scale(0.5, r2.Add(f.a, f.b)), r2.Scale((f.left-f.right)/2, v))
		// A rectangle about its own middle, a·l²/12 along it and a·w²/12 across, and about the origin.
		a, t := w*l, w*w/12
		area, x, y = area+a, x+a*m.X, y+a*m.Y
		xx += a * (m.X*m.X + d.X*d.X/12 + t*v.X*v.X)
		xy += a * (m.X*m.Y + d.X*d.Y/12 + t*v.X*v.Y)
		yy += a * (m.Y*m.Y + d.Y*d.Y/12 + t*v.Y*v.Y)
		for _, p := range [2]r2.Vec{f.a, f.b} {
			corners = append(corners, r2.Add(p, r2.Scale(f.left, v)), r2.Sub(p, r2.Scale(f.right, v)))
		}
	}
	if area == 0 {
		return 0
	}
	xx, xy, yy = xx-x*x/area, xy-x*y/area, yy-y*y/area
	most, det := 0.0, xx*yy-xy*xy
	for _, c := range corners {
		dx, dy := c.X-x/area, c.Y-y/area
		most = max(most, math.Hypot(yy*dx-xy*dy, xx*dy-xy*dx)/det)
	}
	return most
}

// runsStraight tells whether stations hardly stray from the straight between the first
// and the last.
func (n *Network) runsStraight(run []int) bool {
	a, b := n.Stations[run[0]].P, n.Stations[run[len(run)-1]].P
	return !slices.ContainsFunc(run, func(i int) bool {
		return raster.SegmentDistance(n.Stations[i].P, a, b) > flareStray
	})
}

// flare returns a slab that narrows upward to a wall of half its thickness to either side,
// over so many mm.
func (f *slab) flare(half, tall float64) *mesh.Mesh {
	u := r2.Unit(r2.Sub(f.b, f.a))
	v := r2.Vec{X: -u.Y, Y: u.X}
	box := func(left, right float64) []r2.Vec {
		at := func(p r2.Vec, across float64) r2.Vec { return r2.Add(p, r2.Scale(across, v)) }
		return []r2.Vec{at(f.a, -right), at(f.b, -right), at(f.b, left), at(f.a, left)}
	}
	return mesh.Frustum(box(f.left, f.right), box(half, half), 0, tall)
}
