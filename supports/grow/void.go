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
	// gentle is the rise, in mm, of a slope round a place on a wall up to which it is tried
	// as level: half of the thinnest layers that are common.
	gentle = 0.06
	// slopeShare is what of a layer a wall ends lower under a slope than its void, so
	// that rounding fuses nothing.
	slopeShare = 0.25
)

// topUnder returns where a wall must end below an underside at z.
//
// Under a level ceiling it ends where the void prints well; see clear. Under a slope it
// ends a void and a quarter layer below the lowest point across the
// wall, so that any cut leaves the void's layers empty or one more; and no less than the
// thickest declared layer, or that would fuse. Under one that is gentle it ends where the
// void prints well at all layer heights that are declared, if there is such a place for all
// of the band that the slope covers there.
func topUnder(z float64, level bool, band [2]float64, s supports.Settings) float64 {
	if !level {
		if len(s.Heights) > 0 && band[1]-band[0] < gentle {
			if top, good := clearUnder(band[0], band[1], s); good > 2*len(s.Heights) {
				return max(top, 0)
			}
		}
		return z - slopeVoid(s)
	}
	top, good := clearUnder(z, z, s)
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
	seat, good := clearOver(z, s)
	if good == 0 {
		return s.Layers().Bottom(s.Layers().Above(z-1e-6) + s.VoidLayers()), false
	}
	return seat, good > 2*len(s.Heights)
}

// Suits tells whether a support that ends under a level face of the part at z, or begins
// on it if it faces up, can leave a void that prints well at the settings' own and all
// declared layer heights, and if not, by how little the face would have to move for one to
// do so, in mm, positive upward; 0 where that is further than half a millimetre.
func Suits(z float64, up bool, s supports.Settings) (ok bool, move float64) {
	suits := func(z float64) bool {
		_, good := clearUnder(z, z, s)
		if up {
			_, good = clearOver(z, s)
		}
		return good > 2*len(s.Heights)
	}
	const step, most = 0.01, 50 // mm, and so many of them
	for n := range most + 1 {
		for _, way := range [2]float64{1, -1} {
			if d := way * step * float64(n); suits(z + d) {
				return n == 0, d
			}
		}
	}
	return false, 0
}

// clearUnder is clear for what ends under a face that covers a band of heights, clearOver
// for what begins over a level one.
func clearUnder(lo, hi float64, s supports.Settings) (top float64, good int) {
	return clear(s, lo, -1, func(lay raster.Layers, at float64) (least, most int, thick float64) {
		k, from, to := lay.Above(at), lay.Above(lo-nearPlane), lay.Above(hi+nearPlane)
		return from - k, to - k, lay.Bottom(to) - lay.Bottom(k)
	})
}

func clearOver(z float64, s supports.Settings) (seat float64, good int) {
	return clear(s, z, 1, func(lay raster.Layers, at float64) (least, most int, thick float64) {
		k, from, to := lay.Above(at), lay.Above(z-nearPlane), lay.Above(z+nearPlane)
		return k - to, k - from, lay.Bottom(k) - lay.Bottom(from)
	})
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
