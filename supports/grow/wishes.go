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
	away := make([][]float64, len(posts))
	for q := range posts {
		away[q] = n.away(p.Lines, posts[q])
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
		near := -1
		for q := range posts {
			if d := away[q][i]; !math.IsInf(d, 1) && (near < 0 || d < away[near][i]) {
				near = q
			}
		}
		if near < 0 {
			continue
		}
		auto := p.Posts[near].Head == 0
		if bare := s.Low > s.Top-depth+n.settings.Layer; (bare || auto) && posts[near].By != plan.Tool && posts[near].Side > 0 {
			highest[near] = min(highest[near], s.Top-depth-away[near][i]*rise)
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

// away returns the shortest way along walls from a post's footprint to every
// station, +Inf where there is none or the line names other posts.
func (n *Network) away(lines []plan.Line, q plan.Post) []float64 {
	out := make([]float64, len(n.Stations))
	for i := range out {
		out[i] = math.Inf(1)
	}
	open := func(i int) bool {
		named := lines[n.Stations[i].Line].Posts
		return len(named) == 0 || slices.Contains(named, q.ID)
	}
	var todo queue // all at 0 to begin with: a heap as it is
	for _, i := range n.Afoot(lines, q) {
		if open(i) {
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
			if d := r.z + w.Length; d < out[w.To]-1e-9 && open(w.To) {
				out[w.To] = d
				heap.Push(&todo, reach{d, w.To})
			}
		}
	}
	return out
}
