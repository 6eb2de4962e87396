package grow

import (
	"cmp"
	"slices"

	"falsework/raster"
	"falsework/supports"
)

// nearPlane is how near to a cutting plane, in mm, a surface may go to either side of
// it: what float32 leaves of a coordinate of 100 mm.
const nearPlane = 1e-5

// slopeShare is what of a layer a wall ends lower under a slope than its void, so that
// rounding fuses nothing.
const slopeShare = 0.25

// topUnder returns where a wall must end below an underside at z.
//
// Under a level ceiling it ends mid-way between cutting planes, where the void that
// prints carries and comes apart in all declared layers at once, a ceiling on a plane
// going either way; if there is no such height, at the one that does so in the most of
// them, the settings' own first.
//
// Under a slope it ends a void and a quarter layer below the lowest point across the
// wall, so that any cut leaves the void's layers empty or one more; and no less than the
// thickest declared layer, or that would fuse.
func topUnder(z float64, level bool, s supports.Settings) float64 {
	if !level {
		drop := (float64(s.VoidLayers()) + slopeShare) * s.Layer
		for _, h := range s.Heights {
			drop = max(drop, h+nearPlane)
		}
		return z - drop
	}
	type cut struct {
		lay   raster.Layers
		thick float64
	}
	own := s.Layers()
	cuts := []cut{{own, s.ThickestVoid(false)}}
	for _, h := range s.Heights {
		at := s
		at.Layer = h
		cuts = append(cuts, cut{raster.Layers{First: own.First, Height: h}, at.ThickestVoid(false)})
	}
	// Between two neighbouring planes all tops print alike.
	lowest := z
	for _, c := range cuts {
		lowest = min(lowest, z-c.thick-c.lay.Height)
	}
	planes := []float64{lowest, z}
	for _, c := range cuts {
		for k := c.lay.Above(lowest); k <= c.lay.Above(z); k++ {
			if mid := c.lay.Plane(k); mid > lowest && mid < z {
				planes = append(planes, mid)
			}
		}
	}
	slices.Sort(planes)
	// printed returns the empty layers that a top leaves, and whether they are good.
	printed := func(c cut, top float64) (int, bool) {
		k := c.lay.Above(top)
		from, to := c.lay.Above(z-nearPlane), c.lay.Above(z+nearPlane)
		return to - k, from > k && c.lay.Bottom(to)-c.lay.Bottom(k) <= c.thick+nearPlane
	}
	type rank struct {
		good, empty int
		room        float64
	}
	var top float64
	var best rank
	for n := 1; n < len(planes); n++ {
		r := rank{room: planes[n] - planes[n-1]}
		if r.room < 4*nearPlane {
			continue
		}
		at := (planes[n] + planes[n-1]) / 2
		for i, c := range cuts {
			empty, ok := printed(c, at)
			if i == 0 {
				r.empty = empty
			}
			if ok && i == 0 {
				r.good += len(cuts)
			} else if ok {
				r.good++
			}
		}
		// As many layers empty as the gap asks for, then most room for rounding.
		if c := cmp.Or(cmp.Compare(r.good, best.good), cmp.Compare(r.empty, best.empty), cmp.Compare(r.room, best.room+1e-9)); r.good > 0 && c > 0 {
			best, top = r, at
		}
	}
	if best.good == 0 {
		return own.Bottom(max(own.Above(z-1e-6)-s.VoidLayers(), 0))
	}
	return max(top, 0)
}
