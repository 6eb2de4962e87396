package need

import (
	"math"
	"runtime"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Faces is what the mesh says of one region.
type Faces struct {
	Triangles []int // that look down at the region's cells, ascending
	// LevelMM2, SlopeMM2 and GentleMM2 are the region's area in plan under
	// ceilings, under facets beyond the limit and under those within it.
	LevelMM2, SlopeMM2, GentleMM2 float64
	// Steepest and Least are the greatest and the least angle of the facets
	// beyond the limit, radians from the vertical; 0 where there are none.
	Steepest, Least float64
}

// FacesOf tells which triangles each region belongs to, in the order of n's
// regions.
func FacesOf(m *mesh.Mesh, part *raster.Stack, n Need, s supports.Settings) []Faces {
	layers := map[int][]share{}
	for i := range n.Regions {
		for c := range n.Regions[i].Cuts {
			cut := &n.Regions[i].Cuts[c]
			layers[cut.K] = append(layers[cut.K], share{i, cut.All()})
		}
	}
	lists := make([]map[int]*tally, (len(m.Triangles)+facetsAtOnce-1)/facetsAtOnce)
	var eg errgroup.Group
	eg.SetLimit(runtime.GOMAXPROCS(0))
	for c := range lists {
		eg.Go(func() error {
			lists[c] = make(map[int]*tally)
			for t := c * facetsAtOnce; t < min((c+1)*facetsAtOnce, len(m.Triangles)); t++ {
				tell(m, t, part, fallOf(m.AreaNormal(t), s), layers, lists[c])
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	out := make([]Faces, len(n.Regions))
	for i := range out {
		f := &out[i]
		var cells [level + 1]int
		for _, list := range lists {
			l := list[i]
			if l == nil {
				continue
			}
			f.Triangles = append(f.Triangles, l.triangles...)
			for fall, n := range l.cells {
				cells[fall] += n
			}
			f.Steepest = max(f.Steepest, l.steepest)
			if l.least > 0 && (f.Least == 0 || l.least < f.Least) {
				f.Least = l.least
			}
		}
		f.LevelMM2 = float64(cells[level]) * part.CellArea()
		f.SlopeMM2 = float64(cells[slope]) * part.CellArea()
		f.GentleMM2 = float64(cells[gentle]) * part.CellArea()
	}
	return out
}

// share is a region's part of a layer.
type share struct {
	region int
	cells  raster.Bits
}

// tally is what some facets have of one region.
type tally struct {
	triangles       []int
	cells           [level + 1]int // by fall
	steepest, least float64
}

// tell adds facet t, which looks down by fall, to the tallies of the regions that
// it belongs to.
func tell(m *mesh.Mesh, t int, part *raster.Stack, f fall, layers map[int][]share, tallies map[int]*tally) {
	if f == up {
		return
	}
	var hits []*tally
	hit := func(k, i, j int) *tally {
		for n := range layers[k] {
			l := &layers[k][n]
			if !l.cells.Has(i, j) {
				continue
			}
			y := tallies[l.region]
			if y == nil {
				y = &tally{}
				tallies[l.region] = y
			}
			if !slices.Contains(hits, y) {
				hits = append(hits, y)
			}
			return y
		}
		return nil
	}
	any := false
	eachCell(m, t, part, func(k, i, j int) {
		any = true
		if y := hit(k, i, j); y != nil {
			y.cells[f]++
		}
	})
	if !any { // smaller than a cell, or between the centres of cells
		a, b, c := m.Corners(t)
		mid := r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
		i, j := part.At(r2.Vec{X: mid.X, Y: mid.Y})
		hit(part.Above(mid.Z), i, j)
	}
	for _, y := range hits {
		y.triangles = append(y.triangles, t)
		if f == gentle {
			continue
		}
		normal := m.AreaNormal(t)
		a := math.Asin(min(1, -normal.Z/math.Sqrt(r3.Norm2(normal))))
		y.steepest = max(y.steepest, a)
		if y.least == 0 || a < y.least {
			y.least = a
		}
	}
}
