package view

import (
	"testing"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// What is drawn on a clear background and laid on paper is what is drawn on paper.
func TestClearBackgroundOverPaperIsPlain(t *testing.T) {
	part := mesh.Prism(mesh.RegularPolygon(r2.Vec{}, 20, 5, 0), 5, 30)
	post := mesh.Tube(mesh.RegularPolygon(r2.Vec{}, 4, 8, 0), mesh.RegularPolygon(r2.Vec{}, 3, 8, 0), 0, 5)
	s := Scene{
		Items:  []Item{{Mesh: part, Role: Part}, {Mesh: post, Role: Support}, {Mesh: Marker(r3.Vec{Z: 5}, 2), Role: Over}},
		Labels: []Label{{At: r3.Vec{X: 10, Z: 5}, Text: "1"}},
		Trails: []Trail{{From: r3.Vec{}, To: r3.Vec{Z: -30}}},
	}
	for _, ghost := range []bool{false, true} {
		o := Options{Width: 640, Height: 480, Camera: FromBelow(), GhostPart: ghost, Background: Plain}
		plain, err := Render(s, o)
		if err != nil {
			t.Fatal(err)
		}
		o.Background = Clear
		clear, err := Render(s, o)
		if err != nil {
			t.Fatal(err)
		}
		empty, solid, worst := 0, 0, 0
		for i := 0; i < len(clear.Pix); i += 4 {
			a := float64(clear.Pix[i+3]) / 255
			switch clear.Pix[i+3] {
			case 0:
				empty++
			case 255:
				solid++
			}
			if plain.Pix[i+3] != 255 {
				t.Fatal("the plain picture is not opaque")
			}
			for k, paper := range [3]uint8{Paper.R, Paper.G, Paper.B} {
				over := a*float64(clear.Pix[i+k]) + (1-a)*float64(paper)
				worst = max(worst, int(over-float64(plain.Pix[i+k])), int(float64(plain.Pix[i+k])-over))
			}
		}
		// A few strokes over one another round eight bits each time.
		if worst > 4 {
			t.Errorf("ghost %v: laid on paper it differs by %d of 255", ghost, worst)
		}
		if n := len(clear.Pix) / 4; empty < n/4 || solid < n/10 {
			t.Errorf("ghost %v: %d of %d pixels are empty, %d solid", ghost, empty, n, solid)
		}
	}
}
