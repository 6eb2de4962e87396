package prove

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// scatter returns a small stack of random boxes, some of them beyond a word wide.
func scatter(rng *rand.Rand, boxes int) *raster.Stack {
	const w, h, n = 90, 80, 7
	s := &raster.Stack{Grid: raster.Grid{Origin: r2.Vec{X: -3, Y: 1}, Cell: 0.1, W: w, H: h}, Layers: raster.Layers{First: 0.3, Height: 0.2}, Cut: make([]raster.Bits, n)}
	for k := range s.Cut {
		s.Cut[k] = raster.NewBits(0, 0, w, h)
	}
	for b := 0; b < boxes; b++ {
		x, y, k := rng.IntN(w), rng.IntN(h), rng.IntN(n)
		x1, y1, k1 := min(w, x+1+rng.IntN(12)), min(h, y+1+rng.IntN(12)), min(n, k+1+rng.IntN(3))
		for ; k < k1; k++ {
			for j := y; j < y1; j++ {
				s.Cut[k].SetSpan(j, x, x1)
			}
		}
	}
	return s
}

type cell struct{ k, j, i int }

// flood labels every cell's body by walking from cell to cell.
func flood(s *raster.Stack) (map[cell]int, int) {
	label := map[cell]int{}
	n := 0
	for k := range s.Cut {
		s.Cut[k].Each(func(i, j int) {
			if _, ok := label[cell{k, j, i}]; ok {
				return
			}
			todo := []cell{{k, j, i}}
			label[todo[0]] = n
			for len(todo) > 0 {
				c := todo[0]
				todo = todo[1:]
				for d := 0; d < 27; d++ {
					o := cell{c.k + d/9 - 1, c.j + d/3%3 - 1, c.i + d%3 - 1}
					if _, ok := label[o]; !ok && s.Layer(o.k).Has(o.i, o.j) {
						label[o] = n
						todo = append(todo, o)
					}
				}
			}
			n++
		})
	}
	return label, n
}

func TestBodiesAgainstFlood(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for n := 0; n < 60; n++ {
		s := scatter(rng, 5+n)
		want, count := flood(s)
		layers, got := connect(s, 1+n%3)
		if got != count {
			t.Fatalf("%d bodies, flood finds %d", got, count)
		}
		cells := 0
		for c, b := range want {
			if layers[c.k].bodyAt(c.i, c.j) != b {
				t.Fatalf("cell %v is of body %d, flood says %d", c, layers[c.k].bodyAt(c.i, c.j), b)
			}
			cells++
		}
		for k := range layers {
			for _, u := range layers[k].runs {
				cells -= int(u.i1 - u.i0)
			}
		}
		if cells != 0 {
			t.Fatalf("runs and cells differ by %d", cells)
		}
	}
}

// Every cell of a body is walked along its way, one cell after another, until it
// leaves the grid or meets a cell of the part that has all four neighbours.
func TestWaysAgainstWalk(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	seen, freed := map[uint32]bool{}, 0
	for n := 0; n < 60; n++ {
		sup, part := scatter(rng, 2+n%9), scatter(rng, 1+n%23)
		if n%4 == 1 {
			shelve(sup, part)
		}
		// A void of one layer unless fused.
		set := supports.Settings{Layer: 0.2, Gap: 0.2}
		if n%2 == 0 {
			set.Gap = supports.Fused
		}
		p := &proof{part: part, sup: sup, s: set, workers: 1 + n%3}
		layers, bodies := connect(sup, 2)
		got := p.ways(layers, bodies)
		want := walk(part, sup, layers, bodies, 0)
		if n%2 == 1 {
			lifted, lowered := walk(part, sup, layers, bodies, 1), walk(part, sup, layers, bodies, -1)
			for b := range want {
				if want[b] == 1<<allWays-1 {
					want[b] &= (lifted[b] & lowered[b]) | 1<<wayDown | 1<<wayUp
					if want[b] != 1<<allWays-1 {
						freed++
					}
				}
			}
		}
		for b := range want {
			seen[want[b]] = true
			if got[b] != want[b] {
				t.Fatalf("stack %d, body %d: barred %018b, walk says %018b", n, b, got[b], want[b])
			}
		}
	}
	if len(seen) < 20 || freed == 0 {
		t.Errorf("only %d different outcomes, %d freed by lifting: too easy a test", len(seen), freed)
	}
}

