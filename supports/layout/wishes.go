package layout

import (
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// wishes is what the designer wants of a layout. The zero value wants nothing.
type wishes struct {
	space     *plan.Space
	fixed     []line // contact lines that are there already
	struck    []line // that are not to be drawn again, and their ids
	struckIDs []string
	// struckAt is where posts were that are not to be set again.
	struckAt []r2.Vec
	// struckIn is where sheets and steps were that are not to be built again.
	struckIn []r3.Vec
}

const (
	// struckReach and postReach are how near to a struck line or post, in mm,
	// another is taken for the same one.
	struckReach, postReach = 1.0, 2.0
	// sameWay is the angle up to which two lines near one another do the same.
	sameWay = 45 * math.Pi / 180
	// rivalReach is how near to a line of the designer's, in lines, another that
	// runs the same way has nothing to add.
	rivalReach = 2.0
	// rivalCells bounds the weighing of lines beside the designer's, in cells.
	rivalCells = 60000000
	// flareRoom is how much wider than its column, in mm, a post's foot is at its
	// corners, less the clearance that the column keeps.
	flareRoom = 1.2
)

// wanted tells whether anything is wanted that lines have to fit.
func (t *site) wanted() bool { return t.space != nil || len(t.fixed)+len(t.struck) > 0 }

// touches returns how near a line's middle may come to what is to stay clean, in mm.
func (t *site) touches() float64 { return t.pad/2 + t.part.Cell + t.s.Layer }

// bars returns the zone that keeps a contact away from a point of the underside.
func (t *site) bars(p r2.Vec, z float64) string {
	at := r3.Vec{X: p.X, Y: p.Y, Z: z}
	if id := t.space.Near(plan.KeepClean, at, t.touches()); id != "" {
		return id
	}
	// The wall needs room below, and runs straight to the next station.
	_, id := t.space.Column(plan.NoGo, at, t.pad/2+grow.CoarsePitch, max(0, z-grow.WallDepth(t.s)-t.s.Layer), z)
	return id
}

// bounded tells whether zones may leave something bare however close lines lie.
func (t *site) bounded() bool { return t.space.Has(plan.KeepClean) || t.space.Has(plan.NoGo) }

// amiss leaves out bare cells so near to a zone that it may be why: closer lines
// all over a region are no remedy for them.
func (t *site) amiss(layers []hold.Layer) []hold.Layer {
	if !t.bounded() {
		return layers
	}
	for n := range layers {
		l := &layers[n]
		z := t.part.Bottom(l.K)
		x0, y0, x1, y1 := l.Unheld.Bounds()
		left := raster.NewBits(x0, y0, x1, y1)
		l.Unheld.Each(func(i, j int) {
			c := t.part.Center(i, j)
			at := r3.Vec{X: c.X, Y: c.Y, Z: z}
			if t.space.Near(plan.KeepClean, at, t.s.Bridge) == "" && t.space.Near(plan.NoGo, at, t.s.Bridge) == "" {
				left.Set(i, j)
			}
		})
		l.Unheld = left
	}
	return layers
}

// unbarred leaves out cells under layer k that zones keep contacts away from.
func (t *site) unbarred(k int, cells raster.Bits) raster.Bits {
	if !t.bounded() {
		return cells
	}
	// A line along the edge of what is left may stray by as much.
	barred := t.barred(k, &cells)
	wide := raster.Dilate(&barred, raster.DiscOf(1.5+traceTolerance*t.s.Line/t.part.Cell))
	return raster.AndNot(&cells, &wide)
}

// barred returns the cells under layer k that zones keep contacts away from.
func (t *site) barred(k int, cells *raster.Bits) raster.Bits {
	x0, y0, x1, y1 := cells.Bounds()
	out := raster.NewBits(x0, y0, x1, y1)
	z := t.part.Bottom(k)
	cells.Each(func(i, j int) {
		if t.bars(t.part.Center(i, j), z) != "" {
			out.Set(i, j)
		}
	})
	return out
}

// border counts what zones keep contacts away from as air, so that lines run along
// its edge.
func (t *site) border(k int, cells *raster.Bits, air raster.Bits) raster.Bits {
	if !t.bounded() {
		return air
	}
	barred := t.barred(k, cells)
	return raster.Or(&air, &barred)
}

// fit leaves of lines what the designer's wishes have room for. A tie is left out
// whole where a part of it has none.
func (t *site) fit(lines []line) []line {
	if !t.wanted() {
		return lines
	}
	var out []line
	for _, l := range lines {
		runs := t.runs(l)
		whole := len(runs) == 1 && len(runs[0].at) == len(l.at) && runs[0].length() > l.length()-1e-6
		if whole || !l.tie {
			out = append(out, runs...)
		}
	}
	return out
}

// fitAmong is fit for lines that mend, which have nothing to add beside those that
// are there.
func (t *site) fitAmong(mending, there []line) []line {
	if !t.wanted() {
		return mending
	}
	own := *t
	own.fixed = slices.Concat(t.fixed, there)
	return slices.DeleteFunc(own.fit(mending), func(l line) bool {
		return l.tie && slices.ContainsFunc(there, func(o line) bool { return o.tie && slices.Equal(l.at, o.at) })
	})
}

// runs cuts out of a line what has no room.
func (t *site) runs(l line) []line {
	var out []line
	run := l
	run.at = nil
	cut := false
	flush := func() {
		if len(run.at) > 1 && (!cut || run.length() >= shortest*t.wall && t.under(run)) {
			out = append(out, run)
		}
		run.at = nil
	}
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		way := r2.Sub(b.Vec, a.Vec)
		n := int(distance(a.Vec, b.Vec)/t.part.Cell) + 1
		for k := 0; k <= n; k++ {
			if k == 0 && i > 1 {
				continue // the end of the last stretch
			}
			f := float64(k) / float64(n)
			p := point{r2.Add(a.Vec, r2.Scale(f, way)), a.z + f*(b.z-a.z)}
			if t.refuses(p, way, l.tie) {
				cut = true
				flush()
				continue
			}
			// Only corners and ends make points.
			if m := len(run.at); m > 1 && k > 1 {
				run.at[m-1] = p
			} else {
				run.at = append(run.at, p)
			}
		}
	}
	flush()
	if !cut {
		return []line{l}
	}
	return out
}

