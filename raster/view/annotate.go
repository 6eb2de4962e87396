package view

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// drawPlate draws the outline of the plate's patch, and the section lines of
// solid ground below its edges towards the reader.
func (f *figure) drawPlate() {
	if len(f.plate) == 0 {
		return
	}
	look := func(p point, depth float64) int {
		if f.hidden(f.part, p, depth) || f.hidden(f.support, p, depth) {
			return behindPart
		}
		return seen
	}
	below := f.proj.direction(r3.Vec{Z: -1})
	oblique := below.length() > 0.2*f.proj.scale // in the plan there is no below
	for i, a := range f.plate {
		s := f.segment(a, f.plate[(i+1)%len(f.plate)])
		s.runs(look, func(p, q point, is int) {
			if is == seen {
				f.stroke(p, q, creaseWeight*f.u, InkSoft, 1)
			}
		})
		d := s.q.sub(s.p)
		l := d.length()
		// Counter-clockwise from above, so the outside is on the right.
		if !oblique || l == 0 || d.x <= 0 {
			continue
		}
		pitch, long := 10*f.u, 15*f.u
		for t := pitch; t < l; t += pitch {
			p := s.p.lerp(s.q, t/l)
			f.stroke(p, p.add(point{-0.62 * long, 0.78 * long}), hiddenWeight*f.u, InkSoft, 1)
		}
	}
}

// drawTrails draws chain lines where nothing stands before them.
func (f *figure) drawTrails(trails []Trail) {
	for _, t := range trails {
		s := f.segment(t.From, t.To)
		s.runs(func(p point, depth float64) int {
			if f.hidden(f.part, p, depth) || f.hidden(f.support, p, depth) {
				return behindPart
			}
			return seen
		}, func(p, q point, is int) {
			if is != seen {
				return
			}
			d := q.sub(p)
			l := d.length()
			for at := 0.0; at < l; at += 26 * f.u {
				f.stroke(p.lerp(q, at/l), p.lerp(q, min(at+14*f.u, l)/l), creaseWeight*f.u, InkSoft, 1)
				if at+20*f.u < l {
					f.disc(p.lerp(q, (at+20*f.u)/l), 1.1*f.u, InkSoft)
				}
			}
		})
	}
}

// millimetres formats a length to a tenth, without a needless zero.
func millimetres(x float64) string {
	s := strconv.FormatFloat(x, 'f', 1, 64)
	return strings.TrimSuffix(s, ".0")
}

// tick draws the oblique stroke that ends a dimension line of direction d.
func (f *figure) tick(p, d point) {
	s := point{d.x - d.y, d.x + d.y}.scale(7 * f.u / math.Sqrt2)
	f.stroke(p.sub(s), p.add(s), 2.4*f.u, Ink, 1)
}

// dimension is a dimension line on the sheet.
type dimension struct {
	size         float64 // mm
	p, q         point   // ends of the line
	fromP, fromQ point   // the corners of the box that the ends belong to
	d, out       point   // unit vectors along the line as its letters run, and away from the part
}

// dimensionRoom is what a dimension line's letters and ticks take up beyond the
// line, in sheet units.
const dimensionRoom = 34

