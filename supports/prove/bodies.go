package prove

import (
	"sort"

	"falsework/mesh"
	"falsework/raster"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// run is a row's maximal run of cells, i0 ≤ i < i1.
type run struct {
	i0, i1 int32
	body   int32 // index of the body it belongs to
}

// rows holds the runs of one layer by row: row j's are
// runs[start[j-y0]:start[j-y0+1]].
type rows struct {
	y0    int
	start []int32
	runs  []run
	first int // number of runs in the layers below
}

func rowsOf(b *raster.Bits) rows {
	var r rows
	next := 0 // row after the last one begun
	b.EachRun(func(j, i0, i1 int) {
		if len(r.runs) == 0 {
			r.y0, next = j, j
		}
		for ; next <= j; next++ {
			r.start = append(r.start, int32(len(r.runs)))
		}
		r.runs = append(r.runs, run{i0: int32(i0), i1: int32(i1)})
	})
	r.start = append(r.start, int32(len(r.runs)))
	return r
}

// row returns the runs of row j and the index of the first within the layer.
func (r *rows) row(j int) ([]run, int) {
	j -= r.y0
	if j < 0 || j+1 >= len(r.start) {
		return nil, 0
	}
	return r.runs[r.start[j]:r.start[j+1]], int(r.start[j])
}

// bodyAt returns the body of cell (i, j), −1 outside.
func (r *rows) bodyAt(i, j int) int {
	row, _ := r.row(j)
	n := sort.Search(len(row), func(n int) bool { return int(row[n].i1) > i })
	if n == len(row) || int(row[n].i0) > i {
		return -1
	}
	return int(row[n].body)
}

// forest keeps the runs of layers in the bodies that they are of.
type forest struct{ mesh.Disjoint[int32] }

func newForest(n int) forest { return forest{mesh.NewDisjoint[int32](n)} }

// runsOf returns the runs of every layer, of no body yet, and how many they are.
func runsOf(s *raster.Stack, workers int) (layers []rows, total int) {
	layers = make([]rows, len(s.Cut))
	eachLayer(len(s.Cut), workers, func(k int) { layers[k] = rowsOf(&s.Cut[k]) })
	for k := range layers {
		layers[k].first = total
		total += len(layers[k].runs)
	}
	return layers, total
}

// connect labels the runs of every layer with their body and returns the number
// of bodies. Cells that touch, if only at a corner, are of one body, as molten
// beads are; a whole empty layer parts two. Bodies are numbered by their first
// run, layers upward, rows upward, cells rightward.
func connect(s *raster.Stack, workers int) ([]rows, int) {
	layers, total := runsOf(s, workers)
	f := newForest(total)
	for k := range layers {
		f.layer(layers, k)
	}
	number := make([]int32, total)
	bodies := int32(0)
	for k := range layers {
		l := &layers[k]
		for n := range l.runs {
			at := int32(l.first + n)
			if root := f.Find(at); root == at {
				number[at] = bodies
				bodies++
			} else {
				number[at] = number[root]
			}
			l.runs[n].body = number[at]
		}
	}
	return layers, int(bodies)
}

// layer joins the runs of layer k with one another and with those of the layer
// below.
func (f forest) layer(layers []rows, k int) {
	l := &layers[k]
	for n := 0; n+1 < len(l.start); n++ {
		j := l.y0 + n
		f.touch(l, j, l, j-1)
		if k > 0 {
			for d := -1; d <= 1; d++ {
				f.touch(l, j, &layers[k-1], j+d)
			}
		}
	}
}

// touch joins the runs of a's row j with those of b's row i that they touch.
func (f forest) touch(a *rows, j int, b *rows, i int) {
	ra, na := a.row(j)
	rb, nb := b.row(i)
	for p, q := 0, 0; p < len(ra) && q < len(rb); {
		if ra[p].i0 <= rb[q].i1 && rb[q].i0 <= ra[p].i1 {
			f.Union(int32(a.first+na+p), int32(b.first+nb+q))
		}
		if ra[p].i1 < rb[q].i1 {
			p++
		} else {
			q++
		}
	}
}

// eachLayer calls f for every layer, spread over workers.
func eachLayer(n, workers int, f func(k int)) {
	var eg errgroup.Group
	eg.SetLimit(workers)
	// Few layers a task: supports crowd in some of them.
	const chunk = 16
	for k := 0; k < n; k += chunk {
		eg.Go(func() error {
			for c := k; c < min(n, k+chunk); c++ {
				f(c)
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
}

// measure fills in the bodies' sizes and what of them stands on the plate.
func (p *proof) measure(layers []rows, n int) []Body {
	bodies := make([]Body, n)
	cells := make([]struct{ x0, y0, x1, y1, k0, k1 int }, n)
	plate := make([]int, n)
	inner := make([]int, n) // cells above layer 0
	for k := range layers {
		l := &layers[k]
		for r := 0; r+1 < len(l.start); r++ {
			j := l.y0 + r
			for _, u := range l.runs[l.start[r]:l.start[r+1]] {
				b := &cells[u.body]
				i0, i1 := int(u.i0), int(u.i1)
				if b.x1 == b.x0 {
					b.x0, b.x1, b.y0, b.y1, b.k0 = i0, i1, j, j+1, k
				}
				b.x0, b.x1, b.y0, b.y1, b.k1 = min(b.x0, i0), max(b.x1, i1), min(b.y0, j), max(b.y1, j+1), k
				if k == 0 {
					plate[u.body] += i1 - i0
				} else {
					inner[u.body] += i1 - i0
				}
			}
		}
	}
	g := p.sup.Grid
	for n := range bodies {
		c := &cells[n]
		bodies[n] = Body{
			ID: n + 1,
			Bounds: r3.Box{
				Min: r3.Vec{X: tidy(g.Origin.X + float64(c.x0)*g.Cell), Y: tidy(g.Origin.Y + float64(c.y0)*g.Cell), Z: tidy(p.sup.Bottom(c.k0))},
				Max: r3.Vec{X: tidy(g.Origin.X + float64(c.x1)*g.Cell), Y: tidy(g.Origin.Y + float64(c.y1)*g.Cell), Z: tidy(p.sup.Top(c.k1))},
			},
			VolumeMM3: tidy((float64(plate[n])*p.sup.First + float64(inner[n])*p.sup.Height) * g.CellArea()),
			PlateMM2:  tidy(float64(plate[n]) * g.CellArea()),
			WaysOut:   []Way{},
		}
	}
	return bodies
}