// under tells whether any of a line is under the part: what is left of one that ran
// on past an edge may not be.
func (t *site) under(l line) bool {
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		n := int(distance(a.Vec, b.Vec)/t.part.Cell) + 1
		for k := 0; k <= n; k++ {
			f := float64(k) / float64(n)
			ci, cj := t.part.At(r2.Add(a.Vec, r2.Scale(f, r2.Sub(b.Vec, a.Vec))))
			if t.part.Layer(t.part.Above(a.z+f*(b.z-a.z)+t.s.Layer/2)).Has(ci, cj) {
				return true
			}
		}
	}
	return l.tie
}

// refuses tells whether a line may not run through p along way.
func (t *site) refuses(p point, way r2.Vec, tie bool) bool {
	if tie {
		at := r3.Vec{X: p.X, Y: p.Y}
		_, id := t.space.Column(plan.NoGo, at, t.wall/2+grow.CoarsePitch, max(0, p.z-grow.WallDepth(t.s)), p.z)
		return id != "" || runsBeside(t.struck, p, way, struckReach)
	}
	return t.bars(p.Vec, p.z) != "" || runsBeside(t.struck, p, way, struckReach) ||
		runsBeside(t.fixed, p, way, rivalReach*t.s.Line)
}

// runsBeside tells whether one of the lines comes within reach of p and runs the
// same way there.
func runsBeside(lines []line, p point, way r2.Vec, reach float64) bool {
	for _, o := range lines {
		for i := 1; i < len(o.at); i++ {
			a, b := o.at[i-1], o.at[i]
			if math.Abs(p.z-a.z) > mostSag && math.Abs(p.z-b.z) > mostSag {
				continue
			}
			if raster.SegmentDistance(p.Vec, a.Vec, b.Vec) > reach {
				continue
			}
			d := r2.Sub(b.Vec, a.Vec)
			turn := math.Abs(math.Atan2(r2.Cross(way, d), r2.Dot(way, d)))
			if min(turn, math.Pi-turn) <= sameWay {
				return true
			}
		}
	}
	return false
}

// with returns lines and the designer's.
func (t *site) with(lines []line) []line {
	if len(t.fixed) == 0 {
		return lines
	}
	return slices.Concat(lines, t.fixed)
}

// beside returns the designer's lines that may bear on a region.
func (t *site) beside(r need.Region) []line {
	var out []line
	for _, l := range t.fixed {
		if t.inReach(l, r.Bounds) {
			out = append(out, l)
		}
	}
	return out
}

