package layout

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// ramped is a wide slope that leans out 60° from the vertical, with lines down it.
func ramped(t *testing.T) (*site, []line) {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	const low, tall, wide = 10.0, 5.0, 40.0
	out := tall * math.Tan(60*math.Pi/180)
	at := func(x float64) []r2.Vec { return []r2.Vec{{X: -4}, {X: x}, {X: x, Y: wide}, {X: -4, Y: wide}} }
	m := mesh.Prism(at(0), 0, low)
	m.Append(mesh.Frustum(at(0), at(out), low, low+tall))
	m.Append(mesh.Prism(at(out), low+tall, low+tall+2))
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	var lines []line
	for y := 3.0; y < wide; y += 6 {
		lines = append(lines, line{arm: true, at: []point{{r2.Vec{X: 1, Y: y}, low + 0.6}, {r2.Vec{X: out, Y: y}, low + tall}}})
	}
	return newSite(part, s), lines
}

// Lines side by side become one path through all of them, which turns from one to
// the next at their ends; lines of two groups become two.
func TestMeander(t *testing.T) {
	site, lines := ramped(t)
	total := 0.0
	for _, l := range lines {
		total += l.length()
	}
	got := site.meander(lines, len(lines))
	if len(got) != 1 {
		t.Fatalf("%d paths through %d lines, want 1", len(got), len(lines))
	}
	turns := 6 * float64(len(lines)-1)
	if l := got[0].length(); l < total+turns-1 || l > total+turns+1 {
		t.Errorf("path of %.1f mm, lines and turns %.1f mm", l, total+turns)
	}
	for i := range lines {
		lines[i].group = 1 + i/4
	}
	if got := site.meander(lines, len(lines)); len(got) != 2 || got[0].group == got[1].group {
		t.Errorf("%d paths through two groups, want 2", len(got))
	}
}

// A wall of the part between two lines is no place for a turn.
func TestMeanderStaysClear(t *testing.T) {
	site, lines := ramped(t)
	for k := range site.part.Cut {
		wall := raster.NewBits(0, 0, site.part.W, site.part.H)
		i0, j0 := site.part.At(r2.Vec{X: -4, Y: 11.5})
		i1, j1 := site.part.At(r2.Vec{X: 9, Y: 12.5})
		for j := j0; j < j1; j++ {
			wall.SetSpan(j, i0, i1)
		}
		site.part.Cut[k] = raster.Or(&site.part.Cut[k], &wall)
	}
	if got := site.meander(lines, len(lines)); len(got) != 2 {
		t.Errorf("%d paths past a wall, want 2", len(got))
	}
}

// Lines all round something come in two halves, none of which straddles the cut.
func TestHalves(t *testing.T) {
	var lines []line
	for n := 0; n < 16; n++ {
		sin, cos := math.Sincos(2 * math.Pi * (float64(n) + 0.3) / 16)
		lines = append(lines, line{at: []point{{r2.Vec{X: 5 * cos, Y: 5 * sin}, 9}, {r2.Vec{X: 9 * cos, Y: 9 * sin}, 12}}})
	}
	halve(lines, 7)
	count := map[int]int{}
	for i, l := range lines {
		count[l.group]++
		for _, o := range lines[i+1:] {
			if d := distance(l.at[0].Vec, o.at[0].Vec); o.group != l.group && d < 1.2 {
				t.Errorf("halves come within %.2f mm", d)
			}
		}
	}
	if count[7] != 8 || count[8] != 8 {
		t.Errorf("groups of %v lines, want 8 and 8", count)
	}
}
