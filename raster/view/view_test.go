package view

import (
	"bytes"
	"errors"
	"flag"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"falsework/mesh"
	"falsework/mesh/meshtest"
)

var update = flag.Bool("update", false, "rewrite testdata")

// table is a slab on one leg, held up on the free side: every role in one scene.
func table() Scene {
	part := meshtest.Box(r3.Vec{X: 0, Y: 0, Z: 0}, r3.Vec{X: 6, Y: 20, Z: 16})
	part.Append(meshtest.Box(r3.Vec{X: 0, Y: 0, Z: 16}, r3.Vec{X: 30, Y: 20, Z: 20}))
	post := meshtest.Box(r3.Vec{X: 20, Y: 4, Z: 0}, r3.Vec{X: 24, Y: 16, Z: 15.8})
	pad := Tiles([]Tile{{Min: r2.Vec{X: 20, Y: 4}, Max: r2.Vec{X: 24, Y: 16}, Z: 15.8}})
	bare := Tiles([]Tile{{Min: r2.Vec{X: 26, Y: 2}, Max: r2.Vec{X: 30, Y: 8}, Z: 15.9}})
	bare.Append(Marker(r3.Vec{X: 29, Y: 18, Z: 16}, 0.5))
	return Scene{
		Title: "Table", Subtitle: "one leg, one post", LayerHeight: 0.2, Failed: true,
		Items: []Item{{Mesh: part, Role: Part, Name: "part"}, {Mesh: post, Role: Support, Name: "post"}, {Mesh: pad, Role: Pad, Name: "pad"}, {Mesh: bare, Role: Unheld, Name: "bare"}},
		Labels: []Label{
			{r3.Vec{X: 22, Y: 4, Z: 8}, "1"}, {r3.Vec{X: 3, Y: 10, Z: 20}, "A1"},
		},
		Notes: []string{"Made for a test."},
	}
}

func cameras() []Camera {
	return []Camera{{}, ThreeQuarter(), FromBelow(), Top(), Along("level", r3.Vec{Y: 1}), Along("straight up", r3.Vec{Z: 1})}
}

func TestSameInputSameBytes(t *testing.T) {
	s := table()
	s.Items = append(s.Items, Item{Mesh: meshtest.Blob(2000), Role: Part, Name: "blob"})
	draw := func(o Options) []byte {
		var b bytes.Buffer
		if err := WritePNG(&b, s, o); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	for _, c := range cameras() {
		for _, ghost := range []bool{false, true} {
			o := Options{Width: 480, Height: 360, Supersample: 2, Camera: c, GhostPart: ghost}
			procs := runtime.GOMAXPROCS(1)
			one := draw(o)
			runtime.GOMAXPROCS(2)
			two, again := draw(o), draw(o)
			runtime.GOMAXPROCS(procs)
			if !bytes.Equal(one, two) || !bytes.Equal(two, again) {
				t.Errorf("camera %q, ghost %v: three renders differ", c.Name, ghost)
			}
		}
	}
}

// An order of triangles or vertices that draws the same surfaces gives the same
// picture where no two surfaces share a place.
func TestVertexOrderDoesNotMatter(t *testing.T) {
	a := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 12, Z: 14})
	b := &mesh.Mesh{}
	for i := range a.Triangles {
		p, q, r := a.Corners(i)
		k := uint32(len(b.Vertices))
		b.Vertices = append(b.Vertices, q, r, p)
		b.Triangles = append(b.Triangles, [3]uint32{k, k + 1, k + 2})
	}
	o := Options{Width: 400, Height: 300}
	welded, err := Render(Scene{Items: []Item{{Mesh: a}}}, o)
	if err != nil {
		t.Fatal(err)
	}
	loose, err := Render(Scene{Items: []Item{{Mesh: b}}}, o)
	if err != nil {
		t.Fatal(err)
	}
	if d := difference(welded, loose); d > 2 {
		t.Errorf("unwelded box differs by %d levels", d)
	}
}

