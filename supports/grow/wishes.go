package grow

import (
	"container/heap"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r3"
)

// padLayers is the depth of a pad that is thicker than its wall, in layers: a bead
// over its own overhang, and one for that to heal.
const padLayers = 3.0

// padOf returns the top of a wall, where it is as thick as a pad.
func (n *Network) padOf(run []mesh.Station) []mesh.Station {
	out := slices.Clone(run)
	for i := range out {
		out[i].Low = max(out[i].Low, out[i].High-padLayers*n.settings.Layer)
	}
	return out
}

// heed keeps walls out of the zones that no support may enter, and off what is to
// stay clean below them. A wall runs straight between two stations, so both keep out
// of what either of them comes near.
func (n *Network) heed(zones []plan.Zone, under *Undersides) {
	space, err := under.Space(zones)
	if err != nil {
		return // told by GrowUnder
	}
	r := n.pitch + n.pad/2
	for i := range n.Stations {
		s := &n.Stations[i]
		at := r3.Vec{X: s.P.X, Y: s.P.Y, Z: s.Ground}
		if top, id := space.Column(plan.NoGo, at, r, s.Ground, s.Top); id != "" {
			s.lifted = top >= s.Floor
			s.Floor, s.barred = max(s.Floor, top), true
		}
		if s.Ground > 0 && space.Near(plan.KeepClean, at, r) != "" {
			s.barred = true
		}
	}
}

// lower lowers the heads of the designer's hollow posts as far as it takes to reach
// walls that would hang from nothing, and sets those that were left to it: a post
// can be moved without working out its head. It tells whether anything changed.
func (n *Network) lower(p *plan.Plan) bool {
	if !slices.ContainsFunc(p.Posts, func(q plan.Post) bool { return q.By != plan.Tool && q.Side > 0 }) {
		return false
	}
	posts := slices.Clone(p.Posts)
	rise := 1 / math.Tan(n.settings.Lean)
	depth := WallDepth(n.settings)
	changed := false
	nearest, away := n.nearest(p.Lines, posts)
	for q := range posts {
		if mine := &posts[q]; mine.Side > 0 && mine.Head == 0 {
			// As high as what it is nearest to allows.
			mine.Head = mine.Foot
			changed = true
		}
	}
	highest := make([]float64, len(posts))
	for q := range highest {
		highest[q] = math.Inf(1)
	}
	for i := range n.Stations {
		s := &n.Stations[i]
		near := nearest[i]
		if near < 0 {
			continue
		}
		auto := p.Posts[near].Head == 0
		if bare := s.Low > s.Top-depth+n.settings.Layer; (bare || auto) && posts[near].By != plan.Tool && posts[near].Side > 0 {
			highest[near] = min(highest[near], s.Top-depth-away[i]*rise)
		}
	}
	for q := range posts {
		mine := &posts[q]
		if h := highest[q]; !math.IsInf(h, 1) {
			least := mine.Foot + 2*n.settings.Layer
			if p.Posts[q].Head == 0 || h < mine.Head {
				if h = max(h, least); h != mine.Head {
					mine.Head, changed = h, true
				}
			}
		}
	}
	p.Posts = posts
	return changed
}

// nearest returns which post every station is nearest to along walls, −1 for none, the
// first of equals, and how far that is.
func (n *Network) nearest(lines []plan.Line, posts []plan.Post) (near []int, away []float64) {
	near, away = make([]int, len(n.Stations)), make([]float64, len(n.Stations))
	room := make([]float64, len(n.Stations))
	for i := range near {
		near[i], away[i], room[i] = -1, math.Inf(1), math.Inf(1)
	}
	bound := away
	if slices.ContainsFunc(lines, func(l plan.Line) bool { return len(l.Posts) > 0 }) {
		bound = nil // a way that is barred to a nearer post may be open to a further one
	}
	for q := range posts {
		for _, i := range n.away(lines, posts[q], room, bound) {
			if room[i] < away[i] {
				near[i], away[i] = q, room[i]
			}
			room[i] = math.Inf(1)
		}
	}
	return near, away
}

// sameWay is by how much, in mm, ways along walls may differ and be as long: rounding.
const sameWay = 1e-9

// away sets out, which is +Inf everywhere, to the shortest way along walls from a post's
// footprint to each station that it comes to, and returns those: none whose line names other
// posts, and none beyond a station that is nearer to where bound, if given, says.
func (n *Network) away(lines []plan.Line, q plan.Post, out, bound []float64) (reached []int) {
	open := func(i int) bool {
		named := lines[n.Stations[i].Line].Posts
		return len(named) == 0 || slices.Contains(named, q.ID)
	}
	var todo queue // all at 0 to begin with: a heap as it is
	for _, i := range n.Afoot(lines, q) {
		if open(i) {
			if math.IsInf(out[i], 1) {
				reached = append(reached, i)
			}
			out[i] = 0
			todo = append(todo, reach{0, i})
		}
	}
	for len(todo) > 0 {
		r := heap.Pop(&todo).(reach)
		if r.z > out[r.at] {
			continue
		}
		for _, w := range n.Stations[r.at].next {
			d := r.z + w.Length
			if !(d < out[w.To]-sameWay) || !open(w.To) || bound != nil && d > bound[w.To]+sameWay {
				continue
			}
			if math.IsInf(out[w.To], 1) {
				reached = append(reached, w.To)
			}
			out[w.To] = d
			heap.Push(&todo, reach{d, w.To})
		}
	}
	return reached
}
