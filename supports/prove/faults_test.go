package prove_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"
	"falsework/supports/prove"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// faults are what may be wrong with one structure: n counts structures. Each returns
// the changed solid, nil if it is gone. The judge may be given another one.
var faults = []struct {
	name string
	do   func(m *mesh.Mesh, n int) *mesh.Mesh
	// gone tells the judge that what is left cannot be printed.
	gone bool
}{
	{"removed", func(*mesh.Mesh, int) *mesh.Mesh { return nil }, false},
	{"2 layers short", func(m *mesh.Mesh, _ int) *mesh.Mesh { return lowered(m, 0.4) }, false},
	{"1 mm aside", func(m *mesh.Mesh, n int) *mesh.Mesh {
		s, c := math.Sincos(float64(n%4) * math.Pi / 2)
		m.Translate(r3.Vec{X: c, Y: s})
		return m
	}, false},
	{"half a line thick", func(m *mesh.Mesh, _ int) *mesh.Mesh { return thinned(m, (0.48-0.2)/2) }, true},
	{"1 mm into the part", func(m *mesh.Mesh, _ int) *mesh.Mesh {
		m.Translate(r3.Vec{Z: 1})
		return m
	}, false},
	{"twice the gap", func(m *mesh.Mesh, _ int) *mesh.Mesh { return lowered(m, 0.2) }, false},
}

// lowered takes d mm off a solid's upper side, its lower side staying where it is.
func lowered(m *mesh.Mesh, d float64) *mesh.Mesh {
	low := m.Bounds().Min.Z
	for i, v := range m.Vertices {
		m.Vertices[i].Z = max(v.Z-d, min(v.Z, low))
	}
	return m
}

// thinned moves every upright face of a solid inward by d mm.
func thinned(m *mesh.Mesh, d float64) *mesh.Mesh {
	faces := make([][]r3.Vec, len(m.Vertices)) // distinct normals of upright faces
	for t, tri := range m.Triangles {
		n := m.AreaNormal(t)
		if r3.Norm(n) == 0 {
			continue
		}
		n = r3.Unit(n)
		if math.Abs(n.Z) > 0.9 {
			continue
		}
		n.Z = 0
		n = r3.Unit(n)
		for _, v := range tri {
			if !slices.ContainsFunc(faces[v], func(o r3.Vec) bool { return r3.Dot(n, o) > 0.99 }) {
				faces[v] = append(faces[v], n)
			}
		}
	}
	for i, list := range faces {
		if len(list) == 0 {
			continue
		}
		v := r3.Scale(-d, list[0])
		for _, o := range list[1:] {
			// Inward from both faces where they make a corner.
			det := list[0].X*o.Y - list[0].Y*o.X
			if math.Abs(det) > 0.2 {
				v = r3.Vec{X: -d * (o.Y - list[0].Y) / det, Y: -d * (list[0].X - o.X) / det}
				break
			}
		}
		m.Vertices[i] = r3.Add(m.Vertices[i], v)
	}
	return m
}

// tally counts cases by what the judge says and what the proof says.
type tally struct {
	matters, caught, harmless, falsely, open int
	missed                                   []string
}

func (a *tally) add(b tally) {
	a.matters, a.caught, a.harmless, a.falsely, a.open = a.matters+b.matters, a.caught+b.caught, a.harmless+b.harmless, a.falsely+b.falsely, a.open+b.open
}

func (a tally) String() string {
	share := func(n, of int) float64 { return 100 * float64(n) / math.Max(1, float64(of)) }
	return fmt.Sprintf("%d faults: %d matter, %d of them caught (%.1f %%); %d harmless, %d of them called failures (%.1f %%); %d too near a limit to say",
		a.matters+a.harmless+a.open, a.matters, a.caught, share(a.caught, a.matters), a.harmless, a.falsely, share(a.falsely, a.harmless), a.open)
}

// faulted is a demo part with its layout, ready to be broken.
type faulted struct {
	part   *mesh.Mesh
	layers *raster.Stack
	s      supports.Settings
	solids []grow.Solid
	// The judge's cells: the part, each structure, and how many structures have a cell.
	own    *block
	blocks []*block
	cover  *block
	counts [][]uint8
}

// around is the room round the part, in mm, that bake lays supports out in.
const around = 5.0