func difference(a, b *image.NRGBA) int {
	if a.Rect != b.Rect {
		return 256
	}
	d := 0
	for i := range a.Pix {
		d = max(d, int(max(a.Pix[i], b.Pix[i])-min(a.Pix[i], b.Pix[i])))
	}
	return d
}

func TestCreases(t *testing.T) {
	open := meshtest.Box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1})
	open.Triangles = open.Triangles[2:]
	insideOut := meshtest.Box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1})
	for i, tr := range insideOut.Triangles {
		insideOut.Triangles[i] = [3]uint32{tr[0], tr[2], tr[1]}
	}
	square := []r2.Vec{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}}
	for _, c := range []struct {
		name   string
		m      *mesh.Mesh
		want   int
		closed bool
	}{
		{"cube: twelve edges, no diagonal", meshtest.Box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1}), 12, true},
		{"cube without one face: its rim is boundary and was sharp before", open, 12, false},
		{"inside out: the same edges, but no back face may be culled", insideOut, 12, false},
		{"octahedron: faces meet at 109.5°", Marker(r3.Vec{}, 1), 12, true},
		{"tile: four boundary edges", Tiles([]Tile{{Max: r2.Vec{X: 1, Y: 1}}}), 4, false},
		{"two tiles with a common side: the outline of both", Tiles([]Tile{{Max: r2.Vec{X: 1, Y: 1}}, {Min: r2.Vec{X: 1}, Max: r2.Vec{X: 2, Y: 1}}}), 6, false},
		{"prism", mesh.Prism(square, 0, 3), 12, true},
		{"24 sides turn 15° each: two rims only", mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 5, 24, 0), 0, 3), 48, true},
		{"12 sides turn 30° each: rims and uprights", mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 5, 12, 0), 0, 3), 36, true},
		{"sphere of many faces: none", meshtest.Sphere(r3.Vec{}, 5, 16), 0, true},
		{"nothing", &mesh.Mesh{}, 0, false},
	} {
		s := newSurface(c.m)
		if len(s.creases) != c.want || s.closed != c.closed {
			t.Errorf("%s: %d creases, closed %v; want %d, %v", c.name, len(s.creases), s.closed, c.want, c.closed)
		}
	}
}

// slowCreases compares all pairs of triangles.
func slowCreases(m *mesh.Mesh) map[[2]r3.Vec]bool {
	type side struct{ a, b r3.Vec }
	less := func(p, q r3.Vec) bool {
		if p.X != q.X {
			return p.X < q.X
		}
		if p.Y != q.Y {
			return p.Y < q.Y
		}
		return p.Z < q.Z
	}
	sides := func(i int) (out [3]side) {
		a, b, c := m.Corners(i)
		out = [3]side{{a, b}, {b, c}, {c, a}}
		for k, s := range out {
			if less(s.b, s.a) {
				out[k] = side{s.b, s.a}
			}
		}
		return out
	}
	found := map[[2]r3.Vec]bool{}
	for i := range m.Triangles {
		for _, s := range sides(i) {
			neighbours, sharp := 0, false
			for j := range m.Triangles {
				if j == i {
					continue
				}
				for _, o := range sides(j) {
					if o != s {
						continue
					}
					neighbours++
					p, q := m.AreaNormal(i), m.AreaNormal(j)
					sharp = sharp || math.Acos(min(1, r3.Dot(p, q)/math.Sqrt(r3.Norm2(p)*r3.Norm2(q)))) > creaseAngle
				}
			}
			if sharp || neighbours == 0 {
				found[[2]r3.Vec{s.a, s.b}] = true
			}
		}
	}
	return found
}

func TestCreasesAgainstAllPairs(t *testing.T) {
	for _, m := range []*mesh.Mesh{
		meshtest.Blob(800),
		mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 5, 14, 0.2), 0, 3),
		meshtest.Cone(0, 3, 4, 1, 9),
	} {
		s := newSurface(m)
		want := slowCreases(m)
		for _, e := range s.creases {
			a, b := s.at[e.a], s.at[e.b]
			if !want[[2]r3.Vec{a, b}] && !want[[2]r3.Vec{b, a}] {
				t.Errorf("%v–%v is no crease by comparing all pairs", a, b)
			}
		}
		if len(s.creases) != len(want) {
			t.Errorf("%d creases, want %d", len(s.creases), len(want))
		}
	}
}

