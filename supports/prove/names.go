package prove

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Structure is a solid among the supports that has a name of its own, such as the id
// that a plan gives it.
type Structure struct {
	ID   string
	Mesh *mesh.Mesh
}

// Name gives every reason and note that concerns supports the id of the structure
// nearest to it: the one that carries too little, stands too near, or is to be broken.
// It is the nearest of those whose box reaches the body that a reason names. What the
// part does by itself, such as tipping, gets none.
func (r *Report) Name(list []Structure) {
	boxes := make([]r3.Box, len(list))
	for n := range list {
		boxes[n] = list[n].Mesh.Bounds()
	}
	name := func(why *Reason) {
		if why.Kind == Tips && why.Body == 0 {
			return
		}
		best := math.Inf(1)
		for n := range list {
			if apart := distanceToBox(why.At, boxes[n]); apart >= best {
				continue
			}
			if b := why.Body; b > 0 && b <= len(r.Bodies) && !meet(r.Bodies[b-1].Bounds, boxes[n]) {
				continue
			}
			if d := distanceTo(why.At, list[n].Mesh, best); d < best {
				best, why.ID = d, list[n].ID
			}
		}
	}
	for n := range r.Reasons {
		name(&r.Reasons[n])
	}
	for n := range r.Notes {
		name(&r.Notes[n])
	}
}

// Also takes over the reasons of a proof of the same pair at other layers, which are
// told in front of each. Bodies are numbered anew by every proof, so theirs are dropped.
func (r *Report) Also(layers string, other Report) {
	for _, why := range other.Reasons {
		why.Text, why.Body = layers+": "+why.Text, 0
		r.Reasons = append(r.Reasons, why)
	}
	if other.Verdict == Fails {
		r.Verdict = Fails
	}
	sortByHarm(r.Reasons)
}

func meet(a, b r3.Box) bool {
	return a.Min.X <= b.Max.X && b.Min.X <= a.Max.X && a.Min.Y <= b.Max.Y && b.Min.Y <= a.Max.Y && a.Min.Z <= b.Max.Z && b.Min.Z <= a.Max.Z
}

func distanceToBox(p r3.Vec, b r3.Box) float64 {
	out := func(v, lo, hi float64) float64 { return max(lo-v, 0, v-hi) }
	return r3.Norm(r3.Vec{X: out(p.X, b.Min.X, b.Max.X), Y: out(p.Y, b.Min.Y, b.Max.Y), Z: out(p.Z, b.Min.Z, b.Max.Z)})
}

// distanceTo returns how far p is from a mesh's surface, or no less than most.
func distanceTo(p r3.Vec, m *mesh.Mesh, most float64) float64 {
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		most = min(most, r3.Norm(r3.Sub(p, nearestOn(p, a, b, c))))
	}
	return most
}

// nearestOn returns the point of a triangle that is nearest to p: the foot of the
// perpendicular if it lies inside, else the nearest point of an edge.
func nearestOn(p, a, b, c r3.Vec) r3.Vec {
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	if size := r3.Norm2(n); size > 0 {
		foot := r3.Sub(p, r3.Scale(r3.Dot(r3.Sub(p, a), n)/size, n))
		inside := true
		for _, e := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
			inside = inside && r3.Dot(r3.Cross(r3.Sub(e[1], e[0]), r3.Sub(foot, e[0])), n) >= 0
		}
		if inside {
			return foot
		}
	}
	best, at := math.Inf(1), a
	for _, e := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
		d := r3.Sub(e[1], e[0])
		f := 0.0
		if size := r3.Norm2(d); size > 0 {
			f = min(max(r3.Dot(r3.Sub(p, e[0]), d)/size, 0), 1)
		}
		q := r3.Add(e[0], r3.Scale(f, d))
		if far := r3.Norm2(r3.Sub(p, q)); far < best {
			best, at = far, q
		}
	}
	return at
}
