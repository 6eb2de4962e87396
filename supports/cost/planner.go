package cost

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Move is one straight move of the nozzle within a layer.
type Move struct {
	From, To r2.Vec  // mm
	Speed    float64 // the most it may reach, mm/s
	Dwell    float64 // s spent at rest before it starts; 0 lets it start at speed

	Entry, Exit float64 // mm/s, set by Plan
}

// LengthMM returns the length of the move.
func (v Move) LengthMM() float64 { return math.Hypot(v.To.X-v.From.X, v.To.Y-v.From.Y) }

// Plan gives each move the highest entry and exit speed that the acceleration,
// the corners and the moves before and after it allow. The first move starts and
// the last one ends at rest.
//
// A corner between two moves is taken at the speed v that cuts it by no more
// than the corner tolerance δ on an arc of centripetal acceleration a:
// v² = a·δ·sin(θ/2)/(1−sin(θ/2)), where θ is the angle between them, π when
// straight on.
func (m Machine) Plan(moves []Move) {
	m = m.filled()
	v := 0.0
	for i := range moves {
		p := &moves[i]
		p.Entry = min(v, p.Speed)
		if p.Dwell > 0 {
			p.Entry = 0
		}
		p.Exit = 0
		if i+1 < len(moves) && moves[i+1].Dwell <= 0 {
			p.Exit = min(p.Speed, moves[i+1].Speed, m.cornerSpeed(*p, moves[i+1]))
		}
		// What it can speed up to on its own length.
		p.Exit = min(p.Exit, math.Sqrt(p.Entry*p.Entry+2*m.Accel*p.LengthMM()))
		v = p.Exit
	}
	// And back: every move must be able to brake to what follows.
	next := 0.0
	for i := len(moves) - 1; i >= 0; i-- {
		p := &moves[i]
		p.Exit = min(p.Exit, next)
		p.Entry = min(p.Entry, math.Sqrt(p.Exit*p.Exit+2*m.Accel*p.LengthMM()))
		next = p.Entry
	}
}

// cornerSpeed returns the speed at which the corner between a and b is taken.
func (m Machine) cornerSpeed(a, b Move) float64 {
	u, w := r2.Sub(a.To, a.From), r2.Sub(b.To, b.From)
	n := math.Sqrt(r2.Norm2(u) * r2.Norm2(w))
	if n == 0 {
		return 0
	}
	// cos θ = −u·w, since θ is measured between the legs and not the headings.
	s := math.Sqrt(max(0, (1+r2.Dot(u, w)/n)/2))
	if 1-s < 1e-12 {
		return math.Inf(1)
	}
	return math.Sqrt(m.Accel * m.CornerTol * s / (1 - s))
}

// Seconds returns the time of planned moves, dwells included.
func (m Machine) Seconds(moves []Move) float64 {
	m = m.filled()
	t := 0.0
	for _, p := range moves {
		t += p.Dwell + trapezoid(p.LengthMM(), p.Entry, p.Exit, p.Speed, m.Accel)
	}
	return t
}

// trapezoid returns the time in s of a move of d mm that enters at v0 and leaves
// at v1, reaching at most v (mm/s), at acceleration a (mm/s²):
// v_p = min(v, √((2ad+v0²+v1²)/2)),
// t = (2v_p−v0−v1)/a + (d−(2v_p²−v0²−v1²)/2a)/v_p.
func trapezoid(d, v0, v1, v, a float64) float64 {
	if d <= 0 {
		return 0
	}
	vp := min(v, math.Sqrt((2*a*d+v0*v0+v1*v1)/2))
	cruise := d - (2*vp*vp-v0*v0-v1*v1)/(2*a)
	return (2*vp-v0-v1)/a + max(0, cruise)/vp
}
