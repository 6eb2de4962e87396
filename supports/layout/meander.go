package layout

import (
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/grow"

	"gonum.org/v1/gonum/spatial/r2"
)

// longestTurn is the longest wall, in mm, that is worth building to save a bead of
// its own on every layer: 0.28 s at 57 mm/s, a start and two retractions.
const longestTurn = speed * islandTime

// meander links lines down a slope end to end, by turns along the slope, so that
// they are laid as one bead a layer and not one each. Each goes on to the nearest
// end of its own kind, upper to upper and lower to lower; lines of different
// groups stay apart. No more than most of them become one.
func (t *site) meander(lines []line, most int) []line {
	done := make([]bool, len(lines))
	ready := make([]line, len(lines))
	for i := range lines {
		ready[i] = t.upward(lines[i])
	}
	var out []line
	for {
		first := -1
		for i := range lines {
			// A line at the edge of the slope is the place to begin at.
			if !done[i] && (first < 0 || t.turns(lines, done, i) < t.turns(lines, done, first)) {
				first = i
			}
		}
		if first < 0 {
			return out
		}
		done[first] = true
		path := ready[first]
		path.at = slices.Clone(path.at)
		up := true // the path ends at an upper end
		for n := 1; n < most; n++ {
			end := path.at[len(path.at)-1]
			next, near := -1, longestTurn
			for i := range lines {
				if done[i] || lines[i].group != path.group {
					continue
				}
				from := turnEnd(ready[i], up)
				if d := distance(end.Vec, from.Vec); d < near && t.turn(end, from) {
					next, near = i, d
				}
			}
			if next < 0 {
				break
			}
			done[next] = true
			l := ready[next]
			if up {
				for i := len(l.at) - 1; i >= 0; i-- {
					path.at = append(path.at, l.at[i])
				}
			} else {
				path.at = append(path.at, l.at...)
			}
			up = !up
		}
		out = append(out, path)
	}
}

// turns counts the lines that line i could go on to from either end.
func (t *site) turns(lines []line, done []bool, i int) int {
	n := 0
	for j := range lines {
		if j == i || done[j] || lines[j].group != lines[i].group {
			continue
		}
		for _, up := range [2]bool{true, false} {
			if distance(turnEnd(lines[i], up).Vec, turnEnd(lines[j], up).Vec) < longestTurn/2 {
				n++
			}
		}
	}
	return n
}

// upward returns a copy of the line that begins at its lower end, or where there
// is room for a wall beside what holds the slope there.
func (t *site) upward(l line) line {
	out := l
	out.at = append([]point(nil), l.at...)
	if l.at[0].z > l.at[len(l.at)-1].z {
		slices.Reverse(out.at)
	}
	for len(out.at) > 2 && !t.clear(out.at[1], t.s.Clearance) {
		out.at = out.at[1:]
	}
	p, q := out.at[0], out.at[1]
	n := int(distance(p.Vec, q.Vec)/t.part.Cell) + 1
	for i := 0; i < n; i++ {
		f := float64(i) / float64(n)
		at := point{r2.Add(p.Vec, r2.Scale(f, r2.Sub(q.Vec, p.Vec))), p.z + f*(q.z-p.z)}
		if t.clear(at, t.s.Clearance) {
			out.at[0] = at
			break
		}
	}
	return out
}

// turnEnd returns the upper or the lower end of a line.
func turnEnd(l line, upper bool) point {
	a, b := l.at[0], l.at[len(l.at)-1]
	if (a.z > b.z) == upper {
		return a
	}
	return b
}

// turn tells whether a wall from p to q has the slope over it all the way, and
// room below its contact.
func (t *site) turn(p, q point) bool {
	n := int(distance(p.Vec, q.Vec)/(2*t.part.Cell)) + 1
	for i := 1; i < n; i++ {
		f := float64(i) / float64(n)
		at := point{r2.Add(p.Vec, r2.Scale(f, r2.Sub(q.Vec, p.Vec))), p.z + f*(q.z-p.z)}
		ci, cj := t.part.At(at.Vec)
		if !t.part.Layer(t.part.Above(at.z)+1).Has(ci, cj) || !t.clear(at, 0) {
			return false
		}
	}
	return true
}

// clear tells whether a wall at a point of a slope keeps so far, in mm, off the part
// in the depth that it has at least.
func (t *site) clear(p point, aside float64) bool {
	ci, cj := t.part.At(p.Vec)
	top := t.part.Above(p.z)
	// The slope's own layer may be lower here than p says.
	for least := top - int(mostSag/t.s.Layer); top > least && t.part.Layer(top-1).Has(ci, cj); {
		top--
	}
	one := raster.NewBits(ci, cj, ci+1, cj+1)
	one.Set(ci, cj)
	top -= t.s.VoidLayers() + 1
	depth := int(math.Ceil(grow.WallDepth(t.s) / t.s.Layer))
	for k := max(0, top-depth); k < top; k++ {
		if raster.Near(&one, t.part.Layer(k), raster.DiscOf((t.wall/2+aside)/t.part.Cell)) {
			return false
		}
	}
	return true
}

// mostSag is how much lower, in mm, a slope may be beside the ends of a turn.
const mostSag = 1.5
