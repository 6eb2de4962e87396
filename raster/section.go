package raster

import (
	"runtime"
	"slices"
	"sync"

	"falsework/mesh"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// Stack is a solid cut into layers: one set of cells each, from the plate up.
type Stack struct {
	Grid
	Layers
	Cut []Bits

	columns *columns // nil: layers are looked through instead
}

// Layer returns layer k, empty when the solid does not reach it.
func (s *Stack) Layer(k int) *Bits {
	if s == nil || k < 0 || k >= len(s.Cut) {
		return &Bits{}
	}
	return &s.Cut[k]
}

// Volume returns the printed volume in mm³: cells times layer thickness.
func (s *Stack) Volume() float64 {
	v := 0.0
	for k := range s.Cut {
		v += float64(s.Cut[k].Count()) * s.CellArea() * s.Thickness(k)
	}
	return v
}

// crossing is where a section's outline passes a row of cell centres: the first
// cell whose centre lies at or right of it, and the change of winding there.
type crossing struct {
	row, col int32
	turn     int32
}

// chunkLayers is how many layers one task cuts: enough to spread a triangle's
// set-up, few enough that tasks outnumber workers.
const chunkLayers = 32

// Section cuts m into layers. Rows and columns outside the grid are clipped,
// with the winding they carry kept. The work is spread over workers (0 = one for
// each processor); the result does not depend on their number.
//
// Each triangle edge is cut with its lower end first, so two triangles that
// share an edge get the same point to the last bit and closed meshes yield
// closed outlines. A corner on the plane counts as below it, so a layer cut just
// at a ceiling has the ceiling in it, and one cut just at a top face is empty
// there. An outline owns the rows from its lower end up to but not including its
// upper end.
func Section(m *mesh.Mesh, g Grid, lay Layers, workers int) *Stack {
	count := lay.Count(m.Bounds().Max.Z)
	s := &Stack{Grid: g, Layers: lay, Cut: make([]Bits, count), columns: &columns{}}
	if count == 0 {
		return s
	}
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	chunks := (count + chunkLayers - 1) / chunkLayers
	lists := chunkTriangles(m, lay, count, chunks)
	var eg errgroup.Group
	eg.SetLimit(workers)
	for c := 0; c < chunks; c++ {
		eg.Go(func() error {
			s.cutChunk(m, lists[c], c*chunkLayers, min((c+1)*chunkLayers, count))
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	return s
}

// chunkTriangles lists, for each chunk of layers, the triangles that reach it.
func chunkTriangles(m *mesh.Mesh, lay Layers, count, chunks int) [][]int32 {
	lists := make([][]int32, chunks)
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		k0 := lay.Above(min(a.Z, b.Z, c.Z))
		k1 := lay.Above(max(a.Z, b.Z, c.Z)) - 1
		k1 = min(k1, count-1)
		if k1 < k0 {
			continue
		}
		for n := k0 / chunkLayers; n <= k1/chunkLayers; n++ {
			lists[n] = append(lists[n], int32(t))
		}
	}
	return lists
}

// scratch is memory that the cutting of one chunk leaves to that of another.
type scratch struct {
	cross            [chunkLayers][]crossing
	byColumn, sorted []crossing
	start            []int32
}

var scratches = sync.Pool{New: func() any { return &scratch{} }}

func (s *Stack) cutChunk(m *mesh.Mesh, triangles []int32, k0, k1 int) {
	room := scratches.Get().(*scratch)
	defer scratches.Put(room)
	cross := room.cross[:k1-k0]
	for i := range cross {
		cross[i] = cross[i][:0]
	}
	for _, t := range triangles {
		// From the lowest corner up. Corners of one height are on one side of any plane.
		low, mid, top := m.Corners(int(t))
		turned := false // whether they are the other way round than the triangle's
		if mid.Z < low.Z {
			low, mid, turned = mid, low, !turned
		}
		if top.Z < mid.Z {
			mid, top, turned = top, mid, !turned
			if mid.Z < low.Z {
				low, mid, turned = mid, low, !turned
			}
		}
		for k := max(s.Above(low.Z), k0); k < k1; k++ {
			z := s.Plane(k)
			if z >= top.Z {
				break
			}
			// The long side is passed downward where the corners are the triangle's way round.
			down, up := cutAt(low, top, z), [2]float64{}
			if mid.Z > z {
				up = cutAt(low, mid, z)
			} else {
				up = cutAt(mid, top, z)
			}
			if turned {
				down, up = up, down
			}
			cross[k-k0] = s.outline(cross[k-k0], down, up)
		}
	}
	for i := range cross {
		s.Cut[k0+i] = s.fill(cross[i], room)
	}
}

// cutAt returns where an edge passes height z, from its lower end.
func cutAt(lo, hi r3.Vec, z float64) [2]float64 {
	f := (z - lo.Z) / (hi.Z - lo.Z)
	return [2]float64{lo.X + (hi.X-lo.X)*f, lo.Y + (hi.Y-lo.Y)*f}
}

// outline adds the crossings of the outline piece from p to q, which has the
// solid on its left.
func (s *Stack) outline(list []crossing, p, q [2]float64) []crossing {
	turn := int32(-1) // upward: the solid ends here
	if q[1] < p[1] {
		p, q = q, p
		turn = 1
	}
	j0 := ceilCell((p[1] - s.Origin.Y) / s.Cell)
	j1 := ceilCell((q[1] - s.Origin.Y) / s.Cell)
	if j0 < 0 {
		j0 = 0
	}
	if j1 > s.H {
		j1 = s.H
	}
	if j0 >= j1 {
		return list
	}
	slope := (q[0] - p[0]) / (q[1] - p[1])
	for j := j0; j < j1; j++ {
		y := s.Origin.Y + (float64(j)+0.5)*s.Cell
		x := p[0] + (y-p[1])*slope
		col := ceilCell((x - s.Origin.X) / s.Cell)
		col = min(max(col, 0), s.W)
		list = append(list, crossing{int32(j), int32(col), turn})
	}
	return list
}

// tie is how near to a cell's centre, in cells, an outline counts as through it: far more
// than rounding, which would else tell whether the cell is in by where the grid begins,
// and far less than any length in a file.
const tie = 1e-9

// ceilCell returns the first cell whose centre is at or beyond x (in cells).
func ceilCell(x float64) int {
	x -= 0.5 + tie
	i := int(x)
	if float64(i) < x {
		i++
	}
	return i
}

// fill turns a layer's crossings into cells by running the winding along each
// row.
func (s *Stack) fill(list []crossing, room *scratch) Bits {
	if len(list) == 0 {
		return Bits{}
	}
	x0, x1 := int32(s.W), int32(0)
	y0, y1 := int32(s.H), int32(0)
	for _, c := range list {
		x0, x1 = min(x0, c.col), max(x1, c.col)
		y0, y1 = min(y0, c.row), max(y1, c.row)
	}
	room.sort(list, x0, x1, y0, y1)
	b := NewBits(int(x0), int(y0), int(x1), int(y1)+1)
	for at := 0; at < len(room.sorted); {
		row := room.sorted[at].row
		winding, open := int32(0), int32(0)
		for ; at < len(room.sorted) && room.sorted[at].row == row; at++ {
			c := &room.sorted[at]
			before := winding
			winding += c.turn
			switch {
			case before <= 0 && winding > 0:
				open = c.col
			case before > 0 && winding <= 0:
				b.SetSpan(int(row), int(open), int(c.col))
			}
		}
	}
	return b
}

// sort puts crossings within those columns and rows in order of row and then column, by
// counting them once by column and once by row.
func (r *scratch) sort(list []crossing, x0, x1, y0, y1 int32) {
	r.byColumn = slices.Grow(r.byColumn[:0], len(list))[:len(list)]
	r.sorted = slices.Grow(r.sorted[:0], len(list))[:len(list)]
	n := max(x1-x0, y1-y0) + 2
	r.start = slices.Grow(r.start[:0], int(n))[:n]
	// The place of each is after all that come before it.
	clear(r.start)
	for _, c := range list {
		r.start[c.col-x0+1]++
	}
	for i := int32(1); i < n; i++ {
		r.start[i] += r.start[i-1]
	}
	for _, c := range list {
		r.byColumn[r.start[c.col-x0]] = c
		r.start[c.col-x0]++
	}
	clear(r.start)
	for _, c := range list {
		r.start[c.row-y0+1]++
	}
	for i := int32(1); i < n; i++ {
		r.start[i] += r.start[i-1]
	}
	for _, c := range r.byColumn {
		r.sorted[r.start[c.row-y0]] = c
		r.start[c.row-y0]++
	}
}