func prepare(t *testing.T, name string) *faulted {
	t.Helper()
	m, s := readPart(t, name)
	f := &faulted{part: m, s: s, layers: raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, around), s.Layers(), 0)}
	p := layout.Layout(name, m, f.layers, need.Find(m, f.layers, s, 0), s, 0)
	var err error
	if f.solids, err = grow.Grow(p, m, f.layers); err != nil {
		t.Fatal(err)
	}
	f.own = solid(m)
	room := m.Bounds()
	for _, q := range f.solids {
		f.blocks = append(f.blocks, solid(q.Mesh))
		b := q.Mesh.Bounds()
		room.Min = r3.Vec{X: min(room.Min.X, b.Min.X), Y: min(room.Min.Y, b.Min.Y)}
		room.Max = r3.Vec{X: max(room.Max.X, b.Max.X), Y: max(room.Max.Y, b.Max.Y), Z: max(room.Max.Z, b.Max.Z)}
	}
	c := &block{x0: int(room.Min.X/fine) - 3, y0: int(room.Min.Y/fine) - 3}
	c.w, c.h = int(room.Max.X/fine)+4-c.x0, int(room.Max.Y/fine)+4-c.y0
	f.cover = c
	for range f.layers.Cut {
		f.counts = append(f.counts, make([]uint8, c.w*c.h))
	}
	for _, b := range f.blocks {
		for k := range b.in {
			for n, v := range b.in[k] {
				if i, j := n%b.w+b.x0-c.x0, n/b.w+b.y0-c.y0; v && k < len(f.counts) && i >= 0 && j >= 0 && i < c.w && j < c.h {
					f.counts[k][j*c.w+i]++
				}
			}
		}
	}
	return f
}

// window is what the judge sees of one structure's surroundings.
type window struct {
	*scene
	own    *block
	k0, k1 int
	before map[slack]func() judged // as it was
}

// window returns that round structure n.
func (f *faulted) window(n int) *window {
	const margin, moved = 11, 1.2 // mm: a bridge, and how far a fault moves things
	b, far := f.blocks[n], int((margin+moved)/fine)
	c := &scene{x0: b.x0 - far, y0: b.y0 - far, w: b.w + 2*far, h: b.h + 2*far}
	w := &window{scene: c, own: b, k0: len(f.counts), k1: min(len(f.counts), len(b.in)+17), before: map[slack]func() judged{}}
	for k := range f.counts {
		part, sup := make([]bool, c.w*c.h), make([]bool, c.w*c.h)
		for j := range c.h {
			y := c.y0 + j
			for i := range c.w {
				x, at := c.x0+i, j*c.w+i
				part[at] = f.own.at(k, x, y)
				if u, v := x-f.cover.x0, y-f.cover.y0; u >= 0 && v >= 0 && u < f.cover.w && v < f.cover.h {
					sup[at] = f.counts[k][v*f.cover.w+u] > 0
				}
			}
		}
		c.part, c.sup = append(c.part, part), append(c.sup, sup)
		if k < len(b.in) && count(b.in[k]) > 0 {
			w.k0 = min(w.k0, max(0, k-14))
		}
	}
	for _, s := range [...]slack{lax, strict} {
		w.before[s] = sync.OnceValue(func() judged { return w.judge(w.k0, w.k1, s) })
	}
	return w
}

// with returns the scene with another solid in place of the structure, nil for none,
// and whether that is any different.
func (f *faulted) with(w *window, other *block) (*scene, bool) {
	c := &scene{x0: w.x0, y0: w.y0, w: w.w, h: w.h, part: w.part}
	changed := false
	for k := range w.sup {
		now := w.sup[k]
		if k < len(w.own.in) || other != nil && k < len(other.in) {
			now = slices.Clone(now)
			for at := range now {
				x, y := w.x0+at%w.w, w.y0+at/w.w
				u, v := x-f.cover.x0, y-f.cover.y0
				left := 0
				if now[at] {
					left = int(f.counts[k][v*f.cover.w+u])
				}
				if w.own.at(k, x, y) {
					left--
				}
				now[at] = left > 0 || other != nil && other.at(k, x, y)
				changed = changed || now[at] != w.sup[k][at]
			}
		}
		c.sup = append(c.sup, now)
	}
	return c, changed
}

