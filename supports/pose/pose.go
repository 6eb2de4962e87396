package pose

import (
	"cmp"
	"math"
	"slices"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Kind says where a pose comes from.
type Kind string

const (
	Given   Kind = "given" // as the part was read
	Resting Kind = "rest"  // on a side of its convex hull
	Level   Kind = "flat"  // a flat of the part lies level
	Free    Kind = "free"  // a direction of its own
)

// Pose is one way up for a part.
type Pose struct {
	Turn  Turn
	Kind  Kind
	Twins int // other poses that are the same by the part's symmetry
	Sums  Sums

	Laid *Laid // nil until laid out

	Measures Measures // estimated from the sums, then those of the layout
	Points   float64  // by the weights
	// Front tells that no other pose is as good in every criterion that has a
	// weight and better in one (Pareto); BeatenBy is the number, from 1, of the
	// first that is, 0 on the front.
	Front    bool
	BeatenBy int
	// Wins and Loses are the criteria in which the pose differs from the given one,
	// the weightiest first.
	Wins, Loses []Criterion
}

const (
	// spreadCount directions are 6.4° apart: less than the 7° by which a level
	// ceiling may lean and still be one.
	spreadCount = 1500
	// Of them the seedCount best, apart by seedApart, are refined: in steps that
	// are halved from firstStep to lastStep, in radians.
	seedCount           = 24
	seedApart           = 12 * math.Pi / 180
	firstStep, lastStep = 4 * math.Pi / 180, 0.25 * math.Pi / 180
	// Free poses within snap of one that rests or has a flat level give way to it;
	// of poses within apart of one another one is enough, or each facet of a round
	// face would be a pose.
	snap, apart = 3 * math.Pi / 180, 8 * math.Pi / 180
	// mostSides bounds the sides of the hull and the flats that are looked at, the
	// largest first: round parts have one for each facet.
	mostSides = 300
	// Finalists are laid out, the given pose not counted.
	Finalists = 20
	// sameShare is the share of a measure by which poses that are the same by
	// symmetry may differ: facets of round faces need not be symmetric.
	sameShare = 0.005
)

// Find returns the poses of a part that are worth laying out: the given one first,
// then at most Finalists others, the best by sums of triangles first, none the same
// as another by the part's symmetry. It fails for settings that cannot be printed
// and for a part without volume (ErrFlat).
func Find(m *mesh.Mesh, o Options) ([]Pose, error) {
	o, err := o.resolve()
	if err != nil {
		return nil, err
	}
	w, err := newSummer(m, o)
	if err != nil {
		return nil, err
	}
	type candidate struct {
		up     r3.Vec
		kind   Kind
		sums   Sums
		points float64
	}
	list := []candidate{{up: r3.Vec{Z: 1}, kind: Given}}
	fixed := newNear(snap)
	fixed.add(list[0].up)
	exact := newNear(sameSide)
	exact.add(list[0].up)
	add := func(up r3.Vec, kind Kind) {
		if exact.find(up) < 0 {
			exact.add(up)
			fixed.add(up)
			list = append(list, candidate{up: up, kind: kind})
		}
	}
	rests := w.hull.Rests(w.centre, w.plane)
	for _, r := range rests[:min(len(rests), mostSides)] {
		add(r.Up, Resting)
	}
	for _, f := range w.flats[:min(len(w.flats), mostSides)] {
		add(f.normal, Level)
		add(r3.Scale(-1, f.normal), Level)
	}
	for _, up := range w.refine(w.seeds(o.Weights), o.Weights) {
		if fixed.find(up) < 0 {
			list = append(list, candidate{up: up, kind: Free})
		}
	}

	ups := make([]r3.Vec, len(list))
	for i := range list {
		ups[i] = list[i].up
	}
	for i, s := range w.sum(ups) {
		list[i].sums, list[i].points = s, o.Weights.Points(s.estimate())
	}
	slices.SortStableFunc(list[1:], func(a, b candidate) int { return cmp.Compare(a.points, b.points) })

	var out []Pose
	var taken []r3.Vec
	var marks []signature
next:
	for _, c := range list {
		sig := w.sign(c.up, c.sums)
		for i := range marks {
			if marks[i].same(sig) {
				out[i].Twins++
				continue next
			}
			if (c.kind == Free || out[i].Kind != Given) && angleBetween(taken[i], c.up) < apart {
				continue next
			}
		}
		if len(out) > Finalists {
			continue // it may still be a twin
		}
		p := Pose{Kind: c.kind, Sums: c.sums, Measures: c.sums.estimate(), Points: c.points}
		if c.kind != Given {
			p.Turn = turnUp(c.up, w.hull.longSide(c.up))
		}
		out, taken, marks = append(out, p), append(taken, c.up), append(marks, sig)
	}
	return out, nil
}

// seeds returns the best of the spread directions, apart from one another.
func (w *summer) seeds(weights Weights) []r3.Vec {
	ups := Spread(spreadCount)
	points := make([]float64, len(ups))
	order := make([]int, len(ups))
	for i, s := range w.sum(ups) {
		points[i], order[i] = weights.Points(s.estimate()), i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(points[a], points[b]) })
	var out []r3.Vec
	for _, i := range order {
		if len(out) == seedCount {
			break
		}
		if !slices.ContainsFunc(out, func(d r3.Vec) bool { return angleBetween(d, ups[i]) < seedApart }) {
			out = append(out, ups[i])
		}
	}
	return out
}

