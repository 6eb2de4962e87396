package plan

import (
	"math"
	"testing"
)

// A rounded corner leaves and meets the straights beside it along them, keeps its distance
// r from one middle, turns by no more than 22.5° at a time, and is as long as the geometry of
// a fillet says: two tangents of r·tan(turn/2) become an arc of r·turn (handbook).
func TestPathTurnsByArcs(t *testing.T) {
	for _, turn := range []float64{40, 90, -90, 135, -60} {
		for _, r := range []float64{0.5, 1.2, 3} {
			a := turn * math.Pi / 180
			l := Line{Round: r, At: [][3]float64{{-20, 0, 10}, {0, 0, 10}, {20 * math.Cos(a), 20 * math.Sin(a), 10}}}
			path := l.Path()
			if path[0] != l.At[0] || path[len(path)-1] != l.At[2] {
				t.Fatalf("turn %g: ends moved", turn)
			}
			back := r * math.Tan(math.Abs(a)/2)
			mx, my := -back, math.Copysign(r, a)
			length := 0.0
			for i := 1; i < len(path); i++ {
				length += math.Hypot(path[i][0]-path[i-1][0], path[i][1]-path[i-1][1])
				if i+1 == len(path) {
					continue
				}
				if d := math.Hypot(path[i][0]-mx, path[i][1]-my); math.Abs(d-r) > 1e-9 {
					t.Errorf("turn %g, r %g: point %d is %.4f mm from the middle", turn, r, i, d)
				}
				u := math.Atan2(path[i][1]-path[i-1][1], path[i][0]-path[i-1][0])
				v := math.Atan2(path[i+1][1]-path[i][1], path[i+1][0]-path[i][0])
				if by := math.Remainder(v-u, 2*math.Pi); by*a < 0 || math.Abs(by) > ArcTurn+1e-9 {
					t.Errorf("turn %g, r %g: turns by %.1f° at point %d", turn, r, by*180/math.Pi, i)
				}
			}
			// The chords of an arc are shorter than it, by a²/24 each.
			if want := 40 - 2*back + r*math.Abs(a); length > want+1e-9 || length < want-r*math.Abs(a)*ArcTurn*ArcTurn/24-1e-9 {
				t.Errorf("turn %g, r %g: %.4f mm long, want %.4f", turn, r, length, want)
			}
		}
	}
}

// Where there is no room for the radius the arc takes half of what there is; what turns little,
// or right back, stays as it is; heights go on evenly.
func TestPathWithoutRoom(t *testing.T) {
	wave := Line{Round: 5, At: [][3]float64{{0, 0, 8}, {10, 0, 8}, {10, 2, 12}, {0, 2, 12}}}
	path := wave.Path()
	for i := 1; i < len(path); i++ {
		if path[i][2] < path[i-1][2]-1e-9 {
			t.Errorf("height falls at point %d: %v", i, path)
		}
	}
	if len(path) != 12 || math.Abs(path[5][0]-10) > 1e-9 || math.Abs(path[5][1]-1) > 1e-9 || math.Abs(path[5][2]-10) > 1e-9 {
		t.Errorf("two arcs do not meet half way: %v", path)
	}
	for _, still := range []Line{
		{Round: 2, At: [][3]float64{{0, 0, 5}, {10, 0, 5}, {20, 4, 5}}},
		{Round: 2, At: [][3]float64{{0, 0, 5}, {10, 0, 5}, {0, 0.1, 5}}},
		{Round: 2, At: [][3]float64{{0, 0, 5}, {0, 0, 5}, {0, 10, 5}}},
		{At: [][3]float64{{0, 0, 5}, {10, 0, 5}, {10, 10, 5}}},
	} {
		if got := still.Path(); len(got) != 3 {
			t.Errorf("%v became %v", still.At, got)
		}
	}
}