// shelve puts the supports between two slabs of the part, with a lip of one
// layer round the lower one.
func shelve(sup, part *raster.Stack) {
	for k := range part.Cut {
		switch k {
		case 0, len(part.Cut) - 1:
			for j := 0; j < part.H; j++ {
				part.Cut[k].SetSpan(j, 0, part.W)
			}
			sup.Cut[k] = raster.Bits{}
		case 1:
			for j := 0; j < part.H; j++ {
				part.Cut[k].SetSpan(j, 0, 4)
				part.Cut[k].SetSpan(j, part.W-4, part.W)
				if j < 4 || j >= part.H-4 {
					part.Cut[k].SetSpan(j, 0, part.W)
				}
			}
			sup.Cut[k] = raster.AndNot(&sup.Cut[k], &part.Cut[k])
		default:
			part.Cut[k] = raster.Bits{}
		}
	}
	sup.Cut[len(sup.Cut)-2] = raster.Bits{}
}

// walk returns the ways barred to each body once it is lifted by rise layers.
func walk(part, sup *raster.Stack, layers []rows, bodies, rise int) []uint32 {
	want := make([]uint32, bodies)
	inside := func(k, i, j int) bool {
		b := part.Layer(k + rise)
		return b.Has(i, j) && b.Has(i-1, j) && b.Has(i+1, j) && b.Has(i, j-1) && b.Has(i, j+1)
	}
	for k := range sup.Cut {
		sup.Cut[k].Each(func(i, j int) {
			if part.Layer(k).Has(i, j) {
				return
			}
			b := layers[k].bodyAt(i, j)
			if inside(k, i, j) {
				want[b] |= 1<<compass - 1
			}
			for w := 0; w < compass; w++ {
				c, s := math.Cos(2*math.Pi*float64(w)/compass), math.Sin(2*math.Pi*float64(w)/compass)
				alongX := math.Abs(c) > math.Abs(s)-1e-9
				for step := 1; step < 200; step++ {
					x, y := i, j
					if alongX {
						x += step * int(math.Copysign(1, c))
						y += int(math.Round(snap(s/c)*float64(x))) - int(math.Round(snap(s/c)*float64(i)))
					} else {
						y += step * int(math.Copysign(1, s))
						x += int(math.Round(snap(c/s)*float64(y))) - int(math.Round(snap(c/s)*float64(j)))
					}
					if inside(k, x, y) {
						want[b] |= 1 << w
						break
					}
				}
			}
			for o := range part.Cut {
				if o < k && inside(o, i, j) {
					want[b] |= 1 << wayDown
				}
				if o > k && inside(o, i, j) {
					want[b] |= 1 << wayUp
				}
			}
		})
	}
	return want
}

// snap takes rounding off the slopes that are whole.
func snap(v float64) float64 {
	if r := math.Round(v); math.Abs(v-r) < 1e-9 {
		return r
	}
	return v
}

func TestTransposeTwiceIsSame(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for n := 0; n < 40; n++ {
		x0, y0 := rng.IntN(99)-50, rng.IntN(99)-50
		a := newPlane(x0, y0, x0+1+rng.IntN(200), y0+1+rng.IntN(200))
		for c := 0; c < 400; c++ {
			i := rng.IntN(a.w)
			setSpan(a.row(rng.IntN(a.h)), i, i+1)
		}
		b := a.transpose()
		for j := 0; j < a.h; j++ {
			for i := 0; i < a.w; i++ {
				if anyIn(a.row(j), i, i+1) != anyIn(b.row(i), j, j+1) {
					t.Fatalf("cell (%d, %d) of %d × %d is lost", i, j, a.w, a.h)
				}
			}
		}
	}
}