// inReach tells whether a line comes within a bridge of a box.
func (t *site) inReach(l line, b r3.Box) bool {
	reach := t.s.Bridge + beadEnd
	lo, hi := l.at[0], l.at[0]
	for _, q := range l.at {
		lo.X, lo.Y, lo.z = min(lo.X, q.X), min(lo.Y, q.Y), min(lo.z, q.z)
		hi.X, hi.Y, hi.z = max(hi.X, q.X), max(hi.Y, q.Y), max(hi.z, q.z)
	}
	return lo.X <= b.Max.X+reach && hi.X >= b.Min.X-reach && lo.Y <= b.Max.Y+reach && hi.Y >= b.Min.Y-reach &&
		lo.z <= b.Max.Z+beadEnd && hi.z >= b.Min.Z-beadEnd
}

// rivals tells whether a line of the designer's may do what this one does.
func (t *site) rivals(l line) bool {
	for _, o := range t.fixed {
		for _, q := range o.at {
			for i := 1; i < len(l.at); i++ {
				if raster.SegmentDistance(q.Vec, l.at[i-1].Vec, l.at[i].Vec) <= t.s.Bridge && math.Abs(q.z-l.at[i].z) <= beadEnd {
					return true
				}
			}
		}
	}
	return false
}

// struckPost tells whether a post at p would be one that was struck.
func (t *site) struckPost(p r2.Vec) bool {
	return slices.ContainsFunc(t.struckAt, func(q r2.Vec) bool { return distance(p, q) <= postReach })
}

// descend is grow.Descend with zones in the way: where one is, nothing stands.
func (t *site) descend(p r2.Vec, z, r float64) (low float64, seated bool) {
	low, seated = grow.Descend(t.part, p, z, r)
	at := r3.Vec{X: p.X, Y: p.Y, Z: low}
	if _, id := t.space.Column(plan.NoGo, at, r+flareRoom, low, z); id != "" {
		return z, false
	}
	if low > 0 && t.space.Near(plan.KeepClean, at, r) != "" {
		return z, false
	}
	return low, seated
}

// given returns the designer's posts that carry walls of the structure.
func (g *structure) given() []spot {
	var out []spot
	for n := range g.pinned {
		q := &g.pinned[n]
		sp := spot{station: -1, foot: q.Foot, room: q.Side, post: q}
		if q.Side == 0 {
			sp.reach = max(q.Reach, 1e-3) // 0 would be a hollow post
			if slices.ContainsFunc(g.lines, func(l plan.Line) bool { return l.ID == q.Under }) {
				sp.under = q.Under
			}
		}
		best := math.Inf(1)
		for _, at := range g.net.Afoot(g.lines, *q) {
			if g.owner[at] != g.number {
				continue
			}
			if d := distance(g.net.Stations[at].P, r2.Vec{X: q.At[0], Y: q.At[1]}); d < best {
				best, sp.station = d, at
			}
		}
		if sp.station >= 0 {
			out = append(out, sp)
		}
	}
	g.fixed = len(out)
	return out
}

// gathers tells whether the wall at a station may hang from a post at the spot.
func (g *structure) gathers(at int, p *spot) bool {
	named := g.lines[g.net.Stations[at].Line].Posts
	return len(named) == 0 || p.post != nil && slices.Contains(named, p.post.ID)
}

// insists tells whether a region is there because the designer wants it held.
func (t *site) insists(r need.Region) bool { return r.ID < 0 }

// demand returns the need with what must be held added, and without what the
// designer's lines hold by themselves.
func (t *site) demand(n need.Need, workers int) need.Need {
	regions := slices.Clone(n.Regions)
	if len(t.fixed) > 0 {
		regions = nil
		for _, r := range n.Regions {
			if r, left := t.unheld(r, workers); left {
				regions = append(regions, r)
			}
		}
	}
	regions = append(regions, t.insisted(n)...)
	out := need.Need{Regions: regions, MarginalMM2: n.MarginalMM2}
	for _, r := range regions {
		out.AreaMM2 += r.AreaMM2
	}
	return out
}

