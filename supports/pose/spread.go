package pose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Spread returns n directions of unit length, spread evenly over the sphere: a
// Fibonacci lattice (González 2010, Mathematical Geosciences 42, 49–64).
func Spread(n int) []r3.Vec {
	golden := math.Pi * (3 - math.Sqrt(5))
	out := make([]r3.Vec, n)
	for i := range out {
		z := 1 - (2*float64(i)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		sin, cos := math.Sincos(golden * float64(i))
		out[i] = r3.Vec{X: r * cos, Y: r * sin, Z: z}
	}
	return out
}