// more returns the area, in mm², of what is wrong now and was not before.
func more(a, b [][]bool) (mm2 float64) {
	for k := range b {
		for i, v := range b[k] {
			if v && !(a != nil && a[k][i]) {
				mm2 += fine * fine
			}
		}
	}
	return mm2
}

// wrong returns how much of each kind is wrong that was not before, where a limit of
// least says what is nothing.
func (w *window) wrong(c *scene, s slack, least map[string]float64) map[string]float64 {
	b := c.judge(w.k0, w.k1, s)
	var a judged
	tell := func() map[string]float64 {
		found := map[string]float64{
			"overlap": b.overlap - a.overlap, "unheld": more(a.unheld, b.unheld), "hanging": more(a.hanging, b.hanging),
			"fused":    more([][]bool{a.fused}, [][]bool{b.fused}),
			"touching": more([][]bool{a.touching}, [][]bool{b.touching}),
		}
		for what, v := range found {
			if v <= least[what] {
				delete(found, what)
			}
		}
		return found
	}
	a.fused, a.touching = make([]bool, len(b.fused)), make([]bool, len(b.fused))
	if found := tell(); len(found) == 0 {
		return nil
	}
	a = w.before[s]()
	return tell()
}

// Above these, in mm³ and mm², something is wrong for certain, below those it is
// rounding. A bead's footprint is 0.16 mm².
var (
	certain  = map[string]float64{"overlap": 0.05, "fused": 0.4, "touching": 0.4, "unheld": 0.7, "hanging": 0.7}
	rounding = map[string]float64{"overlap": 0.002, "fused": 0.06, "touching": 0.01, "unheld": 0.02, "hanging": 0.02}
)

// matters asks the judge what a change does: 1 it matters, −1 it is harmless, 0 it
// is too near a limit to say.
func (f *faulted) matters(w *window, other *block) (int, string) {
	c, changed := f.with(w, other)
	if !changed {
		return -1, ""
	}
	sure := w.wrong(c, lax, certain)
	for _, what := range []string{"overlap", "fused", "unheld", "hanging", "touching"} {
		if v, ok := sure[what]; ok {
			return 1, fmt.Sprintf("%s %.2f", what, v)
		}
	}
	for what := range w.wrong(c, strict, rounding) {
		return 0, what
	}
	return -1, ""
}

// prove returns what the proof says of a part on those solids.
func (f *faulted) prove(solids []*mesh.Mesh) (prove.Report, error) {
	all := &mesh.Mesh{}
	for _, m := range solids {
		if m != nil {
			all.Append(m)
		}
	}
	r, err := prove.ProveCut(f.layers, []*mesh.Mesh{all}, f.s, prove.Options{Steadiness: prove.SteadinessTold}) // the judge does not know of it
	if err != nil {
		return r, err
	}
	list, err := prove.Voids(f.part, all, f.s)
	if err != nil {
		return r, err
	}
	r.Bind(list)
	return r, nil
}

// inject breaks some of a part's structures, evenly spread, in every way.
func inject(t *testing.T, name string, most int) tally {
	t.Helper()
	f := prepare(t, name)
	var sum tally
	if len(f.solids) == 0 {
		return sum
	}
	intact := make([]*mesh.Mesh, len(f.solids))
	for i := range f.solids {
		intact[i] = f.solids[i].Mesh
	}
	r, err := f.prove(intact)
	if err != nil {
		t.Fatal(err)
	}
	if r.Verdict != prove.Holds {
		t.Errorf("%s fails unbroken: %v", name, r.Reasons[0].Text)
		return sum
	}
	step := max(1, (len(f.solids)+most-1)/most)
	for n := 0; n < len(f.solids); n += step {
		w := f.window(n)
		type result struct {
			says     int
			why, lie string
			fails    bool
		}
		found := make([]result, len(faults))
		var eg errgroup.Group
		eg.SetLimit(runtime.GOMAXPROCS(0))
		for at, fault := range faults {
			if fault.gone && closes(f.solids[n].ID) {
				continue // no wall, that a line could be too wide for
			}
			eg.Go(func() error {
				changed := fault.do(f.solids[n].Mesh.Clone(), n)
				var seen *block
				if changed != nil {
					for i := range changed.Vertices {
						changed.Vertices[i].Z = max(0, changed.Vertices[i].Z)
					}
					if !fault.gone {
						seen = solid(changed)
					}
				}
				q := &found[at]
				q.says, q.why = f.matters(w, seen)
				with := slices.Clone(intact)
				with[n] = changed
				r, err := f.prove(with)
				if q.fails = r.Verdict == prove.Fails; q.fails {
					q.lie = r.Reasons[0].Text
				}
				return err
			})
		}
		if err := eg.Wait(); err != nil {
			t.Fatal(err)
		}
		for at, fault := range faults {
			if fault.gone && closes(f.solids[n].ID) {
				continue
			}
			q := found[at]
			c := fmt.Sprintf("%s, structure %d (%s), %s", name, n+1, f.solids[n].ID, fault.name)
			switch {
			case q.says > 0:
				sum.matters++
				if q.fails {
					sum.caught++
				} else {
					sum.missed = append(sum.missed, c+": missed, "+q.why)
				}
			case q.says < 0:
				sum.harmless++
				if q.fails {
					sum.falsely++
					sum.missed = append(sum.missed, c+": called a failure, "+q.lie)
				}
			default:
				sum.open++
			}
		}
	}
	return sum
}