// unheld returns a region without the ceilings that the designer's lines hold, and
// whether anything is left of it.
func (t *site) unheld(r need.Region, workers int) (need.Region, bool) {
	if len(t.beside(r)) == 0 {
		return r, true
	}
	open := map[int]*raster.Bits{}
	layers := t.bare(nil, r, workers)
	for i := range layers {
		if !layers[i].Unheld.Empty() {
			open[layers[i].K] = &layers[i].Unheld
		}
	}
	if len(open) == 0 {
		return r, false
	}
	cuts := r.Cuts
	r.Cuts = nil
	for _, c := range cuts {
		var none raster.Bits
		left := open[c.K]
		if left == nil {
			left = &none
		}
		all := c.All()
		for _, p := range raster.Pieces(&all) {
			core := raster.Erode(&p.Cells, raster.DiscOf(1.5*t.s.Line/t.part.Cell))
			still := raster.And(&p.Cells, left)
			if core.Empty() || !still.Empty() {
				continue // a slope goes on from layer to layer: it stays whole
			}
			c.Cells = raster.AndNot(&c.Cells, &p.Cells)
			c.Bare = raster.AndNot(&c.Bare, &p.Cells)
		}
		if !c.Cells.Empty() || !c.Bare.Empty() {
			r.Cuts = append(r.Cuts, c)
		}
	}
	return r, len(r.Cuts) > 0
}

// insisted returns a region for each piece of underside that must be held and that
// the need leaves out.
func (t *site) insisted(n need.Need) []need.Region {
	if !t.space.Has(plan.MustHold) {
		return nil
	}
	byZone := map[string]*need.Region{}
	var order []string
	for k := 1; k < len(t.part.Cut); k++ {
		fresh := raster.AndNot(t.part.Layer(k), t.part.Layer(k-1))
		for i := range n.Regions {
			for c := range n.Regions[i].Cuts {
				if cut := &n.Regions[i].Cuts[c]; cut.K == k {
					all := cut.All()
					fresh = raster.AndNot(&fresh, &all)
				}
			}
		}
		x0, y0, x1, y1 := fresh.Bounds()
		z := t.part.Bottom(k)
		cells := map[string]*raster.Bits{}
		fresh.Each(func(i, j int) {
			p := t.part.Center(i, j)
			id := t.space.Near(plan.MustHold, r3.Vec{X: p.X, Y: p.Y, Z: z}, t.s.Layer)
			if id == "" {
				return
			}
			if cells[id] == nil {
				b := raster.NewBits(x0, y0, x1, y1)
				cells[id] = &b
			}
			cells[id].Set(i, j)
		})
		for id, b := range cells {
			r := byZone[id]
			if r == nil {
				r = &need.Region{}
				byZone[id] = r
				order = append(order, id)
			}
			r.Cuts = append(r.Cuts, need.Cut{K: k, Cells: *b, Bare: *b})
		}
	}
	slices.Sort(order)
	var out []need.Region
	for i, id := range order {
		r := byZone[id]
		r.ID = -1 - i
		t.measure(r)
		out = append(out, *r)
	}
	return out
}

// measure sets a region's box and area.
func (t *site) measure(r *need.Region) {
	first := true
	for n := range r.Cuts {
		c := &r.Cuts[n]
		x0, y0, x1, y1 := c.Cells.Bounds()
		lo, hi := t.part.Center(x0, y0), t.part.Center(x1-1, y1-1)
		z := t.part.Bottom(c.K)
		box := r3.Box{Min: r3.Vec{X: lo.X, Y: lo.Y, Z: z}, Max: r3.Vec{X: hi.X, Y: hi.Y, Z: z}}
		if b := &r.Bounds; first {
			*b, first = box, false
		} else {
			b.Min = r3.Vec{X: min(b.Min.X, box.Min.X), Y: min(b.Min.Y, box.Min.Y), Z: min(b.Min.Z, box.Min.Z)}
			b.Max = r3.Vec{X: max(b.Max.X, box.Max.X), Y: max(b.Max.Y, box.Max.Y), Z: max(b.Max.Z, box.Max.Z)}
		}
		r.AreaMM2 += float64(c.Cells.Count()) * t.part.CellArea()
	}
	r.Center = r3.Scale(0.5, r3.Add(r.Bounds.Min, r.Bounds.Max))
}

// insist adds a line through each ceiling of a region that must be held and is so
// narrow that none was drawn.
func (t *site) insist(r need.Region, lines []line) []line {
	served := t.mask(lines, t.wall)
	for n := range r.Cuts {
		for _, p := range raster.Pieces(&r.Cuts[n].Cells) {
			core := raster.Erode(&p.Cells, raster.DiscOf(t.s.Line/t.part.Cell))
			if hit := raster.And(&p.Cells, &served); !core.Empty() && hit.Empty() {
				lines = append(lines, t.fit([]line{t.patch(r.Cuts[n].K, &p, 0)})...)
			}
		}
	}
	return lines
}
