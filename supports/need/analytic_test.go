package need_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// azimuths are the turns about z that analytic shapes are tried at.
const azimuths = 24

// layerHeights are tried with a 0.4 mm line, at every azimuth.
var layerHeights = []float64{0.12, 0.2, 0.28}

func findAt(t testing.TB, m *mesh.Mesh, layer float64) need.Need {
	t.Helper()
	return findWith(t, m, supports.Settings{Layer: layer})
}

func findWith(t testing.TB, m *mesh.Mesh, s supports.Settings) need.Need {
	t.Helper()
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return need.Find(m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), s, 0)
}

// turned returns m turned about z.
func turned(m *mesh.Mesh, a float64) *mesh.Mesh {
	out := m.Clone()
	sin, cos := math.Sincos(a)
	for i, v := range out.Vertices {
		out.Vertices[i] = r3.Vec{X: v.X*cos - v.Y*sin, Y: v.X*sin + v.Y*cos, Z: v.Z}
	}
	return out
}

// everyWay calls f for every azimuth and layer height. A short run takes every
// sixth azimuth.
func everyWay(f func(azimuth, layer float64)) {
	step := 1
	if testing.Short() {
		step = 6
	}
	for _, h := range layerHeights {
		for n := 0; n < azimuths; n += step {
			f(2*math.Pi*float64(n)/azimuths, h)
		}
	}
}

// wedge leans out at an angle from the vertical over rise mm, from a block that
// stands on the plate; width mm wide.
func wedge(angle, rise, width float64) *mesh.Mesh {
	const foot = 1.0 // height of the block under the slope, out of the plate's reach
	out := rise * math.Tan(angle)
	at := func(x float64) []r2.Vec { return []r2.Vec{{X: -3}, {X: x}, {X: x, Y: width}, {X: -3, Y: width}} }
	m := mesh.Prism(at(0), 0, foot)
	m.Append(mesh.Frustum(at(0), at(out), foot, foot+rise))
	m.Append(mesh.Prism(at(out), foot+rise, foot+rise+1)) // so that the last step is printed
	return m
}

// The plan area of a plane slope is its width times its run, rise·tan(angle).
// A slope is found once it overdraws more than a ledge: with 12 mm of rise from 1°
// and a cell's rounding past the limit on; up to the limit never. Limit 45°:
// Mazlan 2020, JAITA, 38–47.
func TestRampsAtEveryAzimuth(t *testing.T) {
	const rise, width = 12.0, 5.0
	deg := math.Pi / 180
	for _, angle := range []float64{40, 43, 45, 46.5, 47, 50} {
		worst := 0.0
		everyWay(func(azimuth, layer float64) {
			n := findAt(t, turned(wedge(angle*deg, rise, width), azimuth), layer)
			if angle <= 45 {
				if n.AreaMM2 > 0 {
					t.Errorf("%g° at azimuth %.0f°, layers of %g mm: %.2f mm² told", angle, azimuth/deg, layer, n.AreaMM2)
				}
				return
			}
			want := width * rise * math.Tan(angle*deg)
			worst = max(worst, math.Abs(n.AreaMM2/want-1))
			if math.Abs(n.AreaMM2/want-1) > 0.02 || len(n.Regions) != 1 {
				t.Errorf("%g° at azimuth %.0f°, layers of %g mm: %.1f mm² in %d regions, formula %.1f in 1", angle, azimuth/deg, layer, n.AreaMM2, len(n.Regions), want)
			}
		})
		t.Logf("%g°: off by at most %.2f %%", angle, 100*worst)
	}
}

// goblet is a cone from radius 3 to 8 mm at an angle from the vertical, in degrees,
// with a rim on top.
func goblet(angle float64) *mesh.Mesh {
	top := 2 + 5/math.Tan(angle*math.Pi/180)
	m := meshtest.Cone(2, 3, top, 8, 128)
	m.Append(mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 8, 128, 0), top, top+1))
	return m
}

