package raster

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// The signed areas of all outlines add up to the number of cells, and their
// edges to the number of cell sides between inside and outside.
func TestContoursAddUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for n := 0; n < 300; n++ {
		b := NewBits(0, 0, 70, 12)
		for c := 0; c < 50+n; c++ {
			b.Set(rng.IntN(70), rng.IntN(12))
		}
		sides := 0
		b.Each(func(i, j int) {
			for _, d := range [][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				if !b.Has(i+d[0], j+d[1]) {
					sides++
				}
			}
		})
		area2, edges := 0, 0
		for _, loop := range Contours(&b) {
			for i, p := range loop {
				q := loop[(i+1)%len(loop)]
				area2 += p.I*q.J - q.I*p.J
				edges++
			}
		}
		if area2 != 2*b.Count() || edges != sides {
			t.Fatalf("area %d/2 of %d cells, %d edges of %d", area2, b.Count(), edges, sides)
		}
	}
}

func TestSimplifyStaysWithinTolerance(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for n := 0; n < 100; n++ {
		path := []r2.Vec{{}}
		for i := 0; i < 100; i++ {
			l := path[len(path)-1]
			path = append(path, r2.Vec{X: l.X + rng.Float64(), Y: l.Y + rng.NormFloat64()})
		}
		out := Simplify(path, 0.7)
		if out[0] != path[0] || out[len(out)-1] != path[len(path)-1] {
			t.Fatal("ends moved")
		}
		at := 0
		for _, p := range path {
			if at+1 < len(out)-1 && p == out[at+1] {
				at++
			}
			if d := SegmentDistance(p, out[at], out[at+1]); d > 0.7 {
				t.Fatalf("point %v is %v off", p, d)
			}
		}
	}
}
