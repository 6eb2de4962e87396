package prove

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/raster"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// growth returns random layers of pieces, each resting on some of the layer below.
func growth(rng *rand.Rand, layers int) [][]piece {
	out := make([][]piece, layers)
	for k := range out {
		n := 1 + rng.IntN(5)
		if k == 0 {
			n = 2 + rng.IntN(4)
		}
		for range n {
			q := piece{moments: moments{area: 1, at: r2.Vec{X: rng.Float64(), Y: rng.Float64()}}}
			a, b, t := 0.5+9*rng.Float64(), 0.5+9*rng.Float64(), math.Pi*rng.Float64()
			s, c := math.Sincos(t)
			q.xx, q.yy, q.xy = a*c*c+b*s*s, a*s*s+b*c*c, (a-b)*s*c
			if k > 0 {
				for s := range out[k-1] {
					if rng.IntN(3) == 0 {
						q.on = append(q.on, int32(s))
					}
				}
			}
			out[k] = append(out[k], q)
		}
	}
	return out
}

// The whole frame as one system of equations: every piece is a beam with the
// stiffness matrix of the handbooks (12EI/h³, 6EI/h², 4EI/h, 2EI/h, for instance
// Przemieniecki 1968, Theory of Matrix Structural Analysis, ch. 5), its lower end in
// the node of all that its supports' tops are. Only layers up to k exist.
func solve(all [][]piece, k int, dz, e float64) []float64 {
	type end struct{ k, n int }
	var ends []end
	index := map[end]int{}
	for l := 0; l <= k; l++ {
		for n := range all[l] {
			index[end{l, n}] = len(ends)
			ends = append(ends, end{l, n})
		}
	}
	f := newForest(len(ends))
	for l := 1; l <= k; l++ {
		for _, q := range all[l] {
			for _, s := range q.on {
				f.Union(int32(index[end{l - 1, int(q.on[0])}]), int32(index[end{l - 1, int(s)}]))
			}
		}
	}
	stiff := mat.NewSymDense(4*len(ends), nil)
	put := func(a, b int, v float64) {
		if a >= 0 && b >= a {
			stiff.SetSym(a, b, stiff.At(a, b)+v)
		}
	}
	for _, at := range ends {
		q := all[at.k][at.n]
		i := [2][2]float64{{q.xx, q.xy}, {q.xy, q.yy}}
		top := 4 * int(f.Find(int32(index[at])))
		low := -4
		if len(q.on) > 0 {
			low = 4 * int(f.Find(int32(index[end{at.k - 1, int(q.on[0])}])))
		}
		for x := range 2 {
			for y := range 2 {
				ei := e * i[x][y]
				// Places of ux, θx below and above.
				v := [4]int{low + x, low + 2 + x, top + x, top + 2 + x}
				w := [4]int{low + y, low + 2 + y, top + y, top + 2 + y}
				a, b, c, d := 12*ei/(dz*dz*dz), 6*ei/(dz*dz), 4*ei/dz, 2*ei/dz
				m := [4][4]float64{{a, b, -a, b}, {b, c, -b, d}, {-a, -b, a, -b}, {b, d, -b, c}}
				for r := range v {
					for s := range w {
						if low < 0 && (r < 2 || s < 2) {
							continue
						}
						put(v[r], w[s], m[r][s])
					}
				}
			}
		}
	}
	for n := range ends {
		if int(f.Find(int32(n))) != n {
			for d := range 4 {
				stiff.SetSym(4*n+d, 4*n+d, 1) // not a node of its own
			}
		}
	}
	var c mat.Cholesky
	if !c.Factorize(stiff) {
		panic("the frame is not stiff")
	}
	var flex mat.SymDense
	if err := c.InverseTo(&flex); err != nil {
		panic(err)
	}
	var out []float64
	for n := range all[k] {
		at := 4 * int(f.Find(int32(index[end{k, n}])))
		m := mat.NewSymDense(2, []float64{flex.At(at, at), flex.At(at, at+1), flex.At(at, at+1), flex.At(at+1, at+1)})
		var eig mat.EigenSym
		if !eig.Factorize(m, false) {
			panic("no eigenvalues")
		}
		out = append(out, eig.Values(nil)[1])
	}
	return out
}

func TestFrameAgainstStiffness(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	joined := 0
	for range 60 {
		all := growth(rng, 2+rng.IntN(8))
		var low []node
		const dz, e = 2.0, 3.0
		for k := range all {
			low = climb(low, all[k], dz, 0, e, 0)
			want := solve(all, k, dz, e)
			for n := range low {
				if got := low[n].own().sway(); math.Abs(got-want[n]) > 1e-6*want[n] {
					t.Fatalf("layer %d, piece %d: %g mm/N, the whole frame gives %g", k, n, got, want[n])
				}
				if len(all[k][n].on) > 1 {
					joined++
				}
			}
		}
	}
	if joined < 100 {
		t.Errorf("only %d joints: too easy a test", joined)
	}
}

// With more pieces than are followed, each stands on the stiffest below it: never
// less give than the whole frame has.
func TestManyPiecesAreOnTheSafeSide(t *testing.T) {
	var all [][]piece
	one := moments{area: 1, xx: 5, yy: 5}
	n := mostJoined + 1
	var first, second, third []piece
	for i := range n {
		first = append(first, piece{moments: one})
		second = append(second, piece{moments: one, on: []int32{int32(i)}})
	}
	third = []piece{{moments: one}}
	for i := range n {
		third[0].on = append(third[0].on, int32(i))
	}
	fourth := []piece{{moments: one, on: []int32{0}}}
	all = append(all, first, second, third, fourth)
	var low []node
	for k := range all {
		low = climb(low, all[k], 5, 0, 3, 0)
	}
	alone := 20.0 * 20 * 20 / (3 * 3 * 5)
	if got := low[0].own().sway(); math.Abs(got-alone) > 1e-9*alone {
		t.Errorf("%g mm/N, want %g of one that stands alone", got, alone)
	}
}

func TestHull(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	for range 200 {
		var points []r2.Vec
		for range 1 + rng.IntN(30) {
			points = append(points, r2.Vec{X: float64(rng.IntN(7)), Y: float64(rng.IntN(7))})
		}
		q := r2.Vec{X: float64(rng.IntN(9)) - 0.5, Y: float64(rng.IntN(9)) - 0.5}
		// Outside is how far all points lie beyond some line through q, at most.
		want := 0.0
		for n := range 3600 {
			s, c := math.Sincos(2 * math.Pi * float64(n) / 3600)
			least := math.Inf(1)
			for _, v := range points {
				least = min(least, (v.X-q.X)*c+(v.Y-q.Y)*s)
			}
			want = max(want, least)
		}
		if got := outside(raster.Hull(points), q); math.Abs(got-want) > 1e-2 {
			t.Fatalf("%v is %g outside %v, want %g", q, got, points, want)
		}
	}
}