// A sphere needs πr²/2 in plan beyond 45°, a cone beyond 45° all of its πR², the
// face it ends in included (handbook: Archimedes' hat box; frustum). Both float,
// out of the plate's reach.
func TestRoundShapesAtEveryAzimuth(t *testing.T) {
	const r = 8.0
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		want float64
	}{
		"sphere":   {meshtest.Sphere(r3.Vec{Z: r + 2}, r, 128), math.Pi * r * r / 2},
		"cone 55°": {goblet(55), math.Pi * 64},
		"cone 70°": {goblet(70), math.Pi * 64},
	} {
		everyWay(func(azimuth, layer float64) {
			n := findAt(t, turned(c.m, azimuth), layer)
			if math.Abs(n.AreaMM2/c.want-1) > 0.02 || len(n.Regions) != 1 {
				t.Errorf("%s at azimuth %.0f°, layers of %g mm: %.1f mm² in %d regions, formula %.1f in 1", name, azimuth*180/math.Pi, layer, n.AreaMM2, len(n.Regions), c.want)
			}
		})
	}
}

// A deck between two walls holds up to the bridge limit, 10 mm. At an azimuth a
// chord is measured to a cell, so the cells are half of what tells 9.9 from 10.1.
func TestBridgesOnEachSideOfTheLimit(t *testing.T) {
	for _, c := range []struct {
		span  float64
		holds bool
	}{{5, true}, {9.9, true}, {10.1, false}, {30, false}} {
		m := meshtest.Box(r3.Vec{X: -2}, r3.Vec{Y: 4, Z: 4})
		m.Append(meshtest.Box(r3.Vec{X: c.span}, r3.Vec{X: c.span + 2, Y: 4, Z: 4}))
		m.Append(meshtest.Box(r3.Vec{X: -2, Z: 4}, r3.Vec{X: c.span + 2, Y: 4, Z: 5}))
		everyWay(func(azimuth, layer float64) {
			n := findWith(t, turned(m, azimuth), supports.Settings{Layer: layer, Cell: 0.05})
			if holds := n.AreaMM2 == 0; holds != c.holds {
				t.Errorf("span %g mm at azimuth %.0f°, layers of %g mm: %.2f mm² told", c.span, azimuth*180/math.Pi, layer, n.AreaMM2)
			}
		})
	}
}

// A ceiling round a hole has no bridging direction, whatever its size within the
// bridge limit; one between two walls is crossed along chords, the longest of
// which is 2√(R² − r²).
func TestRingCeilings(t *testing.T) {
	round := func(r float64) []r2.Vec { return mesh.RegularPolygon(r2.Vec{}, r, 96, 0) }
	ring := func(r, R, z0, z1 float64) *mesh.Mesh { return mesh.Tube(round(R), round(r), z0, z1) }
	// A pocket of 4.5 mm radius: walls to 6 mm, and over it a roof with a hole.
	free := ring(4.5, 6, 0, 8)
	free.Append(ring(2.5, 6, 8, 10))
	// The same with a boss in the hole that stands on the plate: chords of
	// 2√(4.5² − 2.5²) = 7.5 mm.
	held := ring(4.5, 6, 0, 8)
	held.Append(mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 2.5, 96, 0), 0, 10))
	held.Append(mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 6, 96, 0), 8, 10))
	for _, h := range layerHeights {
		if n := findAt(t, free, h); n.AreaMM2 < 0.5*math.Pi*(4.5*4.5-2.5*2.5) {
			t.Errorf("layers of %g mm: a ring with a free edge needs only %.1f mm²", h, n.AreaMM2)
		}
		if n := findAt(t, held, h); n.AreaMM2 > 0 {
			t.Errorf("layers of %g mm: a ring between two walls needs %.1f mm²", h, n.AreaMM2)
		}
	}
}

