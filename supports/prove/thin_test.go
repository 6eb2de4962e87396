package prove_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

// A wall of half a line is not printed and holds nothing; one of a line is, whichever
// way it runs and wherever the cells' centres lie in it.
func TestThinWalls(t *testing.T) {
	for deg := 0.0; deg < 180; deg += 22.5 {
		for _, off := range []float64{0, 0.05, 0.003} {
			for thick, want := range map[float64]bool{0.2: true, 0.401: false, 0.48: false, 0.8: false} {
				s, c := math.Sincos(deg * math.Pi / 180)
				d := r2.Vec{X: 4 * c, Y: 4 * s}
				at := r2.Vec{X: 9 + off, Y: 10 + off}
				wall, err := mesh.Wall([]mesh.Station{{P: r2.Sub(at, d), High: 9.8}, {P: r2.Add(at, d), High: 9.8}}, thick)
				if err != nil {
					t.Fatal(err)
				}
				r := proof(t, table(12), supports.Settings{}, wall)
				if got := noted(r, prove.Thin); got != want || want && r.ContactMM2 > 0 {
					t.Errorf("%g mm thick at %g°, %g mm on: thin %v, contact %g mm²", thick, deg, off, got, r.ContactMM2)
				}
			}
		}
	}
}
