package survey

import (
	"fmt"
	"math"

	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r3"
)

// held is a remedy of every region.
func (v *surveyor) held(f *Finding) Remedy {
	text := fmt.Sprintf("hold it with supports over %.0f mm²", math.Ceil(f.AreaMM2))
	switch share := f.FromPlateMM2 / f.AreaMM2; {
	case share > 0.99:
	case share < 0.01:
		text += ", which must stand on the part"
	default:
		text += fmt.Sprintf(", of which %.0f %% can stand on the plate straight below", 100*share)
	}
	return Remedy{Name: "supports", Text: text}
}

// grownDown lets what begins in mid-air grow out of something, or holds it.
func (v *surveyor) grownDown(f *Finding, faces *need.Faces) []Remedy {
	deg := v.s.Limit * 180 / math.Pi
	if slope := faces.SlopeMM2; slope > faces.LevelMM2 && slope > f.AreaMM2/2 {
		return append([]Remedy{{Name: "blunt start", Text: fmt.Sprintf(
			"it begins in mid-air and goes on as a slope: begin it on the plate or on a wall, and keep it within %.4g° from the vertical", deg)}},
			append(v.steeper(f, faces), v.held(f))...)
	}
	switch f.Kind {
	case Tip:
		return []Remedy{{Name: "lean-to", Text: fmt.Sprintf(
			"let it grow out of the wall beside it: a rib below it that leans no more than %.4g° from the vertical", deg)}, v.held(f)}
	case Edge:
		return []Remedy{{Name: "chamfer", Text: fmt.Sprintf(
			"bring the edge down to what stands beside it by a face that leans no more than %.4g° from the vertical", deg)}, v.held(f)}
	}
	// A face held from its middle to its edge by a cone or wedge.
	cone := Remedy{Name: "lean-to", Text: fmt.Sprintf(
		"carry the face on a wedge or cone that leans no more than %.4g°: %.1f mm high for its %.1f mm of width",
		deg, f.Span/math.Tan(v.s.Limit), f.Span)}
	return v.byDepth(f.Span, cone, v.held(f))
}

// byDepth puts filling before supports where it is no deeper than a bridge: its
// plastic grows with the square of the depth. Common practice, no source.
func (v *surveyor) byDepth(depth float64, fill, supports Remedy) []Remedy {
	if depth <= v.s.Bridge {
		return []Remedy{fill, supports}
	}
	return []Remedy{supports, fill}
}

// plane is how far the angles of one plane face may differ.
const plane = 3 * math.Pi / 180

// steeper brings a slope back within the limit.
func (v *surveyor) steeper(f *Finding, faces *need.Faces) []Remedy {
	tall := f.Bounds.Max.Z - f.Bounds.Min.Z + v.s.Layer
	deg := 180 / math.Pi
	run := tall * math.Tan(f.Steepest)
	if f.Steepest-faces.Least < plane {
		return []Remedy{{Name: "steeper face", Text: fmt.Sprintf(
			"steepen the face from %.0f° to %.4g° from the vertical: the same way out then takes up to %.1f mm of height instead of %.1f mm",
			f.Steepest*deg, v.s.Limit*deg, run/math.Tan(v.s.Limit), tall)}}
	}
	return []Remedy{{Name: "steeper face", Text: fmt.Sprintf(
		"end the curve in a face of %.4g° from the vertical where it passes that angle", v.s.Limit*deg)}}
}

// teardrop takes a bore's crown away.
func (v *surveyor) teardrop(b *remedy.Bore) []Remedy {
	t, ok := b.Teardrop(v.s, b.Roof(v.mesh, 2*v.s.Line))
	if t.Flat > 0 { // wider than the point it replaces
		t, ok = b.Teardrop(v.s, b.Roof(v.mesh, max(2*v.s.Line, t.FlatWidth()/2)))
	}
	text := fmt.Sprintf("%s (%s, off by at most %.3f mm)", t, b, b.Error)
	switch {
	case !ok:
		text += "; there is too little wall over the bore even for that, so move the bore down or thicken the wall first"
		return []Remedy{{Name: "teardrop", Text: text}}
	case !t.Holds(v.s):
		text += fmt.Sprintf("; the flat is more than a bridge of %g mm, so it wants supports still", v.s.Bridge)
	}
	return []Remedy{{Name: "teardrop", Text: text, Cutter: b.Cutter(t)}}
}