// refine moves each direction to where the points are least nearby.
func (w *summer) refine(ups []r3.Vec, weights Weights) []r3.Vec {
	const ways = 6
	best := slices.Clone(ups)
	least := make([]float64, len(ups))
	for i, s := range w.sum(ups) {
		least[i] = weights.Points(s.estimate())
	}
	for step := firstStep; step >= lastStep; step /= 2 {
		var trial []r3.Vec
		for _, up := range best {
			e1, e2 := across(up)
			for k := range ways {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / ways)
				side := r3.Add(r3.Scale(cos, e1), r3.Scale(sin, e2))
				trial = append(trial, r3.Unit(r3.Add(up, r3.Scale(math.Tan(step), side))))
			}
		}
		for n, s := range w.sum(trial) {
			if p := weights.Points(s.estimate()); p < least[n/ways] {
				least[n/ways], best[n/ways] = p, trial[n]
			}
		}
	}
	return best
}

// signature tells poses apart that are not the same by symmetry: what their sums
// are, and how the surface is spread over the height.
type signature [10]float64

// sign returns a pose's signature. The second to fourth moments of the surface about
// the centre of mass, along up, do not depend on how it is cut into triangles. Over
// a triangle of area A with corners at heights z the k-th is 2A·k!/(k+2)! times the
// sum of all products of k heights.
func (w *summer) sign(up r3.Vec, s Sums) signature {
	z0 := r3.Dot(up, w.centre)
	var m2, m3, m4, area float64
	for t := range w.faces {
		a, b, c := w.mesh.Corners(t)
		x, y, z := r3.Dot(up, a)-z0, r3.Dot(up, b)-z0, r3.Dot(up, c)-z0
		// Complete homogeneous polynomials, built up one corner at a time.
		h2 := x*x + y*(x+y)
		h3 := x*x*x + y*h2
		h4 := x*x*x*x + y*h3
		g1 := x + y + z
		g2 := h2 + z*g1
		g3 := h3 + z*g2
		g4 := h4 + z*g3
		f := w.faces[t].area
		m2, m3, m4, area = m2+f*g2/6, m3+f*g3/10, m4+f*g4/15, area+f
	}
	m2, m3, m4 = math.Sqrt(m2/area), math.Cbrt(m3/area), math.Sqrt(math.Sqrt(max(0, m4/area)))
	return signature{s.HeightMM, m2, m3, m4, math.Sqrt(s.NeedMM2), math.Cbrt(s.RiseMM3), math.Sqrt(s.FootMM2),
		math.Sqrt(s.CleanMM2), s.HeightMM * s.Tipping, s.HeightMM * s.Layers}
}

// same compares lengths, all of them, to a share of the height.
func (a signature) same(b signature) bool {
	tolerance := sameShare * max(a[0], b[0])
	for i := range a {
		if !(math.Abs(a[i]-b[i]) <= tolerance) {
			return false
		}
	}
	return true
}

// What supports take as the sums let expect it: a post up to the mean height of what
// is in need, and lines under its area. The numbers are least squares over 86 poses
// of demo parts that were laid out with default settings (rank correlation of time
// and plastic 0.77); they choose what is laid out, no more.
const (
	secondsPerMM, secondsPerMM2 = 11.6, 0.15
	plasticPerMM, plasticPerMM2 = 11.6, 0.2
	contactShare                = 0.1
)

// estimate returns the measures that the sums let expect.
func (s Sums) estimate() Measures {
	rise := s.RiseMM3 / max(1, s.NeedMM2) // mm
	return Measures{
		Time: secondsPerMM*rise + secondsPerMM2*s.NeedMM2, Plastic: plasticPerMM*rise + plasticPerMM2*s.NeedMM2,
		Contact: contactShare * s.NeedMM2, Height: s.HeightMM, Slender: slender(s.HeightMM, s.FootMM2),
		Tipping: s.Tipping, Layers: s.Layers, Clean: s.CleanMM2,
	}
}

// slender is height over the width of a foot, at most that on a foot of a square
// millimetre.
func slender(height, foot float64) float64 { return height / math.Sqrt(max(1, foot)) }
