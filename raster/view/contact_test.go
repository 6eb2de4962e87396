package view

import (
	"bytes"
	"errors"
	"image/png"
	"math"
	"testing"

	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// Each frame shows its own scene within its own box, at any number of columns.
func TestContactSheetFrames(t *testing.T) {
	part := Item{Mesh: meshtest.Box(r3.Vec{}, r3.Vec{X: 20, Y: 20, Z: 20}), Role: Part, Name: "part"}
	support := Item{Mesh: meshtest.Box(r3.Vec{}, r3.Vec{X: 20, Y: 20, Z: 20}), Role: Support, Name: "support"}
	frames := []Frame{
		{Scene: Scene{Items: []Item{part}}, Number: "1"}, {Scene: Scene{Items: []Item{support}}, Number: "2", Marked: true},
		{Scene: Scene{Items: []Item{part}}, Number: "3"},
	}
	for i := range frames {
		frames[i].Camera = Along("level", r3.Vec{Y: 1})
	}
	for columns := 1; columns <= 3; columns++ {
		var b bytes.Buffer
		o := Options{Width: 600, Height: 450}
		if err := WriteContactSheet(&b, Scene{Title: "three"}, "", frames, columns, o); err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		sh, err := newSheet(o.Width, o.Height, false, Sheet)
		if err != nil {
			t.Fatal(err)
		}
		rows := (len(frames) + columns - 1) / columns
		for i := range frames {
			x := sh.view.Min.X + sh.view.Dx()*(2*(i%columns)+1)/(2*columns)
			top := sh.view.Min.Y + sh.view.Dy()*(i/columns)/rows
			foot := sh.view.Min.Y + sh.view.Dy()*(i/columns+1)/rows
			// A support is by far the darkest fill.
			dark := 0
			for y := top + sh.px(56); y < foot-sh.px(90); y++ {
				if r, g, b, _ := img.At(x, y).RGBA(); r+g+b < 3*0x7000 {
					dark++
				}
			}
			if all := foot - top - sh.px(146); (dark > all/3) != (i == 1) {
				t.Errorf("%d columns, frame %d: %d of %d pixels down its middle are dark", columns, i+1, dark, all)
			}
		}
	}
}

func TestContactSheetRefuses(t *testing.T) {
	bad := meshtest.Box(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1})
	bad.Vertices[0].X = math.NaN()
	one := []Frame{{}}
	for name, err := range map[string]error{
		"no frame":   WriteContactSheet(&bytes.Buffer{}, Scene{}, "", nil, 1, Options{}),
		"no column":  WriteContactSheet(&bytes.Buffer{}, Scene{}, "", one, 0, Options{}),
		"a size":     WriteContactSheet(&bytes.Buffer{}, Scene{}, "", one, 1, Options{Width: 3}),
		"not finite": WriteContactSheet(&bytes.Buffer{}, Scene{}, "", []Frame{{Scene: Scene{Items: []Item{{Mesh: bad, Role: Part, Name: "bad"}}}}}, 1, Options{}),
		"full disk":  WriteContactSheet(full{}, Scene{}, "", one, 1, Options{Width: 400, Height: 300}),
	} {
		if err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
}

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }
