package grow

import (
	"container/heap"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// longestLink is the widest gap between free ends, in mm, that a link is worth
	// laying over: two thirds of a hop, for its corners and where it leaves a wall.
	longestLink = 11.0
	// leastLink is the least saving of a link, in mm of wall over all its layers: a bead
	// saved on ten of them.
	leastLink = 10 * hop
	// straightLink is how far a link's edges may stray from where the ends are, in mm: a
	// tenth of a line, so that they stay within the walls' thickness.
	straightLink = 0.04
)

// link is a leaning wall between two fronts from layer from up to layer to.
type link struct {
	a, b     int // fronts
	from, to int
	saves    float64
}

type links []link

func (q links) Len() int { return len(q) }
func (q links) Less(i, j int) bool {
	if q[i].saves != q[j].saves {
		return q[i].saves > q[j].saves
	}
	if q[i].a != q[j].a {
		return q[i].a < q[j].a
	}
	if q[i].b != q[j].b {
		return q[i].b < q[j].b
	}
	return q[i].from < q[j].from
}
func (q links) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *links) Push(x any)   { *q = append(*q, x.(link)) }
func (q *links) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// links joins free ends of walls by pairs, as walls that lean with them: on every layer
// a bead that would end goes on into the next one. The pairs that save most come
// first. Each is the structure of the line that its first front is of.
func (n *Network) links(p plan.Plan, under *Undersides, part *raster.Stack, hung []float64) ([]Solid, error) {
	space, err := under.Space(p.Zones)
	if err != nil {
		return nil, err
	}
	walls := n.stretches()
	if n.level(n.fronts(walls), hung) {
		walls = n.stretches()
	}
	fronts := n.fronts(walls)
	w := &linking{n: n, part: part, space: space, posts: p.Posts, fronts: fronts, taken: make([][]bool, len(fronts)), walls: walls}
	var todo links
	for a := range fronts {
		w.taken[a] = make([]bool, len(fronts[a].at))
	}
	for a := range fronts {
		for b := a + 1; b < len(fronts); b++ {
			if l, ok := w.best(a, b, nil); ok {
				todo = append(todo, l)
			}
		}
	}
	heap.Init(&todo)
	bars := map[[2]int][]bool{} // layers that a pair cannot be linked at
	var out []Solid
	for len(todo) > 0 {
		l := heap.Pop(&todo).(link)
		key := [2]int{l.a, l.b}
		again, ok := w.best(l.a, l.b, bars[key])
		if !ok {
			continue
		}
		if again.saves < l.saves-1e-9 {
			heap.Push(&todo, again)
			continue
		}
		if bar := w.bars(again); bar != nil {
			old := bars[key]
			if old == nil {
				old = make([]bool, fronts[l.a].to+1)
			}
			for k := range bar {
				old[again.from+k] = old[again.from+k] || bar[k]
			}
			bars[key] = old
			if next, ok := w.best(l.a, l.b, old); ok {
				heap.Push(&todo, next)
			}
			continue
		}
		for k := again.from; k <= again.to; k++ {
			w.taken[l.a][k-fronts[l.a].from] = true
			w.taken[l.b][k-fronts[l.b].from] = true
		}
		m, err := w.solid(again)
		if err != nil {
			return nil, err
		}
		out = append(out, Solid{p.Lines[fronts[l.a].line].ID, m})
		if next, ok := w.best(l.a, l.b, bars[key]); ok {
			heap.Push(&todo, next)
		}
	}
	return out, nil
}

// linking is what choosing links works on.
type linking struct {
	n      *Network
	part   *raster.Stack
	space  *plan.Space
	posts  []plan.Post
	fronts []front
	taken  [][]bool // of every front, layer by layer
	walls  *stretches
}

// best returns the stretch of layers on which a link of two fronts saves most of what is
// open to them.
func (w *linking) best(a, b int, bars []bool) (out link, ok bool) {
	f, g := &w.fronts[a], &w.fronts[b]
	from, to := max(f.from, g.from), min(f.to, g.to)
	if to-from < 2 || f.structure != g.structure || f.line == g.line && f.base == g.base {
		return out, false
	}
	s := w.n.settings
	d := func(k int) float64 { return dist(f.on(k), g.on(k)) }
	// Fronts move by no more than a layer's lean: most pairs are never near.
	if far := d(to) - longestLink; far > 0 && d(from)-longestLink > 0 &&
		min(d(from), d(to), d((from+to)/2)) > longestLink+float64(to-from)*s.Layer*math.Tan(s.Lean) {
		return out, false
	}
	if r2.Dot(f.heads, g.heads) < -sideBySide {
		return out, false // they come apart: a link would cross what they grow out of
	}
	// A link that begins on a layer saves no more than is left to save from there on.
	left := 0.0
	for k := from; k <= to; k++ {
		if f.free[k-f.from] && g.free[k-g.from] {
			left += max(0, hop-d(k))
		}
	}
	begun, saves, last, most := -1, 0.0, 0, 0.0
	flush := func() {
		if begun >= 0 && last-begun >= 2 && most > max(leastLink, out.saves) {
			out, ok = link{a, b, begun, last, most}, true
		}
		begun, saves, most = -1, 0, 0
	}
	for k := from; k <= to && (begun >= 0 || left > max(leastLink, out.saves)-sameWay); k++ {
		e := d(k)
		if f.free[k-f.from] && g.free[k-g.from] {
			left -= max(0, hop-e)
		}
		if e > longestLink || e < s.Wall/2 || begun < 0 && e < 2*s.Wall || w.taken[a][k-f.from] || w.taken[b][k-g.from] || bars != nil && bars[k] {
			flush()
			continue
		}
		// While neither moves nor is free it may as well begin later.
		waits := k < to && !(f.free[k-f.from] && g.free[k-g.from]) && f.on(k+1) == f.on(k) && g.on(k+1) == g.on(k)
		if (begun < 0 || saves < 0) && !waits && w.founded(a, b, k) {
			flush()
			begun = k
		}
		if begun < 0 {
			continue
		}
		if saves -= e; f.free[k-f.from] && g.free[k-g.from] {
			saves += hop
		}
		if saves > most {
			last, most = k, saves
		}
	}
	flush()
	return out, ok
}

// bars returns the layers of a link on which the part or a zone is in its way, nil if none
// is. A piece of the part inside the loop that it closes bars all of them.
func (w *linking) bars(l link) []bool {
	bar := make([]bool, l.to-l.from+1)
	any := false
	if w.encloses(l) {
		for k := range bar {
			bar[k] = true
		}
		return bar
	}
	s := w.n.settings
	lay := s.Layers()
	room := s.Wall/2 + s.Clearance - w.part.Cell
	grounded := w.ground(l.a, l.b, l.from) >= 0
	for k := range bar {
		a, b := w.place(l.a, l.from+k), w.place(l.b, l.from+k)
		z := lay.Bottom(l.from + k)
		if w.blocked(a, b, z, room, grounded && k <= int(math.Ceil(s.Clearance/s.Layer))+1) ||
			w.foreign(l, a, b, z) || k > startLayers && w.beside(l, a, b, z) {
			bar[k], any = true, true
		}
	}
	if !any {
		return nil
	}
	return bar
}

// startLayers is how many layers a link may take to leave the wall that it begins on.
const startLayers = 8

// foreign tells whether a link from a to b would run into a post, or into a wall of another
// structure, at height z.
func (w *linking) foreign(l link, a, b r2.Vec, z float64) bool {
	s := w.n.settings
	d := r2.Sub(b, a)
	count := int(dist(a, b)/(nearby/2)) + 1
	for m := 0; m <= count; m++ {
		p := r2.Add(a, r2.Scale(float64(m)/float64(count), d))
		if w.walls.meets(p, z, w.fronts[l.a].structure) {
			return true
		}
		for i := range w.posts {
			q := &w.posts[i]
			if half := q.Side/2 + s.Clearance; q.Side > 0 && z < q.Head+HeadOverlap && math.Abs(p.X-q.At[0]) < half && math.Abs(p.Y-q.At[1]) < half {
				return true
			}
		}
	}
	return false
}

// beside tells whether a link from a to b runs along a wall that it does not join at height z.
func (w *linking) beside(l link, a, b r2.Vec, z float64) bool {
	near := 0
	for _, share := range [3]float64{0.25, 0.5, 0.75} {
		if w.walls.along(r2.Add(a, r2.Scale(share, r2.Sub(b, a))), heading(a, b), z, w.fronts[l.a].line, w.fronts[l.b].line) {
			near++
		}
	}
	return near >= 2
}