// What begins in mid-air is found down to one line's footprint; what rests within
// the limit is not told at all.
func TestSmallAndSound(t *testing.T) {
	deg := math.Pi / 180
	pin := meshtest.Box(r3.Vec{}, r3.Vec{X: 3, Y: 3, Z: 12})
	pin.Append(meshtest.Box(r3.Vec{Z: 10}, r3.Vec{X: 6, Y: 3, Z: 12}))
	pin.Append(meshtest.Box(r3.Vec{X: 5, Y: 1, Z: 7.03}, r3.Vec{X: 5.4, Y: 1.4, Z: 10.5}))
	// Steps up, and steps out: ledges of a line, two layers or more apart.
	stairs := meshtest.Box(r3.Vec{}, r3.Vec{X: 12, Y: 5, Z: 2})
	corbels := meshtest.Box(r3.Vec{}, r3.Vec{X: 2, Y: 5, Z: 12})
	for k := 1.0; k < 6; k++ {
		stairs.Append(meshtest.Box(r3.Vec{X: 2 * k}, r3.Vec{X: 12, Y: 5, Z: 2 + 1.5*k}))
	}
	for k := 1.0; k < 18; k++ {
		corbels.Append(meshtest.Box(r3.Vec{Z: 0.6 * k}, r3.Vec{X: 2 + 0.4*k, Y: 5, Z: 12}))
	}
	tip := meshtest.Cone(6, 0.01, 9, 3, 64)
	tip.Append(meshtest.Box(r3.Vec{X: -3, Y: -3, Z: 9}, r3.Vec{X: 8, Y: 3, Z: 11}))
	tip.Append(meshtest.Box(r3.Vec{X: 5, Y: -3}, r3.Vec{X: 8, Y: 3, Z: 11}))
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		at   float64 // height of the lowest find, 0 for none
	}{
		{"pin", pin, 7.03}, {"cone's tip", tip, 6},
		{"cube", meshtest.Box(r3.Vec{}, r3.Vec{X: 9, Y: 9, Z: 9}), 0},
		{"44° cone", meshtest.Cone(0, 3, 8, 3+8*math.Tan(44*deg), 128), 0},
		{"staircase", stairs, 0}, {"corbels", corbels, 0},
	} {
		everyWay(func(azimuth, layer float64) {
			n := findAt(t, turned(c.m, azimuth), layer)
			where := fmt.Sprintf("%s at azimuth %.0f°, layers of %g mm", c.name, azimuth/deg, layer)
			switch {
			case c.at == 0:
				if len(n.Regions) > 0 {
					t.Errorf("%s: %.2f mm² told", where, n.AreaMM2)
				}
			case len(n.Regions) == 0:
				t.Errorf("%s: nothing told", where)
			case math.Abs(n.Regions[0].Bounds.Min.Z-c.at) > 2*layer: // the tip's first layer may miss every cell
				t.Errorf("%s: first told at z %.2f, begins at %g mm", where, n.Regions[0].Bounds.Min.Z, c.at)
			}
		})
	}
}

