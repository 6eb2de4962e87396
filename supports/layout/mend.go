package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/hold"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// mends bounds how often what the grown walls leave bare gets lines of its own.
const mends = 5

const (
	// spotReach and spotLayers join bare spots of a slope's layers to one, in mm
	// and layers apart.
	spotReach, spotLayers = 1.0, 4
)

// patches draws lines through bare spots: one down the fall through those that
// follow one another from layer to layer, two crossed through each that stands
// alone.
func (t *site) patches(layers []hold.Layer, turn int) []line {
	type spot struct {
		k      int
		piece  raster.Piece
		middle r2.Vec
	}
	var spots []spot
	var groups [][]int
	grow := int(spotReach / t.part.Cell)
	for n := range layers {
		for _, p := range raster.Pieces(&layers[n].Unheld) {
			var sum r2.Vec
			p.Cells.Each(func(i, j int) { sum = r2.Add(sum, t.part.Center(i, j)) })
			s := spot{k: layers[n].K, piece: p, middle: r2.Scale(1/float64(p.Area), sum)}
			at := -1
			for g := range groups {
				last := &spots[groups[g][len(groups[g])-1]]
				if last.k < s.k && s.k-last.k <= spotLayers &&
					last.piece.X0-grow < p.X1 && p.X0-grow < last.piece.X1 &&
					last.piece.Y0-grow < p.Y1 && p.Y0-grow < last.piece.Y1 {
					at = g
					break
				}
			}
			if at < 0 {
				groups = append(groups, nil)
				at = len(groups) - 1
			}
			groups[at] = append(groups[at], len(spots))
			spots = append(spots, s)
		}
	}
	var out []line
	for _, g := range groups {
		first, last := &spots[g[0]], &spots[g[len(g)-1]]
		way := r2.Sub(last.middle, first.middle)
		long := math.Sqrt(r2.Norm2(way))
		if long < 2*t.wall {
			// The largest of the stack; what others leave shows next time.
			most := g[0]
			for _, n := range g {
				if spots[n].piece.Area > spots[most].piece.Area {
					most = n
				}
			}
			for way := range 2 - t.sparing { // along and across
				out = append(out, t.aside(t.patch(spots[most].k, &spots[most].piece, turn+way)))
			}
			continue
		}
		l := line{}
		for _, n := range g {
			l.at = append(l.at, point{spots[n].middle, t.part.Bottom(spots[n].k)})
		}
		// On past the last spot to its outline.
		u := r2.Scale(1/long, way)
		l.at[0].Vec = r2.Sub(l.at[0].Vec, r2.Scale(t.wall, u))
		end := &l.at[len(l.at)-1]
		end.Vec = t.advance(last.k, end.Vec, u)
		out = append(out, smooth(l, traceTolerance*t.s.Line))
	}
	return out
}

// scales are the spacings tried for crossed families, as shares of the widest:
// past a wall's foot or round a corner a chord may slip between line ends.
var scales = [...]float64{1, 0.96, 0.92, 0.88, 0.84, 0.8}

// region draws lines under one region until the rules find nothing bare, or as
// little as can be.
func (t *site) region(r need.Region, workers int) []line {
	var best []line
	var open []hold.Layer
	left := -1
	for _, f := range scales {
		lines := t.fit(t.draw(r, f))
		if bare := t.amiss(t.bare(lines, r, workers)); left < 0 || count(bare) < left {
			best, open, left = lines, bare, count(bare)
		}
		if left == 0 || !t.crossed(r) {
			break
		}
	}
	for turn := 0; left > 0 && turn < repairs && t.repairs > 0; turn++ {
		t.repairs -= t.judged(r)
		best = append(best[:len(best):len(best)], t.fit(t.patches(open, turn))...)
		open = t.amiss(t.bare(best, r, workers))
		left = count(open)
	}
	if t.insists(r) {
		return t.insist(r, best) // the rules would let all of it pass
	}
	return t.prune(best, r, left, workers)
}

const (
	// pruneShort is the length, in mm, up to which a line is suspected of holding
	// nothing of its own. Lines down a slope always are: where one was lost and
	// begun again there may be one too many.
	pruneShort = 2.5
	// pruneCells bounds the work of weighing a part's lines one by one, and
	// repairCells that of mending what they leave bare, in cells judged; a
	// million take about five milliseconds.
	pruneCells, repairCells = 2000000, 12000000
	// mendCells bounds the mending of what grown walls leave bare likewise.
	mendCells = 120000000
)

// judged returns how many cells it takes to judge a region once.
func (t *site) judged(r need.Region) int {
	cells := 1
	for _, b := range t.crop(r, r.Cuts[0].K, r.Cuts[len(r.Cuts)-1].K+1) {
		cells += b.Count()
	}
	return cells
}

// near returns what of a region a line could bear on: the layers that it runs
// under, and those above that owe what it holds, round the line.
func (t *site) near(r need.Region, l line) need.Region {
	box := r3.Box{Min: r3.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, Max: r3.Vec{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}}
	for _, q := range l.at {
		box.Min = r3.Vec{X: min(box.Min.X, q.X), Y: min(box.Min.Y, q.Y), Z: min(box.Min.Z, q.z)}
		box.Max = r3.Vec{X: max(box.Max.X, q.X), Y: max(box.Max.Y, q.Y), Z: max(box.Max.Z, q.z)}
	}
	k0, k1 := t.part.Above(box.Min.Z-1e-6)-1, t.part.Above(box.Max.Z)+lookBack
	out := need.Region{Bounds: box}
	for _, c := range r.Cuts {
		if c.K >= k0 && c.K <= k1 {
			out.Cuts = append(out.Cuts, c)
		}
	}
	return out
}

