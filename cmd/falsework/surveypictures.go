package main

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports/need"
	"falsework/supports/survey"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// mostRegions bounds the numbered regions of a picture: the largest are numbered,
// all are hatched.
const mostRegions = 24

// draw returns the pictures: from below, and with the part as glass where that
// hides more of a region than it shows.
func (v *surveying) draw() ([]file, error) {
	names := surveyOutputsOf(v.name)
	s := v.scene()
	camera := view.Facing(s, view.FromBelow())
	hides := v.number(&s, camera)
	pictures := []picture{{names.below, view.Options{Camera: camera}}}
	if hides {
		camera.Name += ", part as glass"
		pictures = append(pictures, picture{names.glass, view.Options{Camera: camera, GhostPart: true}})
	}
	return drawAll(s, v.o.pictures.width, pictures...)
}

// scene returns part and regions without their numbers.
func (v *surveying) scene() view.Scene {
	s := view.Scene{
		Title: v.name, LayerHeight: v.layers.Height, Verdict: "holds as it is",
		Items: []view.Item{{Mesh: v.part, Role: view.Part, Name: "part"}},
	}
	n := needOf(&v.report)
	if n.Regions == 0 {
		s.Notes = []string{"Nothing would fall in this pose."}
		return s
	}
	s.Verdict = "would fall in " + count(n.Regions, "place", "places")
	s.Subtitle = n.words()
	s.Notes = []string{fmt.Sprintf("Overhangs to %.4g° from the vertical, bridges to %g mm.", degrees(v.settings.Limit), v.settings.Bridge)}
	if n.Regions > mostRegions {
		s.Notes = append(s.Notes, fmt.Sprintf("The %d largest are numbered.", mostRegions))
	}
	for i := range v.report.Findings {
		f := &v.report.Findings[i]
		s.Items = append(s.Items, view.Item{Mesh: skin(v.layers.Grid, v.layers.Layers, f.Cuts), Role: view.Region, Name: fmt.Sprintf("region %d", f.ID)})
	}
	return s
}

// number labels the largest regions at places in sight of the camera, and tells
// whether the part hides most of the places of one.
func (v *surveying) number(s *view.Scene, camera view.Camera) (hides bool) {
	order := make([]*survey.Finding, len(v.report.Findings))
	for i := range order {
		order[i] = &v.report.Findings[i]
	}
	sort.SliceStable(order, func(a, b int) bool { return order[a].AreaMM2 > order[b].AreaMM2 })
	order = order[:min(len(order), mostRegions)]
	trial := *s
	end := make([]int, len(order)) // of each region's places among the trial's
	for i, f := range order {
		for _, at := range places(v.layers, &f.Region) {
			trial.Labels = append(trial.Labels, view.Label{At: at, Text: fmt.Sprintf("%d %s", f.ID, f.Kind)})
		}
		end[i] = len(trial.Labels)
	}
	hidden := view.Hidden(trial, camera)
	start := 0
	for _, end := range end {
		labels, behind := trial.Labels[start:end], hidden[start:end]
		start = end
		if len(labels) == 0 {
			continue
		}
		s.Labels = append(s.Labels, labels[max(0, slices.Index(behind, false))])
		n := 0
		for _, h := range behind {
			if h {
				n++
			}
		}
		hides = hides || 2*n > len(behind)
	}
	return hides
}

// mostSteps bounds how finely it is told which places lie well inside a region: the
// blocks of cells that its longer side is cut into.
const mostSteps = 200

// places returns where a label may point at a region: well inside it in plan, first
// near its centroid, then towards eight sides.
func places(part *raster.Stack, r *need.Region) []r3.Vec {
	x0, y0, x1, y1 := blocksOf(r.Cuts, 1)
	if x0 >= x1 {
		return nil
	}
	block := (max(x1-x0, y1-y0) + mostSteps - 1) / mostSteps
	x0, y0, x1, y1 = blocksOf(r.Cuts, block)
	w, h := x1-x0+2, y1-y0+2  // with an empty rim
	depth := make([]int, w*h) // steps along x and y to the nearest block outside
	cells := make([]r3.Vec, w*h)
	for n := range r.Cuts {
		z := underside(part.Layers, r.Cuts[n].K)
		r.Cuts[n].Cells.Each(func(i, j int) {
			if at := (j/block-y0+1)*w + i/block - x0 + 1; depth[at] == 0 {
				p := part.Center(i, j)
				depth[at], cells[at] = w+h, r3.Vec{X: p.X, Y: p.Y, Z: z}
			}
		})
	}
	deepest := 0
	for at := range depth {
		if depth[at] > 0 {
			depth[at] = min(depth[at], depth[at-1]+1, depth[at-w]+1)
		}
	}
	for at := len(depth) - 1; at >= 0; at-- {
		if depth[at] > 0 {
			depth[at] = min(depth[at], depth[at+1]+1, depth[at+w]+1)
			deepest = max(deepest, depth[at])
		}
	}
	var best [9]int
	var worth [9]float64
	for at := range depth {
		if depth[at]*3 < deepest*2 {
			continue
		}
		d := r2.Vec{X: cells[at].X - r.Center.X, Y: cells[at].Y - r.Center.Y}
		for n := range best {
			v := -r2.Norm2(d)
			if n > 0 {
				sin, cos := math.Sincos(float64(n-1) * math.Pi / 4)
				v = d.X*cos + d.Y*sin
			}
			if best[n] == 0 || v > worth[n] { // block 0 is of the rim
				best[n], worth[n] = at, v
			}
		}
	}
	out := make([]r3.Vec, len(best))
	for n, at := range best {
		out[n] = cells[at]
	}
	return out
}

