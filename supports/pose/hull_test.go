package pose

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// slowHull is the slow twin: a plane through three points is one of the hull's where
// no point lies above it, and the hull's volume is a sum over those planes of
// distance from the middle times area over three.
func slowHull(points []r3.Vec) (planes map[[4]int64]bool) {
	planes = map[[4]int64]bool{}
	at := onGrid(points)
	for i := range at {
		for j := range at {
			for k := range at {
				n := at[j].minus(at[i]).cross(at[k].minus(at[i]))
				if n == (lattice{}) {
					continue
				}
				above := false
				f := facet{origin: at[i], normal: n}
				for _, p := range at {
					_, sign := f.height(p)
					above = above || sign > 0
				}
				if !above {
					planes[plane(n, at[i])] = true
				}
			}
		}
	}
	return planes
}

// plane names a plane by its normal in lowest terms and its distance along it.
func plane(n, p lattice) [4]int64 {
	g := gcd(gcd(n[0], n[1]), n[2])
	n = lattice{n[0] / g, n[1] / g, n[2] / g}
	return [4]int64{n[0], n[1], n[2], n[0]*p[0] + n[1]*p[1] + n[2]*p[2]}
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// asMesh lets a hull be measured.
func (h *Hull) asMesh() *mesh.Mesh { return &mesh.Mesh{Vertices: h.Points, Triangles: h.Faces} }

func TestHullAgainstSlowTwin(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	clouds := map[string]func() r3.Vec{
		// Few places, so that many points coincide or lie in one plane.
		"lattice": func() r3.Vec {
			return r3.Vec{X: float64(random.IntN(4)), Y: float64(random.IntN(3)), Z: float64(random.IntN(3))}
		},
		"ball": func() r3.Vec {
			return r3.Unit(r3.Vec{X: math.Round(40 * random.NormFloat64()), Y: math.Round(40 * random.NormFloat64()), Z: 0.5})
		},
		"slab": func() r3.Vec {
			return r3.Vec{X: float64(random.IntN(64)), Y: float64(random.IntN(64)), Z: float64(random.IntN(2))}
		},
	}
	for name, point := range clouds {
		for run := range 20 {
			points := make([]r3.Vec, 5+run)
			for i := range points {
				points[i] = point()
			}
			h, err := HullOf(points)
			want := slowHull(points)
			if errors.Is(err, ErrFlat) {
				if len(want) > 2 {
					t.Errorf("%s %d: flat, but it has %d planes", name, run, len(want))
				}
				continue
			}
			top := h.asMesh().Topology()
			if !top.Watertight() || top.Degenerate > 0 || len(h.Faces) != 2*len(h.Points)-4 {
				t.Errorf("%s %d: %+v of %d corners", name, run, top, len(h.Points))
			}
			at := onGrid(append(append([]r3.Vec{}, h.Points...), points...))
			got := map[[4]int64]bool{}
			for _, f := range h.Faces {
				a, b, c := at[f[0]], at[f[1]], at[f[2]]
				got[plane(b.minus(a).cross(c.minus(a)), a)] = true
			}
			if len(got) != len(want) {
				t.Errorf("%s %d: %d planes, want %d", name, run, len(got), len(want))
			}
			for p := range want {
				if !got[p] {
					t.Errorf("%s %d: plane %v is missing", name, run, p)
				}
			}
		}
	}
}

func TestHullOfFlatPoints(t *testing.T) {
	a, b, c, d := r3.Vec{}, r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{X: 1, Y: 1}
	for name, points := range map[string][]r3.Vec{
		"none": nil, "one": {a}, "four times one": {a, a, a, a}, "a line": {a, b, r3.Scale(2, b), r3.Scale(3, b)}, "a square": {a, b, c, d},
	} {
		if _, err := HullOf(points); !errors.Is(err, ErrFlat) {
			t.Errorf("%s: error %v, want ErrFlat", name, err)
		}
	}
}

// The exact sign decides where floating point cannot: a point one step of the grid
// above a wide face.
func TestHeightIsExact(t *testing.T) {
	const m = 1<<gridBits - 1
	a, b, c := lattice{0, 0, 0}, lattice{m, 1, m - 2}, lattice{1, m, m - 5}
	f := facet{origin: a, normal: b.minus(a).cross(c.minus(a))}
	mid := lattice{b[0] + c[0], b[1] + c[1], b[2] + c[2]} // in the plane, and even
	for _, v := range []struct {
		p    lattice
		sign int
	}{{a, 0}, {b, 0}, {c, 0}, {lattice{mid[0] / 2, mid[1] / 2, mid[2] / 2}, -1}, {lattice{b[0], b[1], b[2] + 1}, 1}, {lattice{c[0], c[1], c[2] - 1}, -1}} {
		if _, sign := f.height(v.p); sign != v.sign {
			t.Errorf("point %v: sign %d, want %d", v.p, sign, v.sign)
		}
	}
}

func BenchmarkHull(b *testing.B) {
	m := meshtest.Blob(100_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := HullOf(m.Vertices); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSums(b *testing.B) {
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		n    int
	}{{"blob/100000/1000", meshtest.Blob(100_000), 1000}, {"blob/10000/1000", meshtest.Blob(10_000), 1000}} {
		b.Run(c.name, func(b *testing.B) {
			o, err := Options{}.resolve()
			if err != nil {
				b.Fatal(err)
			}
			w, err := newSummer(c.m, o)
			if err != nil {
				b.Fatal(err)
			}
			ups := Spread(c.n)
			b.ReportAllocs()
			b.SetBytes(int64(c.n) * int64(len(c.m.Triangles)))
			for b.Loop() {
				w.sum(ups)
			}
		})
	}
}
