package cost

import (
	"fmt"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A solid body at full infill takes the volume of its mesh, whatever its width is
// in lines, its layers, its number of outlines and the slant that lines end at.
func TestSolidVolume(t *testing.T) {
	cylinder := func(r float64) *mesh.Mesh { return meshtest.Cone(0, r, 6, r, 180) }
	tilted := func(a, deg float64) *mesh.Mesh {
		return mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 30, Y: 30}, a/math.Sqrt2, 4, deg*math.Pi/180), 0, 6)
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
	}{
		{"block 12", box(0, 0, 0, 12, 12, 6)}, {"block 13.7", box(0, 0, 0, 13.7, 13.7, 6)}, {"block 20", box(0, 0, 0, 20, 20, 6)},
		{"block 20.2", box(0, 0, 0, 20.2, 20.2, 6)}, {"block 20.3", box(0, 0, 0, 20.3, 20.3, 6)},
		{"block 56 × 40", box(0, 0, 0, 56, 40, 6)}, {"bar 8 × 60", box(0, 0, 0, 8, 60, 6)},
		{"block 20 turned by 10°", tilted(20, 10)}, {"block 30 turned by 45°", tilted(30, 45)},
		{"disc of radius 10", cylinder(10)}, {"disc of radius 25", cylinder(25)},
	} {
		for _, s := range []supports.Settings{{}, {Layer: 0.12}, {Layer: 0.28, Line: 0.48}, {First: 0.3}} {
			for _, loops := range []int{1, 2, 5} {
				s := settings(t, s)
				part := cut(c.m, s)
				e := Part(part, s, Machine{Infill: 1, Loops: loops})
				// The mesh, up to where the last layer ends.
				want := c.m.Volume() * part.Top(len(part.Cut)-1) / 6
				got := e.VolumeMM3 / want
				if math.Abs(got-1) > 0.01 {
					t.Errorf("%s, %d outlines, layers of %g mm: %.4f of the mesh's volume", c.name, loops, s.Layer, got)
				}
			}
		}
	}
}

// Outlines lie at true offsets: round a circle 2π(r−d) long, round a square
// 4(a−2d), d being half a line's pitch and a pitch for each outline further in.
func TestOffsetLengths(t *testing.T) {
	for _, s := range []supports.Settings{{}, {Line: 0.45}, {Layer: 0.28}} {
		s := settings(t, s)
		h := s.Layer
		pitch := BeadArea(s.Line, h) / h
		loops := func(m *mesh.Mesh) []float64 {
			part := cut(m, s)
			var out []float64
			for _, p := range partPaths(part, 5, s, Machine{Loops: 4, Infill: -1, Solid: -1}.filled(), r2.Vec{}) {
				if !p.closed {
					t.Fatalf("a path that is no outline: %v", p.pts)
				}
				out = append(out, polyLength(p.pts, true))
			}
			if len(out) != 4 {
				t.Fatalf("%d outlines", len(out))
			}
			return out
		}
		for _, r := range []float64{4, 7.3, 20} {
			for i, l := range loops(meshtest.Cone(0, r, 4, r, 720)) {
				near(t, "circle", l, 2*math.Pi*(r-(float64(i)+0.5)*pitch), 0.01)
			}
		}
		for _, a := range []float64{10, 12.34, 40} {
			for _, deg := range []float64{0, 45, 60} {
				m := mesh.Prism(mesh.RegularPolygon(r2.Vec{X: 30, Y: 30}, a/math.Sqrt2, 4, deg*math.Pi/180), 0, 4)
				for i, l := range loops(m) {
					near(t, fmt.Sprintf("square of %g at %g°, outline %d, line %g, layer %g", a, deg, i, s.Line, s.Layer), l, 4*(a-float64(2*i+1)*pitch), 0.01)
				}
			}
		}
	}
}

