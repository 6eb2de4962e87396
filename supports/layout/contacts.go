package layout

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// line is a contact line being drawn: points in plan with the height of the
// underside there.
type line struct {
	at     []point
	tie    bool // holds nothing itself: joins others, z being its top
	region int  // that it was drawn for, by place in the need
	// arm says that the line runs down a slope, one of several side by side.
	arm bool
	// group keeps lines apart: those of different groups are never tied.
	group int
	fixed bool // the designer's
}

type point struct {
	r2.Vec
	z float64
}

func (l line) length() float64 {
	sum := 0.0
	for i := 1; i < len(l.at); i++ {
		sum += distance(l.at[i-1].Vec, l.at[i].Vec)
	}
	return sum
}

// from returns how far p is from a line in plan.
func (l line) from(p r2.Vec) float64 {
	d := math.Inf(1)
	for i := 1; i < len(l.at); i++ {
		d = min(d, raster.SegmentDistance(p, l.at[i-1].Vec, l.at[i].Vec))
	}
	return d
}

func distance(a, b r2.Vec) float64 { return math.Sqrt(r2.Norm2(r2.Sub(a, b))) }

const (
	// traceTolerance is what a contact line may stray from the outline that it
	// follows, in lines: well inside the half line that a bead may stand out.
	traceTolerance = 0.25
	// sagittaMargin is kept in hand of an outline's span: a radius read off
	// cells is that uncertain.
	sagittaMargin = 0.25
	// cornerTurn is the turn of an outline in air from which the corner needs a
	// contact of its own.
	cornerTurn = plan.SharpTurn
	// shortest drops lines that are no longer than this many walls: they hold no
	// more than what crosses them.
	shortest = 1.5
)

// site is the part and settings that contacts are drawn for.
type site struct {
	part *raster.Stack
	s    supports.Settings
	// spacing of the two crossed families in squares, middle to middle, for any direction,
	// and of one family across a stated one.
	cross, comb float64
	wall, pad   float64 // thickness of a wall, and of its top
	// What is left of the work allowed on one region, in cells judged.
	prunes, repairs int
	wishes                  // the designer's
	weave           weave   // of lines under level ceilings
	below           float64 // up to so high, in mm
	spare           bool    // sides of ceilings that beads run along in the stated direction
	pattern         pattern // of lines under level ceilings
	sparing         int     // of the two lines that mend a bare spot, how many are left out
	bold            float64 // how much of sagittaMargin arms round slopes do without
}

func newSite(part *raster.Stack, s supports.Settings) *site {
	// Cells measure a chord to within one of them at either end.
	span := s.Bridge*(1-s.Margin) - 2*part.Cell
	return &site{
		part: part, s: s, wall: s.Wall, pad: s.Wall,
		// The longest straight bead in a square mesh is its diagonal.
		cross: s.Wall + span/math.Sqrt2,
		comb:  s.Wall + span,
	}
}

// span returns how far an outline of radius r may run in air between contacts.
func (t *site) span(r float64) float64 {
	// Sagitta of half a line: s = c²/8R.
	return min(t.s.Bridge*(1-t.s.Margin), (1-sagittaMargin+t.bold)*math.Sqrt(8*r*t.s.Line/2))
}

// draw draws the contact lines of one region, crossed families at scale times
// their widest spacing.
func (t *site) draw(r need.Region, scale float64) []line {
	var out []line
	slope := fall{site: t}
	for n := len(r.Cuts) - 1; n >= 0; n-- {
		c := &r.Cuts[n]
		if c.Bare.Empty() {
			continue
		}
		core := raster.Erode(&c.Bare, raster.DiscOf(1.5*t.s.Line/t.part.Cell))
		if core.Empty() {
			slope.descend(c.K, &c.Bare, true)
			continue
		}
		// Steps of one layer that are flat and steps that are not are told apart
		// piece by piece. What of a ceiling would hold by itself is crossed too.
		for _, p := range t.fresh(c.K, c) {
			bare := raster.And(&p.Cells, &c.Bare)
			flat := raster.And(&p.Cells, &core)
			slope.descend(c.K, &bare, flat.Empty())
			if !flat.Empty() {
				out = append(out, t.flat(c.K, &p, scale)...)
			}
		}
	}
	return append(out, slope.lines()...)
}

