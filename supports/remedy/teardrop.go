package remedy

import (
	"fmt"
	"math"

	"falsework/mesh"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Crown is the top of a lying circle that leans beyond the limit. A tangent at
// angle φ from the top leans π/2 − φ from the vertical, so the crown reaches
// π/2 − limit to either side. The zero value is no crown.
type Crown struct {
	Radius float64 // mm
	Limit  float64 // from the vertical, in the bore's section
}

// Angle returns the crown's turn, π − 2·limit.
func (c Crown) Angle() float64 { return math.Pi - 2*c.Limit }

// Chord returns the crown's width, 2r·cos(limit), in mm.
func (c Crown) Chord() float64 { return 2 * c.Radius * math.Cos(c.Limit) }

// Arc returns the crown's length round the circle, in mm.
func (c Crown) Arc() float64 { return c.Radius * c.Angle() }

// Rise returns the crown's height, r·(1 − sin(limit)), in mm.
func (c Crown) Rise() float64 { return c.Radius * (1 - math.Sin(c.Limit)) }

// closeWidth and closeRise, in lines, bound a crown that closes by itself: its
// width and its rise. 10 and 2.5 lines are 4 and 1 mm of a 0.4 mm line; small
// horizontal holes print so. Common practice, no source.
const closeWidth, closeRise = 10.0, 2.5

// Closes tells whether the crown prints as it is: no wider than ten lines, with
// a rise of no more than two and a half. At 45° the width decides: with a
// 0.4 mm line, bores up to 5.66 mm in diameter close.
func (c Crown) Closes(s supports.Settings) bool {
	return c.Chord() <= closeWidth*s.Line+1e-9 && c.Rise() <= closeRise*s.Line+1e-9
}

func (c Crown) String() string {
	if c.Radius == 0 {
		return "no crown beyond the limit"
	}
	return fmt.Sprintf("crown beyond %.4g°: %.2f mm wide, the top %.4g° of the bore, %.2f mm high",
		c.Limit*180/math.Pi, c.Chord(), c.Angle()*180/math.Pi, c.Rise())
}

// Teardrop is a circle with its crown replaced by two flanks that lean no more
// than the limit. The circle's centre is the origin, y is up. A Flat of zero
// makes it pointed.
type Teardrop struct {
	Radius float64 // mm
	Limit  float64 // of the flanks, from the vertical
	Flat   float64 // height of a flat top over the axis, from Radius to Apex; 0 is none
}

// Tangent returns where the right flank leaves the circle: the tangent there
// leans as far as the radius is turned, so it is r·(cos(limit), sin(limit)).
func (t Teardrop) Tangent() r2.Vec {
	sin, cos := math.Sincos(t.Limit)
	return r2.Vec{X: t.Radius * cos, Y: t.Radius * sin}
}

// Apex returns the height over the axis at which the flanks meet, in mm. The
// radius to the tangent is a leg of the right triangle of which the apex's
// height is the hypotenuse: r/sin(limit).
func (t Teardrop) Apex() float64 { return t.Radius / math.Sin(t.Limit) }

// Top returns the height of the teardrop over the axis, in mm.
func (t Teardrop) Top() float64 {
	if t.Flat == 0 {
		return t.Apex()
	}
	return t.Flat
}

// FlatWidth returns the width of the flat, 2·(apex − flat)·tan(limit), in mm.
func (t Teardrop) FlatWidth() float64 { return 2 * (t.Apex() - t.Top()) * math.Tan(t.Limit) }

// Holds tells whether the printer bridges the flat. A pointed teardrop has none.
func (t Teardrop) Holds(s supports.Settings) bool { return t.FlatWidth() <= s.Bridge+1e-9 }

// ExtraArea returns what the teardrop's section has over the circle's, in mm²:
// two right triangles with legs r and r·cot(limit), less the sector of
// π − 2·limit between them, r²·(cot(limit) − (π/2 − limit)); a flat takes
// (apex − flat)²·tan(limit) off the top.
func (t Teardrop) ExtraArea() float64 {
	full := t.Radius * t.Radius * (1/math.Tan(t.Limit) - (math.Pi/2 - t.Limit))
	off := t.Apex() - t.Top()
	return full - off*off*math.Tan(t.Limit)
}

func (t Teardrop) String() string {
	p := t.Tangent()
	if t.Flat == 0 {
		return fmt.Sprintf("teardrop: apex %.2f mm above the axis, tangent at ±%.2f mm, %.2f mm up", t.Apex(), p.X, p.Y)
	}
	return fmt.Sprintf("flat-topped teardrop: flat %.2f mm wide at %.2f mm above the axis, tangent at ±%.2f mm, %.2f mm up",
		t.FlatWidth(), t.Flat, p.X, p.Y)
}

// roofLines is the least that is left over a teardrop, in lines: a skin of two
// beads. Common practice, no source.
const roofLines = 2

// levelEnough is the least upward part of the normal of a surface over a bore:
// within 60° of level. Steeper ones are the sides that the bore opens in.
const levelEnough = 0.5

// Roof returns the height over the axis, in mm, at which the material above the
// crown ends, where that is least: of the faces of m over the bore, within half
// (mm) of the vertical plane through its axis, that look up. It is +Inf where
// there are none.
func (b *Bore) Roof(m *mesh.Mesh, half float64) float64 {
	x, up := b.section()
	inset := 1e-3 * b.Length() // off the edges of the ends
	least := math.Inf(1)
	var poly, next []r3.Vec // along x, up and the axis
	for i := range m.Triangles {
		n := m.AreaNormal(i)
		if !(r3.Dot(n, up) > levelEnough*length(n)) {
			continue
		}
		poly = poly[:0]
		corners := [3]r3.Vec{}
		corners[0], corners[1], corners[2] = m.Corners(i)
		for _, p := range corners {
			d := r3.Sub(p, b.Point)
			poly = append(poly, r3.Vec{X: r3.Dot(d, x), Y: r3.Dot(d, up), Z: r3.Dot(d, b.Axis)})
		}
		for _, side := range [...]struct {
			in    r3.Vec
			least float64
		}{
			{r3.Vec{X: 1}, -half}, {r3.Vec{X: -1}, -half}, {r3.Vec{Y: 1}, b.Radius},
			{r3.Vec{Z: 1}, b.Ends[0] + inset}, {r3.Vec{Z: -1}, inset - b.Ends[1]},
		} {
			next = clip(next[:0], poly, side.in, side.least)
			poly, next = next, poly
		}
		for _, p := range poly {
			least = min(least, p.Y)
		}
	}
	return least
}

// clip appends to out what of a convex polygon has in·p ≥ least (Sutherland and
// Hodgman 1974, Communications of the ACM 17:32–42).
func clip(out, poly []r3.Vec, in r3.Vec, least float64) []r3.Vec {
	for i, p := range poly {
		q := poly[(i+1)%len(poly)]
		dp, dq := r3.Dot(in, p)-least, r3.Dot(in, q)-least
		if dp >= 0 {
			out = append(out, p)
		}
		if dp >= 0 != (dq >= 0) {
			out = append(out, r3.Add(p, r3.Scale(dp/(dp-dq), r3.Sub(q, p))))
		}
	}
	return out
}

// Teardrop returns the section that takes the crown away: pointed, or with a
// flat top where the apex would leave less than two lines under a roof (mm over
// the axis, see [Bore.Roof]; +Inf for none). The settings must be resolved. It
// is false where the bore has no crown, and where not even a flat at the
// circle's own top leaves that much; then the flat is there all the same.
func (b *Bore) Teardrop(s supports.Settings, roof float64) (Teardrop, bool) {
	c := b.Crown(s.Limit)
	if c.Radius == 0 {
		return Teardrop{}, false
	}
	t := Teardrop{Radius: c.Radius, Limit: c.Limit}
	if room := roof - roofLines*s.Line; t.Apex() > room {
		t.Flat = max(room, t.Radius)
		return t, room >= t.Radius
	}
	return t, true
}

const (
	// overlapShare is how far below its tangents, as a share of their height, a
	// cutter begins: inside the bore, and inside its facets too, of which those
	// of a ten-sided hole come 1 − cos 18° = 4.9 % closer to the axis.
	overlapShare = 0.1
	// overlapEnd is how far a cutter stands out of the bore's ends, in mm: less
	// than a line, as an end may be the floor of a blind bore.
	overlapEnd = 0.1
)

// Cutter returns the solid to subtract from the part: the teardrop's top over
// the bore's length. It overlaps the bore below the tangents by a tenth of their
// height and its ends by 0.1 mm. Without a teardrop, or over an upright bore,
// it is empty.
func (b *Bore) Cutter(t Teardrop) *mesh.Mesh {
	if !(t.Radius > 0) || !(t.Limit > 0) || !b.Horizontal(0) {
		return &mesh.Mesh{}
	}
	p := t.Tangent()
	low := r2.Scale(1-overlapShare, p)
	outline := []r2.Vec{low, p}
	if w := t.FlatWidth() / 2; w > 0 {
		outline = append(outline, r2.Vec{X: w, Y: t.Top()}, r2.Vec{X: -w, Y: t.Top()})
	} else {
		outline = append(outline, r2.Vec{Y: t.Apex()})
	}
	outline = append(outline, r2.Vec{X: -p.X, Y: p.Y}, r2.Vec{X: -low.X, Y: low.Y})
	m := mesh.Prism(outline, b.Ends[0]-overlapEnd, b.Ends[1]+overlapEnd)
	x, up := b.section()
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Add(b.Point, r3.Add(r3.Scale(v.X, x), r3.Add(r3.Scale(v.Y, up), r3.Scale(v.Z, b.Axis))))
	}
	return m
}
