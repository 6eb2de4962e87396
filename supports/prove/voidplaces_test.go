package prove_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"
)

// Every contact has its own row, the same in each height: two posts under one ceiling,
// parted by 0.2 and 0.25 mm, and the landing of one of them on a step 0.2 mm below it. Empty
// layers are counted by hand: cut at first + (k − ½)h, a solid prints from the first plane
// at or above its lower side to the last one below its upper side.
func TestVoidsOfEveryContact(t *testing.T) {
	part := join(box(0, 0, 0, 30, 2, 12), box(0, 0, 10.03, 30, 12, 12), box(20, 4, 0, 28, 10, 3.03)) // on no plane
	var sup mesh.Mesh
	sup.Append(box(4, 5, 0, 7, 8, 9.83))
	sup.Append(box(22, 5, 3.23, 25, 8, 9.78))
	list, err := prove.Voids(part, &sup, supports.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	empty := func(h, first, low, high float64) int {
		plane := func(k int) float64 {
			if k == 0 {
				return first / 2
			}
			return first + (float64(k)-0.5)*h
		}
		n := 0
		for k := 0; plane(k) < high-1e-9; k++ {
			if plane(k) > low+1e-9 {
				n++
			}
		}
		return n
	}
	for _, v := range list {
		if len(v.Places) != 3 {
			t.Fatalf("layers of %g mm: %d contacts, want 3: %+v", v.Layer, len(v.Places), v.Places)
		}
		for n, want := range []struct {
			landing   bool
			x, z      float64
			low, high float64
		}{{false, 5.5, 10.03, 9.83, 10.03}, {false, 23.5, 10.03, 9.78, 10.03}, {true, 23.5, 3.23, 3.03, 3.23}} {
			q := v.Places[n]
			if q.Landing != want.landing || math.Abs(q.At[0]-want.x) > 0.1 || math.Abs(q.At[1]-6.5) > 0.1 || q.At[2] != want.z || math.Abs(q.AreaMM2-9) > 1e-6 {
				t.Errorf("layers of %g mm, contact %d: %+v", v.Layer, n+1, q)
			}
			k := empty(v.Layer, v.First, want.low, want.high)
			if q.Layers != [2]int{k, k} || (q.FusedMM2 > 0) != (k == 0) {
				t.Errorf("layers of %g mm, first %g, contact %d: %v empty, %g mm² fused; want %d", v.Layer, v.First, n+1, q.Layers, q.FusedMM2, k)
			}
		}
	}
}
