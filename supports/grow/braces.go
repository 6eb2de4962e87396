package grow

import (
	"math"

	"falsework/raster"
)

// brace lets ties that meet walls only far below their tops rest on those at both their ends:
// a beam that bridges from one to the other and keeps either from swaying alone. What is not
// there at both ends is no brace, and hangs as any wall does.
func (n *Network) brace() {
	s := n.settings
	for l, wall := range n.Walls {
		if !n.braces[l] {
			continue
		}
		level := math.Inf(1)
		loose := true
		for _, id := range wall {
			level = min(level, n.Stations[id].Top-WallDepth(s))
			loose = loose && math.IsInf(n.Stations[id].Low, 1)
		}
		for _, id := range wall {
			loose = loose && n.Stations[id].Floor <= level
		}
		if !loose {
			continue
		}
		var on []int
		for _, id := range [2]int{wall[0], wall[len(wall)-1]} {
			a, b, ok := n.past(l, id, level)
			if !ok {
				on = nil
				break
			}
			on = append(on, a, b)
		}
		for _, id := range on {
			n.Stations[id].bear = min(n.Stations[id].bear, level-2*s.Layer)
		}
		if on != nil {
			for _, id := range wall {
				n.Stations[id].Low, n.Stations[id].tied = level, true
			}
		}
	}
}

// past returns the neighbours on another line's wall that goes past an end of line l, there
// two layers before what rests on it begins at a height, and still there above it.
func (n *Network) past(l, end int, level float64) (a, b int, ok bool) {
	e := &n.Stations[end]
	early := level - 2*n.settings.Layer
	least := 0.45 * n.settings.Wall // as where walls meet: see crossings
	for w, wall := range n.Walls {
		for i := 1; i < len(wall) && w != l; i++ {
			p, q := &n.Stations[wall[i-1]], &n.Stations[wall[i]]
			if p.Low > early || q.Low > early || p.Top < e.Top || q.Top < e.Top {
				continue
			}
			if d := raster.SegmentDistance(e.P, p.P, q.P); d < least {
				a, b, ok, least = wall[i-1], wall[i], true, d
			}
		}
	}
	return a, b, ok
}
