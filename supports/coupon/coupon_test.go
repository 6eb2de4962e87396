package coupon

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

// fine is the cell that the coupon's own sizes are measured in, mm.
const fine = 0.02

var variants = []supports.Settings{{}, {Layer: 0.12}, {Layer: 0.28, Line: 0.48, First: 0.3}, {Nozzle: 0.6}, {Nozzle: 0.25, Gap: 0.1}}

func drawn(t *testing.T, s supports.Settings) (*Coupon, supports.Settings) {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	c, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	return c, s
}

// One layer cut finely, as runs of cells along a line.
type cutting struct {
	*raster.Stack
	at func(z float64) *raster.Bits
}

func section(m *mesh.Mesh, s supports.Settings) cutting {
	st := raster.Section(m, raster.GridFor(m.Bounds(), fine, 1), s.Layers(), 0)
	return cutting{st, func(z float64) *raster.Bits { return st.Layer(st.Above(z)) }}
}

// run returns how far cells go on from x at height z and place y, in mm, of the
// given presence.
func (c cutting) run(x, y, z float64, there bool) float64 {
	b := c.at(z)
	i, j := c.At(r2.Vec{X: x, Y: y})
	n := 0
	for b.Has(i+n, j) == there && n < 5000 {
		n++
	}
	return float64(n) * fine
}

func TestSolids(t *testing.T) {
	for _, s := range variants {
		c, s := drawn(t, s)
		for name, m := range map[string]*mesh.Mesh{"part": c.Part, "supports": c.Supports} {
			if !m.Topology().Watertight() {
				t.Errorf("nozzle %g: %s is %+v", s.Nozzle, name, m.Topology())
			}
			for _, shell := range m.Shells() {
				if shell.Volume() <= 0 {
					t.Errorf("nozzle %g: a shell of %s is inside out", s.Nozzle, name)
				}
			}
		}
		b := c.Part.Bounds()
		if b.Min.Z != 0 || b.Max.X-b.Min.X > 180 || b.Max.Y-b.Min.Y > 180 {
			t.Errorf("nozzle %g: %v does not fit a plate of 180 mm", s.Nozzle, b)
		}
	}
}

// Every item is as large as it says, measured on its layers: a ramp by how far it
// comes out between two heights, spans, thicknesses and reaches by cells, voids by
// empty layers, feet by area.
func TestItemsMeasure(t *testing.T) {
	for _, s := range variants {
		c, s := drawn(t, s)
		part, sup := section(c.Part, s), section(c.Supports, s)
		for _, g := range c.Groups {
			for _, it := range g.Items {
				x, y := it.At.X, it.At.Y
				got, want, tol := 0.0, it.Value, 2.5*fine
				switch g.Kind {
				case Ramps:
					z0, z1 := 2.5, 5.5
					rise := part.Plane(part.Above(z1)) - part.Plane(part.Above(z0))
					got = math.Atan((part.run(x, y, z1, true)-part.run(x, y, z0, true))/rise) * 180 / math.Pi
					tol = 1
				case Bridges:
					got = part.run(x+fine, y, 3, false)
					if over := part.run(x+fine, y, 5.6, true); over < it.Value {
						t.Errorf("the bridge of %g mm ends after %g mm", it.Value, over)
					}
				case Walls:
					b := part.at(3)
					i, j := part.At(r2.Vec{X: x + 7, Y: y})
					lo, hi := j, j
					for b.Has(i, lo-1) {
						lo--
					}
					for b.Has(i, hi) {
						hi++
					}
					got = float64(hi-lo) * fine
				case Ledges:
					got = part.run(x+fine, y, 3.5, true)
					if below := part.run(x+fine, y, 2.5, true); below > 2*fine {
						t.Errorf("there is %g mm below the ledge of %g mm", below, it.Value)
					}
				case Voids:
					i, j := part.At(r2.Vec{X: x + 6, Y: y})
					tops := 0
					sup.at(1).Each(func(a, b int) { // a place where the support is
						if p := sup.Center(a, b); tops == 0 && math.Abs(p.X-x-6) < 4 && math.Abs(p.Y-y) < 2 {
							i, j = part.At(p)
							tops = 1
						}
					})
					p := part.Center(i, j)
					si, sj := sup.At(p)
					k := 0
					for sup.Layer(k).Has(si, sj) {
						k++
					}
					for ; !part.Layer(k).Has(i, j) && k < 1000; k++ {
						got++
					}
					tol = 0
				case Feet:
					b := part.Layer(0)
					i, j := part.At(r2.Vec{X: x, Y: y})
					n := 0
					for _, piece := range raster.Pieces(b) {
						if piece.Cells.Has(i, j) {
							n = piece.Area
						}
					}
					// The lower facets lean out at 45°, half a first layer to either side.
					got = float64(n)*fine*fine - footDepth*s.First
					tol = 0.3
				}
				if math.Abs(got-want) > tol {
					t.Errorf("nozzle %g, layer %g: item %d of the %s measures %g, says %g", s.Nozzle, s.Layer, it.Ticks, g.Kind, got, want)
				}
			}
		}
	}
}

