package layout

import (
	"math"
	"testing"

	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestCutLine(t *testing.T) {
	at := func(xy ...float64) (l line) {
		for i := 0; i < len(xy); i += 2 {
			l.at = append(l.at, point{r2.Vec{X: xy[i], Y: xy[i+1]}, 5})
		}
		return
	}
	for _, c := range []struct {
		name string
		l    line
		want []float64 // lengths of what is left of the cut along x = 0
	}{
		{"across", at(-5, 0, 5, 0), []float64{5 - cutGap/2, 5 - cutGap/2}},
		{"point on the cut", at(-5, 0, 0, 0, 5, 0), []float64{5 - cutGap/2, 5 - cutGap/2}},
		{"beside", at(1, -5, 1, 5), []float64{10}},
		{"along", at(0.1, -5, 0.1, 5), nil},
		{"there and back", at(4, 0, -4, 0, -4, 3, 4, 3), []float64{4 - cutGap/2, 2*(4-cutGap/2) + 3, 4 - cutGap/2}},
		{"ends in the gap", at(-5, 0, 0.1, 0), []float64{5 - cutGap/2}},
	} {
		got := c.l.cut(r2.Vec{}, r2.Vec{X: 1})
		if len(got) != len(c.want) {
			t.Errorf("%s: %d pieces, want %d: %v", c.name, len(got), len(c.want), got)
			continue
		}
		for i, l := range got {
			if math.Abs(l.length()-c.want[i]) > 1e-9 {
				t.Errorf("%s: piece %d is %.3f mm, want %.3f", c.name, i, l.length(), c.want[i])
			}
			for _, q := range l.at {
				if math.Abs(q.X) < cutGap/2-1e-9 {
					t.Errorf("%s: piece %d reaches x %.3f", c.name, i, q.X)
				}
			}
		}
	}
}

// A body's lines go to two groups with a gap between; others are left alone.
func TestSplit(t *testing.T) {
	var lines []line
	for x := 0.0; x <= 20; x += 5 {
		lines = append(lines,
			line{at: []point{{r2.Vec{X: x, Y: 0}, 9}, {r2.Vec{X: x, Y: 20}, 9}}},
			line{at: []point{{r2.Vec{X: 0, Y: x}, 9}, {r2.Vec{X: 20, Y: x}, 9}}})
	}
	lines = append(lines, line{at: []point{{r2.Vec{X: 50, Y: 0}, 9}, {r2.Vec{X: 50, Y: 20}, 9}}})
	body := prove.Body{Bounds: r3.Box{Min: r3.Vec{X: -1, Y: -1}, Max: r3.Vec{X: 21, Y: 21, Z: 9}}}
	for try := range 3 {
		got := split(lines, body, try)
		groups := map[int]int{}
		for i, l := range got {
			groups[l.group]++
			for _, o := range got[i+1:] {
				if l.group == o.group {
					continue
				}
				for _, p := range l.at {
					for _, q := range o.at {
						if distance(p.Vec, q.Vec) < cutGap-1e-9 {
							t.Errorf("try %d: groups come within %.2f mm", try, distance(p.Vec, q.Vec))
						}
					}
				}
			}
		}
		if len(groups) != 3 || groups[0] != 1 {
			t.Errorf("try %d: groups %v, want the lone line and two halves", try, groups)
		}
	}
}
