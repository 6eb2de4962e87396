package raster

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

func box(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	v := []r3.Vec{{X: x0, Y: y0, Z: z0}, {X: x1, Y: y0, Z: z0}, {X: x1, Y: y1, Z: z0}, {X: x0, Y: y1, Z: z0},
		{X: x0, Y: y0, Z: z1}, {X: x1, Y: y0, Z: z1}, {X: x1, Y: y1, Z: z1}, {X: x0, Y: y1, Z: z1}}
	return &mesh.Mesh{Vertices: v, Triangles: [][3]uint32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7},
		{0, 1, 5}, {0, 5, 4}, {1, 2, 6}, {1, 6, 5}, {2, 3, 7}, {2, 7, 6}, {3, 0, 4}, {3, 4, 7}}}
}

func TestLayersAbove(t *testing.T) {
	lay := Layers{First: 0.3, Height: 0.2}
	for _, z := range []float64{-1, 0, 0.15, 0.1500001, 0.3, 0.4, 0.4000001, 5, 30} {
		k := lay.Above(z)
		if lay.Plane(k) < z || k > 0 && lay.Plane(k-1) >= z {
			t.Errorf("Above(%v) = %d, plane %v", z, k, lay.Plane(k))
		}
	}
}

func TestSectionBox(t *testing.T) {
	m := box(1, 2, 0, 4, 7, 3)
	m.Append(box(3, 2, 0, 6, 7, 3)) // overlapping shells are united, not cancelled
	g := GridFor(m.Bounds(), 0.1, 1)
	s := Section(m, g, Layers{0.2, 0.2}, 2)
	if len(s.Cut) != 15 {
		t.Fatalf("layers = %d, want 15", len(s.Cut))
	}
	for k := range s.Cut {
		if n := s.Cut[k].Count(); n != 50*50 {
			t.Fatalf("layer %d has %d cells, want 2500", k, n)
		}
	}
}

// A random set is dilated by the definition, cell by cell, and by words.
func TestDilateAgainstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 0; n < 60; n++ {
		b := NewBits(-70, -9, 150, 40)
		for c := 0; c < 25; c++ {
			b.Set(rng.IntN(200)-60, rng.IntN(45)-8)
		}
		r := rng.Float64() * 9
		if n%10 == 0 {
			r = 60 + rng.Float64()*20 // beyond one word
		}
		got := Dilate(&b, DiscOf(r))
		for j := -100; j < 140; j++ {
			for i := -160; i < 240; i++ {
				want := false
				b.Each(func(x, y int) {
					if float64((x-i)*(x-i)+(y-j)*(y-j)) <= r*r {
						want = true
					}
				})
				if got.Row64(i, j)&1 == 1 != want || got.Row64(i-63, j)>>63 == 1 != want || got.Row64(i-9, j)>>9&1 == 1 != want {
					t.Fatalf("r %v cell (%d,%d): a row of 64 cells has it otherwise", r, i, j)
				}
				if got.Has(i, j) != want {
					t.Fatalf("r %v cell (%d,%d): got %v want %v", r, i, j, got.Has(i, j), want)
				}
			}
		}
		beyond, within := Beyond(&got, &b, DiscOf(r)), Within(&got, &b, DiscOf(r))
		if !beyond.Empty() || !Equal(&within, &got) {
			t.Fatalf("Beyond/Within disagree with Dilate at r %v", r)
		}
		one := NewBits(-100, -60, 200, 100)
		i, j := rng.IntN(300)-100, rng.IntN(160)-60
		one.Set(i, j)
		if Near(&one, &b, DiscOf(r)) != got.Has(i, j) {
			t.Fatalf("Near disagrees with Dilate at r %v, cell (%d, %d)", r, i, j)
		}
		er := Erode(&got, DiscOf(r))
		hole := NewBits(-240, -120, 320, 160)
		for j := -120; j < 160; j++ {
			hole.SetSpan(j, -240, 320)
		}
		hole.Remove(&got)
		if gone := Beyond(&got, &hole, DiscOf(r)); !Equal(&er, &gone) {
			t.Fatalf("r %v: %d cells are left, %d are beyond what is outside", r, er.Count(), gone.Count())
		}
		missing := AndNot(&b, &er)
		if !missing.Empty() {
			t.Fatalf("closing lost cells at r %v", r)
		}
	}
}

