package grow

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// A wall that passes a point of the part between two stations ends below the point, wherever
// the stations are and however steep the point is: no lower than that, and by no more than
// tipDrop higher.
func TestTipBetweenStations(t *testing.T) {
	for _, steep := range []float64{2, 4, 7.35, 20} {
		for _, flat := range []float64{0.05, 0.15} { // radius of its end
			for _, width := range []float64{0.3, 0.48, 0.96} {
				find := func(at r2.Vec) (float64, bool, bool) {
					r := math.Hypot(at.X, at.Y)
					return 16 + max(0, r-flat)*steep, r < flat, true
				}
				for x := -0.25; x <= 0.25; x += 0.005 {
					p, dir := r2.Vec{X: x, Y: 0.025}, r2.Vec{X: -1}
					got, _, _, _, ok := face(p, dir, width, 16, find)
					// The places that are looked at.
					want, across := math.Inf(1), math.Inf(1)
					for _, g := range []float64{-1, -0.5, 0, 0.5, 1} {
						for _, f := range []float64{-1, -0.5, 0, 0.5, 1} {
							h, _, _ := find(r2.Vec{X: x + g*finePitch/2, Y: 0.025 + f*width/2})
							want = min(want, h)
							if g == 0 {
								across = min(across, h)
							}
						}
					}
					if want >= across-tipDrop {
						want = across
					}
					if !ok || math.Abs(got-want) > 1e-12 {
						t.Fatalf("slope %g, end %g, wall %g: at %.3f the part comes to %.3f, want %.3f", steep, flat, width, x, got, want)
					}
				}
			}
		}
	}
}