func (w *linking) place(f, k int) r2.Vec { return w.fronts[f].on(k) }

// founded tells whether a link of two fronts may begin on layer k: on the plate, on what
// both of them stand on, or on walls all along. Across the air its first bead would land
// on one line at either end, which is not enough.
func (w *linking) founded(a, b, k int) bool {
	if k == 0 && w.fronts[a].free[0] && w.fronts[b].free[0] {
		return true
	}
	s := w.n.settings
	z := s.Layers().Bottom(k)
	p, q := w.place(a, k), w.place(b, k)
	const fine = 0.3
	count := int(dist(p, q)/fine) + 1
	ground := w.ground(a, b, k)
	if k == 0 {
		ground = -1
	}
	// The middle first: it is the likeliest to be in the air.
	for m := range count + 1 {
		share := float64((m+(count+1)/2)%(count+1)) / float64(count)
		at := r2.Add(p, r2.Scale(share, r2.Sub(q, p)))
		if w.walls.has(at, z-s.Layer, s.Reach(), -1) {
			continue
		}
		if ground < 0 {
			return false
		}
		if low, seated := Descend(w.part, at, z, s.Wall); !seated || math.Abs(low-ground) > s.Layer/2 {
			return false
		}
	}
	return true
}

// ground returns the part's upper side that both fronts stand on when layer k is the first
// of both, −1 if they do not.
func (w *linking) ground(a, b, k int) float64 {
	f, g := &w.fronts[a], &w.fronts[b]
	s, t := &w.n.Stations[f.base], &w.n.Stations[g.base]
	if f.from != k || g.from != k || s.parent >= 0 || t.parent >= 0 || s.hollow || t.hollow || s.Low != t.Low {
		return -1
	}
	return s.Ground
}

// blocked tells whether the part comes within room of the wall from a to b at height z, or
// within the clearance above or below, or a zone does.
func (w *linking) blocked(a, b r2.Vec, z, room float64, grounded bool) bool {
	s := w.n.settings
	part := w.part
	k := part.Above(z)
	step := int(math.Ceil(s.Clearance/s.Layer)) + 1
	d := r2.Sub(b, a)
	length := math.Sqrt(r2.Norm2(d))
	u := r2.Scale(1/length, d)
	v := r2.Vec{X: -u.Y, Y: u.X}
	count := int((length+s.Wall)/(room/2)) + 1
	for m := 0; m <= count; m++ {
		// Its ends reach half a wall past the middles of the two walls.
		p := r2.Add(a, r2.Scale(float64(m)/float64(count)*(length+s.Wall)-s.Wall/2, u))
		for _, side := range [3]float64{-room, 0, room} {
			i, j := part.At(r2.Add(p, r2.Scale(side, v)))
			for _, q := range [3]int{k - step, k, k + step} {
				if q >= 0 && q < len(part.Cut) && !(grounded && q < k) && part.Layer(q).Has(i, j) {
					return true
				}
			}
		}
		if w.space != nil {
			if _, id := w.space.Column(plan.NoGo, r3.Vec{X: p.X, Y: p.Y, Z: z}, s.Wall/2, z, z+s.Layer); id != "" {
				return true
			}
		}
	}
	return false
}

// encloses tells whether the loop that a link closes on its first layer goes round a piece of
// the part, or is not known to close. On the layers above, the part would have to go through
// the link.
func (w *linking) encloses(l link) bool {
	way := w.n.way(w.fronts[l.a].base, w.fronts[l.b].base, w.n.settings.Layers().Bottom(l.from)+1e-6)
	return way == nil || l.from < len(w.part.Cut) && w.surrounds(l, way, l.from)
}