// dimensionLines places the overall size of a box along those of its edges that
// lie lowest on the sheet, outside of everything drawn. A length that the view
// foreshortens to less than its figure is left to the title block.
func (f *figure) dimensionLines(box r3.Box) []dimension {
	size := r3.Sub(box.Max, box.Min)
	middle, _ := f.proj.at(r3.Scale(0.5, r3.Add(box.Min, box.Max)))
	diagonal := f.proj.scale * math.Sqrt(r3.Norm2(size))
	var out []dimension
	for _, step := range []r3.Vec{{X: size.X}, {Y: size.Y}, {Z: size.Z}} {
		run := f.proj.direction(step)
		l := run.length()
		if !(l > 64*f.u) {
			continue
		}
		dim := dimension{size: math.Sqrt(r3.Norm2(step)), d: run.scale(1 / l)}
		// Letters read from the left, or from below where the line is upright.
		if dim.d.x < -1e-6 || (math.Abs(dim.d.x) <= 1e-6 && dim.d.y > 0) {
			dim.d = dim.d.scale(-1)
		}
		dim.out = point{-dim.d.y, dim.d.x}
		if dim.out.y < 0.35 && dim.out.x > 0 { // nearly upright lines stand on the left
			dim.out = dim.out.scale(-1)
		}
		// The other side of the box serves where the part is much nearer to it, as
		// the rim of a funnel is seen from below.
		from, clear := f.boxEdge(box, step, middle, dim.out)
		if other, c := f.boxEdge(box, step, middle, dim.out.scale(-1)); c > clear+0.1*diagonal {
			dim.out, from, clear = dim.out.scale(-1), other, c
		}
		dim.fromP = from
		clear = max(clear, 0)
		if len(f.plate) > 0 {
			clear += 13 * f.u // section lines hang below the plate
		}
		dim.fromQ = dim.fromP.add(run)
		if dim.fromQ.sub(dim.fromP).dot(dim.d) < 0 {
			dim.fromP, dim.fromQ = dim.fromQ, dim.fromP
		}
		shift := dim.out.scale(clear + dimensionRoom*f.u)
		dim.p, dim.q = dim.fromP.add(shift), dim.fromQ.add(shift)
		out = append(out, dim)
	}
	return out
}

// boxEdge returns where the box's edge along step begins that lies farthest in
// the direction out on the sheet, and how far beyond it the drawing reaches;
// that is negative where the box's edge is in the open.
func (f *figure) boxEdge(box r3.Box, step r3.Vec, middle, out point) (from point, beyond float64) {
	far := math.Inf(-1)
	for _, c := range corners(box) {
		if r3.Dot(r3.Sub(c, box.Min), step) > 0 {
			continue // not where an edge along the step begins
		}
		p, _ := f.proj.at(c)
		if v := p.sub(middle).dot(out); v > far+1e-6 {
			from, far = p, v
		}
	}
	beyond = math.Inf(-1)
	for _, p := range f.extent {
		beyond = max(beyond, p.sub(from).dot(out))
	}
	return from, beyond
}

// corners returns the eight corners of a box.
func corners(b r3.Box) [8]r3.Vec {
	var out [8]r3.Vec
	for i := range out {
		c := b.Min
		if i&1 != 0 {
			c.X = b.Max.X
		}
		if i&2 != 0 {
			c.Y = b.Max.Y
		}
		if i&4 != 0 {
			c.Z = b.Max.Z
		}
		out[i] = c
	}
	return out
}

// dimensions draws dimension lines without their figures.
func (f *figure) dimensions(dims []dimension) {
	for _, dim := range dims {
		for _, e := range [][2]point{{dim.fromP, dim.p}, {dim.fromQ, dim.q}} {
			f.stroke(e[0].add(dim.out.scale(7*f.u)), e[1].add(dim.out.scale(8*f.u)), 0.9*f.u, Ink, 0.55)
		}
		f.stroke(dim.p, dim.q, 1.2*f.u, Ink, 1)
		f.tick(dim.p, dim.d)
		f.tick(dim.q, dim.d)
	}
}

// dimensionFigures letters dimension lines.
func (f *figure) dimensionFigures(dims []dimension, l *lettering) {
	size := dimensionText * f.u
	for _, dim := range dims {
		text := millimetres(dim.size)
		w := l.width(text, size)
		up := point{dim.d.y, -dim.d.x}
		at := dim.p.lerp(dim.q, 0.5).sub(dim.d.scale(w / 2)).add(up.scale(6 * f.u))
		f.halo(at, dim.d, w, size)
		l.draw(f.canvas, text, size, at, dim.d, Ink)
	}
}

// halo clears paper behind a line of letters.
func (f *figure) halo(at, d point, width, size float64) {
	up := point{d.y, -d.x}
	a, e := 2*f.u, 0.74*size
	f.fill(Paper, contour{
		at.sub(d.scale(a)).sub(up.scale(a)), at.add(d.scale(width + a)).sub(up.scale(a)),
		at.add(d.scale(width + a)).add(up.scale(e)), at.sub(d.scale(a)).add(up.scale(e)),
	})
}