// fresh returns the pieces of what is new in layer k that a cut has a share of.
func (t *site) fresh(k int, c *need.Cut) (out []raster.Piece) {
	all := c.All()
	fresh := raster.AndNot(t.part.Layer(k), t.ground(k))
	for _, p := range raster.Pieces(&fresh) {
		if mine := raster.And(&p.Cells, &all); !mine.Empty() {
			out = append(out, p)
		}
	}
	return out
}

// together returns regions with those made one that share a ceiling.
func (t *site) together(regions []need.Region) []need.Region {
	sets := mesh.NewDisjoint[int](len(regions))
	byLayer := map[int][]int{}
	for i := range regions {
		for n := range regions[i].Cuts {
			byLayer[regions[i].Cuts[n].K] = append(byLayer[regions[i].Cuts[n].K], i)
		}
	}
	for k, in := range byLayer {
		if len(in) < 2 {
			continue
		}
		fresh := raster.AndNot(t.part.Layer(k), t.ground(k))
		for _, p := range raster.Pieces(&fresh) {
			first := -1
			for _, i := range in {
				at := slices.IndexFunc(regions[i].Cuts, func(c need.Cut) bool { return c.K == k })
				if mine := raster.And(&p.Cells, &regions[i].Cuts[at].Bare); mine.Empty() {
					continue
				}
				if first < 0 {
					first = i
					continue
				}
				sets.Union(first, i)
			}
		}
	}
	var out []need.Region
	place := map[int]int{}
	for i, r := range regions {
		at, seen := place[sets.Find(i)]
		if !seen {
			place[i] = len(out)
			r.Cuts = slices.Clone(r.Cuts)
			out = append(out, r)
			continue
		}
		o := &out[at]
		o.AreaMM2 += r.AreaMM2
		o.Bounds = r3.Box{
			Min: r3.Vec{X: min(o.Bounds.Min.X, r.Bounds.Min.X), Y: min(o.Bounds.Min.Y, r.Bounds.Min.Y), Z: min(o.Bounds.Min.Z, r.Bounds.Min.Z)},
			Max: r3.Vec{X: max(o.Bounds.Max.X, r.Bounds.Max.X), Y: max(o.Bounds.Max.Y, r.Bounds.Max.Y), Z: max(o.Bounds.Max.Z, r.Bounds.Max.Z)},
		}
		for _, c := range r.Cuts {
			n := slices.IndexFunc(o.Cuts, func(q need.Cut) bool { return q.K >= c.K })
			switch {
			case n < 0:
				o.Cuts = append(o.Cuts, c)
			case o.Cuts[n].K == c.K:
				o.Cuts[n].Cells = raster.Or(&o.Cuts[n].Cells, &c.Cells)
				o.Cuts[n].Bare = raster.Or(&o.Cuts[n].Bare, &c.Bare)
			default:
				o.Cuts = slices.Insert(o.Cuts, n, c)
			}
		}
	}
	return out
}

// ground returns what holds the layer's own outline up: the layer below.
func (t *site) ground(k int) *raster.Bits { return t.part.Layer(k - 1) }

// open returns where a wall's middle line may run under a piece of layer k: half
// a wall inside the layer and clear of the walls that come up from below.
func (t *site) open(k int, cells *raster.Bits) raster.Bits {
	half := raster.DiscOf((t.wall/2)/t.part.Cell + 0.5)
	inner := raster.Erode(t.part.Layer(k), half)
	inner = raster.And(cells, &inner)
	inner = t.unbarred(k, inner)
	return raster.Beyond(&inner, t.ground(k), raster.DiscOf((t.s.Clearance+t.wall/2)/t.part.Cell))
}

