package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/supports/grow"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// longestSpur is how far, in mm, a spur goes: on its way out from a wall its lower edge rises
// by about as much, and what is further off is as well held from below.
const longestSpur = 14.0

// spurs returns lines with ties from low ones to walls of a plan that pass by, made of the
// same lines: what stands alone under a low spot, an island on every layer, hangs from what
// stands there anyway. They are nil where there are none.
func (j *job) spurs(p plan.Plan, lines []line) (out []line) {
	n := j.network(&p)
	n.Hang(p)
	n.Ties()
	sets := mesh.NewDisjoint[int](len(lines)) // what hangs together without spurs
	for a := range lines {
		for b := a + 1; b < len(lines); b++ {
			if math.Abs(lines[a].at[0].z-lines[b].at[0].z) < grow.JoinHeights && lines[a].apart(lines[b]) < j.wall/2 {
				sets.Union(a, b)
			}
		}
	}
	type spur struct {
		from point
		line int
		to   r2.Vec
		long float64
	}
	var found []spur
	rise, depth := 1/math.Tan(j.s.Lean), grow.WallDepth(j.s)
	for i, l := range lines {
		if l.tie || l.fixed {
			continue
		}
		for _, q := range l.every(joinStep) {
			best := spur{from: q, line: i, long: longestSpur}
			for k := range n.Stations {
				s := &n.Stations[k]
				if s.Top < q.z+grow.JoinHeights || s.Low > q.z-2*depth {
					continue
				}
				if d := distance(q.Vec, s.P); d < best.long && s.Low+d*rise < q.z-2*depth {
					best.to, best.long = s.P, d
				}
			}
			if best.long < longestSpur {
				found = append(found, best)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b spur) int { return cmp.Compare(a.long, b.long) })
	held := map[int]int{} // the groups of what hangs by a spur
	var ties []line
	for _, f := range found {
		if _, is := held[sets.Find(f.line)]; is {
			continue
		}
		tie, ok := j.tie(f.from, point{f.to, f.from.z})
		if !ok {
			continue
		}
		at := nearest(lines, line{at: []point{{f.to, 0}, {f.to, 0}}})
		if own := lines[f.line].group; own != 0 && at.group != own {
			continue
		}
		tie.group, tie.region = at.group, lines[f.line].region
		held[sets.Find(f.line)] = tie.group
		ties = append(ties, tie)
	}
	if len(ties) == 0 {
		return nil
	}
	out = slices.Clone(lines)
	for i := range out {
		if group, is := held[sets.Find(i)]; is {
			out[i].group = group // so that no tie binds it to another
		}
	}
	return append(out, ties...)
}

// every returns places along a line no further apart than a step, its ends among them.
func (l line) every(step float64) (out []point) {
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		n := math.Ceil(max(1, distance(a.Vec, b.Vec)/step))
		for k := 0.0; k < n; k++ {
			out = append(out, point{r2.Add(a.Vec, r2.Scale(k/n, r2.Sub(b.Vec, a.Vec))), a.z + k/n*(b.z-a.z)})
		}
	}
	return append(out, l.at[len(l.at)-1])
}
