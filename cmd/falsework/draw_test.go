package main

import (
	"bytes"
	"encoding/json"
	"image"
	"image/color"
	"image/png"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

func decodePNG(t *testing.T, data []byte) image.Image {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

func TestDraw(t *testing.T) {
	part, sup := shelfFiles(t, 9.8)
	out := filepath.Join(t.TempDir(), "a")
	code, stdout, stderr := call("draw", part, sup, "--out", out, "--width", "640", "--height", "500", "--json")
	if code == exitRefused {
		t.Fatal(stderr)
	}
	var r drawReport
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatal(err)
	}
	files := folder(t, out)
	want := drawOutputsOf(r.Part.Name).all()
	if len(r.Files) != len(want) || len(files) != len(want) {
		t.Fatalf("files %v", r.Files)
	}
	for _, name := range want {
		if size := decodePNG(t, files[name]).Bounds().Size(); size != (image.Point{X: 640, Y: 500}) {
			t.Errorf("%s is %v", name, size)
		}
	}
	// The same again, byte for byte; another background is another picture.
	again := filepath.Join(t.TempDir(), "b")
	call("draw", part, sup, "--out", again, "--width", "640", "--height", "500")
	for name, data := range folder(t, again) {
		if !bytes.Equal(data, files[name]) {
			t.Errorf("%s differs from run to run", name)
		}
	}
	clear := filepath.Join(t.TempDir(), "c")
	call("draw", part, sup, "--out", clear, "--width", "640", "--background", "transparent")
	for name, data := range folder(t, clear) {
		img := decodePNG(t, data)
		if size := img.Bounds().Size(); size != (image.Point{X: 640, Y: 480}) {
			t.Errorf("%s is %v, want three quarters as high as wide", name, size)
		}
		_, _, _, corner := img.At(1, 478).RGBA()
		_, _, _, middle := img.At(320, 240).RGBA()
		if corner != 0 || name == want[0] && middle != 0xFFFF {
			t.Errorf("%s: alpha %d in the corner, %d in the middle", name, corner, middle)
		}
	}
	if code, _, stderr := call("draw", part, sup, "--out", out); code != exitRefused || !strings.Contains(stderr, "exists already") {
		t.Errorf("exit %d, %q over what is there", code, stderr)
	}
}

func TestDrawAPartAlone(t *testing.T) {
	out := filepath.Join(t.TempDir(), "a")
	code, stdout, _ := call("draw", partFile("tip-bucket-weight"), "--out", out, "--width", "640")
	if code != exitHolds || !strings.Contains(stdout, "HOLDS") {
		t.Errorf("exit %d: %s", code, stdout)
	}
	if got := namesOf(folder(t, out)); got != "tip-bucket-weight-below.png tip-bucket-weight-hero.png tip-bucket-weight-need.png" {
		t.Errorf("files %s", got)
	}
}

// Each body is moved until it is clear of the part by a share of its diagonal, and
// keeps its shape: boxes beside a block, whose ways are given.
func TestExplodedIsClear(t *testing.T) {
	at := func(x, y, z, side float64) *mesh.Mesh {
		return meshtest.Box(r3.Vec{X: x, Y: y, Z: z}, r3.Vec{X: x + side, Y: y + side, Z: z + side})
	}
	d := drawing{part: at(0, 0, 10, 30), supports: &mesh.Mesh{}, layers: raster.Layers{First: 0.2, Height: 0.2}}
	var bodies []prove.Body
	for i, c := range []struct {
		m   *mesh.Mesh
		way prove.Way
	}{{at(2, 2, 0, 10), "down"}, {at(25, 10, 0, 12), "0°"}, {at(10, 25, 0, 11), "90°"}, {at(20, 25, 0, 9), "90°"}} {
		d.supports.Append(c.m)
		bodies = append(bodies, prove.Body{ID: i + 1, Bounds: c.m.Bounds(), WaysOut: []prove.Way{c.way}})
	}
	s, _ := d.exploded(bodies)
	part := d.part.Bounds()
	room := clearance * 30 * math.Sqrt(3)
	var moved *mesh.Mesh
	for _, it := range s.Items {
		if it.Role == view.Support {
			moved = it.Mesh
		}
	}
	shells := moved.Shells()
	if len(shells) != len(bodies) || len(s.Trails) != len(bodies) || len(s.Labels) != len(bodies) {
		t.Fatalf("%d shells, %d trails, %d labels", len(shells), len(s.Trails), len(s.Labels))
	}
	for i, shell := range shells {
		b := shell.Bounds()
		apart := max(part.Min.X-b.Max.X, b.Min.X-part.Max.X, part.Min.Y-b.Max.Y, b.Min.Y-part.Max.Y, part.Min.Z-b.Max.Z, b.Min.Z-part.Max.Z)
		if apart < room-1e-9 {
			t.Errorf("body %d is %g mm from the part, want %g", i+1, apart, room)
		}
		size, was := r3.Sub(b.Max, b.Min), r3.Sub(bodies[i].Bounds.Max, bodies[i].Bounds.Min)
		if r3.Norm(r3.Sub(size, was)) > 1e-9 {
			t.Errorf("body %d became %v", i+1, size)
		}
	}
	// Two that leave the same way keep their places to one another.
	if d := shells[3].Bounds().Min.X - shells[2].Bounds().Min.X; math.Abs(d-10) > 1e-9 || shells[2].Bounds().Min.Y != shells[3].Bounds().Min.Y {
		t.Errorf("bodies that leave together are %v and %v", shells[2].Bounds(), shells[3].Bounds())
	}
}

// A wedge's underside leans by construction; upright and upward faces and the one on
// the plate are in no band.
func TestNeedMapBands(t *testing.T) {
	rad := math.Pi / 180
	for _, c := range []struct {
		lean float64 // degrees from the vertical
		want view.Role
	}{{30, view.Part}, {34.9, view.Part}, {35.1, view.Near}, {44.9, view.Near}, {45.1, view.Over}, {79.9, view.Over}, {80.1, view.Level}} {
		// A box whose top is shifted by its height × tan(lean) leans over on one side.
		m := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 10, Z: 10})
		for i, v := range m.Vertices {
			if v.Z > 5 {
				m.Vertices[i].X += 10 * math.Tan(c.lean*rad)
			}
		}
		s := needScene(drawing{part: m}, supports.Settings{Limit: 45 * rad})
		for _, it := range s.Items {
			if it.Role == view.Part {
				continue
			}
			want := 0.0 // the leaning side: 10 wide, 10/cos(lean) long
			if it.Role == c.want {
				want = 100 / math.Cos(c.lean*rad)
			}
			if got := it.Mesh.Area(); math.Abs(got-want) > 1e-6 {
				t.Errorf("%g°: %v has %g mm², want %g", c.lean, it.Role, got, want)
			}
		}
	}
}

// The smallest letters of a sheet 800 pixels wide have ink as dark as the sheet's
// captions: what is thinner than a pixel fades.
func TestLettersAreLegibleAt800(t *testing.T) {
	out := filepath.Join(t.TempDir(), "a")
	if code, _, stderr := call("draw", partFile("tip-bucket-weight"), "--out", out, "--width", "800"); code != exitHolds {
		t.Fatal(stderr)
	}
	img := decodePNG(t, folder(t, out)["tip-bucket-weight-hero.png"])
	b := img.Bounds()
	// The title block is in the lower right corner: look for its darkest and lightest.
	dark, light := 1.0, 0.0
	for y := b.Max.Y - 50; y < b.Max.Y-20; y++ {
		for x := b.Max.X - 300; x < b.Max.X-30; x++ {
			g := float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y) / 255
			dark, light = min(dark, g), max(light, g)
		}
	}
	// 4.5 is WCAG 2.2 success criterion 1.4.3; grey levels are taken as linear light
	// after the exponent 2.2.
	if ratio := (math.Pow(light, 2.2) + 0.05) / (math.Pow(dark, 2.2) + 0.05); ratio < 4.5 {
		t.Errorf("letters stand out by %.1f to 1", ratio)
	}
}