// The ticks beside an item say its number, and a gap sets them apart from others'.
func TestTicksCount(t *testing.T) {
	for _, s := range variants {
		c, s := drawn(t, s)
		part := section(c.Part, s)
		b := part.at(1)
		tick := 2 * s.Line
		for _, g := range c.Groups {
			if g.Kind == Feet {
				continue
			}
			items := g.Items
			pitch := items[1].At.Y - items[0].At.Y
			for _, it := range items {
				// Along the middle of the ticks.
				i, j0 := part.At(r2.Vec{X: it.At.X - rail - tick/2, Y: it.At.Y - pitch/2})
				count, width := 0, 0
				last, free := 0, 0
				for j := j0; j <= j0+int(pitch/fine); j++ {
					switch {
					case b.Has(i, j):
						width++
						free = 0
					case width > 0:
						switch w := float64(width) * fine / tick; {
						case math.Abs(w-2.5) < 0.1:
							count += 5
						case math.Abs(w-1) < 0.1:
							count++
						default:
							t.Errorf("a tick is %g wide", w)
						}
						width = 0
					default:
						free++
					}
					last = free
				}
				if count != it.Ticks {
					t.Errorf("nozzle %g: item %d of the %s has ticks for %d", s.Nozzle, it.Ticks, g.Kind, count)
				}
				if float64(last)*fine < 0.7*tick {
					t.Errorf("nozzle %g: ticks of item %d of the %s run into the next", s.Nozzle, it.Ticks, g.Kind)
				}
			}
		}
	}
}

// Of the default settings exactly what should hold does, as the proof sees it: ramps
// up to the limit, bridges up to the longest, the table over one empty layer. Supports
// come off and stay clear of the part.
func TestProof(t *testing.T) {
	c, s := drawn(t, supports.Settings{})
	r, err := prove.Prove(c.Part, []*mesh.Mesh{c.Supports}, s, prove.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.CollisionsMM3 != 0 || r.BlockedBodies != 0 || len(r.Bodies) != len(voidLayers) {
		t.Errorf("%g mm³ inside the part, %d of %d bodies blocked", r.CollisionsMM3, r.BlockedBodies, len(r.Bodies))
	}
	for _, g := range c.Groups {
		for _, it := range g.Items {
			fails := 0
			for _, spot := range r.UnheldSpots {
				spot.Cells.Each(func(i, j int) {
					p := r.Grid.Center(i, j)
					if math.Abs(p.Y-it.At.Y) < 5 && p.X > it.At.X && p.X < it.At.X+reachOf(g.Kind, it) {
						fails++
					}
				})
			}
			want, sure := false, true
			switch g.Kind {
			case Ramps:
				want, sure = it.Value > 45, it.Value != 50 // so short a slope of 50° is not sure to be found
			case Bridges:
				want = it.Value > 10
			case Ledges:
				// Ledges up to a line are let pass as marginal, wider ones rest on the beads beside them.
				want, sure = it.Value > 0.4, it.Value <= 0.4 || it.Value > 1
			case Voids:
				want = it.Value > 1
			}
			if sure && (fails > 0) != want {
				t.Errorf("item %d of the %s, %g: unheld %v, want %v", it.Ticks, g.Kind, it.Value, fails > 0, want)
			}
		}
	}
}

func reachOf(k Kind, it Item) float64 {
	switch k {
	case Ramps:
		return 17
	case Bridges:
		return it.Value
	case Voids:
		return tableSpan
	}
	return it.Value + 0.5
}

func TestRefuses(t *testing.T) {
	if _, err := New(supports.Settings{Layer: 1}); err == nil {
		t.Error("layers of 1 mm pass")
	}
}