// The plan of a box is measured on the picture itself, independently of the
// projection, and the graphic scale is held against it.
func TestScaleBarIsTrue(t *testing.T) {
	const side = 37.0
	for _, size := range [][2]int{{1600, 1200}, {800, 600}, {1000, 1400}} {
		s := Scene{Items: []Item{{Mesh: meshtest.Box(r3.Vec{}, r3.Vec{X: side, Y: side, Z: 3})}}}
		plan := Camera{Name: "plan", Look: r3.Vec{Z: -1}} // no plate, so the box is all there is
		img, f, err := render(s, Options{Width: size[0], Height: size[1], Camera: plan})
		if err != nil {
			t.Fatal(err)
		}
		dark := func(x, y int) bool { return img.NRGBAAt(x, y).R < 0x80 }

		// Along a row through the box: the middles of its left and right outline.
		corner, _ := f.proj.at(r3.Vec{})
		y := int(corner.y - 0.3*side*f.proj.scale)
		var runs [][2]int
		for x := int(corner.x) - 6; x < f.frame.Max.X-5; x++ {
			if !dark(x, y) {
				continue
			}
			if n := len(runs); n > 0 && runs[n-1][1] == x {
				runs[n-1][1] = x + 1
			} else {
				runs = append(runs, [2]int{x, x + 1})
			}
		}
		if len(runs) != 2 {
			t.Fatalf("%v: outlines at %v, want two", size, runs)
		}
		perMM := float64(runs[1][0]+runs[1][1]-runs[0][0]-runs[0][1]) / 2 / side

		// The bar's lines: the longest dark run in the field of the notes, above
		// the border and clear of its left side.
		sh, err := newSheet(size[0], size[1], false, Sheet)
		if err != nil {
			t.Fatal(err)
		}
		longest := 0
		for y := sh.notes.Min.Y + sh.px(40); y < sh.notes.Max.Y-sh.px(6); y++ {
			run := 0
			for x := sh.notes.Min.X + sh.px(8); x < sh.notes.Max.X; x++ {
				run++
				if !dark(x, y) {
					run = 0
				}
				longest = max(longest, run)
			}
		}
		mm := scaleLength(f.proj.scale, 0.5*float64(sh.notes.Dx()))
		// A pixel for the bar's ends, which ticks cross by as much, and one for each
		// outline of the box.
		tolerance := 2 + 2*mm/side
		if got := float64(longest); math.Abs(got-mm*perMM) > tolerance {
			t.Errorf("%v: bar of %g mm is %g px long, the box says %.1f", size, mm, got, mm*perMM)
		}
	}
}

// The bar itself, without line weights: its ends on the paper against length
// times scale, to a pixel.
func TestScaleBarLength(t *testing.T) {
	faces, err := fonts()
	if err != nil {
		t.Fatal(err)
	}
	for _, perMM := range []float64{0.37, 1, 7.77, 12.345, 61, 900} {
		f := &figure{canvas: newCanvas(900, 80, Paper), u: 1, proj: projection{scale: perMM}}
		f.scaleBar(point{50, 60}, 600, &lettering{font: faces[0]})
		// Between the lines only the first, third and fifth field are dark, and the
		// ticks, which lean right from top to foot: they lie within the bar at its
		// beginning near the base line, and at its end near the upper line.
		first, last := -1, -1
		for x := range 900 {
			if first < 0 && f.NRGBAAt(x, 58).R < 0x80 {
				first = x
			}
			if f.NRGBAAt(x, 54).R < 0x80 {
				last = x
			}
		}
		mm := scaleLength(perMM, 600)
		if got, want := float64(last-first+1), mm*perMM; math.Abs(got-want) > 1 {
			t.Errorf("%g px/mm: bar of %g mm is %g px, want %.2f", perMM, mm, got, want)
		}
		if mm*perMM > 600 || mm*perMM < 600/2.5-1e-9 {
			t.Errorf("%g px/mm: bar of %g mm takes %g of 600 px", perMM, mm, mm*perMM)
		}
	}
}