// spot is a ring round one or more unheld places.
type spot struct {
	at     point
	depth  float64
	radius float64
}

// crosshairs rings every unheld spot, broken where the part stands before it.
// Rings that would overlap become one.
func (f *figure) crosshairs() {
	var spots []spot
	for _, sd := range f.solids {
		if sd.role != Unheld {
			continue
		}
		for _, b := range sd.components() {
			c := r3.Scale(0.5, r3.Add(b.Min, b.Max))
			p, depth := f.proj.at(c)
			half := 0.5 * math.Sqrt(r3.Norm2(r3.Sub(b.Max, b.Min))) * f.proj.scale
			spots = append(spots, spot{p, depth, min(max(half+5*f.u, 13*f.u), 34*f.u)})
		}
	}
	kept := apart(spots)
	f.visible[Unheld] = f.visible[Unheld] || len(kept) > 0
	for _, s := range kept {
		behind := f.hidden(f.part, s.at, s.depth)
		f.ring(s.at, s.radius, 6*f.u, behind, Paper)
		f.ring(s.at, s.radius, 3.2*f.u, behind, fills[Unheld])
		for _, d := range []point{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			p, q := s.at.add(d.scale(s.radius-3*f.u)), s.at.add(d.scale(s.radius+9*f.u))
			f.stroke(p, q, 5.5*f.u, Paper, 1)
			f.stroke(p, q, 2.8*f.u, fills[Unheld], 1)
		}
	}
}

// apart keeps of rings that would overlap the larger one.
func apart(spots []spot) (kept []spot) {
	slices.SortStableFunc(spots, func(a, b spot) int { return cmp.Compare(b.radius, a.radius) })
	for _, s := range spots {
		if !slices.ContainsFunc(kept, func(k spot) bool { return k.at.sub(s.at).length() < max(k.radius, s.radius)*1.2 }) {
			kept = append(kept, s)
		}
	}
	return kept
}

// smallRegion is the size on the sheet, in its units, below which a region is
// ringed, being no more than a blot.
const smallRegion = 26

// regionRings rings the regions that are small on the sheet, broken where the part
// stands before them.
func (f *figure) regionRings() {
	var spots []spot
	for _, sd := range f.solids {
		if sd.role != Region {
			continue
		}
		lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
		near := math.Inf(1)
		for i, p := range sd.place {
			lo, hi = point{min(lo.x, p.x), min(lo.y, p.y)}, point{max(hi.x, p.x), max(hi.y, p.y)}
			near = min(near, sd.depth[i])
		}
		if d := hi.sub(lo); max(d.x, d.y) < smallRegion*f.u {
			spots = append(spots, spot{lo.lerp(hi, 0.5), near, max(d.length()/2+8*f.u, 18*f.u)})
		}
	}
	kept := apart(spots)
	f.visible[Region] = f.visible[Region] || len(kept) > 0
	for _, s := range kept {
		behind := f.hidden(f.part, s.at, s.depth)
		f.ring(s.at, s.radius, 6.5*f.u, behind, Paper)
		f.ring(s.at, s.radius, 3.4*f.u, behind, fills[Region])
	}
}

// balloonSize returns what of a label's text has room, and half the width of the
// balloon round it.
func (f *figure) balloonSize(text string, l *lettering) (string, float64) {
	r := balloonRadius * f.u
	text, _ = l.fit(text, balloonText*f.u, 0.14*float64(f.frame.Dx()))
	return text, max(r, l.width(text, balloonText*f.u)/2+0.55*r)
}

// balloon is a label's place on the sheet.
type balloon struct {
	text   string
	at     point // what it points at
	depth  float64
	middle point
	halfW  float64
	side   float64 // where its leader leaves it: 1 to the right, −1 to the left
	hidden bool    // the part stands before what it points at
}