func TestPieces(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for n := 0; n < 200; n++ {
		b := NewBits(0, 0, 90, 20)
		for c := 0; c < 500; c++ {
			b.Set(rng.IntN(90), rng.IntN(20))
		}
		seen := map[[2]int]bool{}
		comps := 0
		b.Each(func(i, j int) {
			if seen[[2]int{i, j}] {
				return
			}
			comps++
			todo := [][2]int{{i, j}}
			seen[[2]int{i, j}] = true
			for len(todo) > 0 {
				c := todo[0]
				todo = todo[1:]
				for dx := -1; dx <= 1; dx++ {
					for dy := -1; dy <= 1; dy++ {
						q := [2]int{c[0] + dx, c[1] + dy}
						if b.Has(q[0], q[1]) && !seen[q] {
							seen[q] = true
							todo = append(todo, q)
						}
					}
				}
			}
		})
		ps := Pieces(&b)
		if len(ps) != comps {
			t.Fatalf("pieces %d, flood fill %d", len(ps), comps)
		}
		area := 0
		for _, p := range ps {
			area += p.Area
			if p.Cells.Count() != p.Area {
				t.Fatal("a piece's area is not its cells")
			}
		}
		if area != b.Count() {
			t.Fatal("pieces do not add up")
		}
	}
}

func TestEachRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for n := 0; n < 200; n++ {
		b := NewBits(-64, 0, 192, 3)
		for c := 0; c < 8; c++ {
			i := rng.IntN(250) - 64
			b.SetSpan(rng.IntN(3), i, min(i+rng.IntN(130), 192))
		}
		cells := 0
		var got Bits = NewBits(-64, 0, 192, 3)
		b.EachRun(func(j, i0, i1 int) {
			cells += i1 - i0
			got.SetSpan(j, i0, i1)
			if b.Has(i0-1, j) || b.Has(i1, j) {
				t.Fatal("run is not maximal")
			}
		})
		if cells != b.Count() || !Equal(&got, &b) {
			t.Fatal("runs do not cover the set")
		}
	}
}

func sphere(r float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rows := n / 2
	for i := 0; i <= rows; i++ {
		th := math.Pi * float64(i) / float64(rows)
		for j := 0; j < n; j++ {
			ph := 2 * math.Pi * float64(j) / float64(n)
			m.Vertices = append(m.Vertices, r3.Vec{X: r * math.Sin(th) * math.Cos(ph), Y: r * math.Sin(th) * math.Sin(ph), Z: r - r*math.Cos(th)})
		}
	}
	at := func(i, j int) uint32 { return uint32(i*n + j%n) }
	for i := 0; i < rows; i++ {
		for j := 0; j < n; j++ {
			m.Triangles = append(m.Triangles, [3]uint32{at(i, j), at(i, j+1), at(i+1, j+1)}, [3]uint32{at(i, j), at(i+1, j+1), at(i+1, j)})
		}
	}
	return m
}

// Volume by cells against the mesh's own, and both against 4/3·π·r³.
func TestSectionVolumeSphere(t *testing.T) {
	m := sphere(10, 200)
	if m.Volume() < 0 {
		t.Fatal("test sphere is inside out")
	}
	g := GridFor(m.Bounds(), 0.1, 1)
	s := Section(m, g, Layers{0.2, 0.2}, 0)
	if e := math.Abs(s.Volume()/m.Volume() - 1); e > 1e-3 {
		t.Errorf("raster volume %v, mesh volume %v: off by %.4f", s.Volume(), m.Volume(), e)
	}
	if e := math.Abs(m.Volume()/(4./3*math.Pi*1000) - 1); e > 2e-3 {
		t.Errorf("mesh volume off the formula by %v", e)
	}
	one := Section(m, g, Layers{0.2, 0.2}, 1)
	for k := range s.Cut {
		if !Equal(&s.Cut[k], &one.Cut[k]) {
			t.Fatalf("layer %d depends on the number of workers", k)
		}
	}
}

// Planes that pass exactly through corners must not lose or add a wall.
func TestSectionThroughCorners(t *testing.T) {
	lay := Layers{0.2, 0.2}
	m := box(0, 0, 0, 5, 5, lay.Plane(9)) // corners on plane 9
	m.Append(box(1, 1, lay.Plane(9), 4, 4, lay.Plane(12)))
	s := Section(m, GridFor(m.Bounds(), 0.1, 1), lay, 1)
	if len(s.Cut) != 12 {
		t.Fatalf("%d layers, want 12: a top face on a plane prints nothing there", len(s.Cut))
	}
	for k, want := range map[int]int{0: 2500, 8: 2500, 9: 900, 11: 900} {
		if n := s.Cut[k].Count(); n != want {
			t.Errorf("layer %d has %d cells, want %d", k, n, want)
		}
	}
}