func TestNothingToDraw(t *testing.T) {
	flat := &mesh.Mesh{Vertices: []r3.Vec{{}, {X: 1}, {X: 2}}, Triangles: [][3]uint32{{0, 1, 2}, {0, 0, 1}}}
	dot := &mesh.Mesh{Vertices: []r3.Vec{{X: 3}}, Triangles: [][3]uint32{{0, 0, 0}}}
	for name, s := range map[string]Scene{
		"zero scene":       {},
		"nil mesh":         {Items: []Item{{}}},
		"empty mesh":       {Items: []Item{{Mesh: &mesh.Mesh{}}}},
		"triangle in line": {Items: []Item{{Mesh: flat}}},
		"one point":        {Items: []Item{{Mesh: dot}}},
		"labels alone":     {Labels: []Label{{Text: "1"}, {At: r3.Vec{X: 5}, Text: "2"}}},
		"marks alone":      {Items: []Item{{Mesh: Tiles([]Tile{{Max: r2.Vec{X: 1, Y: 1}}}), Role: Unheld}}},
		"failed, no parts": {Failed: true, Title: strings.Repeat("a long name ", 40), Notes: []string{strings.Repeat("word ", 300), ""}},
		"many labels":      {Labels: make([]Label, 200)},
	} {
		for _, c := range cameras() {
			for _, ghost := range []bool{false, true} {
				if _, err := Render(s, Options{Width: 400, Height: 300, Camera: c, GhostPart: ghost}); err != nil {
					t.Errorf("%s, camera %q: %v", name, c.Name, err)
				}
			}
		}
		Facing(s, Camera{})
	}
}