// prune drops lines that hold nothing which the others do not, the shortest
// first. All of them leave so many cells bare.
func (t *site) prune(lines []line, r need.Region, left, workers int) []line {
	order := make([]int, len(lines))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(lines[a].length(), lines[b].length()) })
	gone := make([]bool, len(lines))
	without := func() (out []line) {
		for i := range lines {
			if !gone[i] {
				out = append(out, lines[i])
			}
		}
		return
	}
	for _, i := range order {
		near := t.near(r, lines[i])
		if len(near.Cuts) == 0 || !lines[i].arm && lines[i].length() > pruneShort && !t.rivals(lines[i]) {
			continue
		}
		if t.prunes -= t.judged(near); t.prunes < 0 {
			break
		}
		gone[i] = true
		bare := count(t.bare(without(), near, workers))
		if bare == 0 || left == 0 {
			gone[i] = bare == 0
			continue
		}
		gone[i] = false
		gone[i] = bare <= count(t.bare(without(), near, workers))
	}
	return without()
}

// crossed tells whether a region has a flat patch, for which spacing matters.
func (t *site) crossed(r need.Region) bool {
	for n := range r.Cuts {
		if core := raster.Erode(&r.Cuts[n].Bare, raster.DiscOf(t.cross/4/t.part.Cell)); !core.Empty() {
			return true
		}
	}
	return false
}

func count(layers []hold.Layer) int {
	n := 0
	for i := range layers {
		n += layers[i].Unheld.Count()
	}
	return n
}

// bare returns what of a region the rules still find bare, at the planned bridge,
// with the lines' pads in place and nothing below them.
func (t *site) bare(lines []line, r need.Region, workers int) []hold.Layer {
	void := t.s.VoidLayers()
	k0 := max(r.Cuts[0].K-lookBack-void, 0)
	k1 := min(r.Cuts[len(r.Cuts)-1].K+2, len(t.part.Cut))
	pads := make([]raster.Bits, k1-k0)
	for _, l := range lines {
		t.pads(l, pads, k0, void)
	}
	for _, l := range t.beside(r) {
		t.pads(l, pads, k0, void)
	}
	layers := t.judge(t.crop(r, k0, k1), pads, k0, workers)
	out := layers[:0]
	for i := range layers {
		for n := range r.Cuts {
			// Another region's share is not this one's to hold.
			if r.Cuts[n].K == layers[i].K {
				mine := r.Cuts[n].All()
				layers[i].Unheld = raster.And(&layers[i].Unheld, &mine)
				out = append(out, layers[i])
			}
		}
	}
	return out
}

// patch draws one line through a bare spot, along it or, every second time,
// across.
func (t *site) patch(k int, p *raster.Piece, turn int) line {
	var sum r2.Vec
	p.Cells.Each(func(i, j int) { sum = r2.Add(sum, t.part.Center(i, j)) })
	c := r2.Scale(1/float64(p.Area), sum)
	var xx, xy, yy float64
	p.Cells.Each(func(i, j int) {
		d := r2.Sub(t.part.Center(i, j), c)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	})
	a := 0.5 * math.Atan2(2*xy, xx-yy)
	if along, across := t.extents(&p.Cells, a); (turn%2 == 1) != (math.Max(along, across) < 2*shortest*t.wall) {
		a += math.Pi / 2 // a small spot lies along its outline: go down the fall
	}
	u := r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
	lo, hi := t.extent(&p.Cells, a)
	at := r2.Dot(c, u)
	lo, hi = lo-at, hi-at
	least := 1.5 * t.wall
	if hi-lo < 2*least {
		mid := (lo + hi) / 2
		lo, hi = mid-least, mid+least
	}
	z := t.part.Bottom(k)
	out := line{at: []point{{r2.Add(c, r2.Scale(lo, u)), z}, {r2.Add(c, r2.Scale(hi, u)), z}}}
	return out
}

// aside moves a line that runs beside a wall of the part off it, to where it may be built:
// a spot against a wall is held from there too, as half a bead stands out.
func (t *site) aside(l line) line {
	a, b := l.at[0], l.at[len(l.at)-1]
	r := t.s.Clearance + t.wall/2
	u := r2.Scale(1/max(distance(a.Vec, b.Vec), 1e-9), r2.Sub(b.Vec, a.Vec))
	square := r2.Vec{X: -u.Y, Y: u.X}
	// Tall enough to be a wall, as package grow has it, and what is higher is held.
	k0, k1 := t.part.Above(a.z-t.s.Layer-2*t.s.Clearance)-1, t.part.Above(a.z-t.s.Layer)-1
	inside := func(p r2.Vec) bool {
		i, j := t.part.At(p)
		return t.part.Layer(k0).Has(i, j) && t.part.Layer(k1).Has(i, j)
	}
	// How much room there is to either side, at the least along the line, as far as it matters.
	room := [2]float64{2 * r, 2 * r}
	n := int(distance(a.Vec, b.Vec)/t.part.Cell) + 1
	for m := 0; m <= n; m++ {
		p := r2.Add(a.Vec, r2.Scale(float64(m)/float64(n), r2.Sub(b.Vec, a.Vec)))
		if inside(p) {
			return l // it runs into the wall, and is cut there
		}
		for side, way := range [2]float64{1, -1} {
			for d := t.part.Cell; d < room[side]; d += t.part.Cell / 2 {
				if inside(r2.Add(p, r2.Scale(way*d, square))) {
					room[side] = d
				}
			}
		}
	}
	near := min(room[0], room[1])
	off := r - near
	if off <= 0 || max(room[0], room[1]) < r+off {
		return l // far enough, or between two walls
	}
	if room[0] == near {
		off = -off
	}
	for i := range l.at {
		l.at[i].Vec = r2.Add(l.at[i].Vec, r2.Scale(off, square))
	}
	return l
}
