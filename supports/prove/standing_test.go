package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// hollow is a square post of side a with walls t thick.
func hollow(x, y, a, t, z0, z1 float64) *mesh.Mesh {
	return join(box(x, y, z0, x+a, y+t, z1), box(x, y+a-t, z0, x+a, y+a, z1), box(x, y+t, z0, x+t, y+a-t, z1), box(x+a-t, y+t, z0, x+a, y+a-t, z1))
}

// The elastic modulus of doi 10.1089/3dp.2020.0109 in MPa, and half a newton.
const youngs, pull = 2400.0, 0.5

// tipSway is the cantilever's deflection F·h³/3EI of the handbooks (for instance
// Gere and Timoshenko, Mechanics of Materials, table of cantilever deflections).
func tipSway(h, i float64) float64 { return pull * h * h * h / (3 * youngs * i) }

func TestSwayOfBeams(t *testing.T) {
	part := box(-30, 0, 0, -20, 10, 5)
	square := func(a float64) float64 { return a * a * a * a / 12 }
	five := square(5) - square(4)
	turned := func(deg float64, m *mesh.Mesh) *mesh.Mesh {
		s, c := math.Sincos(deg * math.Pi / 180)
		for i, v := range m.Vertices {
			m.Vertices[i] = r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z}
		}
		return m
	}
	for _, c := range []struct {
		name string
		sup  *mesh.Mesh
		want float64
		tol  float64
	}{
		{"hollow post", hollow(0, 0, 5, 0.5, 0, 30), tipSway(30, five), 0.001},
		{"across its weak side", box(0, 0, 0, 20, 1, 15), tipSway(15, 20.0/12), 0.001},
		// A wall 1 mm thick at 30° is known to a tenth.
		{"the same, turned", turned(30, box(0, 0, 0, 20, 1, 15)), tipSway(15, 20.0/12), 0.1},
		// The upper half sits on a post that gives by F·h³/3EI and turns, for the
		// force and for the moment F·h that it brings: F·h³(1/3 + 1/2 + 1/2 + 1)/EI.
		{"thick below, thin above", join(box(0, 0, 0, 4, 4, 10), box(1, 1, 10, 3, 3, 20)),
			pull * 1000 / youngs * (7.0/3/square(4) + 1.0/3/square(2)), 0.001},
		// Joined under the last layer two posts give half as much. The couple
		// between their feet is left out.
		{"two posts, joined", join(hollow(0, 0, 5, 0.5, 0, 30), hollow(20, 0, 5, 0.5, 0, 30), box(0, 0, 29.8, 25, 5, 30)), tipSway(29.8, five), 0.001},
		// A post that forks and joins again is no stiffer below the fork, and the
		// square on it hardly bends: F·(h³ − 2³)/3EI.
		{"a ring on one post", join(box(0, 0, 0, 3, 3, 20.2), box(-4, 0, 20, 7, 3, 20.2), box(-4, 0, 20.2, -1, 3, 21), box(4, 0, 20.2, 7, 3, 21), box(-4, 0, 21, 7, 3, 22.2)),
			tipSway(22.2, square(3)) - tipSway(2.2, square(3)), 0.01},
	} {
		r := proof(t, part, supports.Settings{}, c.sup)
		got := 0.0
		for _, b := range r.Bodies {
			got = max(got, b.SwayMM)
		}
		want := c.want
		if c.name == "two posts, joined" {
			// The worst is one post alone, just before.
			for _, b := range r.Bodies {
				if b.SwayMM < want*0.999 {
					t.Errorf("%s: %g mm, want %g of one alone", c.name, b.SwayMM, want)
				}
			}
		}
		if math.Abs(got-want) > c.tol*want {
			t.Errorf("%s: %g mm, want %g", c.name, got, want)
		}
	}
}

// Both sides of the limit of 0.1 mm: H 32 and 35 on a post of 5 mm, and the drag of
// another nozzle.
func TestSwayLimit(t *testing.T) {
	part := box(-30, 0, 0, -20, 10, 5)
	i := (5*5*5*5 - 4*4*4*4) / 12.0
	for _, c := range []struct{ h, drag float64 }{{30, 0.5}, {32, 0.5}, {35, 0.5}, {40, 0.5}, {40, 0.2}, {30, 1}} {
		r := proof(t, part, supports.Settings{Drag: c.drag}, hollow(0, 0, 5, 0.5, 0, c.h))
		want := tipSway(c.h, i) / pull * c.drag
		if noted(r, prove.Sways) != (want > 0.1) || math.Abs(r.Bodies[0].SwayMM-want) > 0.001*want {
			t.Errorf("%g mm high, %g N: %g mm, noted %v; want %g", c.h, c.drag, r.Bodies[0].SwayMM, noted(r, prove.Sways), want)
		}
		if r.Verdict != prove.Holds {
			t.Errorf("%g mm high: %s", c.h, kinds(r))
		}
		bound, says := proofBinding(t, part, supports.Settings{Drag: c.drag, Adhesion: 50}, hollow(0, 0, 5, 0.5, 0, c.h)), ""
		if want > 0.1 {
			says = "sways"
		}
		if kinds(bound) != says || (bound.Verdict == prove.Fails) != (want > 0.1) || noted(bound, prove.Sways) {
			t.Errorf("%g mm high, %g N: %s, %q; want %q", c.h, c.drag, bound.Verdict, kinds(bound), says)
		}
	}
}

