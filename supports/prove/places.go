package prove

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r3"
)

// tidy drops the digits that sums of decimal fractions leave behind, and the sign
// of zero.
func tidy(v float64) float64 { return math.Round(v*1e6)/1e6 + 0 }

func mm2(a float64) string {
	if a < 0.1 {
		return fmt.Sprintf("%.2f mm²", a)
	}
	return fmt.Sprintf("%.1f mm²", a)
}

// spot appends the cells of layer k, if any.
func (p *proof) spot(list []Spot, k int, cells *raster.Bits) []Spot {
	if cells.Empty() {
		return list
	}
	return append(list, Spot{K: k, Z: p.part.Bottom(k), Cells: *cells})
}

func cellsIn(list []Spot) float64 {
	n := 0
	for i := range list {
		n += list[i].Cells.Count()
	}
	return float64(n)
}

// together is the edge, in mm, of the boxes by which cells are told as one place:
// cells of one box or of boxes that touch belong together, so places are at least
// this far apart. A line of text for less would drown the reader.
const together = 1.0

// place is a stretch of cells that are told together.
type place struct {
	at     r3.Vec // a spot inside, nearest the centroid
	z      float64
	area   float64 // mm², plan view
	volume float64 // mm³
	boxes  [][3]int32
}

func (q place) where() string {
	return fmt.Sprintf("x %.1f, y %.1f, z %.1f mm", q.at.X, q.at.Y, q.at.Z)
}

// box returns the box of cell i, j of layer k.
func (p *proof) box(k, i, j int) [3]int32 {
	n := max(1, int(together/p.part.Cell))
	return [3]int32{int32(math.Floor(p.part.Bottom(k)/together + 1e-9)), int32(j / n), int32(i / n)}
}

// places gathers the cells of spots, which are in order of height, into places
// in order of their first cell.
func (p *proof) places(spots []Spot) []place {
	type heap struct {
		sum    r3.Vec
		cells  int
		volume float64
		z      float64
	}
	index := map[[3]int32]int32{}
	var keys [][3]int32
	var heaps []heap
	side := max(1, int(together/p.part.Cell))
	for n := range spots {
		t := &spots[n]
		thick := p.part.Thickness(t.K)
		t.Cells.EachRun(func(j, i0, i1 int) {
			for i0 < i1 {
				end := min(i1, (i0/side+1)*side)
				key := p.box(t.K, i0, j)
				at, ok := index[key]
				if !ok {
					at = int32(len(keys))
					index[key] = at
					keys = append(keys, key)
					heaps = append(heaps, heap{z: t.Z})
				}
				h := &heaps[at]
				c := p.part.Center(i0, j)
				m := float64(end - i0)
				x := c.X + (m-1)/2*p.part.Cell
				h.sum = r3.Add(h.sum, r3.Vec{X: x * m, Y: c.Y * m, Z: t.Z * m})
				h.cells += end - i0
				h.volume += m * p.part.CellArea() * thick
				i0 = end
			}
		})
	}
	f := newForest(len(keys))
	for n, key := range keys {
		for d := 0; d < 13; d++ { // the neighbours before it, of 26
			o := [3]int32{key[0] + int32(d/9) - 1, key[1] + int32(d/3%3) - 1, key[2] + int32(d%3) - 1}
			if m, ok := index[o]; ok {
				f.Union(int32(n), m)
			}
		}
	}
	members := map[int32][]int32{}
	var roots []int32
	for n := range keys {
		root := f.Find(int32(n))
		if members[root] == nil {
			roots = append(roots, root)
		}
		members[root] = append(members[root], int32(n))
	}
	out := make([]place, 0, len(roots))
	for _, root := range roots {
		q := place{z: math.Inf(1)}
		var sum r3.Vec
		cells := 0
		for _, n := range members[root] {
			h := &heaps[n]
			q.boxes = append(q.boxes, keys[n])
			sum = r3.Add(sum, h.sum)
			cells += h.cells
			q.volume += h.volume
			q.z = min(q.z, h.z)
		}
		centre := r3.Scale(1/float64(cells), sum)
		best := math.Inf(1)
		for _, n := range members[root] {
			at := r3.Scale(1/float64(heaps[n].cells), heaps[n].sum)
			if d := r3.Norm2(r3.Sub(at, centre)); d < best {
				best, q.at = d, at
			}
		}
		q.at = r3.Vec{X: tidy(q.at.X), Y: tidy(q.at.Y), Z: tidy(q.at.Z)}
		q.z, q.volume, q.area = tidy(q.z), tidy(q.volume), tidy(float64(cells)*p.part.CellArea())
		out = append(out, q)
	}
	return out
}

// harm ranks the kinds, the worst first.
var harm = map[Kind]int{
	PartUnheld: 0, SupportUnheld: 1, Collision: 2, Blocked: 3, Held: 4, Fused: 5, SideFused: 6, WrongVoid: 7, Sways: 8, LetsGo: 9,
	InPieces: 10, NoRoom: 11, Thin: 12, Tips: 13, SideNear: 14, Pierced: 15, Marginal: 16,
}

func sortByHarm(list []Reason) {
	slices.SortStableFunc(list, func(a, b Reason) int {
		return cmp.Or(
			cmp.Compare(harm[a.Kind], harm[b.Kind]),
			-cmp.Compare(max(a.AreaMM2, a.VolumeMM3), max(b.AreaMM2, b.VolumeMM3)),
			cmp.Compare(a.LayerZ, b.LayerZ),
			cmp.Compare(a.At.Y, b.At.Y),
			cmp.Compare(a.At.X, b.At.X),
		)
	})
}
