package prove

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Vector returns the direction of a way out, of unit length. It is zero for words that are none.
func (w Way) Vector() r3.Vec {
	switch w {
	case "down":
		return r3.Vec{Z: -1}
	case "up":
		return r3.Vec{Z: 1}
	}
	var azimuth, tilt float64
	var rise string
	n, _ := fmt.Sscanf(string(w), "%g° and %g° %s", &azimuth, &tilt, &rise)
	if n < 1 {
		return r3.Vec{}
	}
	if rise == "down" {
		tilt = -tilt
	}
	sin, cos := math.Sincos(azimuth * math.Pi / 180)
	up, along := math.Sincos(tilt * math.Pi / 180)
	return r3.Vec{X: cos * along, Y: sin * along, Z: up}
}

// WayFrom chooses the way by which a body is drawn, and told, to come off: of those that
// were found the shortest until it is clear of the part's box; "" where there is none.
func (b *Body) WayFrom(part r3.Box) Way {
	best, least := Way(""), math.Inf(1)
	for _, w := range b.WaysOut {
		if v := w.Vector(); v != (r3.Vec{}) {
			if far := Clear(b.Bounds, part, v, 0); far < least {
				best, least = w, far
			}
		}
	}
	return best
}

// Clear returns how far a box must move along d until it is clear of another by room.
func Clear(moved, fixed r3.Box, d r3.Vec, room float64) float64 {
	far := math.Inf(1)
	for _, a := range [3][5]float64{
		{d.X, moved.Min.X, moved.Max.X, fixed.Min.X, fixed.Max.X},
		{d.Y, moved.Min.Y, moved.Max.Y, fixed.Min.Y, fixed.Max.Y},
		{d.Z, moved.Min.Z, moved.Max.Z, fixed.Min.Z, fixed.Max.Z},
	} {
		switch v := a[0]; {
		case v > 1e-3:
			far = min(far, (a[4]+room-a[1])/v)
		case v < -1e-3:
			far = min(far, (a[3]-room-a[2])/v)
		}
	}
	if math.IsInf(far, 1) {
		return 0
	}
	return max(0, far)
}

// BodyOf finds the printed body that a shell belongs to: of those whose box holds most
// of the shell's the smallest. It returns −1 where there is none.
func BodyOf(shell r3.Box, bodies []Body) int {
	volume := func(b r3.Box) float64 {
		d := r3.Sub(b.Max, b.Min)
		if d.X <= 0 || d.Y <= 0 || d.Z <= 0 {
			return 0
		}
		return d.X * d.Y * d.Z
	}
	best, most, size := -1, 0.0, 0.0
	for i := range bodies {
		b := bodies[i].Bounds
		both := r3.Box{
			Min: r3.Vec{X: max(shell.Min.X, b.Min.X), Y: max(shell.Min.Y, b.Min.Y), Z: max(shell.Min.Z, b.Min.Z)},
			Max: r3.Vec{X: min(shell.Max.X, b.Max.X), Y: min(shell.Max.Y, b.Max.Y), Z: min(shell.Max.Z, b.Max.Z)},
		}
		in := volume(both)
		// Cells stand out by a fraction of a shell; what is nearly as much is the same.
		if in > 1.02*most || in > 0.98*most && in > 0 && volume(b) < size {
			best, most, size = i, max(in, most), volume(b)
		}
	}
	return best
}
