package layout

import (
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
)

// weave says how the lines under level ceilings are put together.
type weave int

const (
	loose  weave = iota // each line for itself
	woofed              // those of the first family are linked end to end
	warped              // those of the second are
)

const (
	// splitTurn is the turn at which an outline is taken apart into lines that run
	// along a family and lines that run across it.
	splitTurn = 45 * math.Pi / 180
	// longestLink is how far apart the ends of two lines may be that are linked,
	// in spacings of their family.
	longestLink = 1.5
)

// wovenAs weaves lines under a flat piece in a way, the normals of whose first family lie
// at an angle.
func (t *site) wovenAs(way weave, open *raster.Bits, lines []line, normal, pitch float64) []line {
	switch way {
	case woofed:
		return t.woven(open, lines, normal+math.Pi/2, pitch)
	case warped:
		return t.woven(open, lines, normal, pitch)
	}
	return lines
}

// woven returns lines under a flat piece with those that run at the given
// angle linked end to end by turns, and of the others what the links leave bare: one
// wall that can stand as one bead a layer, which bends less than straight ones.
func (t *site) woven(open *raster.Bits, lines []line, angle, pitch float64) []line {
	u := r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}
	var along, across []line
	for _, l := range lines {
		for _, s := range l.split(splitTurn) {
			d := r2.Sub(s.at[len(s.at)-1].Vec, s.at[0].Vec)
			if math.Abs(r2.Cross(d, u)) < math.Abs(r2.Dot(d, u)) {
				along = append(along, s)
			} else {
				across = append(across, s)
			}
		}
	}
	if len(along) < 2 {
		return lines
	}
	out := t.links(open, along, longestLink*pitch)
	served := t.mask(out, 2*t.s.Line)
	for _, l := range across {
		out = append(out, t.beyond(l, &served)...)
	}
	return out
}

// split cuts a line where it turns by more than a turn.
func (l line) split(turn float64) []line {
	var out []line
	first := 0
	for i := 1; i+1 < len(l.at); i++ {
		a, b := r2.Sub(l.at[i].Vec, l.at[i-1].Vec), r2.Sub(l.at[i+1].Vec, l.at[i].Vec)
		if math.Abs(math.Atan2(r2.Cross(a, b), r2.Dot(a, b))) > turn {
			s := l
			s.at = slices.Clone(l.at[first : i+1])
			out = append(out, s)
			first = i
		}
	}
	s := l
	s.at = slices.Clone(l.at[first:])
	return append(out, s)
}

// links strings lines together by their nearest ends, no further apart than reach,
// from one at the rim on.
func (t *site) links(open *raster.Bits, lines []line, reach float64) []line {
	inner := make([]line, len(lines)) // as far as a wall may turn
	for i, l := range lines {
		inner[i] = l
		for range 2 {
			inner[i] = inner[i].reversed()
			t.retreat(&inner[i], open)
		}
	}
	done := make([]bool, len(lines))
	// next returns the line to go on to from p, and whether backward.
	next := func(p point) (at int, back bool) {
		at = -1
		best := reach
		for i, l := range inner {
			if done[i] {
				continue
			}
			for n, q := range l.ends() {
				if d := distance(p.Vec, q.Vec); d < best && t.within(open, p.Vec, q.Vec) {
					at, back, best = i, n == 1, d
				}
			}
		}
		return at, back
	}
	// A line at the rim has the fewest others in reach.
	ways := func(i int) (n int) {
		for j, l := range inner {
			if done[j] || j == i {
				continue
			}
			near := reach
			for _, p := range inner[i].ends() {
				for _, q := range l.ends() {
					near = min(near, distance(p.Vec, q.Vec))
				}
			}
			if near < reach {
				n++
			}
		}
		return n
	}
	var out []line
	for {
		first := -1
		for i := range lines {
			if !done[i] && (first < 0 || ways(i) < ways(first)) {
				first = i
			}
		}
		if first < 0 {
			return out
		}
		done[first] = true
		path, end := lines[first], inner[first]
		if i, _ := next(end.ends()[1]); i < 0 {
			path, end = path.reversed(), end.reversed()
		}
		path.at = slices.Clone(path.at)
		for {
			i, back := next(end.ends()[1])
			if i < 0 {
				break
			}
			done[i] = true
			on, raw := inner[i], lines[i]
			if back {
				on, raw = on.reversed(), raw.reversed()
			}
			path.at[len(path.at)-1] = end.ends()[1]
			path.at = append(append(path.at, on.at[0]), raw.at[1:]...)
			end = on
		}
		out = append(out, path)
	}
}