// surrounds tells whether the part is inside a link's loop on layer k. way leads from where
// one front began to where the other did.
func (w *linking) surrounds(l link, way []int, k int) bool {
	var loop []r2.Vec
	for i := k; i > w.fronts[l.a].from; i -= 2 {
		loop = append(loop, w.place(l.a, i))
	}
	for _, i := range way {
		loop = append(loop, w.n.Stations[i].P)
	}
	for i := w.fronts[l.b].from + 1; i < k; i += 2 {
		loop = append(loop, w.place(l.b, i))
	}
	loop = append(loop, w.place(l.b, k))
	lo, hi := loop[0], loop[0]
	for _, p := range loop {
		lo = r2.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = r2.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	const fine = 0.5 // mm: no part has a thinner piece that prints
	layer := w.part.Layer(k)
	for y := lo.Y; y <= hi.Y; y += fine {
		for x := lo.X; x <= hi.X; x += fine {
			p := r2.Vec{X: x, Y: y}
			if i, j := w.part.At(p); layer.Has(i, j) && inside(p, loop) {
				return true
			}
		}
	}
	return false
}

// inside tells whether p is inside a polygon, by the crossings of a ray to +X.
func inside(p r2.Vec, loop []r2.Vec) bool {
	in := false
	for i, a := range loop {
		b := loop[(i+1)%len(loop)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// way returns the stations of the shortest way between two along walls that have begun at
// height z, nil if there is none.
func (n *Network) way(from, to int, z float64) []int {
	gone := map[int]float64{from: 0}
	back := map[int]int{}
	todo := queue{{0, from}}
	for len(todo) > 0 {
		r := heap.Pop(&todo).(reach)
		if r.at == to {
			way := []int{to}
			for at := to; at != from; {
				at = back[at]
				way = append(way, at)
			}
			slices.Reverse(way)
			return way
		}
		if r.z > gone[r.at] {
			continue
		}
		for _, w := range n.Stations[r.at].next {
			if s := &n.Stations[w.To]; s.Low > z || !n.built(w.To) {
				continue
			}
			d := r.z + w.Length
			if was, seen := gone[w.To]; !seen || d < was-sameWay {
				gone[w.To], back[w.To] = d, r.at
				heap.Push(&todo, reach{d, w.To})
			}
		}
	}
	return nil
}

// solid builds a link. Its sides are true at the planes that layers are cut at.
func (w *linking) solid(l link) (*mesh.Mesh, error) {
	half := w.n.settings.Wall / 2
	var levels [][]r2.Vec
	var zs []float64
	add := func(m int) {
		a, za := w.midway(l.a, m)
		b, _ := w.midway(l.b, m)
		u := r2.Scale(half, r2.Unit(r2.Sub(b, a)))
		v := r2.Vec{X: -u.Y, Y: u.X}
		a, b = r2.Sub(a, u), r2.Add(b, u)
		levels = append(levels, []r2.Vec{r2.Sub(a, v), r2.Sub(b, v), r2.Add(b, v), r2.Add(a, v)})
		zs = append(zs, za)
	}
	add(2 * l.from)
	if w.ground(l.a, l.b, l.from) > 0 {
		zs[0] = max(zs[0], w.n.Stations[w.fronts[l.a].base].Low) // it stands as they do
	}
	for m := 2 * l.from; m < 2*l.to; {
		// As far as it goes on straight: by leaps that double, then by ever smaller ones.
		leap := 1
		for m+2*leap <= 2*l.to && w.even(l, m, m+2*leap) {
			leap *= 2
		}
		for more := leap / 2; more > 0; more /= 2 {
			if m+leap+more <= 2*l.to && w.even(l, m, m+leap+more) {
				leap += more
			}
		}
		m += leap
		add(m)
	}
	return mesh.Loft(levels, nil, zs)
}

// midway returns where a front is at the bottom of layer m/2, or half a layer above where m
// is odd.
func (w *linking) midway(f, m int) (p r2.Vec, z float64) {
	lay := w.n.settings.Layers()
	p, z = w.place(f, m/2), lay.Bottom(m/2)
	if m%2 == 1 {
		p = r2.Scale(0.5, r2.Add(p, w.place(f, m/2+1)))
		z = (z + lay.Bottom(m/2+1)) / 2
	}
	return p, z
}

// even tells whether both fronts of a link move straight, and the same way, from half
// layer i to half layer j: sides that twist are not flat.
func (w *linking) even(l link, i, j int) bool {
	var twist r2.Vec
	for n, f := range [2]int{l.a, l.b} {
		p, z0 := w.midway(f, i)
		q, z1 := w.midway(f, j)
		for k := i + 1; k < j; k++ {
			on, z := w.midway(f, k)
			if dist(r2.Add(p, r2.Scale((z-z0)/(z1-z0), r2.Sub(q, p))), on) > straightLink {
				return false
			}
		}
		twist = r2.Sub(twist, r2.Scale(float64(2*n-1), r2.Sub(q, p)))
	}
	return math.Sqrt(r2.Norm2(twist))/2 <= straightLink
}
