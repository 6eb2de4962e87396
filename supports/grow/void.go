package grow

import (
	"cmp"
	"slices"

	"falsework/raster"
	"falsework/supports"
)

const (
	// nearPlane is how near to a cutting plane, in mm, a surface may go to either
	// side of it: what float32 leaves of a coordinate of 100 mm.
	nearPlane = 1e-5
	// slopeShare is what of a layer a wall ends lower under a slope than its void, so
	// that rounding fuses nothing.
	slopeShare = 0.25
)

// topUnder returns where a wall must end below an underside at z.
//
// Under a level ceiling it ends where the void prints well; see clear. Under a slope it
// ends a void and a quarter layer below the lowest point across the
// wall, so that any cut leaves the void's layers empty or one more; and no less than the
// thickest declared layer, or that would fuse.
func topUnder(z float64, level bool, s supports.Settings) float64 {
	if !level {
		return z - slopeVoid(s)
	}
	top, good := clear(s, z, -1, func(lay raster.Layers, at float64) (least, most int, thick float64) {
		k, from, to := lay.Above(at), lay.Above(z-nearPlane), lay.Above(z+nearPlane)
		return from - k, to - k, lay.Bottom(to) - lay.Bottom(k)
	})
	if good == 0 {
		return s.Layers().Bottom(max(s.Layers().Above(z-1e-6)-s.VoidLayers(), 0))
	}
	return max(top, 0)
}

// slopeVoid returns how far, in mm, a wall keeps from a slope.
func slopeVoid(s supports.Settings) float64 {
	void := (float64(s.VoidLayers()) + slopeShare) * s.Layer
	for _, h := range s.Heights {
		void = max(void, h+nearPlane)
	}
	return void
}

// seatOver returns where a support must begin over an upper side of the part at z: where
// the void prints well over a level one, see clear, and over a slope as far from its
// highest point as topUnder keeps from the lowest. It is ok if that prints well in the
// settings' own layers and in all that are declared.
func seatOver(z float64, level bool, s supports.Settings) (seat float64, ok bool) {
	if !level {
		return z + slopeVoid(s), true
	}
	seat, good := clear(s, z, 1, func(lay raster.Layers, at float64) (least, most int, thick float64) {
		k, from, to := lay.Above(at), lay.Above(z-nearPlane), lay.Above(z+nearPlane)
		return k - to, k - from, lay.Bottom(k) - lay.Bottom(from)
	})
	if good == 0 {
		return s.Layers().Bottom(s.Layers().Above(z-1e-6) + s.VoidLayers()), false
	}
	return seat, good > len(s.Heights)+len(s.Heights)
}

// clear returns a height above z (way 1) or below (way −1) that leaves a void which
// prints, in the settings' own layers and in as many as can be of those declared, so that
// it comes apart and carries: printed tells the empty layers, as a surface on a cutting
// plane may go to either side, and how thick they are at most, in mm. Of such heights it
// is one that leaves as many layers as the gap asks for, with the most room to the next
// cutting plane. Good is the number of layers that it prints well in, of which the
// settings' own count as much as all others and one; 0 where there is none.
func clear(s supports.Settings, z, way float64, printed func(lay raster.Layers, at float64) (least, most int, thick float64)) (height float64, good int) {
	type cut struct {
		lay   raster.Layers
		thick float64
	}
	var cuts []cut
	furthest := 0.0
	for _, h := range append([]float64{s.Layer}, s.Heights...) {
		at := s
		at.Layer = h
		c := cut{raster.Layers{First: s.First, Height: h}, at.ThickestVoid(false)}
		furthest = max(furthest, c.thick+h)
		cuts = append(cuts, c)
	}
	// Between two neighbouring planes all heights print alike.
	lo, hi := min(z, z+way*furthest), max(z, z+way*furthest)
	planes := []float64{lo, hi}
	for _, c := range cuts {
		for k := c.lay.Above(lo); c.lay.Plane(k) < hi; k++ {
			planes = append(planes, c.lay.Plane(k))
		}
	}
	slices.Sort(planes)
	type rank struct {
		good, empty int
		room        float64
	}
	var best rank
	for n := 1; n < len(planes); n++ {
		r := rank{room: planes[n] - planes[n-1]}
		if r.room < 4*nearPlane {
			continue
		}
		at := (planes[n] + planes[n-1]) / 2
		for i, c := range cuts {
			least, most, thick := printed(c.lay, at)
			ok := least > 0 && thick <= c.thick+nearPlane
			if i == 0 {
				r.empty = most
			}
			switch {
			case ok && i == 0:
				r.good += len(cuts)
			case ok:
				r.good++
			}
		}
		better := cmp.Or(cmp.Compare(r.good, best.good), cmp.Compare(r.empty, best.empty), cmp.Compare(r.room, best.room+1e-9))
		if r.good > 0 && better > 0 {
			best, height = r, at
		}
	}
	return height, best.good
}