// demoParts returns the few parts that are looked at by default, or all and how many
// structures of each are broken if FALSEWORK_FAULTS says a number.
func demoParts(t *testing.T, few ...string) (parts []string, most int) {
	t.Helper()
	v := os.Getenv("FALSEWORK_FAULTS")
	if v == "" {
		return few, 2
	}
	if _, err := fmt.Sscan(v, &most); err != nil {
		t.Fatalf("FALSEWORK_FAULTS: %v", err)
	}
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "parts", "*.stl"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no parts: %v", err)
	}
	for _, file := range files {
		parts = append(parts, strings.TrimSuffix(filepath.Base(file), ".stl"))
	}
	return parts, most
}

// Faults that matter are caught and harmless ones let pass. All of the demo parts take
// many minutes, so by default a few structures are broken.
func TestFaultInjection(t *testing.T) {
	if testing.Short() {
		t.Skip("the judge is slow")
	}
	parts, most := demoParts(t, "drip-hook", "bearing-block")
	var all tally
	for _, name := range parts {
		t.Run(name, func(t *testing.T) {
			one := inject(t, name, most)
			t.Log(one)
			for _, line := range one.missed {
				t.Log(line)
			}
			all.add(one)
		})
	}
	t.Log(all)
	if 100*all.caught < 99*all.matters || 100*all.falsely > all.harmless {
		t.Errorf("%s; wanted at least 99 %% and at most 1 %%", all)
	}
}

// Cells of half the size change no verdict. All of the demo parts are looked at where all
// are broken, else a few.
func TestHalfTheCell(t *testing.T) {
	parts, _ := demoParts(t, "drip-hook", "bearing-block", "mast-saddle", "level-bob", "pipe-elbow")
	for _, name := range parts {
		t.Run(name, func(t *testing.T) { halved(t, name) })
	}
}

// halved proves a part on what is laid out for it in cells of either size.
func halved(t *testing.T, name string) {
	t.Helper()
	m, s := readPart(t, name)
	layers := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, around), s.Layers(), 0)
	// What is built is what the document says, to its last digit.
	text, err := layout.Layout(name, m, layers, need.Find(m, layers, s, 0), s, 0).Encode()
	if err != nil {
		t.Fatal(err)
	}
	drawn, err := plan.Decode(name, text)
	if err != nil {
		t.Fatal(err)
	}
	solids, err := grow.Grow(drawn, m, layers)
	if err != nil {
		t.Fatal(err)
	}
	sup := &mesh.Mesh{}
	for _, q := range solids {
		sup.Append(q.Mesh)
	}
	sup.Round32()
	whole := proof(t, m, s, sup)
	s.Cell /= 2
	half := proof(t, m, s, sup)
	if whole.Verdict != half.Verdict {
		t.Errorf("%s: %s in cells of %g mm, %s in half: %v", name, whole.Verdict, 2*s.Cell, half.Verdict, append(whole.Reasons, half.Reasons...))
	}
	if whole.Verdict != prove.Holds {
		t.Errorf("%s: what was laid out %s: %v", name, whole.Verdict, whole.Reasons)
	}
}

func readPart(t *testing.T, name string) (*mesh.Mesh, supports.Settings) {
	t.Helper()
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
	if err != nil {
		t.Fatal(err)
	}
	m.Round32()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return m, s
}
