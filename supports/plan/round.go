package plan

import (
	"math"
	"slices"
)

const (
	// SharpTurn is the turn, in radians, up to which a corner is none: 25°. Common
	// practice, no source.
	SharpTurn = 25 * math.Pi / 180
	// ArcTurn is how far an arc's straights turn at most, in radians: a printer that cuts
	// corners by δ = 0.02 mm at a = 2000 mm/s² turns by 22.5° at
	// √(a·δ·s/(1 − s)) = 45 mm/s, s = sin(θ/2) with θ between the straights, and by 90° at 10.
	ArcTurn = math.Pi / 8
)

// Path returns the points that the line runs through: those that it lists, and for corners
// that are rounded the points of an arc that leaves and meets the straights beside it along
// them. Heights go evenly from where an arc begins to where it ends. Both ends stay.
func (l Line) Path() [][3]float64 {
	at, _ := l.Course()
	return at
}

// Course returns the line's path, and of each of the path's straights whether it is relieved.
// Those of an arc are where both straights beside it are.
func (l Line) Course() (at [][3]float64, relieved []bool) {
	eased := func(straight int) bool { return slices.Contains(l.Relieved, straight) }
	at = l.At[:min(1, len(l.At)):1]
	for i := 1; i < len(l.At); i++ {
		turn := l.At[i : i+1]
		if l.Round > 0 && i+1 < len(l.At) {
			turn = arc(l.At[i-1], l.At[i], l.At[i+1], l.Round)
		}
		for k := range turn {
			relieved = append(relieved, eased(i) && (k == 0 || eased(i+1)))
		}
		at = append(at, turn...)
	}
	return at, relieved
}

// Without returns what is left of the line without its nth straight, counted from 1: what is
// before it, and what behind. Of less than a straight there is no line.
func (l Line) Without(n int) (before, behind Line) {
	before, behind = l, l
	before.At, behind.At = l.At[:n:n], l.At[n:]
	before.Relieved, behind.Relieved = nil, nil
	for _, k := range l.Relieved {
		if k < n {
			before.Relieved = append(before.Relieved, k)
		} else if k > n {
			behind.Relieved = append(behind.Relieved, k-n)
		}
	}
	return before, behind
}

// arc returns the points by which a line from a to c turns at b, b itself where that is no
// corner or has no room for an arc.
func arc(a, b, c [3]float64, radius float64) [][3]float64 {
	ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], c[0]-b[0], c[1]-b[1]
	in, out := math.Hypot(ux, uy), math.Hypot(vx, vy)
	turn := math.Atan2(ux*vy-uy*vx, ux*vx+uy*vy) // to the left
	bend := math.Abs(math.Tan(turn / 2))
	if math.Abs(turn) <= SharpTurn || in == 0 || out == 0 || bend > turnsBack {
		return [][3]float64{b}
	}
	back := min(radius*bend, in/2, out/2) // from b, along either straight
	if back < leastArc {
		return [][3]float64{b}
	}
	radius = back / bend
	ux, uy, vx, vy = ux/in, uy/in, vx/out, vy/out
	from := [3]float64{b[0] - back*ux, b[1] - back*uy, b[2] + (a[2]-b[2])*back/in}
	to := b[2] + (c[2]-b[2])*back/out
	side := math.Copysign(radius, turn)
	mx, my := from[0]-side*uy, from[1]+side*ux // its middle
	n := int(math.Ceil(math.Abs(turn)/ArcTurn - 1e-9))
	pts := make([][3]float64, 0, n+1)
	for k := range n + 1 {
		f := float64(k) / float64(n)
		sin, cos := math.Sincos(turn * f)
		dx, dy := from[0]-mx, from[1]-my
		pts = append(pts, [3]float64{mx + dx*cos - dy*sin, my + dx*sin + dy*cos, from[2] + (to-from[2])*f})
	}
	return pts
}

const (
	// turnsBack is the tangent of half a turn beyond which a line turns back on itself, so
	// that an arc would leave its place: 170°.
	turnsBack = 11.4
	// leastArc is how much of a straight, in mm, an arc takes at least: less is no rounder.
	leastArc = 0.1
)
