package plan

import "math"

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
	if l.Round <= 0 || len(l.At) < 3 {
		return l.At
	}
	out := [][3]float64{l.At[0]}
	for i := 1; i+1 < len(l.At); i++ {
		out = append(out, arc(l.At[i-1], l.At[i], l.At[i+1], l.Round)...)
	}
	return append(out, l.At[len(l.At)-1])
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
