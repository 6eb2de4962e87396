package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// One wall prints as one line for every line from 0.4 to 0.48 mm if it is 0.48 mm thick,
// and as two of the narrowest from 0.8 mm on; in between it is filled badly, below left
// out by some. On both sides of each limit, along and across the cells.
func TestWallsForARangeOfLines(t *testing.T) {
	for _, deg := range []float64{0, 17, 45} {
		for _, c := range []struct {
			thick float64
			want  string
		}{{0.40, "thinner"}, {0.42, "thinner"}, {0.48, ""}, {0.56, "filled badly"}, {0.72, "filled badly"}, {0.8, ""}, {1.5, ""}} {
			wall := box(-10, -c.thick/2, 0, 10, c.thick/2, 6)
			s, k := math.Sincos(deg * math.Pi / 180)
			for i, v := range wall.Vertices {
				wall.Vertices[i] = r3.Vec{X: k*v.X - s*v.Y, Y: s*v.X + k*v.Y, Z: v.Z}
			}
			var r prove.Report
			if err := r.Walls(wall, supports.Settings{}); err != nil {
				t.Fatal(err)
			}
			got := ""
			for _, q := range r.Notes {
				for _, says := range []string{"thinner than 0.48", "filled badly"} {
					if strings.Contains(q.Text, says) {
						got = strings.Fields(says)[0]
					}
				}
				if math.Hypot(q.At.X, q.At.Y) > 10.1 || q.Remedy == "" || q.Kind != prove.Thin {
					t.Errorf("%g mm thick: %+v", c.thick, q)
				}
			}
			if got != "" && !strings.HasPrefix(c.want, got) || (got == "") != (c.want == "") {
				t.Errorf("%g mm thick at %g°: %q, want %q", c.thick, deg, got, c.want)
			}
		}
	}
	r := prove.Report{}
	crossed := join(box(-10, -0.24, 0, 10, 0.24, 6), box(-0.24, -10, 0, 0.24, 10, 6))
	if err := r.Walls(crossed, supports.Settings{}); err != nil || len(r.Notes) > 0 {
		t.Errorf("walls that cross: %v, %+v", err, r.Notes)
	}
	r = prove.Report{}
	if err := r.Walls(&mesh.Mesh{}, supports.Settings{}); err != nil || len(r.Notes) > 0 {
		t.Errorf("no supports: %v, %+v", err, r.Notes)
	}
}