// flat draws the lines under one flat piece of layer k.
func (t *site) flat(k int, p *raster.Piece, scale float64) []line {
	open := t.open(k, &p.Cells)
	if open.Empty() {
		return nil
	}
	way := t.weave
	if t.part.Bottom(k) > t.below {
		way = loose
	}
	out := t.edges(k, &p.Cells, &open)
	if t.spare {
		var sides []line
		for _, l := range out {
			sides = append(sides, l.split(splitTurn)...)
		}
		out = slices.DeleteFunc(sides, t.along)
	}
	if t.pattern == hooped || t.pattern == snug {
		if ringed, ok := t.hoops(k, &p.Cells, &open, out, scale, t.pattern == snug); ok {
			return ringed
		}
	}
	served := t.mask(out, 2*t.s.Line)
	// comb draws lines square to the direction normal, a pitch apart or closer, and returns
	// how far apart they are.
	comb := func(normal, pitch float64) float64 {
		lo, hi := t.extent(&p.Cells, normal)
		n := math.Ceil((hi - lo - 1e-6) / pitch)
		for i := 1.0; i < n; i++ {
			out = append(out, t.clip(k, &open, &served, normal, lo+(hi-lo)*i/n)...)
		}
		return (hi - lo) / n
	}
	if t.s.Direction.Stated {
		comb(t.s.Direction.Angle, t.comb*scale)
		return t.wovenAs(way, &open, out, t.s.Direction.Angle, t.comb)
	}
	// The longest straight bead in a rectangle is its diagonal. What one family leaves of it is
	// the other's.
	frame := t.frame(&p.Cells)
	wide, narrow := frame, frame+math.Pi/2
	if t.pattern == deep {
		wide, narrow = narrow, wide
	}
	span := (t.comb - t.wall) * scale
	gap := comb(wide, t.wall+t.pattern.long()*span) - t.wall
	comb(narrow, t.wall+math.Sqrt(span*span-gap*gap))
	return t.wovenAs(way, &open, out, frame, t.comb)
}

// A pattern is the shape of the rectangles that two crossed families of lines leave open,
// their diagonal being the longest bead.
type pattern int

const (
	square pattern = iota // least contact
	broad                 // lines of the first family further apart, those of the second closer
	deep                  // the other way about
	hooped                // round a hole: see hoops
	snug                  // likewise, with hoops along walls
)

// long returns the share of a bridge that a side across the sparser family takes.
func (p pattern) long() float64 {
	if p == broad || p == deep {
		return oblong
	}
	return math.Sqrt2 / 2
}

// oblong is that share where it is the long side. What closer lines cost is ties from one
// wall to the next, a few layers high; what is saved is walls that go all the way down. Demo
// parts take the same with 0.87 and 0.93, and a little more with 0.8.
const oblong = 0.87

// along tells whether a line runs straight along the stated direction: the beads do so
// themselves, and hang on what runs across them.
func (t *site) along(l line) bool {
	a, b := l.at[0].Vec, l.at[len(l.at)-1].Vec
	for _, q := range l.at {
		if raster.SegmentDistance(q.Vec, a, b) > t.s.Line/2 {
			return false
		}
	}
	d, u := r2.Sub(b, a), r2.Vec{X: math.Cos(t.s.Direction.Angle), Y: math.Sin(t.s.Direction.Angle)}
	return math.Abs(r2.Cross(d, u)) < alongTurn*math.Abs(r2.Dot(d, u))
}

// alongTurn is how far from the stated direction a side still counts as running along
// it: by a line's width over ten.
const alongTurn = 0.1

