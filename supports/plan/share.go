package plan

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// onZone is how far from a zone, in mm, a face may be and lie in it: zones are
	// drawn up to faces, and files round both.
	onZone = 0.01
	// shareStep is the length in mm from which a piece of a triangle is in a zone or
	// not, as its middle is: the edge of a fine raster's cell.
	shareStep = 0.1
)

// Shares returns for each triangle of the part that the space was made for how much
// of its area lies in zones of the kind, from 0 to 1. Of zones that overlap the one
// with the largest share counts.
func (s *Space) Shares(kind Kind, m *mesh.Mesh) []float64 {
	out := make([]float64, len(m.Triangles))
	if s == nil {
		return out
	}
	for i := range s.zones {
		z := &s.zones[i]
		if z.kind != kind {
			continue
		}
		if z.facets != nil {
			for _, t := range z.facets {
				out[t] = 1
			}
			continue
		}
		for t := range out {
			if out[t] < 1 {
				out[t] = max(out[t], z.share(m.Corners(t)))
			}
		}
	}
	return out
}

// share returns how much of a triangle's area lies in a zone that is a box or a
// cylinder. Both are convex: where three corners are inside, all is. What neither is
// inside nor clear of the zone is halved across its longest edge.
func (z *volume) share(a, b, c r3.Vec) float64 {
	d := func(p r3.Vec) float64 { return z.distance(p, 0) }
	if d(a) <= onZone && d(b) <= onZone && d(c) <= onZone {
		return 1
	}
	mid := r3.Scale(1./3, r3.Add(a, r3.Add(b, c)))
	reach := math.Sqrt(max(r3.Norm2(r3.Sub(a, mid)), r3.Norm2(r3.Sub(b, mid)), r3.Norm2(r3.Sub(c, mid))))
	off := d(mid)
	if off > reach+onZone {
		return 0
	}
	ab, bc, ca := r3.Norm2(r3.Sub(b, a)), r3.Norm2(r3.Sub(c, b)), r3.Norm2(r3.Sub(a, c))
	if longest := max(ab, bc, ca); longest <= shareStep*shareStep {
		if off <= onZone {
			return 1
		}
		return 0
	} else if bc == longest {
		a, b, c = b, c, a
	} else if ca == longest {
		a, b, c = c, a, b
	}
	half := r3.Scale(0.5, r3.Add(a, b))
	return (z.share(a, half, c) + z.share(half, b, c)) / 2
}
