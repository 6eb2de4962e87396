package grow

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// handKept is the share of what a hand gives that the teeth of a body may take: cells of a
// quarter line see a square tooth up to a tenth too large.
const handKept = 0.9

// tooth is a place where line is fused to the part by a prism from low to high, its sides
// along dir and across.
type tooth struct {
	line      int
	p, dir    r2.Vec
	low, high float64
}

// teeth returns what fuses each line of p to the part: teeth one line square. They stand
// as far apart as the plan's taste says; where it says nothing, plan.DefaultTeeth apart or
// so much further that a hand breaks off what hangs together. The part rests on what is
// between them in either case: teeth only keep it there.
func (n *Network) teeth(p *plan.Plan) [][]*mesh.Mesh {
	var all []tooth
	for l := range p.Lines {
		if !p.Lines[l].Tie {
			all = append(all, n.teethOf(l, cmp.Or(p.Taste.Teeth, plan.DefaultTeeth))...)
		}
	}
	if p.Taste.Teeth == 0 {
		all = n.byHand(all, n.bodies(p))
	}
	out := make([][]*mesh.Mesh, len(p.Lines))
	for _, t := range all {
		h := n.settings.Line / 2
		a, b := r2.Scale(h, t.dir), r2.Scale(h, r2.Vec{X: -t.dir.Y, Y: t.dir.X})
		out[t.line] = append(out[t.line], mesh.Prism([]r2.Vec{
			r2.Sub(r2.Sub(t.p, a), b), r2.Sub(r2.Add(t.p, a), b),
			r2.Add(r2.Add(t.p, a), b), r2.Add(r2.Sub(t.p, a), b),
		}, t.low, t.high))
	}
	return out
}

// teethOf returns the teeth of line l, at most apart mm along it, evenly spread, at least
// one.
func (n *Network) teethOf(l int, apart float64) []tooth {
	s := n.settings
	wall := n.Walls[l]
	var built []int
	for _, id := range wall {
		if n.built(id) && !n.Stations[id].relieved {
			built = append(built, id)
		}
	}
	if len(built) < 2 {
		return nil
	}
	from := n.Stations[built[0]].along
	length := n.Stations[built[len(built)-1]].along - from
	count := int(math.Ceil(length/apart - 1e-9))
	var out []tooth
	next := 0
	for m := range count {
		// The built station nearest to the tooth's place, each used once.
		at := from + (float64(m)+0.5)*length/float64(count)
		for next+1 < len(built) && math.Abs(n.Stations[built[next+1]].along-at) <= math.Abs(n.Stations[built[next]].along-at) {
			next++
		}
		st := &n.Stations[built[next]]
		beside := &n.Stations[built[max(next-1, 0)]]
		if next == 0 {
			beside = &n.Stations[built[1]]
		}
		dir := r2.Unit(r2.Sub(beside.P, st.P))
		if math.IsNaN(dir.X) || st.tooth <= st.Top {
			continue
		}
		out = append(out, tooth{line: l, p: st.P, dir: dir, low: max(st.Top-thinnest*s.Layer, st.Low, 0), high: st.tooth})
	}
	return out
}

// body is what of a plan's walls and posts is one piece when it is printed.
type body struct{ low, high float64 }