// extent returns how far cells reach along the direction angle.
func (t *site) extent(cells *raster.Bits, angle float64) (lo, hi float64) {
	c, s := math.Cos(angle), math.Sin(angle)
	lo, hi = math.Inf(1), math.Inf(-1)
	cells.EachRun(func(j, i0, i1 int) {
		for _, i := range [2]int{i0, i1 - 1} {
			p := t.part.Center(i, j)
			d := p.X*c + p.Y*s
			lo, hi = min(lo, d), max(hi, d)
		}
	})
	half := t.part.Cell / 2
	return lo - half, hi + half
}

// frame returns the direction of a side of the smallest box round the cells.
func (t *site) frame(cells *raster.Bits) (angle float64) {
	best := math.Inf(1)
	for deg := 0; deg < 90; deg += 5 {
		a := float64(deg) * math.Pi / 180
		u0, u1 := t.extent(cells, a)
		v0, v1 := t.extent(cells, a+math.Pi/2)
		// A turned box must be clearly smaller to be worth the turn.
		if area := (u1 - u0) * (v1 - v0); area < best*0.98 {
			best, angle = area, a
		}
	}
	return
}

// clip returns the stretches inside open of the straight line that lies at
// distance at from the origin along normal, unless served lines hide them.
func (t *site) clip(k int, open, served *raster.Bits, normal, at float64) []line {
	z := t.part.Bottom(k)
	nx, ny := math.Cos(normal), math.Sin(normal)
	lo, hi := t.extent(open, normal+math.Pi/2)
	step := t.part.Cell / 2
	var out []line
	var run []r2.Vec
	hidden := 0
	flush := func() {
		if len(run) > 1 {
			l := distance(run[0], run[len(run)-1])
			// A square end may come closer to what it faces than a flank.
			along := r2.Scale(1/max(l, 1e-9), r2.Sub(run[len(run)-1], run[0]))
			run[0] = t.advance(k, run[0], r2.Scale(-1, along))
			run[len(run)-1] = t.advance(k, run[len(run)-1], along)
			if l >= shortest*t.wall && float64(hidden) < 0.7*float64(len(run)) {
				out = append(out, line{at: []point{{run[0], z}, {run[len(run)-1], z}}})
			}
		}
		run, hidden = nil, 0
	}
	for d := lo; d <= hi; d += step {
		p := r2.Vec{X: nx*at - ny*d, Y: ny*at + nx*d}
		i, j := t.part.At(p)
		if !open.Has(i, j) {
			flush()
			continue
		}
		run = append(run, p)
		if served.Has(i, j) {
			hidden++
		}
	}
	flush()
	return out
}

// advance moves the end of a line along dir by up to half a wall, while the part
// stays over it and walls from below stay clear.
func (t *site) advance(k int, p, dir r2.Vec) r2.Vec {
	at := p
	clear := raster.DiscOf(t.s.Clearance / t.part.Cell)
	for d := t.part.Cell / 2; d <= t.wall/2; d += t.part.Cell / 2 {
		q := r2.Add(p, r2.Scale(d, dir))
		i, j := t.part.At(q)
		one := raster.NewBits(i, j, i+1, j+1)
		one.Set(i, j)
		if far := raster.Beyond(&one, t.ground(k), clear); !t.part.Layer(k).Has(i, j) || far.Empty() {
			break
		}
		at = q
	}
	return at
}

// mask returns the cells within r mm of the lines.
func (t *site) mask(lines []line, r float64) raster.Bits {
	var m raster.Bits
	for _, l := range lines {
		x0, y0, x1, y1 := t.cells(l)
		own := raster.NewBits(x0, y0, x1, y1)
		for i := 1; i < len(l.at); i++ {
			a, b := l.at[i-1].Vec, l.at[i].Vec
			n := int(distance(a, b)/(t.part.Cell/2)) + 1
			for k := 0; k <= n; k++ {
				i, j := t.part.At(r2.Add(a, r2.Scale(float64(k)/float64(n), r2.Sub(b, a))))
				own.Set(i, j)
			}
		}
		m = raster.Or(&m, &own)
	}
	return raster.Dilate(&m, raster.DiscOf(r/t.part.Cell))
}

