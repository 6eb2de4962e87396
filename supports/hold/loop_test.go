package hold_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"

	"gonum.org/v1/gonum/spatial/r2"
)

// A flange one bead wider than the disc under it hangs on radial pads across a
// void. Its outer bead is round, so it spans no more than the chord whose sagitta is
// half a line: c² = 8Rs − 4s², the sagitta of a circular arc (any handbook).
func TestLoopSpansItsSagitta(t *testing.T) {
	const flange, z = 1.0, 6.0 // mm out, and up
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	for n, radius := range []float64{6, 10, 16, 24, 10, 16} {
		taut := 0.0
		if n >= 4 {
			taut = 0.4 // what a plan keeps in hand
		}
		sag := (1 - taut) * s.Line / 2
		chord := math.Sqrt(8*radius*sag - 4*sag*sag)
		disc := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 40, Y: 40}, radius-flange, 256, 0), 0, 8)
		top := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 40, Y: 40}, radius, 256, 0), z, 8)
		for _, c := range []struct {
			of    float64 // free chord, as a share of what the sagitta allows
			holds bool
		}{{0.9, true}, {1, false}} {
			// As few pads a wall thick as leave no more free between them, or as many as
			// leave no less.
			pads := int(2 * math.Pi / (2*math.Asin(c.of*chord/2/radius) + s.Wall/radius))
			if c.holds {
				pads++
			}
			var ribs mesh.Mesh
			for n := range pads {
				ribs.Append(rib(r2.Vec{X: 40, Y: 40}, radius-flange+0.1, radius+0.3, s.Wall, 2*math.Pi*float64(n)/float64(pads), z-s.Layer))
			}
			body := join(disc, top)
			g := raster.GridFor(body.Bounds(), s.Cell, 3)
			area := 0.0
			for _, l := range hold.Judge(hold.Input{Body: raster.Section(body, g, s.Layers(), 0), Other: raster.Section(&ribs, g, s.Layers(), 0), Settings: s, Taut: taut}) {
				area += float64(l.Unheld.Count()) * g.CellArea()
			}
			if (area == 0) != c.holds {
				t.Errorf("R %g, %d pads, %.2f of the chord of %.2f mm: %.2f mm² unheld, %g of the sagitta in hand", radius, pads, c.of, chord, area, taut)
			}
		}
	}
}

// rib is a wall that runs from radius a to radius b about c.
func rib(c r2.Vec, a, b, wide, angle, top float64) *mesh.Mesh {
	u := r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}
	v := r2.Vec{X: -u.Y * wide / 2, Y: u.X * wide / 2}
	p, q := r2.Add(c, r2.Scale(a, u)), r2.Add(c, r2.Scale(b, u))
	return mesh.Prism([]r2.Vec{r2.Sub(p, v), r2.Sub(q, v), r2.Add(q, v), r2.Add(p, v)}, 0, top)
}

// A bead round the inside of a hole has its chord in the air: nothing holds it but
// what it crosses, however small its sagitta.
func TestHoleHasNoLoop(t *testing.T) {
	// A plate with a hole that narrows by 1 mm all round, 6 mm up.
	outer := mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, 18, 128, 0)
	wide := mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, 12, 128, 0)
	narrow := mesh.RegularPolygon(r2.Vec{X: 20, Y: 20}, 11, 128, 0)
	low := mesh.Tube(outer, wide, 0, 6)
	high := mesh.Tube(outer, narrow, 6, 8)
	area, _, _ := unheld(t, supports.Settings{}, join(low, high), nil, 0)
	if ring := math.Pi * (144 - 121); area < 0.3*ring {
		t.Errorf("%.1f mm² of a ring of %.1f unheld", area, ring)
	}
}
