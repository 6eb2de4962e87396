package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/grow"

	"gonum.org/v1/gonum/spatial/r2"
)

// joinStep spaces the places on a line that a tie may start from, in mm.
const joinStep = 1.0

// join returns ties between lines that do not touch, as a shortest tree over
// those that are within a planned bridge of one another, so that fewer posts can
// carry them all.
func (t *site) join(lines []line) []line {
	type place struct {
		point
		line int
		off  float64 // from the middle of its line
	}
	var places []place
	for n, l := range lines {
		total, gone := l.length(), 0.0
		for i := 1; i < len(l.at); i++ {
			a, b := l.at[i-1], l.at[i]
			d := distance(a.Vec, b.Vec)
			for s := 0.0; s < d; s += joinStep {
				f := s / d
				p := point{r2.Add(a.Vec, r2.Scale(f, r2.Sub(b.Vec, a.Vec))), a.z + f*(b.z-a.z)}
				places = append(places, place{p, n, math.Abs(gone + s - total/2)})
			}
			gone += d
		}
	}
	span := t.s.Bridge*(1-t.s.Margin) - t.wall
	type edge struct {
		a, b int
		cost float64
	}
	var edges []edge
	sets, seen := mesh.NewDisjoint[int](len(lines)), map[[2]int]bool{}
	bins := map[[2]int][]int{}
	key := func(p point) [2]int { return [2]int{int(math.Floor(p.X / span)), int(math.Floor(p.Y / span))} }
	for i := range places {
		bins[key(places[i].point)] = append(bins[key(places[i].point)], i)
	}
	for i := range places {
		k := key(places[i].point)
		best := map[int]edge{}
		for dx := -1; dx <= 1; dx++ {
			for dy := -1; dy <= 1; dy++ {
				for _, j := range bins[[2]int{k[0] + dx, k[1] + dy}] {
					p, q := &places[i], &places[j]
					if q.line <= p.line || lines[q.line].fixed && lines[p.line].fixed || lines[q.line].group != lines[p.line].group || math.Abs(p.z-q.z) > grow.WallDepth(t.s) {
						continue
					}
					d := distance(p.Vec, q.Vec)
					if d > span {
						continue
					}
					if pair := [2]int{p.line, q.line}; d < 2*joinStep && !seen[pair] {
						if seen[pair] = true; lines[p.line].apart(lines[q.line]) < t.wall/2 {
							sets.Union(p.line, q.line) // their walls share material
						}
					}
					// Of equal ties, the one nearest both middles.
					e := edge{i, j, d + 0.05*(p.off+q.off)}
					if old, ok := best[q.line]; !ok || e.cost < old.cost {
						best[q.line] = e
					}
				}
			}
		}
		for _, e := range best {
			edges = append(edges, e)
		}
	}
	slices.SortFunc(edges, func(x, y edge) int {
		return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(x.a, y.a), cmp.Compare(x.b, y.b))
	})
	var ties []line
	for _, e := range edges {
		p, q := places[e.a], places[e.b]
		if sets.Find(p.line) == sets.Find(q.line) {
			continue
		}
		tie, ok := t.tie(p.point, q.point)
		if !ok {
			continue
		}
		sets.Union(p.line, q.line)
		ties = append(ties, tie)
	}
	return ties
}

// apart returns how far apart two lines run in plan at the nearest.
func (l line) apart(o line) float64 {
	least := math.Inf(1)
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1].Vec, l.at[i].Vec
		for k := 1; k < len(o.at); k++ {
			p, q := o.at[k-1].Vec, o.at[k].Vec
			// Either they cross, or an end is nearest.
			side := func(u, v, w r2.Vec) bool { return r2.Cross(r2.Sub(v, u), r2.Sub(w, u)) > 0 }
			if side(a, b, p) != side(a, b, q) && side(p, q, a) != side(p, q, b) {
				return 0
			}
			least = min(least, raster.SegmentDistance(a, p, q), raster.SegmentDistance(b, p, q),
				raster.SegmentDistance(p, a, b), raster.SegmentDistance(q, a, b))
		}
	}
	return least
}

// tie returns a tie from p to q below the part, and whether there is room.
func (t *site) tie(p, q point) (line, bool) {
	drop := float64(t.s.VoidLayers()+grow.Relief) * t.s.Layer
	top := min(p.z, q.z) - drop
	n := int(distance(p.Vec, q.Vec)/(2*t.part.Cell)) + 1
	clear := raster.DiscOf(t.s.Clearance / t.part.Cell)
	for i := 0; i <= n; i++ {
		at := r2.Add(p.Vec, r2.Scale(float64(i)/float64(n), r2.Sub(q.Vec, p.Vec)))
		ci, cj := t.part.At(at)
		one := raster.NewBits(ci, cj, ci+1, cj+1)
		one.Set(ci, cj)
		k1 := t.part.Above(top)
		for k := t.part.Above(top - grow.WallDepth(t.s)); k <= k1; k++ {
			if raster.Near(&one, t.part.Layer(k), clear) {
				return line{}, false
			}
		}
	}
	return line{at: []point{{p.Vec, top}, {q.Vec, top}}, tie: true}, true
}