// bodies returns the body of each line, nil for one that is not built. Walls that come
// within their thickness of one another count as one even where they do not meet.
func (n *Network) bodies(p *plan.Plan) []*body {
	sets := mesh.NewDisjoint[int](len(p.Lines) + len(p.Posts))
	near := n.stretches()
	for i := range n.Stations {
		s := &n.Stations[i]
		if !n.built(i) {
			continue
		}
		low := n.begins(i)
		for _, t := range near.near(s.P) {
			if t.line != s.Line && t.low < s.Top && low < t.high && raster.SegmentDistance(s.P, t.a, t.b) <= n.settings.Wall {
				sets.Union(s.Line, t.line)
			}
		}
		if s.Near >= 0 {
			sets.Union(s.Line, len(p.Lines)+s.Near)
		}
		for q := range p.Posts {
			wide := p.Posts[q]
			wide.Side += n.settings.Wall
			if p.Posts[q].Side > 0 && Within(wide, s.P) && low < wide.Head+HeadOverlap && s.Top > wide.Foot {
				sets.Union(s.Line, len(p.Lines)+q)
			}
		}
	}
	found := map[int]*body{}
	out := make([]*body, len(p.Lines))
	for i := range n.Stations {
		s := &n.Stations[i]
		if !n.built(i) {
			continue
		}
		root := sets.Find(s.Line)
		if found[root] == nil {
			found[root] = &body{math.Inf(1), 0}
		}
		b := found[root]
		b.low, b.high = min(b.low, n.begins(i)), max(b.high, s.Top)
		if s.Near >= 0 {
			b.low = min(b.low, p.Posts[s.Near].Foot)
		}
		out[s.Line] = b
	}
	return out
}

// byHand leaves so many teeth to each body that a hand breaks it off, by pulling or by
// bending it at its far end. Those that stay are as far from one another as can be.
func (n *Network) byHand(all []tooth, of []*body) []tooth {
	sorted := map[*body][]int{}
	var order []*body
	for i, t := range all {
		b := of[t.line]
		if sorted[b] == nil {
			order = append(order, b)
		}
		sorted[b] = append(sorted[b], i)
	}
	keep := make([]bool, len(all))
	for _, b := range order {
		spread := furthest(all, sorted[b])
		most := len(spread)
		for most > 1 && n.breaksAt(all, spread[:most], b.high-b.low) > handKept*supports.ByHand {
			most--
		}
		for _, i := range spread[:most] {
			keep[i] = true
		}
	}
	var out []tooth
	for i, t := range all {
		if keep[i] {
			out = append(out, t)
		}
	}
	return out
}

// furthest orders teeth so that each is the furthest from all before it.
func furthest(all []tooth, list []int) []int {
	list = slices.Clone(list)
	away := make([]float64, len(all))
	for _, i := range list {
		away[i] = math.Inf(1)
	}
	for n := range list {
		next := n
		for m := n + 1; m < len(list); m++ {
			if away[list[m]] > away[list[next]]+samePlace {
				next = m
			}
		}
		pick := list[next]
		list = slices.Insert(slices.Delete(list, next, next+1), n, pick)
		for _, i := range list[n+1:] {
			away[i] = min(away[i], dist(all[i].p, all[pick].p))
		}
	}
	return list
}

// breaksAt returns the force, in N, that teeth stand against a pull at all of them at once,
// strength × area, or a push arm mm away that bends them about their weak axis, strength × Z /
// arm, whichever is less.
func (n *Network) breaksAt(all []tooth, list []int, arm float64) float64 {
	side := n.settings.Line
	each := side * side
	pull := supports.Strength * each * float64(len(list))
	var mid r2.Vec
	for _, i := range list {
		mid = r2.Add(mid, r2.Scale(1/float64(len(list)), all[i].p))
	}
	var xx, xy, yy float64
	for _, i := range list {
		d := r2.Sub(all[i].p, mid)
		xx, xy, yy = xx+each*(d.X*d.X+each/12), xy+each*d.X*d.Y, yy+each*(d.Y*d.Y+each/12)
	}
	det, lever := xx*yy-xy*xy, 0.0
	for _, i := range list {
		d := r2.Sub(all[i].p, mid)
		d = r2.Add(d, r2.Scale(side/2/math.Max(r2.Norm(d), side), d)) // to the tooth's edge
		lever = max(lever, math.Hypot(yy*d.X-xy*d.Y, xx*d.Y-xy*d.X)/det)
	}
	return min(pull, supports.Strength/lever/arm)
}