// Set algebra against the definition, cell by cell, on windows that overlap,
// touch and miss each other.
func TestSetAlgebraAgainstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	random := func() Bits {
		if rng.IntN(12) == 0 {
			return Bits{}
		}
		x, y := rng.IntN(300)-150, rng.IntN(30)-15
		b := NewBits(x, y, x+1+rng.IntN(200), y+1+rng.IntN(20))
		x0, y0, x1, y1 := b.window()
		for n := 0; n < 300; n++ {
			b.Set(x0+rng.IntN(x1-x0), y0+rng.IntN(y1-y0))
		}
		return b
	}
	for n := 0; n < 100; n++ {
		a, b := random(), random()
		and, or, not := And(&a, &b), Or(&a, &b), AndNot(&a, &b)
		sum := a.Clone()
		sum.Add(&b)
		if !Equal(&sum, &or) {
			t.Fatalf("Add has %d cells, want %d", sum.Count(), or.Count())
		}
		for j := -20; j < 40; j++ {
			for i := -220; i < 420; i++ {
				p, q := a.Has(i, j), b.Has(i, j)
				if and.Has(i, j) != (p && q) || or.Has(i, j) != (p || q) || not.Has(i, j) != (p && !q) {
					t.Fatalf("cell (%d, %d): %v, %v", i, j, p, q)
				}
			}
		}
	}
}

// Bounds are those of the cells, wherever in the window they lie.
func TestBoundsAgainstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for n := 0; n < 300; n++ {
		b := NewBits(-130, -9, 200, 12)
		var x0, y0, x1, y1 int
		for k := range rng.IntN(4) {
			i, j := rng.IntN(330)-130, rng.IntN(21)-9
			b.Set(i, j)
			if k == 0 {
				x0, y0, x1, y1 = i, j, i+1, j+1
			}
			x0, y0, x1, y1 = min(x0, i), min(y0, j), max(x1, i+1), max(y1, j+1)
		}
		if a, c, d, e := b.Bounds(); a != x0 || c != y0 || d != x1 || e != y1 {
			t.Fatalf("bounds %d, %d to %d, %d, want %d, %d to %d, %d", a, c, d, e, x0, y0, x1, y1)
		}
	}
}

// Runs are the maximal ones, and cells that are moved keep their places to one another,
// cell by cell.
func TestRunsAndMovesAgainstDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for range 200 {
		b := NewBits(-64, -4, 192, 5)
		for range rng.IntN(6) {
			i := rng.IntN(256) - 64
			b.SetSpan(rng.IntN(9)-4, i, min(192, i+rng.IntN(150)))
		}
		var want [][3]int
		for j := -4; j < 5; j++ {
			for i := -64; i < 192; i++ {
				if !b.Has(i, j) {
					continue
				}
				if !b.Has(i-1, j) {
					want = append(want, [3]int{j, i, i})
				}
				want[len(want)-1][2]++
			}
		}
		var got [][3]int
		b.EachRun(func(j, i0, i1 int) { got = append(got, [3]int{j, i0, i1}) })
		if !slices.Equal(got, want) {
			t.Fatalf("runs %v, want %v", got, want)
		}
		dx, dy := rng.IntN(300)-150, rng.IntN(9)-4
		moved := Moved(&b, dx, dy)
		if moved.Count() != b.Count() {
			t.Fatalf("moved by %d, %d: %d cells, want %d", dx, dy, moved.Count(), b.Count())
		}
		b.Each(func(i, j int) {
			if !moved.Has(i+dx, j+dy) {
				t.Fatalf("moved by %d, %d: cell %d, %d is gone", dx, dy, i, j)
			}
		})
	}
}

// Crop keeps the cells of a box, whatever its place in the words.
func TestCrop(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for n := 0; n < 200; n++ {
		b := NewBits(-70, -9, 140, 12)
		for k := 0; k < 600; k++ {
			b.Set(rng.IntN(200)-65, rng.IntN(20)-9)
		}
		x0, y0 := rng.IntN(220)-90, rng.IntN(30)-15
		x1, y1 := x0+rng.IntN(150), y0+rng.IntN(20)
		want := NewBits(-70, -9, 140, 12)
		b.Each(func(i, j int) {
			if i >= x0 && i < x1 && j >= y0 && j < y1 {
				want.Set(i, j)
			}
		})
		if got := Crop(&b, x0, y0, x1, y1); !Equal(&got, &want) {
			t.Fatalf("box %d, %d to %d, %d: %d cells, want %d", x0, y0, x1, y1, got.Count(), want.Count())
		}
	}
}
