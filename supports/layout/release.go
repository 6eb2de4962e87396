package layout

import (
	"cmp"
	"math"
	"slices"

	"falsework/supports/plan"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

const (
	// releaseRounds and releaseTries bound how often bodies that cannot come off
	// are cut apart, and the cuts tried each time.
	releaseRounds, releaseTries = 2, 3
	// releaseCells bounds that work, in cells of the part's layers.
	releaseCells = 600000000
	// cutGap is left between the ends of a line that is cut, in mm: room enough
	// not to fuse, and less than any bridge.
	cutGap = 0.6
)

// release cuts lines where bodies could not come off: straight through the middle
// of each, so that either half has a way out of its own. What comes of it is judged
// by the proof, which sees the solids alone.
func (j *job) release(p plan.Plan, best finished) finished {
	if best.solids == nil {
		return best
	}
	bodies, err := prove.Leaving(j.print, best.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil || !slices.ContainsFunc(bodies, func(b prove.Body) bool { return b.Blocked }) {
		return best // an error is told when the plan is proved
	}
	proof := j.prove(best)
	work := 0
	for round := 0; proof.BlockedBodies > 0 && round < releaseRounds; round++ {
		lines, barred := best.lines, proof.Bodies
		was := proof.BlockedBodies
		for try := 0; try < releaseTries && proof.BlockedBodies > 0; try++ {
			if work += j.cells; work > releaseCells {
				return best
			}
			cut := lines
			for _, b := range barred {
				if b.Blocked {
					cut = split(cut, b, try)
				}
			}
			other := j.finish(p, cut)
			if r := j.prove(other); better(r, proof) {
				best, proof = other, r
			}
		}
		if proof.BlockedBodies == was {
			break
		}
	}
	return best
}

// prove returns what the proof finds of a layout.
func (j *job) prove(f finished) prove.Report {
	if f.solids == nil {
		return prove.Report{}
	}
	r, err := prove.ProveStacks(j.print, f.solids, j.s, prove.Options{Workers: j.workers})
	if err != nil {
		return prove.Report{} // told when the plan is proved
	}
	return r
}

// better tells whether a is better than b in some way and worse in none.
func better(a, b prove.Report) bool {
	return !worse(a, b) && (a.BlockedBodies < b.BlockedBodies || a.UnheldMM2 < b.UnheldMM2)
}

// worse tells whether a is worse than b in some way.
func worse(a, b prove.Report) bool {
	return !(a.BlockedBodies <= b.BlockedBodies && a.UnheldMM2 <= b.UnheldMM2 && a.CollisionsMM3 <= b.CollisionsMM3 &&
		a.FusedMM2 <= b.FusedMM2 && a.ClearanceMM2 <= b.ClearanceMM2)
}

// split cuts the lines of one body in two groups that stay apart. The cut is the
// one that takes the least of them away, or for a later try the best of those that
// run another way.
func split(lines []line, b prove.Body, try int) []line {
	var mine []int
	group := 0
	var middle r2.Vec
	n := 0.0
	for i, l := range lines {
		group = max(group, l.group)
		if !slices.ContainsFunc(l.at, func(q point) bool {
			return q.X > b.Bounds.Min.X-cutGap && q.X < b.Bounds.Max.X+cutGap && q.Y > b.Bounds.Min.Y-cutGap && q.Y < b.Bounds.Max.Y+cutGap &&
				q.z > b.Bounds.Min.Z && q.z < b.Bounds.Max.Z+1
		}) {
			continue
		}
		mine = append(mine, i)
		for _, q := range l.at {
			middle = r2.Add(middle, q.Vec)
			n++
		}
	}
	if len(mine) == 0 {
		return lines
	}
	middle = r2.Scale(1/n, middle)
	const angles = 24
	type cut struct {
		angle int
		at    r2.Vec
		lost  float64
	}
	var cuts []cut
	for a := range angles {
		sin, cos := math.Sincos(math.Pi * float64(a) / angles)
		normal := r2.Vec{X: cos, Y: sin}
		for _, off := range [...]float64{0, -1.5, 1.5, -3, 3} {
			c := cut{angle: a, at: r2.Add(middle, r2.Scale(off, normal))}
			for _, i := range mine {
				whole := lines[i].length()
				for _, half := range lines[i].cut(c.at, normal) {
					whole -= half.length()
				}
				c.lost += whole
			}
			cuts = append(cuts, c)
		}
	}
	slices.SortStableFunc(cuts, func(x, y cut) int { return cmp.Compare(math.Round(x.lost*10), math.Round(y.lost*10)) })
	picked := cuts[:1:1]
	for _, c := range cuts {
		if !slices.ContainsFunc(picked, func(o cut) bool {
			d := (c.angle - o.angle + angles) % angles
			return min(d, angles-d) < angles/6 // 30° of 180°
		}) {
			picked = append(picked, c)
		}
	}
	c := picked[try%len(picked)]
	sin, cos := math.Sincos(math.Pi * float64(c.angle) / angles)
	normal := r2.Vec{X: cos, Y: sin}
	var out []line
	for i, l := range lines {
		if !slices.Contains(mine, i) {
			out = append(out, l)
			continue
		}
		for _, half := range l.cut(c.at, normal) {
			mid := half.at[len(half.at)/2].Vec
			if half.group = group + 1; r2.Dot(r2.Sub(mid, c.at), normal) > 0 {
				half.group++
			}
			out = append(out, half)
		}
	}
	return out
}

// cut returns what is left of a line further than half a cutGap from the straight
// line through p square to normal.
func (l line) cut(p, normal r2.Vec) []line {
	var out []line
	run := l
	run.at = nil
	flush := func() {
		if run.length() > cutGap {
			out = append(out, run)
		}
		run.at = nil
	}
	side := func(q point) float64 { return r2.Dot(r2.Sub(q.Vec, p), normal) }
	for i, q := range l.at {
		if i > 0 {
			// Where the stretch passes either edge of the gap, in order.
			o := l.at[i-1]
			a, b := side(o), side(q)
			edges := []float64{-cutGap / 2, cutGap / 2}
			if a > b {
				slices.Reverse(edges)
			}
			for _, e := range edges {
				if (a-e)*(b-e) < 0 {
					f := (e - a) / (b - a)
					at := point{r2.Add(o.Vec, r2.Scale(f, r2.Sub(q.Vec, o.Vec))), o.z + f*(q.z-o.z)}
					run.at = append(run.at, at)
					if math.Abs(b) < math.Abs(a) || (a < 0) != (b < 0) && (e < 0) == (a < 0) {
						flush()
					}
				}
			}
		}
		if math.Abs(side(q)) >= cutGap/2 {
			run.at = append(run.at, q)
		} else {
			flush()
		}
	}
	flush()
	return out
}