// The same part cut into other triangles, moved, turned and mirrored needs the
// same.
func TestSamePartOtherMesh(t *testing.T) {
	part := func(sides int) *mesh.Mesh {
		m := meshtest.Cone(0, 6, 2, 6, sides)
		m.Append(meshtest.Cone(2, 2, 10, 2, sides))
		m.Append(meshtest.Cone(9, 2, 12, 9, sides))
		m.Append(meshtest.Box(r3.Vec{X: -6, Y: 4, Z: 12}, r3.Vec{X: 22, Y: 8, Z: 14}))
		m.Append(meshtest.Box(r3.Vec{X: -6, Y: -6, Z: 11.9}, r3.Vec{X: 6, Y: 6, Z: 14}))
		return m
	}
	base := part(96)
	want := findAt(t, base, 0.2)
	mirrored := base.Clone()
	for i := range mirrored.Vertices {
		mirrored.Vertices[i].X *= -1
	}
	for i, tr := range mirrored.Triangles {
		mirrored.Triangles[i] = [3]uint32{tr[0], tr[2], tr[1]}
	}
	moved := base.Clone()
	moved.Translate(r3.Vec{X: 13.37, Y: -4.21})
	for name, m := range map[string]*mesh.Mesh{
		"coarse": part(64), "fine": part(384), "split": split(base, 0.5), "skewed": split(base, 0.03),
		"moved": moved, "mirrored": mirrored, "turned by 17°": turned(base, 17*math.Pi/180), "turned by 30°": turned(base, math.Pi/6),
	} {
		got := findAt(t, m, 0.2)
		if len(got.Regions) != len(want.Regions) || math.Abs(got.AreaMM2/want.AreaMM2-1) > 0.02 {
			t.Errorf("%s: %.1f mm² in %d regions, want %.1f in %d", name, got.AreaMM2, len(got.Regions), want.AreaMM2, len(want.Regions))
		}
	}
}

// split cuts every triangle into three about a point near its corner a; a small
// share makes slivers.
func split(m *mesh.Mesh, share float64) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: append([]r3.Vec(nil), m.Vertices...)}
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		mid := r3.Add(r3.Scale(1-share, a), r3.Scale(share/2, r3.Add(b, c)))
		n := uint32(len(out.Vertices))
		out.Vertices = append(out.Vertices, mid)
		tr := m.Triangles[t]
		for k := range 3 {
			out.Triangles = append(out.Triangles, [3]uint32{tr[k], tr[(k+1)%3], n})
		}
	}
	return out
}

// The facets beyond the limit, summed another way (each whole, by its own normal),
// are never less than what is told as a slope: what is told lies under them. They
// are more where slopes are short enough to hold or stand near the plate. A folder of
// meshes that FALSEWORK_MODELS names is looked at too.
func TestSlopesAgainstFacetSums(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/parts/*.stl")
	if err != nil || len(paths) == 0 {
		t.Fatal("no demo parts", err)
	}
	if dir := os.Getenv("FALSEWORK_MODELS"); dir != "" {
		more, err := filepath.Glob(filepath.Join(dir, "*"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range more {
			if slices.Contains(mesh.Extensions, strings.ToLower(filepath.Ext(path))) {
				paths = append(paths, path)
			}
		}
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		doc, err := mesh.Read(path, mesh.Unit{})
		if err != nil && strings.Contains(path, "testdata") {
			t.Fatal(err)
		} else if err != nil {
			t.Logf("%s: refused: %v", filepath.Base(path), err)
			continue
		}
		m := &mesh.Mesh{}
		for _, b := range doc.Bodies {
			m.Append(b.Mesh)
		}
		low := m.Bounds().Min.Z
		for i := range m.Vertices {
			m.Vertices[i].Z -= low
		}
		part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
		n := need.Find(m, part, s, 0)
		told := 0.0
		for _, f := range need.FacesOf(m, part, n, s) {
			told += f.SlopeMM2
		}
		// Beyond the limit, and no ceiling: steps under four lines wide.
		sum := 0.0
		for i := range m.Triangles {
			a, b, c := m.Corners(i)
			u, v := r3.Sub(b, a), r3.Sub(c, a)
			plan := (u.Y*v.X - u.X*v.Y) / 2 // of what looks down
			full := math.Sqrt(r3.Norm2(r3.Cross(u, v))) / 2
			if down := plan / full; down > math.Sin(math.Pi/4)+1e-3 && down < 8/math.Sqrt(65) {
				sum += plan
			}
		}
		if told > sum*1.02+0.5 {
			t.Errorf("%s: %.1f mm² told under slopes, facets have %.1f", filepath.Base(path), told, sum)
		}
		t.Logf("%s: %.1f mm² told of %.1f", filepath.Base(path), told, sum)
	}
}