func (l line) ends() [2]point { return [2]point{l.at[0], l.at[len(l.at)-1]} }

// reversed returns a copy of the line that runs the other way.
func (l line) reversed() line {
	l.at = slices.Clone(l.at)
	slices.Reverse(l.at)
	return l
}

// retreat moves the end of a line back to where a wall may run on to a side.
func (t *site) retreat(l *line, open *raster.Bits) {
	n := len(l.at) - 1
	end, back := l.at[n].Vec, r2.Sub(l.at[n-1].Vec, l.at[n].Vec)
	long := math.Sqrt(r2.Norm2(back))
	for d := 0.0; d <= min(t.wall, long/2); d += t.part.Cell / 2 {
		q := r2.Add(end, r2.Scale(d/long, back))
		if i, j := t.part.At(q); open.Has(i, j) {
			l.at[n].Vec = q
			return
		}
	}
}

// within tells whether a wall may run straight from p to q.
func (t *site) within(open *raster.Bits, p, q r2.Vec) bool {
	n := int(distance(p, q)/t.part.Cell) + 1
	for k := 0; k <= n; k++ {
		if i, j := t.part.At(r2.Add(p, r2.Scale(float64(k)/float64(n), r2.Sub(q, p)))); !open.Has(i, j) {
			return false
		}
	}
	return true
}

// beyond returns what of a line served does not hide, crossings kept.
func (t *site) beyond(l line, served *raster.Bits) []line {
	type mark struct {
		point
		hidden bool
	}
	var marks []mark
	step := t.part.Cell
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		n := int(distance(a.Vec, b.Vec)/step) + 1
		for k := range n {
			q := point{r2.Add(a.Vec, r2.Scale(float64(k)/float64(n), r2.Sub(b.Vec, a.Vec))), a.z}
			ci, cj := t.part.At(q.Vec)
			marks = append(marks, mark{q, served.Has(ci, cj)})
		}
	}
	last := l.at[len(l.at)-1]
	ci, cj := t.part.At(last.Vec)
	marks = append(marks, mark{last, served.Has(ci, cj)})
	// A short hidden stretch is a crossing.
	crossing := int((6*t.s.Line + t.wall) / step)
	into := int(2 * t.s.Line / step) // as far as the middle of what hides it
	var out []line
	start := 0
	flush := func(end int) {
		if end-start >= int(shortest*t.wall/step) {
			s := l
			s.at = nil
			for n := start; n <= end; n++ {
				s.at = append(s.at, marks[n].point)
			}
			tie, group, region := s.tie, s.group, s.region
			s = smooth(s, traceTolerance*t.s.Line/4)
			s.tie, s.group, s.region = tie, group, region
			out = append(out, s)
		}
	}
	for n := 0; n < len(marks); {
		if !marks[n].hidden {
			n++
			continue
		}
		m := n
		for m < len(marks) && marks[m].hidden {
			m++
		}
		if m-n > crossing || n == 0 && m == len(marks) {
			if n > 0 {
				flush(min(n+into, len(marks)-1))
			}
			start = max(m-into, 0)
		}
		if m == len(marks) && m-n > crossing {
			return out
		}
		n = m
	}
	flush(len(marks) - 1)
	return out
}

// wovenBelow are the heights, in mm, up to which linking the lines of ceilings is tried: a
// wall that stands all along costs more the higher it is, walls that hang from a few
// posts hardly do, unless the ceiling is narrow. On broad ones of the demo parts the
// two meet at some 20 mm.
var wovenBelow = [...]float64{22, math.Inf(1)}

// levels counts the regions with a level patch up to a height.
func (t *site) levels(n need.Need, below float64) (count int) {
	for _, r := range n.Regions {
		if slices.ContainsFunc(r.Cuts, func(c need.Cut) bool { return t.part.Bottom(c.K) < below && len(t.ceilings(&c)) > 0 }) {
			count++
		}
	}
	return count
}
