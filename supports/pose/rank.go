package pose

import (
	"cmp"
	"math"
	"slices"
)

// sameMeasure is the share of a point below which two values count as equal: a
// raster of cells knows no finer.
const sameMeasure = 0.02

// Rank orders poses, those whose supports are proved first, those that none could be built
// for last, else by points, and says which are on the front and what each wins and loses
// beside the given one. A pose without supports is on no front where another has some, and
// wins nothing.
func Rank(poses []Pose, w Weights) {
	if w == (Weights{}) {
		w = DefaultWeights
	}
	for i := range poses {
		poses[i].Points = w.Points(poses[i].Measures)
	}
	slices.SortStableFunc(poses, func(a, b Pose) int {
		return cmp.Or(cmp.Compare(grade(&b), grade(&a)), cmp.Compare(a.Points, b.Points))
	})
	given := slices.IndexFunc(poses, func(p Pose) bool { return p.Kind == Given })
	for i := range poses {
		p := &poses[i]
		p.BeatenBy, p.Wins, p.Loses = 0, nil, nil
		for k := range poses {
			if k != i && beats(&poses[k], p, w) {
				p.BeatenBy = k + 1
				break
			}
		}
		p.Front = p.BeatenBy == 0
		if given >= 0 && given != i && !undrawn(p) && !undrawn(&poses[given]) {
			p.weigh(&poses[given], w)
		}
	}
}

// grade returns 2 for a pose whose supports hold, or were not laid out, 1 where they fail,
// 0 where none could be built.
func grade(p *Pose) int {
	switch {
	case undrawn(p):
		return 0
	case p.Laid != nil && !p.Laid.Holds:
		return 1
	}
	return 2
}

// undrawn tells whether supports could not be built.
func undrawn(p *Pose) bool { return p.Laid != nil && p.Laid.Problem != "" }

// beats tells whether a is as good as b in all that has a weight and better in one. What
// one would take that was not drawn is a guess, and any that was beats it.
func beats(a, b *Pose, w Weights) bool {
	better := grade(a) > grade(b)
	if better && undrawn(b) || grade(a) < grade(b) {
		return better
	}
	for c := range Criteria {
		if w[c] == 0 {
			continue
		}
		switch d := c.points(a.Measures[c]) - c.points(b.Measures[c]); {
		case d > sameMeasure:
			return false
		case d < -sameMeasure:
			better = true
		}
	}
	return better
}

// weigh lists where p is better and worse than the given pose.
func (p *Pose) weigh(given *Pose, w Weights) {
	gain := func(c Criterion) float64 {
		return w[c] * (c.points(given.Measures[c]) - c.points(p.Measures[c]))
	}
	for c := range Criteria {
		if w[c] == 0 {
			continue
		}
		switch g := gain(c) / w[c]; {
		case g > sameMeasure:
			p.Wins = append(p.Wins, c)
		case g < -sameMeasure:
			p.Loses = append(p.Loses, c)
		}
	}
	heaviest := func(a, b Criterion) int { return cmp.Compare(math.Abs(gain(b)), math.Abs(gain(a))) }
	slices.SortStableFunc(p.Wins, heaviest)
	slices.SortStableFunc(p.Loses, heaviest)
}
