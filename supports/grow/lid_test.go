package grow_test

import (
	"math"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/plan"
)

// The bore of a post too wide to bridge narrows, layer by layer no faster than the lean,
// until what is left is a planned bridge, and is closed there; a narrower one stays as it
// is up to where walls bridge it or a lid does.
func TestWideBoresClose(t *testing.T) {
	for _, c := range []struct {
		side    float64
		narrows bool
	}{{14, true}, {12, true}, {9.9, true}, {9, false}} {
		m, part, p, s := slab(t, 0.2)
		p.Posts = []plan.Post{{ID: "P1", At: [2]float64{20, 10}, Side: c.side, Head: 12, By: plan.Tool}}
		solids, err := grow.Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		var all mesh.Mesh
		for _, x := range solids {
			if !x.Mesh.Topology().Watertight() || x.Mesh.Volume() <= 0 {
				t.Errorf("side %g: %s is not closed", c.side, x.ID)
			}
			if x.ID == "P1" {
				all.Append(x.Mesh)
			}
		}
		sup := raster.Section(&all, part.Grid, part.Layers, 0)
		bore := func(k int) float64 { // between the walls, right through the middle
			i, j := part.At(n2(20, 10))
			n := 0
			for d := i; d >= 0 && !sup.Layer(k).Has(d, j); d-- {
				n++
			}
			for d := i + 1; d < part.W && !sup.Layer(k).Has(d, j) && n > 0; d++ {
				n++
			}
			return float64(n) * part.Cell
		}
		span, least, whole := s.Bridge*(1-s.Margin), math.Inf(1), c.side-2*s.Wall
		was := bore(0)
		for k := 1; part.Top(k) < 12.3; k++ {
			b := bore(k)
			if b > 0 {
				least = min(least, b)
				if was-b > 2*(s.Layer*math.Tan(s.Lean)+part.Cell) {
					t.Errorf("side %g: layer %d narrows the bore from %.1f to %.1f mm", c.side, k, was, b)
				}
				was = b
			}
		}
		want := whole
		if c.narrows {
			want = span
		}
		// One layer less than the whole way in, and a cell to each side.
		if least > want+2*(s.Layer*math.Tan(s.Lean)+part.Cell) || least < want-2*part.Cell {
			t.Errorf("side %g: the bore narrows to %.1f mm, want %.1f", c.side, least, want)
		}
		if c.narrows && bore(part.Above(12)-1) != 0 {
			t.Errorf("side %g: the bore is open below the head", c.side)
		}
	}
}

// The widest post of a height is one that a lid just closes: no support of its own is in the air
// over it, and over one wider by a line there is no lid.
func TestWidestPostIsClosed(t *testing.T) {
	for _, high := range []float64{4, 6, 9} {
		m, part, p, s := slab(t, 0.2)
		most := grow.WidestPost(high, s)
		for _, c := range []struct {
			side   float64
			closed bool
		}{{most - 0.05, true}, {most + s.Line, false}} {
			p.Posts = []plan.Post{{ID: "P1", At: [2]float64{20, 10}, Side: c.side, Head: high, By: plan.Tool}}
			solids, err := grow.Grow(p, m, part)
			if err != nil {
				t.Fatal(err)
			}
			parts := 0
			for _, x := range solids {
				if b := x.Mesh.Bounds(); x.ID == "P1" && b.Max.Z <= high+1e-6 && b.Min.Z < high-1 {
					parts++ // what narrows the bore below the lid
				}
			}
			if (parts > 0) != c.closed {
				t.Errorf("%g mm high, side %.2f: %d solids narrow its bore, want some: %v", high, c.side, parts, c.closed)
			}
		}
	}
}