// A block, layer by layer, counted by hand: four full layers at either end, lines
// over the given share of the room between, and two outlines everywhere.
func TestPartBlock(t *testing.T) {
	const a, w, h = 30.0, 0.4, 0.2
	s := settings(t, supports.Settings{})
	part := cut(box(0, 0, 0, a, a, 10), s)
	pitch := BeadArea(w, h) / h
	loops := 4*(a-pitch) + 4*(a-3*pitch)
	room := a - 4*pitch // within the outlines
	for _, share := range []float64{0.1, 0.15, 0.25, 0.5} {
		e := Part(part, s, Machine{Infill: share})
		for k, l := range e.Layers {
			fill := l.VolumeMM3/BeadArea(w, h) - loops
			if k < 4 || k >= 46 {
				near(t, "full layer", fill*pitch, room*room, 0.02)
				continue
			}
			// The way from line to line adds one more; to a line more or less.
			if lines, want := fill/room, share*room/pitch+1; math.Abs(lines-want) > 1.1 {
				t.Errorf("layer %d: %.1f lines of a share of %g, want %.1f", k, lines, share, want)
			}
		}
	}
	hollow := Part(part, s, Machine{Infill: -1, Solid: -1})
	near(t, "outlines alone", hollow.LengthMM, 50*loops, 0.005)
	// The outer one is slower, here by half.
	m := Machine{Infill: -1, Solid: -1, Retract: -1}.filled()
	square := func(d, v float64) float64 {
		c := m.cornerSpeed(Move{To: r2.Vec{X: 1}}, Move{From: r2.Vec{X: 1}, To: r2.Vec{X: 1, Y: 1}})
		return 2*trapezoid(d, 0, c, v, m.Accel) + 2*trapezoid(d, c, c, v, m.Accel)
	}
	// Between the two the nozzle travels from a corner to the next one in.
	hop := trapezoid(pitch*math.Sqrt2, 0, 0, m.TravelSpeed, m.Accel)
	near(t, "time of a layer", Part(part, s, m).Layers[20].TimeS, square(a-pitch, 30)+square(a-3*pitch, 60)+hop, 0.01)
	near(t, "first layer", Part(part, s, m).Layers[0].TimeS, square(a-pitch, 30)+square(a-3*pitch, 30)+hop, 0.01)
}

// Full layers follow a step: under a terrace four layers are full, and so are those
// over an overhang, and nothing else.
func TestPartTopsAndUndersides(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 20, 20, 4), box(0, 0, 4, 10, 20, 10), box(0, 0, 10, 20, 20, 14)), s)
	fill := func(k int) raster.Bits { return raster.Erode(part.Layer(k), raster.DiscOf(10)) }
	for _, c := range []struct {
		k     int
		share float64 // of the layer that is full
	}{{3, 1}, {4, 0}, {15, 0}, {16, 0.5}, {19, 0.5}, {20, 0}, {49, 0}, {50, 0.5}, {53, 0.5}, {54, 0}, {65, 0}, {66, 1}, {69, 1}} {
		f := fill(c.k)
		tight := shell(part, c.k, 4, &f, 2)
		if got := float64(tight.Count()) / float64(f.Count()); math.Abs(got-c.share) > 0.06 {
			t.Errorf("layer %d: %.2f of it full, want %g", c.k, got, c.share)
		}
	}
}

// A wall of one line is printed as one line and not lost.
func TestPartThinWalls(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 30, 0.4, 4), box(0, 10, 0, 30, 30, 4)), s)
	bare := cut(box(0, 10, 0, 30, 30, 4), s)
	outlines := Machine{Infill: -1, Solid: -1}
	with, without := Part(part, s, outlines), Part(bare, s, outlines)
	near(t, "wall", with.Layers[10].LengthMM-without.Layers[10].LengthMM, 30-0.4, 0.02)
	// Sharp corners leave no shreds behind.
	wedge := mesh.Prism([]r2.Vec{{}, {X: 30}, {X: 30, Y: 8}}, 0, 4)
	if n := Part(cut(wedge, s), s, outlines).Layers[10].Paths; n > 3 {
		t.Errorf("a wedge of two outlines takes %d paths", n)
	}
}

func TestPartCopiedLayers(t *testing.T) {
	s := settings(t, supports.Settings{})
	part := cut(join(box(0, 0, 0, 20, 20, 4), box(0, 0, 4, 10, 20, 10)), s)
	m := Machine{}.filled()
	got := Part(part, s, m)
	m.Visit = -1
	slow := price(len(part.Cut), m, func(int) int { return -1 }, func(k int) []path {
		return partPaths(part, k, s, m, r2.Vec{X: float64(part.W) / 2, Y: float64(part.H) / 2})
	})
	for k := range slow.Layers {
		if slow.Layers[k] != got.Layers[k] {
			t.Errorf("layer %d is %+v, fresh %+v", k, got.Layers[k], slow.Layers[k])
		}
	}
}

func BenchmarkPart(b *testing.B) {
	s := settings(b, supports.Settings{})
	m := meshtest.Blob(100000)
	part := cut(m, s)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			Part(part, s, Machine{})
		}
	})
}

// BenchmarkWhole is what cost does for a part with supports: cut both, price part,
// supports and the dense baseline at its three spacings.
func BenchmarkWhole(b *testing.B) {
	s := settings(b, supports.Settings{})
	m := meshtest.Blob(100000)
	box := m.Bounds()
	sup := &mesh.Mesh{}
	for x := box.Min.X; x < box.Max.X; x += 7 {
		sup.Append(meshtest.Box(r3.Vec{X: x, Y: box.Min.Y}, r3.Vec{X: x + s.Wall, Y: box.Max.Y, Z: box.Max.Z / 2}))
	}
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(m.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			part := cut(m, s)
			Part(part, s, Machine{})
			Supports(cut(sup, s), s, Machine{})
			for _, spacing := range Spacings {
				Baseline(part, s, Machine{}, spacing)
			}
		}
	})
}
