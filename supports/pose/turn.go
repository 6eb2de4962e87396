package pose

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Turn is how a part is turned from the way it was given: about +X, then +Y, then
// +Z, axes that stay where they are, by so many degrees. Degrees, since a turn is
// written down and read back: what is told is what was done, to the last digit. The
// zero value leaves the part as it is.
type Turn struct{ XDeg, YDeg, ZDeg float64 }

// turnDigits is how many decimals of a degree a turn keeps: 1e-4° moves a corner
// 100 mm away by 0.0002 mm.
const turnDigits = 4

// String writes the three angles, as ParseTurn reads them.
func (t Turn) String() string {
	f := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return f(t.XDeg) + "," + f(t.YDeg) + "," + f(t.ZDeg)
}

// ParseTurn reads "x,y,z" in degrees, each within ±360.
func ParseTurn(text string) (Turn, error) {
	words := strings.Split(text, ",")
	var v [3]float64
	ok := len(words) == len(v)
	for i := 0; ok && i < len(v); i++ {
		var err error
		v[i], err = strconv.ParseFloat(strings.TrimSpace(words[i]), 64)
		ok = err == nil && math.Abs(v[i]) <= 360
	}
	if !ok {
		return Turn{}, fmt.Errorf("%q is no turn; give degrees about X, Y and Z such as 90,0,0", text)
	}
	return Turn{v[0], v[1], v[2]}, nil
}

// matrix holds the rows of a rotation.
type matrix [3]r3.Vec

func (m matrix) apply(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(m[0], v), Y: r3.Dot(m[1], v), Z: r3.Dot(m[2], v)}
}

// sincos is exact for quarter turns, so that a part on its side stays square.
func sincos(deg float64) (sin, cos float64) {
	switch math.Mod(deg, 360) {
	case 0:
		return 0, 1
	case 90, -270:
		return 1, 0
	case 180, -180:
		return 0, -1
	case -90, 270:
		return -1, 0
	}
	return math.Sincos(deg * math.Pi / 180)
}

func (t Turn) matrix() matrix {
	sx, cx := sincos(t.XDeg)
	sy, cy := sincos(t.YDeg)
	sz, cz := sincos(t.ZDeg)
	return matrix{
		{X: cz * cy, Y: cz*sy*sx - sz*cx, Z: cz*sy*cx + sz*sx},
		{X: sz * cy, Y: sz*sy*sx + cz*cx, Z: sz*sy*cx - cz*sx},
		{X: -sy, Y: cy * sx, Z: cy * cx},
	}
}

// Up returns the direction of the given part, of unit length, that the turn brings
// to +Z.
func (t Turn) Up() r3.Vec { return t.matrix()[2] }

// Turned returns a direction of the given part as the turn has it.
func (t Turn) Turned(v r3.Vec) r3.Vec { return t.matrix().apply(v) }

// Back returns the direction of the given part that the turn brings to v.
func (t Turn) Back(v r3.Vec) r3.Vec {
	m := t.matrix()
	return r3.Add(r3.Add(r3.Scale(v.X, m[0]), r3.Scale(v.Y, m[1])), r3.Scale(v.Z, m[2]))
}

// turnUp returns a turn that brings the direction up to +Z and, in plan, the
// direction along of the part to +X or −X.
func turnUp(up, along r3.Vec) Turn {
	z := r3.Unit(up)
	x := r3.Unit(r3.Sub(along, r3.Scale(r3.Dot(along, z), z)))
	y := r3.Cross(z, x)
	if x.X+y.Y < 0 { // the same, half a turn about Z nearer to how it was
		x, y = r3.Scale(-1, x), r3.Scale(-1, y)
	}
	// The matrix of a Turn, read backwards; radians until it is written.
	t := Turn{YDeg: math.Asin(max(-1, min(1, -z.X)))}
	if math.Abs(z.X) > 1-1e-12 { // X and Z turn about one axis: take all about Z
		t.ZDeg = math.Atan2(-x.Y, y.Y)
	} else {
		t.XDeg = math.Atan2(z.Y, z.Z)
		t.ZDeg = math.Atan2(y.X, x.X)
	}
	written := func(x, y, z float64) (t Turn, turned int) {
		v := [3]float64{x, y, z}
		for i, a := range v {
			p := math.Pow(10, turnDigits)
			// Whole steps first: what is left of a turn is as short as it is written.
			v[i] = math.Remainder(math.Round(a*180/math.Pi*p), 360*p)/p + 0 // no negative zero
			if v[i] == -180 {
				v[i] = 180
			}
			if v[i] != 0 {
				turned++
			}
		}
		return Turn{v[0], v[1], v[2]}, turned
	}
	// The same turn can be written in another way, which may need fewer angles.
	out, n := written(t.XDeg, t.YDeg, t.ZDeg)
	if other, fewer := written(t.XDeg+math.Pi, math.Pi-t.YDeg, t.ZDeg+math.Pi); fewer < n {
		return other
	}
	return out
}

