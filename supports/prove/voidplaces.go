package prove

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
)

// VoidPlace is what the void prints as at one contact: where a support carries the part,
// or stands on it, cells that touch and lie within a millimetre of height of one another.
type VoidPlace struct {
	At      [3]float64 `json:"at_mm"` // its cell nearest to the middle, at the underside above the void
	AreaMM2 float64    `json:"area_mm2"`
	Landing bool       `json:"landing"`
	Layers  [2]int     `json:"layers"`  // the fewest and the most that print empty
	VoidMM  [2]float64 `json:"void_mm"` // likewise
	// FusedMM2 of it is printed together.
	FusedMM2 float64 `json:"fused_mm2"`
}

// contactPlaces are contacts in places.
type contactPlaces struct {
	of   []int32 // the place of each contact
	list []VoidPlace
}

// placesOfContacts puts contacts, which are in order of their cells, in places.
func placesOfContacts(list []contact, g raster.Grid, landing bool) contactPlaces {
	f := newForest(len(list))
	first := map[int32]int32{} // of a cell's contacts
	for n := range list {
		if _, seen := first[list[n].cell]; !seen {
			first[list[n].cell] = int32(n)
		}
	}
	w := int32(g.W)
	for n := range list {
		q := &list[n]
		for _, o := range [...]int32{q.cell - 1, q.cell - w - 1, q.cell - w, q.cell - w + 1} {
			if di := o%w - q.cell%w; di < -1 || di > 1 {
				continue // round the edge of the grid
			}
			m, some := first[o]
			for ; some && int(m) < len(list) && list[m].cell == o; m++ {
				if math.Abs(list[m].high[0].lo-q.high[0].lo) <= together {
					f.Union(int32(n), m)
				}
			}
		}
	}
	out := contactPlaces{of: make([]int32, len(list))}
	number := map[int32]int32{}
	type sum struct {
		x, y  float64
		cells int
	}
	var sums []sum
	for n := range list {
		root := f.Find(int32(n))
		at, known := number[root]
		if !known {
			at = int32(len(out.list))
			number[root] = at
			out.list = append(out.list, VoidPlace{Landing: landing})
			sums = append(sums, sum{})
		}
		out.of[n] = at
		c := g.Center(int(list[n].cell%w), int(list[n].cell/w))
		s := &sums[at]
		s.x, s.y, s.cells = s.x+c.X, s.y+c.Y, s.cells+1
	}
	nearest := make([]float64, len(sums))
	for n := range list {
		at := out.of[n]
		s := &sums[at]
		c := g.Center(int(list[n].cell%w), int(list[n].cell/w))
		d := 1 + math.Hypot(c.X-s.x/float64(s.cells), c.Y-s.y/float64(s.cells))
		if nearest[at] == 0 || d < nearest[at] {
			nearest[at] = d
			out.list[at].At = [3]float64{tidy(c.X), tidy(c.Y), tidy(list[n].high[0].lo)}
		}
	}
	for at := range out.list {
		out.list[at].AreaMM2 = tidy(float64(sums[at].cells) * g.CellArea())
	}
	return out
}

// row begins the places of one height.
func (p *contactPlaces) row() []VoidPlace {
	out := make([]VoidPlace, len(p.list))
	copy(out, p.list)
	for n := range out {
		out[n].Layers = [2]int{-1, -1}
	}
	return out
}

// add counts one contact's void.
func (q *VoidPlace) add(empty int, thick float64, fused bool, cell float64) {
	if q.Layers[0] < 0 {
		q.Layers, q.VoidMM = [2]int{empty, empty}, [2]float64{thick, thick}
	}
	q.Layers = [2]int{min(q.Layers[0], empty), max(q.Layers[1], empty)}
	q.VoidMM = [2]float64{tidy(min(q.VoidMM[0], thick)), tidy(max(q.VoidMM[1], thick))}
	if fused {
		q.FusedMM2 = tidy(q.FusedMM2 + cell)
	}
}

// VoidFace is a face of the part at which voids are wrong: a level one, or all slopes.
type VoidFace struct {
	Grade   Grade
	At      [3]float64 // the lowest cell
	AreaMM2 float64
	Level   bool
}

// addFace adds a cell to the face that it is of: level ones by their height.
func addFace(list []VoidFace, cell VoidFace) []VoidFace {
	for n := range list {
		q := &list[n]
		if q.Grade != cell.Grade || q.Level != cell.Level || q.Level && math.Abs(q.At[2]-cell.At[2]) > onPlane {
			continue
		}
		if cell.At[2] < q.At[2] {
			q.At = cell.At
		}
		q.AreaMM2 += cell.AreaMM2
		return list
	}
	return append(list, cell)
}

// facesOf returns faces of more than a bead's footprint, upward; the largest alone where
// none is as large.
func facesOf(list []VoidFace, bead float64) (out []VoidFace) {
	most := 0
	for n := range list {
		list[n].AreaMM2 = tidy(list[n].AreaMM2)
		if list[n].AreaMM2 > list[most].AreaMM2 {
			most = n
		}
		if list[n].AreaMM2 > bead {
			out = append(out, list[n])
		}
	}
	if out == nil {
		out = list[most : most+1]
	}
	slices.SortStableFunc(out, func(a, b VoidFace) int { return cmp.Compare(a.At[2], b.At[2]) })
	return out
}