// edges draws lines along the free edges of a flat piece: the outline of where a
// wall may stand, where that is half a wall from the layer's own outline.
func (t *site) edges(k int, cells, open *raster.Bits) []line {
	z := t.part.Bottom(k)
	x0, y0, x1, y1 := open.Bounds()
	m := int(t.wall/t.part.Cell) + 2
	room := raster.NewBits(x0-m, y0-m, x1+m, y1+m)
	for j := y0 - m; j < y1+m; j++ {
		room.SetSpan(j, x0-m, x1+m)
	}
	air := raster.AndNot(&room, t.part.Layer(k))
	air = t.border(k, cells, air)
	near := raster.DiscOf((t.wall/2)/t.part.Cell + 2)
	free := raster.Within(open, &air, near)
	if free.Empty() {
		return nil
	}
	served := raster.NewBits(x0-m, y0-m, x1+m, y1+m)
	var out []line
	for _, loop := range raster.Contours(open) {
		for _, arc := range arcs(loop, func(c raster.Corner) bool {
			return free.Has(c.I, c.J) || free.Has(c.I-1, c.J) || free.Has(c.I, c.J-1) || free.Has(c.I-1, c.J-1)
		}) {
			for _, part := range t.unserved(arc, &served) {
				path := make([]r2.Vec, len(part))
				for i, c := range part {
					path[i] = t.part.Point(c)
				}
				path = raster.Simplify(path, traceTolerance*t.s.Line)
				path = t.trim(k, path)
				l := line{}
				for _, p := range path {
					l.at = append(l.at, point{p, z})
				}
				if l.length() >= shortest*t.wall {
					out = append(out, l)
				}
				grown := t.mask([]line{l}, 2*t.s.Line)
				served = raster.Or(&served, &grown)
			}
		}
	}
	return out
}

// trim drops the hooks that an outline makes where it leaves the free edge, and
// carries an open path's ends on.
func (t *site) trim(k int, path []r2.Vec) []r2.Vec {
	if path[0] == path[len(path)-1] {
		return path
	}
	for turn := 0; turn < 2; turn++ {
		for len(path) > 2 && distance(path[0], path[1]) < t.wall {
			path = path[1:]
		}
		out := r2.Sub(path[0], path[1])
		path[0] = t.advance(k, path[0], r2.Scale(1/max(distance(path[0], path[1]), 1e-9), out))
		slices.Reverse(path)
	}
	return path
}

// unserved cuts an arc into the stretches outside served.
func (t *site) unserved(arc []raster.Corner, served *raster.Bits) [][]raster.Corner {
	var out [][]raster.Corner
	var run []raster.Corner
	for _, c := range arc {
		if served.Has(c.I, c.J) {
			if len(run) > 1 {
				out = append(out, run)
			}
			run = nil
			continue
		}
		run = append(run, c)
	}
	if len(run) > 1 {
		out = append(out, run)
	}
	return out
}

// arcs returns the maximal stretches of a closed loop on which keep is true; a
// loop kept whole comes back closed, its first corner repeated.
func arcs(loop []raster.Corner, keep func(raster.Corner) bool) [][]raster.Corner {
	n := len(loop)
	start := slices.IndexFunc(loop, func(c raster.Corner) bool { return !keep(c) })
	if start < 0 {
		return [][]raster.Corner{append(slices.Clone(loop), loop[0])}
	}
	var out [][]raster.Corner
	var run []raster.Corner
	for i := 1; i <= n; i++ {
		c := loop[(start+i)%n]
		if keep(c) {
			run = append(run, c)
			continue
		}
		if len(run) > 1 {
			out = append(out, run)
		}
		run = nil
	}
	return out
}