func TestRefusals(t *testing.T) {
	box := func() *mesh.Mesh { return meshtest.Box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1}) }
	nan := box()
	nan.Vertices[2].Y = math.NaN()
	far := box()
	far.Vertices[3].X = 1e200
	index := box()
	index.Triangles[5][1] = 99
	for _, c := range []struct {
		name string
		s    Scene
		o    Options
		want string
	}{
		{"NaN", Scene{Items: []Item{{Mesh: nan, Name: "clip"}}}, Options{}, "(clip): vertex 2"},
		{"magnitude that overflows when squared", Scene{Items: []Item{{Mesh: far}}}, Options{}, "vertex 3"},
		{"index", Scene{Items: []Item{{Mesh: index, Name: "clip"}}}, Options{}, "(clip): triangle 5 names vertex 99"},
		{"role", Scene{Items: []Item{{Role: 77}}}, Options{}, "role 77"},
		{"label", Scene{Labels: []Label{{At: r3.Vec{Z: math.Inf(1)}, Text: "4"}}}, Options{}, "label 0 (4)"},
		{"camera", Scene{}, Options{Camera: Camera{Name: "none"}}, `camera "none"`},
		{"small sheet", Scene{}, Options{Width: 20, Height: 20}, "smaller"},
		{"negative sheet", Scene{}, Options{Width: -5}, "smaller"},
		{"huge sheet", Scene{}, Options{Width: 1 << 40, Height: 1 << 40}, "beyond"},
		{"samples", Scene{}, Options{Supersample: 9}, "supersampling 9"},
	} {
		if _, err := Render(c.s, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
}

// failingWriter takes n bytes and then refuses.
type failingWriter struct{ n int }

var errFull = errors.New("disk full")

func (w *failingWriter) Write(p []byte) (int, error) {
	if w.n -= len(p); w.n < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestWriteErrorIsPassedOn(t *testing.T) {
	for _, n := range []int{0, 10, 1000} {
		if err := WritePNG(&failingWriter{n}, Scene{}, Options{Width: 400, Height: 300}); !errors.Is(err, errFull) {
			t.Errorf("after %d bytes: %v, want %v", n, err, errFull)
		}
	}
}

// Everything of a figure stays inside its frame, dimensions included: lines
// beyond the right edge would spoil the rasteriser's next row.
func TestFigureStaysInItsFrame(t *testing.T) {
	for _, s := range []Scene{
		table(),
		{Items: []Item{{Mesh: meshtest.Box(r3.Vec{}, r3.Vec{X: 200, Y: 3, Z: 1})}}},
		{Items: []Item{{Mesh: meshtest.Box(r3.Vec{}, r3.Vec{X: 3, Y: 3, Z: 300})}}},
		{Items: []Item{{Mesh: meshtest.Cone(0, 3, 30, 40, 48)}}},
	} {
		for _, c := range cameras() {
			for _, w := range []int{500, 1300} {
				_, f, err := render(s, Options{Width: w, Height: 800, Camera: c, Supersample: 1})
				if err != nil {
					t.Fatal(err)
				}
				within := func(what string, p point) {
					if p.x < float64(f.frame.Min.X)-0.5 || p.x > float64(f.frame.Max.X)+0.5 || p.y < float64(f.frame.Min.Y)-0.5 || p.y > float64(f.frame.Max.Y)+0.5 {
						t.Errorf("camera %q: %s at %v outside %v", c.Name, what, p, f.frame)
					}
				}
				for _, p := range f.extent {
					within("solid", p)
				}
				box, _ := s.bounds(func(r Role) bool { return r == Part })
				for _, d := range f.dimensionLines(box) {
					within("dimension", d.p)
					within("dimension", d.q)
				}
			}
		}
	}
}

func TestFacingTurnsSupportsIntoSight(t *testing.T) {
	// A wall hides what stands behind it; only one quarter turn of four sees the
	// support in full.
	wall := meshtest.Box(r3.Vec{X: -20, Y: -1, Z: 0}, r3.Vec{X: 20, Y: 1, Z: 40})
	side := meshtest.Box(r3.Vec{X: 19, Y: 1, Z: 0}, r3.Vec{X: 20, Y: 20, Z: 40})
	wall.Append(side)
	post := meshtest.Box(r3.Vec{X: -10, Y: 6, Z: 0}, r3.Vec{X: -6, Y: 10, Z: 10})
	s := Scene{Items: []Item{{Mesh: wall}, {Mesh: post, Role: Support}}}
	got := Facing(s, ThreeQuarter())
	if got.Look.X < 0 || got.Look.Y > 0 {
		t.Errorf("looks along %v, want towards +x −y, into the corner", got.Look)
	}
	if z := got.Look.Z; z != ThreeQuarter().Look.Z {
		t.Errorf("height of the eye changed: %g", z)
	}
}

func TestMarkerAndTiles(t *testing.T) {
	m := Marker(r3.Vec{X: 1, Y: 2, Z: 3}, 2)
	// An octahedron of circumradius r has the volume 4/3·r³.
	if got, want := m.Volume(), 4.0/3*8; math.Abs(got-want) > 1e-12 {
		t.Errorf("marker's volume %g, want %g", got, want)
	}
	if got := len(Tiles(nil).Triangles); got != 0 {
		t.Errorf("no tiles have %d triangles", got)
	}
	n := Tiles([]Tile{{Min: r2.Vec{X: 1, Y: 2}, Max: r2.Vec{X: 4, Y: 4}, Z: 7}})
	if got := n.Area(); got != 6 {
		t.Errorf("tile's area %g, want 6", got)
	}
	if got := n.AreaNormal(0); got.Z <= 0 {
		t.Errorf("tile's normal %v, want upward", got)
	}
}

// A tile is drawn from both sides.
func TestTilesAreDoubleSided(t *testing.T) {
	s := Scene{Items: []Item{{Mesh: Tiles([]Tile{{Max: r2.Vec{X: 9, Y: 9}}}), Role: Pad}}}
	for _, c := range []Camera{ThreeQuarter(), FromBelow()} {
		_, f, err := render(s, Options{Width: 400, Height: 300, Camera: c})
		if err != nil {
			t.Fatal(err)
		}
		if !f.visible[Pad] {
			t.Errorf("camera %q sees no pad", c.Name)
		}
	}
}

// Marks are told apart by hatching: a row across a pad changes one way only,
// and one across an unheld spot both ways.
func TestHatchingDiffers(t *testing.T) {
	count := func(r Role, dx, dy float64) int {
		n, before := 0, false
		for i := range 400 {
			_, a := hatch(r, 500+float64(i)*dx, 500+float64(i)*dy, 2)
			if on := a > 0; on != before {
				n, before = n+1, on
			}
		}
		return n
	}
	// Along a pad's hatching nothing changes; across it does.
	if along, across := count(Pad, -0.4, 1), count(Pad, 1, 0.4); along > 1 || across < 20 {
		t.Errorf("pad: %d changes along its lines, %d across", along, across)
	}
	if along, across := count(Unheld, -0.4, 1), count(Unheld, 1, 0.4); along < 20 || across < 20 {
		t.Errorf("unheld: %d and %d changes, want many both ways", along, across)
	}
	// A region's lines lean the other way, so that a pad beside it is told apart.
	if along, pads := count(Region, 0.4, 1), count(Region, -0.4, 1); along > 1 || pads < 20 {
		t.Errorf("region: %d changes along its lines, %d along a pad's", along, pads)
	}
	if _, a := hatch(Part, 3, 3, 1); a != 0 {
		t.Error("a part is hatched")
	}
}

// shelf is a plate on a wall, its underside a region of two layers' height, and a
// speck of a region on the wall.
func shelf() Scene {
	part := meshtest.Box(r3.Vec{}, r3.Vec{X: 40, Y: 4, Z: 30})
	part.Append(meshtest.Box(r3.Vec{Y: 4, Z: 26}, r3.Vec{X: 40, Y: 40, Z: 30}))
	under := Tiles([]Tile{
		{Min: r2.Vec{Y: 4}, Max: r2.Vec{X: 40, Y: 20}, Z: 25.9}, {Min: r2.Vec{Y: 20}, Max: r2.Vec{X: 40, Y: 40}, Z: 25},
	})
	speck := Tiles([]Tile{{Min: r2.Vec{X: 20, Y: 4}, Max: r2.Vec{X: 20.3, Y: 4.3}, Z: 10}})
	return Scene{Items: []Item{{Mesh: part, Role: Part, Name: "part"}, {Mesh: under, Role: Region, Name: "under"}, {Mesh: speck, Role: Region, Name: "speck"}}}
}

// A region shows the part through its colour, is outlined once round although its
// layers step, and a speck of one is ringed.
func TestRegions(t *testing.T) {
	inside := Camera{Name: "from the inside, below", Look: r3.Vec{X: -0.40, Y: -0.50, Z: 0.77}}
	img, f, err := render(shelf(), Options{Camera: inside})
	if err != nil {
		t.Fatal(err)
	}
	if !f.visible[Region] {
		t.Fatal("no region in sight")
	}
	at := func(v r3.Vec) color.NRGBA {
		p, _ := f.proj.at(v)
		return img.NRGBAAt(int(p.x), int(p.y))
	}
	// Pixels along a line over the step between the layers: hatching only, whose
	// strength is three quarters, so none is all ink.
	for y := 10.0; y < 35; y += 0.05 {
		if c := at(r3.Vec{X: 11, Y: y, Z: 25.8}); c == Ink {
			t.Errorf("at y %.2f the region is inked across", y)
			break
		}
	}
	tinted := 0
	want := mix(tone(fills[Part], 0.5), fills[Region], tint)
	for y := 10.0; y < 35; y += 0.05 {
		if c := at(r3.Vec{X: 11, Y: y, Z: 25.8}); c.B > c.G+20 && c.R > c.G && int(c.B) > int(want.B)-40 {
			tinted++
		}
	}
	if tinted < 250 {
		t.Errorf("%d of 500 places on the region have its tint", tinted)
	}
	// The speck's ring: 18 sheet units from its middle, in the region's colour.
	p, _ := f.proj.at(r3.Vec{X: 20.15, Y: 4.15, Z: 10})
	ringed := 0
	for i := range 72 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 36)
		q := p.add(point{cos, sin}.scale(18 * f.u))
		if c := img.NRGBAAt(int(q.x), int(q.y)); c == fills[Region] {
			ringed++
		}
	}
	if ringed < 60 {
		t.Errorf("%d of 72 places round the speck are of its ring", ringed)
	}
}

