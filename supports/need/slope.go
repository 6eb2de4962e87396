package need

import (
	"math"
	"runtime"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// facetError is what a facet's normal may be off by, in radians: corners kept
	// as 32-bit floats put a facet of a line's size out by under 0.01°.
	facetError = 0.05 * math.Pi / 180
	// flatSteps is the width, in lines, from which one layer's step of a slope is
	// a ceiling of its own, which bridges may cross.
	flatSteps = 4.0
	// linkLayers and linkCells join the steps of one slope: the next may be so
	// many layers up where layers are thinner than cells, and so many cells off.
	linkLayers, linkCells = 3, 2.0
)

// fall is how far down a facet looks by its own normal.
type fall int

const (
	up     fall = iota
	gentle      // down, within the limit
	slope       // beyond it
	level       // a ceiling
)

func fallOf(normal r3.Vec, s supports.Settings) fall {
	down := -normal.Z / math.Sqrt(r3.Norm2(normal)) // sine of the angle from the vertical
	switch {
	case !(down > 0):
		return up // or of no area
	case down <= math.Sin(s.Limit+facetError):
		return gentle
	case down < math.Sin(math.Atan(flatSteps*s.Line/s.Layer)):
		return slope
	}
	return level
}

// facetsAtOnce is how many facets make one task.
const facetsAtOnce = 4096

// spot is a cell of a layer.
type spot struct{ k, i, j int32 }

// strips returns, for each layer, the new cells that lie under facets within the
// limit, as far as layers have fails set, and under those beyond it: where each
// facet's own height puts it, cell by cell.
func strips(m *mesh.Mesh, part *raster.Stack, s supports.Settings, fails []bool, workers int) (within, beyond []raster.Bits) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	lists := make([][2][]spot, (len(m.Triangles)+facetsAtOnce-1)/facetsAtOnce)
	var eg errgroup.Group
	eg.SetLimit(workers)
	for n := range lists {
		eg.Go(func() error {
			for t := n * facetsAtOnce; t < min((n+1)*facetsAtOnce, len(m.Triangles)); t++ {
				f := fallOf(m.AreaNormal(t), s)
				if f != gentle && f != slope {
					continue
				}
				list := &lists[n][f-gentle]
				eachCell(m, t, part, func(k, i, j int) {
					if f == slope || fails[k] {
						*list = append(*list, spot{int32(k), int32(i), int32(j)})
					}
				})
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error

	gather := func(f fall) []raster.Bits {
		all := make([][]spot, len(lists))
		for n := range lists {
			all[n] = lists[n][f-gentle]
		}
		return layered(part, all)
	}
	return gather(gentle), gather(slope)
}

// layered returns spots as sets of new cells, layer by layer.
func layered(part *raster.Stack, lists [][]spot) []raster.Bits {
	type box struct{ x0, y0, x1, y1 int }
	boxes := make([]box, len(part.Cut))
	for _, l := range lists {
		for _, c := range l {
			b, i, j := &boxes[c.k], int(c.i), int(c.j)
			if b.x0 == b.x1 {
				*b = box{i, j, i + 1, j + 1}
				continue
			}
			*b = box{min(b.x0, i), min(b.y0, j), max(b.x1, i+1), max(b.y1, j+1)}
		}
	}
	out := make([]raster.Bits, len(part.Cut))
	for k, b := range boxes {
		if b.x0 < b.x1 {
			out[k] = raster.NewBits(b.x0, b.y0, b.x1, b.y1)
		}
	}
	for _, l := range lists {
		for _, c := range l {
			out[c.k].Set(int(c.i), int(c.j))
		}
	}
	for k := range out {
		// Facets inside the solid are none of its outside.
		out[k] = raster.And(&out[k], part.Layer(k))
		out[k].Remove(part.Layer(k - 1))
	}
	return out
}

// eachCell calls f for the cells whose centres lie under facet t, with the layer
// that is the first to be laid there.
func eachCell(m *mesh.Mesh, t int, part *raster.Stack, f func(k, i, j int)) {
	a, b, c := m.Corners(t)
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	if n.Z == 0 {
		return
	}
	g := part.Grid
	half := g.Cell / 2
	j0 := int(math.Ceil((min(a.Y, b.Y, c.Y) - g.Origin.Y - half) / g.Cell))
	j1 := int(math.Floor((max(a.Y, b.Y, c.Y) - g.Origin.Y - half) / g.Cell))
	for j := max(j0, 0); j <= min(j1, g.H-1); j++ {
		y := g.Center(0, j).Y
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, e := range [3][2]r3.Vec{{a, b}, {b, c}, {c, a}} {
			p, q := e[0], e[1]
			if p.Y > q.Y {
				p, q = q, p
			}
			// An edge owns the rows from its lower end up to its upper one.
			if y < p.Y || y >= q.Y {
				continue
			}
			x := p.X + (q.X-p.X)*(y-p.Y)/(q.Y-p.Y)
			lo, hi = min(lo, x), max(hi, x)
		}
		if lo > hi {
			continue
		}
		i0 := int(math.Ceil((lo - g.Origin.X - half) / g.Cell))
		i1 := int(math.Ceil((hi-g.Origin.X-half)/g.Cell)) - 1
		for i := max(i0, 0); i <= min(i1, g.W-1); i++ {
			x := g.Center(i, 0).X
			z := a.Z - (n.X*(x-a.X)+n.Y*(y-a.Y))/n.Z
			if k := part.Above(z); k > 0 && k < len(part.Cut) {
				f(k, i, j)
			}
		}
	}
}

// link joins the patches of one slope, step by step, and those of one layer that
// share cells.
func link(patches []patch, join func(a, b int)) {
	byLayer := map[int][]int{}
	for n := range patches {
		byLayer[patches[n].k] = append(byLayer[patches[n].k], n)
	}
	reach := raster.DiscOf(linkCells)
	for n := range patches {
		p := &patches[n]
		for d := 0; d <= linkLayers; d++ {
			for _, o := range byLayer[p.k-d] {
				q := &patches[o]
				if d == 0 && o >= n || !p.near(q) {
					continue
				}
				if raster.Near(&p.cells, &q.cells, reach) {
					join(n, o)
				}
			}
		}
	}
}

// near tells whether the boxes of two patches are within linkCells.
func (p *patch) near(q *patch) bool {
	const m = int(linkCells)
	return p.x0-m < q.x1 && q.x0-m < p.x1 && p.y0-m < q.y1 && q.y0-m < p.y1
}