// proofBinding fails what sways or lets go.
func proofBinding(t *testing.T, part *mesh.Mesh, s supports.Settings, body *mesh.Mesh) prove.Report {
	t.Helper()
	r, err := prove.Prove(part, []*mesh.Mesh{body}, s, prove.Options{Steadiness: prove.SteadinessBinds})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// σ = F·z/Z with Z = π·d³/32 of a solid round foot (any handbook): 1.2 MPa at Ø5
// and 30 mm, 0.15 MPa at Ø10.
func TestFootTension(t *testing.T) {
	part := box(-30, 0, 0, -20, 10, 5)
	round := func(x, d, h float64) *mesh.Mesh {
		return mesh.Prism(mesh.RegularPolygon(r2.Vec{X: x, Y: 3}, d/2, 96, 0), 0, h)
	}
	z := func(d float64) float64 { return math.Pi * d * d * d / 32 }
	for _, c := range []struct {
		sup  *mesh.Mesh
		want float64
	}{
		{round(0, 5, 30), pull * 30 / z(5)},
		{round(0, 10, 30), pull * 30 / z(10)},
		{box(0, 0, 0, 20, 1, 6), pull * 6 / (20.0 / 6)},
		// Two feet share the moment; one alone has it up to where they meet.
		{join(round(0, 5, 20), round(12, 5, 20), box(-2, 1, 9.8, 14, 5, 20)), pull * 20 / (2 * z(5))},
		{join(round(0, 5, 20), round(12, 5, 20), box(-2, 1, 19, 14, 5, 20)), pull * 19 / z(5)},
		// It stands on the part, where nothing is known.
		{box(-29, 1, 5.2, -21, 9, 20), 0},
	} {
		r := proof(t, part, supports.Settings{Bridge: 30, Direction: supports.Direction{Stated: true}}, c.sup)
		if got := r.Bodies[0].FootMPa; math.Abs(got-c.want) > 0.06*c.want {
			t.Errorf("%g MPa, want %g", got, c.want)
		}
	}
	for _, c := range []struct {
		adhesion float64
		noted    bool
	}{{1.1, true}, {1.4, false}} {
		if r := proof(t, part, supports.Settings{Adhesion: c.adhesion}, round(0, 5, 30)); noted(r, prove.LetsGo) != c.noted {
			t.Errorf("a plate that holds %g MPa: noted %v", c.adhesion, !c.noted)
		}
		if r := proofBinding(t, part, supports.Settings{Adhesion: c.adhesion}, round(0, 5, 30)); strings.Contains(kinds(r), "lets-go") != c.noted {
			t.Errorf("a plate that holds %g MPa: %q", c.adhesion, kinds(r))
		}
	}
}

// Euler's load π²EI/(KL)² with K = 2 (any handbook) is approached from below, by no
// more than 2/(π²/4): Ø2 at L 50 would stand 1.9 N.
func TestPush(t *testing.T) {
	part := box(-30, 0, 0, -20, 10, 5)
	sup := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 3, Y: 3}, 1, 64, 0), 0, 50)
	r := proof(t, part, supports.Settings{}, sup)
	euler := math.Pi * math.Pi * youngs * (math.Pi / 64 * 16) / (4 * 50 * 50)
	if got := r.Bodies[0].PushN; got > euler*1.02 || got < euler*0.98*8/(math.Pi*math.Pi) {
		t.Errorf("%g N, Euler has %g", got, euler)
	}
}

// An arm on a column, by hand: the column's mass is 10 × 10 × 20 at x 5, the arm's
// L × 10 × 5 at x 10 + L/2, and the foot ends at x 10.
func TestTipping(t *testing.T) {
	part := box(-60, 0, 0, -50, 10, 5)
	for _, c := range []struct {
		arm   float64
		noted bool
	}{{19, false}, {21, true}} { // 2000·5 = 50·L·L/2 at L 20
		arm := join(box(0, 0, 0, 10, 10, 20), box(10, 0, 20, 10+c.arm, 10, 25), box(0, 0, 20, 10, 10, 25))
		for name, r := range map[string]prove.Report{
			"part":     proof(t, arm, supports.Settings{Bridge: 100}),
			"supports": proof(t, part, supports.Settings{Bridge: 100}, arm),
		} {
			// The arm's own root stands above the foot too.
			top := 10 * 10 * 5.0
			out := (2000*5+top*5+c.arm*50*(10+c.arm/2))/(2000+top+c.arm*50) - 10
			if noted(r, prove.Tips) != (out > 0.1) {
				t.Errorf("%s with an arm of %g mm: noted %v, by hand it is %g mm out", name, c.arm, noted(r, prove.Tips), out)
			}
			if name == "supports" && math.Abs(r.Bodies[0].TipMM-max(0, out)) > 0.06 {
				t.Errorf("an arm of %g mm: %g mm out, by hand it is %g", c.arm, r.Bodies[0].TipMM, out)
			}
		}
	}
	// Held up by a support, the arm does not tip.
	arm := join(box(0, 0, 0, 10, 10, 25), box(10, 0, 20, 40, 10, 25))
	if r := proof(t, arm, supports.Settings{}, box(30, 0, 0, 32, 10, 19.8)); noted(r, prove.Tips) {
		t.Error("an arm tips off the post under it")
	}
	r := proof(t, arm, supports.Settings{})
	for _, q := range r.Notes {
		if q.Kind == prove.Tips && (!strings.Contains(q.Text, "The part") || q.At.X < 10 || q.At.Y != 5 || q.LayerZ < 20) {
			t.Errorf("place: %+v", q)
		}
	}
}