func TestHidden(t *testing.T) {
	s := shelf()
	s.Labels = []Label{
		{r3.Vec{X: 20, Y: 30, Z: 25.9}, "under the shelf"}, {r3.Vec{X: 20, Y: 30, Z: 30}, "on it"}, {r3.Vec{X: 20, Y: 30, Z: 60}, "over it"},
		{r3.Vec{X: 20, Y: 4, Z: 10}, "inside of the wall"}, {r3.Vec{X: 20, Y: 0, Z: 10}, "its outside"},
	}
	for _, c := range []struct {
		camera Camera
		want   []bool
	}{
		{Along("straight up", r3.Vec{Z: 1}), []bool{false, true, true, false, false}},
		{Along("down", r3.Vec{Z: -1}), []bool{true, false, false, true, true}},
		{Along("from the inside", r3.Vec{Y: -1}), []bool{true, true, false, false, true}},
		{Camera{Name: "none"}, make([]bool, 5)},
	} {
		// A place on an edge seen end on is neither: those of the wall's faces from
		// above and below, and of the plate's from the side.
		got := Hidden(s, c.camera)
		for i, l := range s.Labels {
			if end := edgeOn[c.camera.Name+", "+l.Text]; !end && got[i] != c.want[i] {
				t.Errorf("%s, %s: hidden %v, want %v", c.camera.Name, l.Text, got[i], c.want[i])
			}
		}
	}
	if got := Hidden(Scene{Labels: s.Labels[:1]}, FromBelow()); got[0] {
		t.Error("nothing hides a label")
	}
}

