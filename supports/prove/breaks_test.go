package prove_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func hoop(r0, r1, z0, z1 float64) *mesh.Mesh {
	return mesh.Tube(mesh.RegularPolygon(r2.Vec{}, r1, 64, 0), mesh.RegularPolygon(r2.Vec{}, r0, 64, 0), z0, z1)
}

func puck(r, z0, z1 float64) *mesh.Mesh {
	return mesh.Prism(mesh.RegularPolygon(r2.Vec{}, r, 64, 0), z0, z1)
}

// A hoop between two flanges comes off in two halves if a hand breaks its wall. That
// bends by the section modulus over the arm, strength along the layers being 22.8 MPa
// over 1 − 0.48 (doi 10.1089/3dp.2020.0109): t mm thick and 7.6 mm high, 7.6·t²/6, at
// the end of a half, half as far away as it is long at least.
func TestPieces(t *testing.T) {
	for _, c := range []struct {
		thick, out float64
		locked     bool
	}{{0.5, 5.5, false}, {1, 6, false}, {2, 7, false}, {5.5, 10.5, true}} {
		part := join(puck(8, 0, 2), puck(4, 2, 10), puck(c.out+2, 10, 12))
		body := hoop(5, c.out, 2.2, 9.8)
		r := proof(t, part, supports.Settings{}, body)
		b := r.Bodies[0]
		if !b.Blocked || r.LockedBodies == 1 != c.locked || strings.Contains(kinds(r), "blocked") != c.locked || noted(r, prove.InPieces) == c.locked {
			t.Fatalf("%g mm thick: blocked %v, %d locked, %v, %v", c.thick, b.Blocked, r.LockedBodies, r.Reasons, r.Notes)
		}
		if c.locked {
			if q := r.Reasons[len(r.Reasons)-1]; !strings.Contains(q.Text, "closes round the part") || math.Hypot(q.At.X, q.At.Y) > 8 {
				t.Errorf("%g mm thick: %+v", c.thick, q)
			}
			continue
		}
		necks := 0
		for _, q := range b.Pieces {
			for _, n := range q.Necks {
				necks++
				least, most := 22.8/0.52*7.6*c.thick*c.thick/6/(2*c.out*1.5), 22.8/0.52*7.6*c.thick*c.thick/6/c.out
				// The plane crosses the hoop a little aslant, in cells of 0.1 mm.
				if math.Abs(n.AreaMM2-7.6*c.thick) > 0.3*7.6*c.thick+0.8 || n.ForceN < 0.6*least || n.ForceN > 2*most {
					t.Errorf("%g mm thick: neck %+v; want %g mm² and %.2g to %.2g N", c.thick, n, 7.6*c.thick, least, most)
				}
			}
		}
		if necks != 2 || len(b.Pieces) != 2 {
			t.Errorf("%g mm thick: %d necks in %d pieces: %+v", c.thick, necks, len(b.Pieces), b.Pieces)
		}
	}

	// In a closed box there is no place to break it at.
	chest := join(box(0, 0, 0, 20, 20, 2), box(0, 0, 10, 20, 20, 12), box(0, 0, 2, 2, 20, 10), box(18, 0, 2, 20, 20, 10), box(0, 0, 2, 20, 2, 10), box(0, 18, 2, 20, 20, 10))
	r := proof(t, chest, supports.Settings{}, box(8, 8, 2.2, 12, 12, 9.8))
	if !strings.Contains(kinds(r), "blocked") || r.LockedBodies != 1 {
		t.Fatalf("in a closed box: %s", kinds(r))
	}
	if at := r.Reasons[len(r.Reasons)-1].At; at.X < 8 || at.X > 12 || at.Y < 8 || at.Y > 12 || at.Z < 2 || at.Z > 10 {
		t.Errorf("in a closed box it is held at %v", at)
	}
}

// Every piece of a break order leaves as it says: cut out of the body by its box, the
// proof finds that way for it alone. Walls on all four sides of a part under a brim,
// joined at their corners, come off in four.
func TestPiecesLeave(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ part, body *mesh.Mesh }{
		"hoop":  {join(puck(8, 0, 2), puck(4, 2, 10), puck(8, 10, 12)), hoop(5, 6, 2.2, 9.8)},
		"fence": {join(box(-10, -10, 0, 10, 10, 2), box(-5, -5, 2, 5, 5, 12), box(-10, -10, 10, 10, 10, 12)), frameOf(7, 7.5, 2.2, 9.8)},
		"through a window": {join(box(0, 0, 0, 20, 4, 2), box(0, 0, 8, 20, 4, 10), box(0, 0, 2, 4, 4, 8), box(16, 0, 2, 20, 4, 8)),
			join(box(8, -6, 2.2, 12, 10, 2.8), box(8, -6, 2.2, 12, -5, 14), box(8, 9, 2.2, 12, 10, 14), box(8, -6, 13.4, 12, 10, 14))},
	} {
		g := raster.GridFor(boxOf(c.part, c.body), s.Cell, 3)
		part, body := raster.Section(c.part, g, s.Layers(), 0), raster.Section(c.body, g, s.Layers(), 0)
		r, err := prove.ProveStacks(part, body, s, prove.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Bodies) != 1 || !r.Bodies[0].Blocked || len(r.Bodies[0].Pieces) < 2 {
			t.Errorf("%s: %+v", name, r.Bodies)
			continue
		}
		cells := 0.0
		for n, q := range r.Bodies[0].Pieces {
			one := &raster.Stack{Grid: g, Layers: body.Layers, Cut: make([]raster.Bits, len(body.Cut))}
			i0, j0 := g.At(r2.Vec{X: q.Bounds.Min.X + 0.05, Y: q.Bounds.Min.Y + 0.05})
			i1, j1 := g.At(r2.Vec{X: q.Bounds.Max.X + 0.05, Y: q.Bounds.Max.Y + 0.05})
			for k := range one.Cut {
				if z := body.Bottom(k) + 0.01; z > q.Bounds.Min.Z && z < q.Bounds.Max.Z {
					one.Cut[k] = raster.Crop(&body.Cut[k], i0, j0, i1, j1)
				}
			}
			cells += one.Volume()
			bodies, err := prove.Leaving(part, one, s, prove.Options{})
			if err != nil || len(bodies) != 1 {
				t.Fatalf("%s: piece %d is %d bodies, %v", name, n+1, len(bodies), err)
			}
			if !slices.Contains(bodies[0].WaysOut, q.Way) {
				t.Errorf("%s: piece %d, %v, does not leave by %s but by %v", name, n+1, q.Bounds, q.Way, bodies[0].WaysOut)
			}
		}
		if whole := body.Volume(); math.Abs(cells-whole) > 1e-6*whole {
			t.Errorf("%s: pieces of %g mm³ in all, the body has %g", name, cells, whole)
		}
	}
}

// frameOf is four walls round the origin, from r0 to r1 away.
func frameOf(r0, r1, z0, z1 float64) *mesh.Mesh {
	return join(box(-r1, -r1, z0, r1, -r0, z1), box(-r1, r0, z0, r1, r1, z1), box(-r1, -r0, z0, -r0, r0, z1), box(r0, -r0, z0, r1, r0, z1))
}

func boxOf(a, b *mesh.Mesh) r3.Box {
	m := join(a.Clone(), b.Clone())
	return m.Bounds()
}
