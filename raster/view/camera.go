package view

import (
	"fmt"
	"image"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is the direction of an orthographic view. The zero value is
// ThreeQuarter.
type Camera struct {
	Name string // for the title block
	Look r3.Vec // from the eye to the part, any length
	Up   r3.Vec // up on the sheet; zero means +Z, or +Y where Look is along Z
	// Plate draws the outline of the plate round the foot of the scene.
	Plate bool
}

// ThreeQuarter looks down on the front and right sides.
func ThreeQuarter() Camera {
	return Camera{Name: "three-quarter", Look: r3.Vec{X: -0.52, Y: 0.72, Z: -0.46}, Plate: true}
}

// FromBelow looks up through the plate: ceilings face the eye.
func FromBelow() Camera {
	return Camera{Name: "from below", Look: r3.Vec{X: -0.40, Y: 0.50, Z: 0.77}}
}

// Top is the plan: straight down, +Y up on the sheet.
func Top() Camera {
	return Camera{Name: "plan, from above", Look: r3.Vec{Z: -1}, Plate: true}
}

// Along looks in the direction d.
func Along(name string, d r3.Vec) Camera { return Camera{Name: name, Look: d} }

// Facing turns a camera about Z by the quarter turn that shows most of the
// scene's supports and marks; of equals the first. A scene that Render would
// refuse, and a camera without a direction, come back as they are.
func Facing(s Scene, c Camera) Camera {
	if c == (Camera{}) {
		c = ThreeQuarter()
	}
	if s.check() != nil {
		return c
	}
	turn := func(v r3.Vec) r3.Vec { return r3.Vec{X: -v.Y, Y: v.X, Z: v.Z} }
	solids := s.surfaces()
	best, most := c, -1
	for range 4 {
		f := &figure{frame: image.Rect(0, 0, 320, 240), ss: 1, solids: solids}
		if err := f.place(&s, c, margins{2, 2, 2, 2}); err != nil {
			return best
		}
		if n := f.inSight(); n > most {
			best, most = c, n
		}
		c.Look, c.Up = turn(c.Look), turn(c.Up)
	}
	return best
}

// Hidden tells for each label of a scene whether the part stands before its place.
// A scene or camera that Render would refuse hides nothing.
func Hidden(s Scene, c Camera) []bool {
	out := make([]bool, len(s.Labels))
	if s.check() != nil {
		return out
	}
	f := &figure{frame: image.Rect(0, 0, 800, 600), ss: 1, solids: s.surfaces()}
	if err := f.place(&s, c, margins{2, 2, 2, 2}); err != nil {
		return out
	}
	for i, l := range s.Labels {
		p, depth := f.proj.at(l.At)
		out[i] = f.hidden(f.part, p, depth)
	}
	return out
}

// inSight counts pixels of supports and marks that the part leaves in sight.
func (f *figure) inSight() int {
	n := 0
	for i := range f.frame.Dx() * f.frame.Dy() {
		part := math.Inf(1)
		if f.part != nil {
			part = f.part.depthAt(i)
		}
		for _, l := range []*layer{f.support, f.mark} {
			if l != nil && l.depthAt(i) < part {
				n++
			}
		}
	}
	return n
}

// basis returns unit vectors to the right, up and away from the eye.
func (c Camera) basis() (right, up, away r3.Vec, err error) {
	n := math.Sqrt(r3.Norm2(c.Look))
	if !(n > 0) || math.IsInf(n, 0) {
		return right, up, away, fmt.Errorf("view: camera %q looks along (%g, %g, %g), which is no direction", c.Name, c.Look.X, c.Look.Y, c.Look.Z)
	}
	away = r3.Scale(1/n, c.Look)
	for _, u := range []r3.Vec{c.Up, {Z: 1}, {Y: 1}} {
		right = r3.Cross(away, u)
		// Below a thousandth the sheet's rotation would hang on rounding.
		if m := math.Sqrt(r3.Norm2(right)); m > 1e-3*math.Sqrt(r3.Norm2(u)) {
			right = r3.Scale(1/m, right)
			return right, r3.Cross(right, away), away, nil
		}
	}
	return right, up, away, fmt.Errorf("view: camera %q has no upward direction", c.Name)
}

// point is a place on the sheet in pixels, x right, y down.
type point struct{ x, y float64 }

func (p point) add(q point) point             { return point{p.x + q.x, p.y + q.y} }
func (p point) sub(q point) point             { return point{p.x - q.x, p.y - q.y} }
func (p point) scale(f float64) point         { return point{p.x * f, p.y * f} }
func (p point) dot(q point) float64           { return p.x*q.x + p.y*q.y }
func (p point) length() float64               { return math.Sqrt(p.x*p.x + p.y*p.y) }
func (p point) lerp(q point, t float64) point { return point{p.x + t*(q.x-p.x), p.y + t*(q.y-p.y)} }

// projection maps mm to sheet pixels; depth stays in mm and grows away from the
// eye.
type projection struct {
	right, up, away r3.Vec
	scale           float64 // pixels per mm
	origin          point   // where the frame's zero falls
}

func (p *projection) at(v r3.Vec) (q point, depth float64) {
	return point{
		p.origin.x + p.scale*r3.Dot(p.right, v),
		p.origin.y - p.scale*r3.Dot(p.up, v),
	}, r3.Dot(p.away, v)
}

// direction maps a vector, ignoring the origin.
func (p *projection) direction(v r3.Vec) point {
	return point{p.scale * r3.Dot(p.right, v), -p.scale * r3.Dot(p.up, v)}
}
