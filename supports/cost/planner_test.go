package cost

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s: got %.6g, want %.6g within %g %%", what, got, want, rel*100)
	}
}

// A move from rest to rest takes 2√(d/a) while it is too short to reach its
// speed, v²/a, and d/v + v/a beyond: the textbook trapezoid.
func TestRestToRest(t *testing.T) {
	m := Machine{Accel: 2000}
	const v, a = 60.0, 2000.0
	for _, d := range []float64{0.001, 0.5, v * v / a * 0.999, v * v / a, v * v / a * 1.001, 10, 500} {
		want := d/v + v/a
		if d < v*v/a {
			want = 2 * math.Sqrt(d/a)
		}
		moves := []Move{{To: r2.Vec{X: d}, Speed: v}}
		m.Plan(moves)
		near(t, "rest to rest", m.Seconds(moves), want, 1e-9)
	}
}

// A square of side d whose three inner corners are taken at c, the corner speed
// of a right angle, has two sides that start or end at rest and two that do not.
func TestSquare(t *testing.T) {
	const d, v, a, tol = 20.0, 60.0, 2000.0, 0.02
	m := Machine{Accel: a, CornerTol: tol}
	s := math.Sin(math.Pi / 4)
	c := math.Sqrt(a * tol * s / (1 - s))
	// Speeding up from u to v takes (v−u)/a and (v²−u²)/2a of way.
	leg := func(u, w float64) float64 {
		return (v-u)/a + (v-w)/a + (d-(v*v-u*u)/(2*a)-(v*v-w*w)/(2*a))/v
	}
	want := leg(0, c) + 2*leg(c, c) + leg(c, 0)
	p := []r2.Vec{{}, {X: d}, {X: d, Y: d}, {Y: d}, {}}
	var moves []Move
	for i := 1; i < len(p); i++ {
		moves = append(moves, Move{From: p[i-1], To: p[i], Speed: v})
	}
	m.Plan(moves)
	near(t, "square", m.Seconds(moves), want, 1e-9)
	near(t, "corner", moves[1].Entry, c, 1e-12)
	near(t, "corner from the formula by hand", c, 9.827, 1e-3)
}

// A reversal stops; straight on does not slow down.
func TestCornerLimits(t *testing.T) {
	m := Machine{}.filled()
	a := Move{To: r2.Vec{X: 1}}
	if v := m.cornerSpeed(a, Move{From: r2.Vec{X: 1}, To: r2.Vec{X: 2}}); !math.IsInf(v, 1) {
		t.Errorf("straight on at %g mm/s", v)
	}
	if v := m.cornerSpeed(a, Move{From: r2.Vec{X: 1}}); v != 0 {
		t.Errorf("reversal at %g mm/s", v)
	}
}

// integrate is the planner's slow twin: the path in steps of ds, the highest
// speed at each of them by one sweep forward and one back, time by trapezoids.
func integrate(m Machine, moves []Move, ds float64) float64 {
	m = m.filled()
	var limit, step []float64 // speed limit at each point; way to the next
	limit = append(limit, 0)
	dwell := 0.0
	for i, p := range moves {
		dwell += p.Dwell
		if i > 0 {
			u, w := r2.Sub(moves[i-1].To, moves[i-1].From), r2.Sub(p.To, p.From)
			turn := math.Abs(math.Atan2(r2.Cross(u, w), r2.Dot(u, w)))
			s := math.Sin((math.Pi - turn) / 2)
			c := min(p.Speed, moves[i-1].Speed, math.Sqrt(m.Accel*m.CornerTol*s/(1-s)))
			if p.Dwell > 0 {
				c = 0
			}
			limit[len(limit)-1] = c
		}
		n := int(p.LengthMM()/ds) + 1
		for k := 0; k < n; k++ {
			limit = append(limit, p.Speed)
			step = append(step, p.LengthMM()/float64(n))
		}
	}
	limit[len(limit)-1] = 0
	for i := range step {
		limit[i+1] = min(limit[i+1], math.Sqrt(limit[i]*limit[i]+2*m.Accel*step[i]))
	}
	for i := len(step) - 1; i >= 0; i-- {
		limit[i] = min(limit[i], math.Sqrt(limit[i+1]*limit[i+1]+2*m.Accel*step[i]))
	}
	t := dwell
	for i, d := range step {
		t += 2 * d / (limit[i] + limit[i+1])
	}
	return t
}

func TestPlanAgainstIntegrator(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 0; n < 6; n++ {
		m := Machine{Accel: 500 + 4000*rng.Float64(), CornerTol: 0.005 + 0.1*rng.Float64()}
		var moves []Move
		var at r2.Vec
		heading := 0.0
		for k := 0; k < 400; k++ {
			heading += rng.NormFloat64() * 0.7
			d := math.Exp(rng.NormFloat64()) // 0.1 to 10 mm
			to := r2.Vec{X: at.X + d*math.Cos(heading), Y: at.Y + d*math.Sin(heading)}
			v := Move{From: at, To: to, Speed: 60}
			if rng.IntN(10) == 0 {
				v.Speed = 150
				v.Dwell = 0.075 * float64(rng.IntN(2))
			}
			moves = append(moves, v)
			at = to
		}
		m.Plan(moves)
		near(t, "long polyline", m.Seconds(moves), integrate(m, moves, 0.002), 0.005)
		for i := 1; i < len(moves); i++ {
			if moves[i].Dwell == 0 && moves[i].Entry != moves[i-1].Exit {
				t.Fatalf("move %d enters at %g, the one before leaves at %g", i, moves[i].Entry, moves[i-1].Exit)
			}
		}
	}
}

func TestBeadArea(t *testing.T) {
	// A line as wide as it is high is round.
	near(t, "round bead", BeadArea(0.2, 0.2), math.Pi*0.01, 1e-12)
	near(t, "flat bead", BeadArea(0.4, 0.2), 0.2*0.2+math.Pi*0.01, 1e-12)
}

func TestMachineResolve(t *testing.T) {
	m, err := Machine{}.Resolve()
	if err != nil || m.Speed != 60 || m.Accel != 2000 || m.Density != 1.25 || m.FirstSpeed != 30 {
		t.Errorf("defaults: %+v, %v", m, err)
	}
	again, err := m.Resolve()
	if err != nil || again != m {
		t.Errorf("resolving twice changes %+v to %+v, %v", m, again, err)
	}
	none := Machine{Retract: -1, Visit: -1, MinLayer: -1}
	if m, err = none.Resolve(); err != nil || m.visitS() != 0 {
		t.Errorf("none: %+v, %v", m, err)
	}
	for _, bad := range []Machine{{Speed: -5}, {Accel: math.NaN()}, {TravelSpeed: math.Inf(1)}, {Density: 1250}, {Retract: math.NaN()}} {
		if _, err := bad.Resolve(); err == nil {
			t.Errorf("%+v passes", bad)
		}
		f := bad.filled()
		if s := (f.Speed + f.Accel + f.TravelSpeed + f.Retract); math.IsNaN(s - s) {
			t.Errorf("%+v is filled to %+v", bad, f)
		}
	}
	near(t, "1.75 mm filament", Machine{}.FilamentMM(1000), 1000/(math.Pi*0.875*0.875), 1e-12)
}
