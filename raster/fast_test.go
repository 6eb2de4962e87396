package raster

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Erosion, bounds and equality, word by word, are what they are cell by cell.
func TestWordsAgreeWithCells(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 6))
	for n := range 300 {
		x0, y0 := r.IntN(300)-150, r.IntN(40)-20
		x1, y1 := x0+r.IntN(260), y0+r.IntN(30)
		b := NewBits(x0, y0, x1, y1)
		dense := math.Sqrt(r.Float64())
		for j := y0; j < y1; j++ {
			for i := x0; i < x1; i++ {
				if r.Float64() < dense {
					b.Set(i, j)
				}
			}
		}
		if n%3 == 0 { // a solid piece, which erosion leaves something of
			for j := y0; j < y1; j++ {
				b.SetSpan(j, x0, x1)
			}
		}
		radius := 4 * r.Float64()
		if n%50 == 0 {
			radius = 70
		}
		gone := Erode(&b, DiscOf(radius))
		bx0, by0, bx1, by1 := math.MaxInt, math.MaxInt, math.MinInt, math.MinInt
		reach := int(radius + 1e-9)
		for j := y0 - 1; j <= y1; j++ {
			for i := x0 - 1; i <= x1; i++ {
				if b.Has(i, j) {
					bx0, by0, bx1, by1 = min(bx0, i), min(by0, j), max(bx1, i+1), max(by1, j+1)
				}
				want := b.Has(i, j)
				for dy := -reach; dy <= reach && want; dy++ {
					for dx := -reach; dx <= reach && want; dx++ {
						want = float64(dx*dx+dy*dy) > (radius+1e-9)*(radius+1e-9) || b.Has(i+dx, j+dy)
					}
				}
				if gone.Has(i, j) != want {
					t.Fatalf("%d: cell %d, %d eroded by %g: %v", n, i, j, radius, gone.Has(i, j))
				}
			}
		}
		if bx0 == math.MaxInt {
			bx0, by0, bx1, by1 = 0, 0, 0, 0
		}
		if a, c, d, e := b.Bounds(); a != bx0 || c != by0 || d != bx1 || e != by1 {
			t.Errorf("%d: bounds %d %d %d %d, of cells %d %d %d %d", n, a, c, d, e, bx0, by0, bx1, by1)
		}
		wide := NewBits(x0-90, y0-3, x1+70, y1+2)
		wide.Add(&b)
		if !Equal(&b, &wide) || !Equal(&wide, &b) {
			t.Errorf("%d: a set differs from itself in a wider window", n)
		}
		i, j := x0-90+r.IntN(x1-x0+160), y0-3+r.IntN(y1-y0+5)
		had := wide.Has(i, j)
		wide.Set(i, j)
		if Equal(&b, &wide) != had || Equal(&wide, &b) != had {
			t.Errorf("%d: with cell %d, %d, which it had: %v, equal: %v", n, i, j, had, !had)
		}
	}
}