// edgeOn are places of TestHidden that lie in the figure's outline.
var edgeOn = map[string]bool{
	"straight up, inside of the wall": true, "straight up, its outside": true, "down, inside of the wall": true, "down, its outside": true,
	"from the inside, under the shelf": true, "from the inside, on it": true,
}

// Balloons keep apart from one another and from upright dimensions, and stay on the
// sheet, however many point at one side.
func TestBalloonsKeepApart(t *testing.T) {
	for _, c := range []struct {
		name string
		n    int
		at   func(i int) r3.Vec
	}{
		{"one", 1, func(int) r3.Vec { return r3.Vec{X: 1, Y: 2, Z: 26} }},
		{"two at one place", 2, func(int) r3.Vec { return r3.Vec{X: 20, Y: 20, Z: 26} }},
		{"24 at one place", 24, func(int) r3.Vec { return r3.Vec{X: 39, Y: 20, Z: 26} }},
		{"24 in a row", 24, func(i int) r3.Vec { return r3.Vec{X: float64(i), Y: 10, Z: 26} }},
	} {
		s := shelf()
		for i := range c.n {
			s.Labels = append(s.Labels, Label{c.at(i), "7 flat ceiling"})
		}
		for _, cam := range cameras() {
			_, f, err := render(s, Options{Camera: cam, Supersample: 1})
			if err != nil {
				t.Fatal(err)
			}
			faces, err := fonts()
			if err != nil {
				t.Fatal(err)
			}
			box, _ := s.bounds(func(r Role) bool { return r == Part })
			dims := f.dimensionLines(box)
			r := balloonRadius * f.u
			list := f.placeBalloons(s.Labels, dims, &lettering{font: faces[1]})
			if len(list) != c.n {
				t.Errorf("%s, %q: %d balloons", c.name, cam.Name, len(list))
			}
			for i, b := range list {
				if b.middle.x-b.halfW < float64(f.frame.Min.X) || b.middle.x+b.halfW > float64(f.frame.Max.X) ||
					b.middle.y-r < float64(f.frame.Min.Y) || b.middle.y+r > float64(f.frame.Max.Y) {
					t.Errorf("%s, %q: balloon at %v is off the sheet", c.name, cam.Name, b.middle)
				}
				for _, o := range list[:i] {
					if math.Abs(b.middle.x-o.middle.x) < b.halfW+o.halfW && math.Abs(b.middle.y-o.middle.y) < 2*r {
						t.Errorf("%s, %q: balloons at %v and %v overlap", c.name, cam.Name, b.middle, o.middle)
					}
				}
				for _, d := range dims {
					if math.Abs(d.d.x) < 0.35 && math.Abs(b.middle.x-d.p.x) < b.halfW {
						t.Errorf("%s, %q: balloon at %v lies on the upright dimension at x %.0f", c.name, cam.Name, b.middle, d.p.x)
					}
				}
			}
		}
	}
}

