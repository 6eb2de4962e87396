package layout

import (
	"math"
	"slices"

	"falsework/supports/grow"
	"gonum.org/v1/gonum/spatial/r2"
)

const (
	// fewestArms is how many arms of one slope are worth a spine of their own.
	fewestArms = 4
	// spineStep is the longest way from arm to arm that a spine goes, in planned
	// bridges: further on it would be a wall of its own.
	spineStep = 1.0
	// spineDrop is how much lower than any tie a spine runs, in mm: between arms round
	// slopes bend toward it.
	spineDrop = 0.8
)

// spineShares are how far along the arms, from their lower ends, spines are tried.
var spineShares = [...]float64{0.35, 0.6}

// spines returns ties from arm to arm across every slope, each level and so far along
// the arms: one wall all the way, that can stand on the ground as one bead a layer and
// carry the arms to both sides. Round a closed slope it stays open at its widest gap,
// so that it comes off.
func (t *site) spines(lines []line, share float64) (out []line) {
	for first := 0; first < len(lines); {
		end := first
		var arms []line
		for ; end < len(lines) && lines[end].region == lines[first].region; end++ {
			if lines[end].arm {
				arms = append(arms, lines[end])
			}
		}
		first = end
		for _, group := range groups(arms) {
			out = append(out, t.spine(group, share)...)
		}
	}
	return out
}

// groups parts lines by group, in order of their first.
func groups(lines []line) (out [][]line) {
	at := map[int]int{}
	for _, l := range lines {
		n, seen := at[l.group]
		if !seen {
			n = len(out)
			at[l.group] = n
			out = append(out, nil)
		}
		out[n] = append(out[n], l)
	}
	return out
}

// spine returns the spines of one group of arms.
func (t *site) spine(arms []line, share float64) (out []line) {
	if len(arms) < fewestArms {
		return nil
	}
	var heights []float64
	for _, l := range arms {
		a, b := l.at[0].z, l.at[len(l.at)-1].z
		heights = append(heights, min(a, b)+share*math.Abs(b-a))
	}
	slices.Sort(heights)
	z := heights[len(heights)/2]
	var places []r2.Vec
	var middle r2.Vec
	for _, l := range arms {
		if p, ok := l.level(z); ok {
			places = append(places, p)
			middle = r2.Add(middle, p)
		}
	}
	if len(places) < fewestArms {
		return nil
	}
	middle = r2.Scale(1/float64(len(places)), middle)
	bearing := func(p r2.Vec) float64 { return math.Atan2(p.Y-middle.Y, p.X-middle.X) }
	slices.SortFunc(places, func(a, b r2.Vec) int {
		if d := bearing(a) - bearing(b); d != 0 {
			return int(math.Copysign(1, d))
		}
		return 0
	})
	// It begins behind the widest gap.
	n := len(places)
	widest := 0
	for i := range places {
		if distance(places[i], places[(i+1)%n]) > distance(places[widest], places[(widest+1)%n]) {
			widest = i
		}
	}
	places = slices.Concat(places[(widest+1)%n:], places[:(widest+1)%n])
	group, region := arms[0].group, arms[0].region
	var run []point
	flush := func() {
		if len(run) >= fewestArms {
			out = append(out, line{at: run, tie: true, group: group, region: region})
		}
		run = nil
	}
	for _, p := range places {
		q := point{p, z - spineDrop}
		if len(run) > 0 {
			last := point{run[len(run)-1].Vec, q.z}
			tie, ok := t.tie(last, q)
			if distance(last.Vec, p) > spineStep*t.s.Bridge*(1-t.s.Margin) || !ok {
				flush()
			} else if len(run) == 1 {
				run[0].z = tie.at[0].z
			}
		}
		q.z -= float64(t.s.VoidLayers()+grow.Relief) * t.s.Layer
		run = append(run, q)
	}
	flush()
	return out
}

// level returns where a line passes height z.
func (l line) level(z float64) (r2.Vec, bool) {
	for i := 1; i < len(l.at); i++ {
		a, b := l.at[i-1], l.at[i]
		if (a.z-z)*(b.z-z) <= 0 && a.z != b.z {
			return r2.Add(a.Vec, r2.Scale((z-a.z)/(b.z-a.z), r2.Sub(b.Vec, a.Vec))), true
		}
	}
	return r2.Vec{}, false
}
