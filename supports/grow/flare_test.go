package grow

import (
	"math"
	"testing"

	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// second returns a polygon's second moment about the X axis by the sum over its edges,
// (x₀y₁ − x₁y₀)(y₀² + y₀y₁ + y₁²)/12 (handbook).
func second(outline []r2.Vec) (sum float64) {
	for i, p := range outline {
		q := outline[(i+1)%len(outline)]
		sum += r2.Cross(p, q) * (p.Y*p.Y + p.Y*q.Y + q.Y*q.Y) / 12
	}
	return sum
}

// A hollow post is as stiff as its formula says: the second moment of the very outlines that
// it is built with, about an axis along its sides and one along its diagonal, is within 3 % of
// it (16 corners lie inside the circles that the formula has), and its outline is as long.
func TestTubeIsThatOfItsOutlines(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	for _, side := range []float64{2.5, 5, 12} {
		outside, bore := n.outside(plan.Post{Side: side}, 0), n.bore(plan.Post{Side: side}, 0)
		want, reach := Tube(side, s.Wall)
		for _, turn := range []float64{0, math.Pi / 4} {
			far, turned := 0.0, [2][]r2.Vec{}
			for k, o := range [2][]r2.Vec{outside, bore} {
				for _, p := range o {
					far = max(far, math.Sqrt(r2.Norm2(p)))
					turned[k] = append(turned[k], r2.Rotate(p, turn, r2.Vec{}))
				}
			}
			if is := second(turned[0]) - second(turned[1]); math.Abs(is/want-1) > 0.03 {
				t.Errorf("side %g turned by %.2f: second moment %.2f mm⁴, by formula %.2f", side, turn, is, want)
			}
			if math.Abs(far/reach-1) > 0.02 {
				t.Errorf("side %g: corners are %.2f mm out, by formula %.2f", side, far, reach)
			}
		}
		long := 0.0
		for i, p := range outside {
			long += dist(p, outside[(i+1)%len(outside)])
		}
		if is := Around(side); math.Abs(long/is-1) > 0.01 {
			t.Errorf("side %g: the outline is %.2f mm long, by formula %.2f", side, long, is)
		}
	}
}

// F·H over the section modulus, the second moment over the distance of the outermost corner
// (handbook), is the tension at a foot's edge. Only where it is more than the plate holds has
// a post a flare.
func TestFlareOnlyWhereThePlateMightLetGo(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{settings: s}
	const side = 5.0
	moment, reach := Tube(side, s.Wall)
	modulus := moment / reach
	limit := footKept * s.Adhesion * modulus / s.Drag // the height
	for _, c := range []struct {
		z     float64
		flare bool
	}{{limit * 0.98, false}, {limit * 1.02, true}} {
		m, err := n.post(plan.Post{Side: side, Head: 20}, c.z)
		if err != nil {
			t.Fatal(err)
		}
		b := m.Bounds()
		if wide := b.Max.X - b.Min.X; (wide > side+1e-6) != c.flare {
			t.Errorf("under %.0f mm of support the foot is %.1f mm wide", c.z, wide)
		}
	}
}