func TestFailureIsSaidAcrossTheSheet(t *testing.T) {
	s := table()
	share := func(failed bool) float64 {
		s.Failed = failed
		img, err := Render(s, Options{Width: 800, Height: 600})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for x := range 800 {
			if img.NRGBAAt(x, 17) == fills[Unheld] {
				n++
			}
		}
		return float64(n) / 800
	}
	if got := share(true); got < 0.5 {
		t.Errorf("failing: %.2f of the width is the band's colour, want more than half", got)
	}
	if got := share(false); got != 0 {
		t.Errorf("holding: %.2f of the width is the band's colour, want none", got)
	}
}

func TestGolden(t *testing.T) {
	for name, o := range map[string]Options{
		"table-below":         {Width: 320, Height: 240, Camera: FromBelow()},
		"table-three-quarter": {Width: 320, Height: 240, GhostPart: true},
	} {
		got, err := Render(table(), o)
		if err != nil {
			t.Fatal(err)
		}
		for i := range got.Pix {
			got.Pix[i] |= 0x0F // coarse levels keep the files small
		}
		file := filepath.Join("testdata", name+".png")
		if *update {
			if err := os.MkdirAll("testdata", 0o755); err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			enc := png.Encoder{CompressionLevel: png.BestCompression}
			if err := enc.Encode(&b, got); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > 20_000 {
			t.Errorf("%s has %d bytes; golden pictures stay small", file, len(data))
		}
		want := decode(t, data)
		if got.Rect != want.Rect {
			t.Fatalf("%s: size %v, want %v", file, got.Rect, want.Rect)
		}
		// Pixels, not bytes: the compressor may change. A level, and a few pixels
		// that change sides, are left to processors that fuse multiply and add.
		off := 0
		for i := 0; i < len(got.Pix); i += 4 {
			for k := range 3 {
				if d := int(got.Pix[i+k]) - int(want.Pix[i+k]); d > 16 || d < -16 {
					off++
					break
				}
			}
		}
		if off > 40 {
			t.Errorf("%s: %d pixels differ; if that is meant, run go test -update and look at it", file, off)
		}
	}
}

func decode(t *testing.T, data []byte) *image.NRGBA {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	out := image.NewNRGBA(img.Bounds())
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			out.SetNRGBA(x, y, color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA))
		}
	}
	return out
}

func BenchmarkRender(b *testing.B) {
	blob := meshtest.Blob(100_000)
	for _, c := range []struct {
		name string
		o    Options
	}{
		{"blob-100k/below", Options{Camera: FromBelow()}},
		{"blob-100k/three-quarter", Options{}},
		{"blob-100k/ghost", Options{GhostPart: true}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := Scene{Title: "blob", Items: []Item{{Mesh: blob}, {Mesh: meshtest.Box(r3.Vec{X: -5, Y: -5, Z: -5}, r3.Vec{X: 5, Y: 5, Z: 60}), Role: Support}}}
			b.SetBytes(1600 * 1200 * 4)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Render(s, c.o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkSurface(b *testing.B) {
	blob := meshtest.Blob(100_000)
	b.Run("blob-100k", func(b *testing.B) {
		b.SetBytes(int64(50 * len(blob.Triangles)))
		b.ReportAllocs()
		for b.Loop() {
			newSurface(blob)
		}
	})
}