// Place returns a copy of a part, turned and set on the plate, its middle over the
// same place as before, with corners where a file holds them. The zero turn of a
// part on the plate changes nothing.
func (t Turn) Place(m *mesh.Mesh) *mesh.Mesh {
	out := m.Clone()
	if t != (Turn{}) {
		r := t.matrix()
		for i, v := range out.Vertices {
			out.Vertices[i] = r.apply(v)
		}
		was, is := m.Bounds(), out.Bounds()
		// Moved by whole hundredths, so that equal poses lie alike on a grid of cells.
		hundredth := func(v float64) float64 { return math.Round(v*100) / 100 }
		lo := r3.Vec{
			X: hundredth((was.Min.X + was.Max.X - is.Max.X + is.Min.X) / 2),
			Y: hundredth((was.Min.Y + was.Max.Y - is.Max.Y + is.Min.Y) / 2),
		}
		out.Translate(r3.Sub(lo, is.Min))
	} else {
		out.Translate(r3.Vec{Z: -out.Bounds().Min.Z})
	}
	out.Round32()
	return out
}

// sameRectangle is the share by which a rectangle must be smaller for a part to be
// turned in plan for it.
const sameRectangle = 0.01

// longSide returns the direction, in the frame of the part, of the longer side of
// the narrowest rectangle round the part seen along up: a part lies with it along X,
// and equal poses lie alike.
func (h *Hull) longSide(up r3.Vec) r3.Vec {
	e1, e2 := across(up)
	flat := make([]r2.Vec, len(h.Points))
	for i, p := range h.Points {
		flat[i] = r2.Vec{X: r3.Dot(e1, p), Y: r3.Dot(e2, p)}
	}
	ring := outline(flat)
	// The way it lies already does as well for something round.
	best := r2.Vec{Y: 1}
	least := (1 - sameRectangle) * extent(ring, best) * extent(ring, r2.Vec{X: 1})
	if extent(ring, best) < extent(ring, r2.Vec{X: 1}) {
		best = r2.Vec{X: 1}
	}
	for i, p := range ring {
		d := r2.Sub(ring[(i+1)%len(ring)], p)
		n := math.Sqrt(r2.Norm2(d))
		if n == 0 {
			continue
		}
		d = r2.Scale(1/n, d)
		side := r2.Vec{X: -d.Y, Y: d.X}
		length, width := extent(ring, d), extent(ring, side)
		// A rectangle counts as narrower only by more than rounding.
		if a := length * width; a < least*(1-1e-6) {
			best, least = d, a
			if width > length {
				best = side
			}
		}
	}
	return r3.Add(r3.Scale(best.X, e1), r3.Scale(best.Y, e2))
}

// extent is the width of points along a unit direction.
func extent(points []r2.Vec, d r2.Vec) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		v := r2.Dot(p, d)
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}

// across returns two unit directions at right angles to up and to one another.
func across(up r3.Vec) (e1, e2 r3.Vec) {
	axis := r3.Vec{X: 1}
	if math.Abs(up.X) > 0.7 {
		axis = r3.Vec{Y: 1}
	}
	e1 = r3.Unit(r3.Cross(up, axis))
	return e1, r3.Cross(up, e1)
}