// placeBalloons sets the labels in columns at both sides, in the order of their
// places from top to bottom, so that leaders of one column do not cross.
func (f *figure) placeBalloons(labels []Label, dims []dimension, l *lettering) []balloon {
	r := balloonRadius * f.u
	// The columns stand clear of the solids and of the upright dimension.
	left, right := math.Inf(1), math.Inf(-1)
	for _, p := range f.extent {
		left, right = min(left, p.x), max(right, p.x)
	}
	if left > right {
		left, right = float64(f.frame.Max.X)/2, float64(f.frame.Max.X)/2
	}
	middle := (left + right) / 2
	left, right = left-110*f.u, right+80*f.u
	for _, d := range dims {
		if math.Abs(d.d.x) > 0.35 {
			continue // not upright
		}
		if clear := (dimensionRoom + 12) * f.u; d.p.x < middle {
			left = min(left, d.p.x-clear)
		} else {
			right = max(right, d.p.x+clear)
		}
	}
	var columns [2][]balloon // on the left and on the right
	for _, lb := range labels {
		p, depth := f.proj.at(lb.At)
		b := balloon{at: p, depth: depth, middle: p, side: 1}
		b.text, b.halfW = f.balloonSize(lb.Text, l)
		b.hidden = f.hidden(f.part, p, depth) // a place on a support's axis is not
		side := 0
		if p.x > middle {
			side, b.side = 1, -1
		}
		columns[side] = append(columns[side], b)
	}
	// A column that is too full gives those nearest to the middle to the other.
	top, foot := float64(f.frame.Min.Y)+1.6*r, float64(f.frame.Max.Y)-1.6*r
	most := int((foot-top)/(2.2*r)) + 1
	for side := range columns {
		from, to := &columns[side], &columns[1-side]
		if len(*from) <= most {
			continue
		}
		slices.SortStableFunc(*from, func(a, b balloon) int {
			return cmp.Compare(math.Abs(b.at.x-middle), math.Abs(a.at.x-middle))
		})
		for len(*from) > most && len(*to) < most {
			last := len(*from) - 1
			b := (*from)[last]
			b.side = -b.side
			*from, *to = (*from)[:last], append(*to, b)
		}
	}
	var out []balloon
	for side, col := range columns {
		slices.SortStableFunc(col, func(a, b balloon) int { return cmp.Compare(a.at.y, b.at.y) })
		// Push down to make room, then up from the foot of the frame.
		pitch := min(2.5*r, (foot-top)/float64(max(1, len(col)-1)))
		for i := range col {
			y := &col[i].middle.y
			*y = max(*y-1.2*r, top)
			if i > 0 {
				*y = max(*y, col[i-1].middle.y+pitch)
			}
		}
		for i := len(col) - 1; i >= 0; i-- {
			limit := foot
			if i < len(col)-1 {
				limit = col[i+1].middle.y - pitch
			}
			col[i].middle.y = min(col[i].middle.y, limit)
		}
		for i := range col {
			b := &col[i]
			if side == 0 {
				b.middle.x = max(float64(f.frame.Min.X)+0.6*r, left-2*b.halfW) + b.halfW
			} else {
				b.middle.x = min(float64(f.frame.Max.X)-0.6*r, right+2*b.halfW) - b.halfW
			}
		}
		out = append(out, col...)
	}
	return out
}