// blocksOf returns the half-open box round the cuts' cells, in blocks of so many
// cells a side.
func blocksOf(cuts []need.Cut, block int) (x0, y0, x1, y1 int) {
	first := true
	for n := range cuts {
		a, b, c, d := cuts[n].Cells.Bounds()
		if a >= c {
			continue
		}
		a, b, c, d = a/block, b/block, (c-1)/block+1, (d-1)/block+1
		if first {
			x0, y0, x1, y1 = a, b, c, d
			first = false
			continue
		}
		x0, y0, x1, y1 = min(x0, a), min(y0, b), max(x1, c), max(y1, d)
	}
	return
}

// underside returns a height at which what is new in layer k shows below the part:
// its surface lies between the planes of the layers k−1 and k.
func underside(lay raster.Layers, k int) float64 { return lay.Bottom(k) - lay.Height/2 }

// riser is how far apart in height, in mm, neighbouring cells of one surface may
// be, and most how many blocks of cells a picture has each way: about a pixel each.
const riser, mostBlocks = 0.5, 1000

// skin returns the cells of a region as one surface a little below the part, with
// upright faces between its steps, so that it is seen whole from all sides.
func skin(g raster.Grid, lay raster.Layers, cuts []need.Cut) *mesh.Mesh {
	block := (max(g.W, g.H) + mostBlocks - 1) / mostBlocks
	reach := max(1, int(riser/lay.Height))
	x0, y0, x1, y1 := blocksOf(cuts, block)
	m := &mesh.Mesh{}
	if x0 >= x1 {
		return m
	}
	w := x1 - x0
	// A sheet holds for each block its layer, 0 where there is none. Blocks that lie
	// over one another further than a riser are of different sheets.
	var sheets [][]int
	for n := range cuts {
		k := cuts[n].K
		cuts[n].Cells.Each(func(i, j int) {
			at := (j/block-y0)*w + i/block - x0
			for s := 0; ; s++ {
				if s == len(sheets) {
					sheets = append(sheets, make([]int, w*(y1-y0)))
				}
				if sheets[s][at] == 0 {
					sheets[s][at] = k
				}
				if k-sheets[s][at] <= reach {
					return
				}
			}
		})
	}
	quad := func(a, b, c, d r3.Vec) {
		n := uint32(len(m.Vertices))
		m.Vertices = append(m.Vertices, a, b, c, d)
		m.Triangles = append(m.Triangles, [3]uint32{n, n + 1, n + 2}, [3]uint32{n, n + 2, n + 3})
	}
	at := func(i, j, k int) r3.Vec {
		p := corner(g, (x0+i)*block, (y0+j)*block)
		return r3.Vec{X: p.X, Y: p.Y, Z: underside(lay, k)}
	}
	joins := func(a, b int) bool { return a != 0 && b != 0 && a != b && max(a-b, b-a) <= reach }
	for _, sheet := range sheets {
		level := func(i, j int) int {
			if i < 0 || j < 0 || i >= w || j >= y1-y0 {
				return 0
			}
			return sheet[j*w+i]
		}
		for j := range y1 - y0 {
			for i := 0; i < w; {
				k, below, i0 := level(i, j), level(i, j-1), i
				if left := level(i-1, j); joins(left, k) {
					quad(at(i, j, left), at(i, j+1, left), at(i, j+1, k), at(i, j, k))
				}
				for i++; i < w && level(i, j) == k && level(i, j-1) == below; i++ {
				}
				if k != 0 {
					quad(at(i0, j, k), at(i, j, k), at(i, j+1, k), at(i0, j+1, k))
				}
				if joins(below, k) {
					quad(at(i0, j, below), at(i, j, below), at(i, j, k), at(i0, j, k))
				}
			}
		}
	}
	return m
}