// asked tells how a plan asks for it.
func asked(key, id string, at r3.Vec) string {
	hundredth := func(v float64) float64 { return math.Round(v*100)/100 + 0 }
	return fmt.Sprintf(" (in a plan: %s: [{id: %s, at: [%g, %g, %g]}])", key, id, hundredth(at.X), hundredth(at.Y), hundredth(at.Z))
}

// steps returns the bridging steps under a ceiling that a round hole in it would stand
// on. In a pocket that is not round its sides give the best direction.
func (v *surveyor) steps(c *ceiling, h *hole) (remedy.Steps, bool) {
	p := remedy.Steps{Hole: h.radius, Pocket: c.outer.radius, Line: v.s.Line, Layer: v.s.Layer}
	switch {
	case !h.round:
		return p, false
	case c.outer.round:
		return p, math.Hypot(h.center.X-c.outer.center.X, h.center.Y-c.outer.center.Y) < v.s.Line/2
	case !c.outer.convex:
		return p, false
	}
	p.Longest = math.Inf(1)
	for n := range hold.Directions {
		p.Longest = min(p.Longest, grow.StepsSpan(c.outer.hull, h.center, 2*h.radius, math.Pi*float64(n)/hold.Directions))
	}
	return p, p.Layers() > 0
}

// ceilingRemedies holds a level face or does without it.
func (v *surveyor) ceilingRemedies(c ceiling, f *Finding) []Remedy {
	var out, beyond []Remedy
	// What needs more than this printer bridges is told, after what does not.
	add := func(holds bool, r Remedy) {
		if holds {
			out = append(out, r)
			return
		}
		r.Text += fmt.Sprintf("; that is more than a bridge of %g mm, so only for a printer that bridges so far", v.s.Bridge)
		beyond = append(beyond, r)
	}
	switch f.Kind {
	case Ring:
		for _, h := range c.holes {
			if h.solid {
				continue
			}
			sheet := remedy.Sheet{Span: c.closed.Longest, Area: h.area, Layer: v.s.Layer}
			at := r3.Vec{X: h.center.X, Y: h.center.Y, Z: v.part.Bottom(c.k)}
			add(sheet.Holds(v.s.Bridge), Remedy{Name: "one-layer sheet", Text: sheet.String() + asked("sheets", "S1", at)})
			if p, ok := v.steps(&c, &h); ok {
				r := Remedy{Name: "bridging steps", Text: p.String() + asked("steps", "B1", at)}
				if c.outer.round {
					r.Cutter = p.Seat(at)
				}
				add(p.Holds(v.s.Bridge), r)
			}
		}
	case Ledge:
		p := remedy.Chamfer{Depth: c.depth, Length: float64(c.patch.Area) * v.part.CellArea() / c.depth, Limit: v.s.Limit}
		return v.byDepth(c.depth, Remedy{Name: "chamfer", Text: p.String()}, v.held(f))
	case Bridge:
		p := remedy.MidWall{Span: c.best.Longest, Line: v.s.Line}
		if p.Helps(v.s.Bridge) {
			out = append(out, Remedy{Name: "wall in the middle", Text: p.String()})
			break
		}
		// n walls of a line leave n+1 bridges.
		n := math.Ceil((p.Span - v.s.Bridge) / (v.s.Bridge + v.s.Line))
		out = append(out, Remedy{Name: "walls", Text: fmt.Sprintf(
			"walls: %.0f of %.2g mm below it, evenly spaced across its %.1f mm, leave bridges of %.1f mm",
			n, v.s.Line, p.Span, (p.Span-n*v.s.Line)/(n+1))})
	}
	return append(append(out, v.held(f)), beyond...)
}
