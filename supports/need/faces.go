package need

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

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
	type share struct {
		region int
		cells  raster.Bits
	}
	layers := map[int][]share{}
	for i := range n.Regions {
		for c := range n.Regions[i].Cuts {
			cut := &n.Regions[i].Cuts[c]
			layers[cut.K] = append(layers[cut.K], share{i, cut.All()})
		}
	}
	out := make([]Faces, len(n.Regions))
	var hits []int // regions that triangle t belongs to
	hit := func(k, i, j int) (region int) {
		for _, l := range layers[k] {
			if l.cells.Has(i, j) {
				if !slices.Contains(hits, l.region) {
					hits = append(hits, l.region)
				}
				return l.region
			}
		}
		return -1
	}
	for t := range m.Triangles {
		normal := m.AreaNormal(t)
		fall := fallOf(normal, s)
		if fall == up {
			continue
		}
		hits = hits[:0]
		any := false
		eachCell(m, t, part, func(k, i, j int) {
			any = true
			r := hit(k, i, j)
			if r < 0 {
				return
			}
			switch f := &out[r]; fall {
			case level:
				f.LevelMM2 += part.CellArea()
			case slope:
				f.SlopeMM2 += part.CellArea()
			default:
				f.GentleMM2 += part.CellArea()
			}
		})
		if !any { // smaller than a cell, or between the centres of cells
			a, b, c := m.Corners(t)
			mid := r3.Scale(1.0/3, r3.Add(a, r3.Add(b, c)))
			i, j := part.At(r2.Vec{X: mid.X, Y: mid.Y})
			hit(part.Above(mid.Z), i, j)
		}
		for _, r := range hits {
			f := &out[r]
			f.Triangles = append(f.Triangles, t)
			if fall == gentle {
				continue
			}
			a := math.Asin(min(1, -normal.Z/math.Sqrt(r3.Norm2(normal))))
			f.Steepest = max(f.Steepest, a)
			if f.Least == 0 || a < f.Least {
				f.Least = a
			}
		}
	}
	return out
}
