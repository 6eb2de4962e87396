package prove

import (
	"math"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

// moments are those of an area in plan: the area in mm², its centroid in mm, and
// the second moments about the centroid in mm⁴, xx being ∫x² dA.
type moments struct {
	area       float64
	at         r2.Vec
	xx, xy, yy float64
}

// add puts another area beside m.
func (m *moments) add(o moments) {
	if o.area == 0 {
		return
	}
	area := m.area + o.area
	d := r2.Sub(o.at, m.at)
	share := m.area * o.area / area // parallel axes
	m.xx += o.xx + share*d.X*d.X
	m.xy += o.xy + share*d.X*d.Y
	m.yy += o.yy + share*d.Y*d.Y
	m.at = r2.Add(m.at, r2.Scale(o.area/area, d))
	m.area = area
}

// lever turns a moment about any axis in plan, N·mm, into the largest tension at
// the points of hull, MPa: 1/Z for the axis that is worst.
func (m *moments) lever(hull []r2.Vec) float64 {
	det, most := m.xx*m.yy-m.xy*m.xy, 0.0
	for _, r := range hull {
		d := r2.Sub(r, m.at)
		most = max(most, math.Hypot(m.yy*d.X-m.xy*d.Y, m.xx*d.Y-m.xy*d.X)/det)
	}
	return most
}

// ofRun returns the moments of a row's run of cells.
func ofRun(g raster.Grid, j, i0, i1 int) moments {
	n, c := float64(i1-i0), g.Cell
	first := g.Center(i0, j)
	return moments{
		area: n * c * c,
		at:   r2.Vec{X: first.X + (n-1)/2*c, Y: first.Y},
		xx:   n * n * n * c * c * c * c / 12,
		yy:   n * c * c * c * c / 12,
	}
}

// piece is a connected set of cells of one layer.
type piece struct {
	body int32
	moments
	on []int32 // pieces of the layer below that it shares cells with
}

// pieces returns the pieces of every layer, each in order of its first run.
func (p *proof) pieces(layers []rows) [][]piece {
	out := make([][]piece, len(layers))
	label := make([][]int32, len(layers)) // piece of each run
	eachLayer(len(layers), p.workers, func(k int) {
		out[k], label[k] = piecesOf(&layers[k], p.sup.Grid)
	})
	eachLayer(len(layers), p.workers, func(k int) {
		if k == 0 {
			return
		}
		up, low := &layers[k], &layers[k-1]
		for n := 0; n+1 < len(up.start); n++ {
			a, na := up.row(up.y0 + n)
			b, nb := low.row(up.y0 + n)
			for x, y := 0, 0; x < len(a) && y < len(b); {
				if a[x].i0 < b[y].i1 && b[y].i0 < a[x].i1 {
					q := &out[k][label[k][na+x]]
					if s := label[k-1][nb+y]; !slices.Contains(q.on, s) {
						q.on = append(q.on, s)
					}
				}
				if a[x].i1 < b[y].i1 {
					x++
				} else {
					y++
				}
			}
		}
		for n := range out[k] {
			slices.Sort(out[k][n].on)
		}
	})
	return out
}

// piecesOf returns the pieces of a layer and which of them each run is of. Cells
// that touch, if only at a corner, are of one piece.
func piecesOf(l *rows, g raster.Grid) ([]piece, []int32) {
	flat := *l
	flat.first = 0
	f := newForest(len(flat.runs))
	for n := 1; n+1 < len(flat.start); n++ {
		f.touch(&flat, flat.y0+n, &flat, flat.y0+n-1)
	}
	var out []piece
	label := make([]int32, len(flat.runs))
	for n := 0; n+1 < len(flat.start); n++ {
		for at := flat.start[n]; at < flat.start[n+1]; at++ {
			u := &flat.runs[at]
			if root := f.Find(at); root == at {
				label[at] = int32(len(out))
				out = append(out, piece{body: u.body})
			} else {
				label[at] = label[root]
			}
			out[label[at]].add(ofRun(g, flat.y0+n, int(u.i0), int(u.i1)))
		}
	}
	return out, label
}

// outside returns how far q lies outside a hull, in mm, 0 inside.
func outside(hull []r2.Vec, q r2.Vec) float64 {
	switch len(hull) {
	case 0:
		return math.Inf(1)
	case 1:
		return r2.Norm(r2.Sub(q, hull[0]))
	}
	inside, d := len(hull) > 2, math.Inf(1)
	for n, a := range hull {
		b := hull[(n+1)%len(hull)]
		if r2.Cross(r2.Sub(b, a), r2.Sub(q, a)) < 0 {
			inside = false
		}
		d = min(d, raster.SegmentDistance(q, a, b))
	}
	if inside {
		return 0
	}
	return d
}