// balloons draws the labels.
func (f *figure) balloons(labels []Label, dims []dimension, l *lettering) {
	r := balloonRadius * f.u
	for _, b := range f.placeBalloons(labels, dims, l) {
		from := b.middle.add(point{b.side * b.halfW, 0})
		elbow := from.add(point{b.side * 0.7 * r, 0})
		for _, pass := range []struct {
			width float64
			Paper bool
		}{{4.6, true}, {1.4, false}} {
			colour := Ink
			if pass.Paper {
				colour = Paper
			}
			f.stroke(from, elbow, pass.width*f.u, colour, 1)
			if b.hidden && !pass.Paper {
				f.dashes(elbow, b.at, pass.width*f.u, 8*f.u, 5*f.u, colour, 1)
			} else {
				f.stroke(elbow, b.at, pass.width*f.u, colour, 1)
			}
		}
		f.disc(b.at, 6*f.u, Paper)
		f.disc(b.at, 4.2*f.u, Ink)
		if b.hidden {
			f.disc(b.at, 2.4*f.u, Paper)
		}
		a, e := b.middle.sub(point{b.halfW - r, 0}), b.middle.add(point{b.halfW - r, 0})
		f.stroke(a, e, 2*r, Ink, 1)
		f.stroke(a, e, 2*r-3.6*f.u, Paper, 1)
		w := l.width(b.text, balloonText*f.u)
		l.draw(f.canvas, b.text, balloonText*f.u, b.middle.add(point{-w / 2, 0.36 * balloonText * f.u}), along, Ink)
	}
}

// scaleLength returns the length in mm of a graphic scale of at most room
// pixels: the largest of 1, 2 and 5 times a power of ten.
func scaleLength(perMM, room float64) float64 {
	e := math.Pow(10, math.Floor(math.Log10(room/perMM)))
	for _, k := range []float64{5, 2} {
		if k*e*perMM <= room {
			return k * e
		}
	}
	return e
}

// scaleBar draws the graphic scale from p to the right: five alternating fields
// between the ticks of a dimension line.
func (f *figure) scaleBar(p point, room float64, l *lettering) {
	mm := scaleLength(f.proj.scale, room)
	length := mm * f.proj.scale
	h := 7 * f.u
	// Ink stands between whole pixels where the bar begins and ends.
	p = point{math.Round(p.x), math.Round(p.y)}
	for i := range 5 {
		x0 := p.x + length*float64(i)/5
		x1 := p.x + length*float64(i+1)/5
		box := contour{{x0, p.y - h}, {x1, p.y - h}, {x1, p.y}, {x0, p.y}}
		if i%2 == 0 {
			f.fill(Ink, box)
		}
	}
	end := point{p.x + length, p.y}
	for _, y := range []float64{p.y, p.y - h} {
		t := 0.7 * f.u
		f.fill(Ink, contour{{p.x, y - t}, {end.x, y - t}, {end.x, y + t}, {p.x, y + t}})
	}
	size := dimensionText * f.u
	for _, t := range []float64{0, 1} {
		q := p.lerp(end, t)
		f.tick(q.sub(point{0, h / 2}), along)
		s := "0"
		if t == 1 {
			s = strconv.FormatFloat(mm, 'g', -1, 64) + " mm"
		}
		w := l.width(s, size)
		x := q.x - w/2
		if t == 1 {
			x = q.x - l.width(strconv.FormatFloat(mm, 'g', -1, 64), size)/2
		}
		l.draw(f.canvas, s, size, point{x, p.y - h - 10*f.u}, along, Ink)
	}
}

// axes draws the frame's directions as three arrows from p.
func (f *figure) axes(p point, l *lettering) {
	long := 40 * f.u
	size := 0.95 * dimensionText * f.u
	for _, a := range []struct {
		name string
		v    r3.Vec
	}{{"x", r3.Vec{X: 1}}, {"y", r3.Vec{Y: 1}}, {"z", r3.Vec{Z: 1}}} {
		d := f.proj.direction(a.v).scale(1 / f.proj.scale)
		if d.length() < 0.15 {
			continue
		}
		q := p.add(d.scale(long))
		f.stroke(p, q, 1.6*f.u, Ink, 1)
		n := d.scale(1 / d.length())
		side := point{-n.y, n.x}
		f.fill(Ink, contour{q.add(n.scale(5 * f.u)), q.sub(n.scale(7 * f.u)).add(side.scale(4 * f.u)), q.sub(n.scale(7 * f.u)).sub(side.scale(4 * f.u))})
		w := l.width(a.name, size)
		t := q.add(n.scale(15 * f.u))
		l.draw(f.canvas, a.name, size, point{t.x - w/2, t.y + 0.25*size}, along, Ink)
	}
	f.disc(p, 2.5*f.u, Ink)
}
