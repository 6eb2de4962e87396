package raster

import (
	"testing"

	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// What is kept ready is what looking through the layers finds, inside the grid and
// outside it.
func TestUnderAgainstLookingThrough(t *testing.T) {
	m := meshtest.Blob(400)
	m.Append(meshtest.Box(r3.Vec{Z: 30}, r3.Vec{X: 9, Y: 5, Z: 34}))
	s := Section(m, GridFor(m.Bounds(), 0.5, 1), Layers{First: 0.3, Height: 0.2}, 1)
	slow := &Stack{Grid: s.Grid, Layers: s.Layers, Cut: s.Cut}
	some := 0
	for j := -1; j <= s.H; j++ {
		for i := -1; i <= s.W; i++ {
			for k := -1; k <= len(s.Cut); k += 3 {
				got, want := s.Under(i, j, k), slow.Under(i, j, k)
				if got != want {
					t.Fatalf("under cell (%d, %d) of layer %d: layer %d, want %d", i, j, k, got, want)
				}
				if got >= 0 && got < k-3 {
					some++
				}
			}
		}
	}
	if some == 0 {
		t.Error("nothing lay further down")
	}
}
