package prove

import (
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// thickSheet and thickLevels bound a sheet or steps, in mm and in layers,
	// whichever is more: six levels make a hole's polygon round within a line.
	thickSheet, thickLevels = 2.0, 6
	// deepest is how far from the opening, in lines, a sheet may reach into the wall
	// round it: two lines of landing, and half a line for outlines in cells.
	deepest = 2.5
	// bedded is the least of a layer of it that lies in the wall, in lines along the
	// rim: a bridge has two ends, each a bead wide or more.
	bedded = 2.0
	// mostLand is the share of a bridged area from which a direction is one that it
	// can be bridged in: of those looked at, the nearest to an edge in the air may be
	// off it by 4°, and then an eighth of a segment twice as long as deep misses.
	mostLand = 0.8
)

// Sheet is a piece of supports that is printed onto the part to close an opening
// under a ceiling, or to narrow it in steps: it counts as a part of the part.
type Sheet struct {
	At     r3.Vec `json:"-"` // middle of its underside; at_mm in JSON
	Bounds r3.Box `json:"-"` // bounds_mm in JSON
	Layers int    `json:"layers"`
	// PiercedMM2 is what of it has nothing of the part above: it is pierced after
	// printing. Steps leave the hole open and have none.
	PiercedMM2 float64 `json:"pierced_mm2"`
	FusedMM2   float64 `json:"fused_mm2"` // printed onto the ceiling, and stays
}

// sheets is what is set apart of supports, on the part's grid.
type sheets struct {
	list  []Sheet
	cells *raster.Stack // of all of them, nil for none
	part  *raster.Stack // without them
}

// apart takes sheets and steps out of the supports and adds them to the part. A body
// of supports counts as one where all of these hold:
//
//   - it is no more than 2 mm or six layers thick, and begins above the first layer;
//   - each of its layers lies in openings that the part closes all round, and in the
//     wall beside them no deeper than two and a half lines, and does lie in the wall
//     along two lines or more;
//   - the part's next layer lies on its uppermost one.
//
// Whatever else is printed onto the part is a support that is fused to it.
func apart(part, sup *raster.Stack, s supports.Settings, workers int) (*raster.Stack, *raster.Stack, sheets) {
	layers, n := connect(sup, workers)
	type span struct{ k0, k1, x0, y0, x1, y1 int }
	spans := make([]span, n)
	for k := range layers {
		l := &layers[k]
		for r := 0; r+1 < len(l.start); r++ {
			j := l.y0 + r
			for _, u := range l.runs[l.start[r]:l.start[r+1]] {
				b := &spans[u.body]
				if b.x1 == b.x0 {
					*b = span{k, k, int(u.i0), j, int(u.i1), j + 1}
				}
				b.k1 = k
				b.x0, b.x1, b.y0, b.y1 = min(b.x0, int(u.i0)), max(b.x1, int(u.i1)), min(b.y0, j), max(b.y1, j+1)
			}
		}
	}
	thick := max(thickLevels, int(thickSheet/s.Layer+1e-9))
	whole, rest := part, sup
	out := sheets{part: part}
	for body, b := range spans {
		if b.k0 == 0 || b.k1-b.k0 >= thick || b.k1+1 >= len(part.Cut) {
			continue
		}
		cut := make([]raster.Bits, b.k1-b.k0+1)
		for k := range cut {
			cut[k] = bitsOf(&layers[b.k0+k], int32(body), b.x0, b.y0, b.x1, b.y1)
		}
		one, ok := sheetOf(part, cut, b.k0, s)
		if !ok {
			continue
		}
		if out.cells == nil {
			w, r := *part, *sup
			w.Cut, r.Cut = slices.Clone(part.Cut), slices.Clone(sup.Cut)
			whole, rest = &w, &r
			out.cells = &raster.Stack{Grid: part.Grid, Layers: part.Layers, Cut: make([]raster.Bits, len(sup.Cut))}
		}
		for n := range cut {
			k := b.k0 + n
			whole.Cut[k] = raster.Or(&whole.Cut[k], &cut[n])
			rest.Cut[k] = raster.AndNot(&rest.Cut[k], &cut[n])
			out.cells.Cut[k] = raster.Or(&out.cells.Cut[k], &cut[n])
		}
		out.list = append(out.list, one)
	}
	// Layers of nothing at the top are none.
	if rest != sup {
		for len(rest.Cut) > 0 && rest.Cut[len(rest.Cut)-1].Empty() {
			rest.Cut = rest.Cut[:len(rest.Cut)-1]
		}
	}
	return whole, rest, out
}

// bitsOf returns the cells of a body in a layer.
func bitsOf(l *rows, body int32, x0, y0, x1, y1 int) raster.Bits {
	b := raster.NewBits(x0, y0, x1, y1)
	for r := 0; r+1 < len(l.start); r++ {
		for _, u := range l.runs[l.start[r]:l.start[r+1]] {
			if u.body == body {
				b.SetSpan(l.y0+r, int(u.i0), int(u.i1))
			}
		}
	}
	return b
}

// sheetOf judges whether a body, whose lowest layer is layer k0 of the part, is a
// sheet or steps.
func sheetOf(part *raster.Stack, cut []raster.Bits, k0 int, s supports.Settings) (one Sheet, ok bool) {
	var plan raster.Bits
	for k := range cut {
		plan = raster.Or(&plan, &cut[k])
	}
	x0, y0, x1, y1 := plan.Bounds()
	// An opening that it closes ends inside this window.
	x0, y0, x1, y1 = x0-2, y0-2, x1+2, y1+2
	for n := range cut {
		low := part.Layer(k0 + n)
		air := raster.NewBits(x0, y0, x1, y1)
		for j := y0; j < y1; j++ {
			air.SetSpan(j, x0, x1)
		}
		air.Remove(low)
		var open raster.Bits
		for _, p := range raster.Pieces(&air) {
			if p.X0 > x0 && p.Y0 > y0 && p.X1 < x1 && p.Y1 < y1 && raster.Near(&p.Cells, &cut[n], raster.DiscOf(1)) {
				open = raster.Or(&open, &p.Cells)
			}
		}
		inside, bed := raster.AndNot(&cut[n], low), raster.And(&cut[n], low)
		outside := raster.AndNot(&inside, &open)
		far := raster.Beyond(&bed, &open, raster.DiscOf(deepest*s.Line/part.Cell))
		rim := raster.Within(&bed, &open, raster.DiscOf(1))
		if inside.Empty() || !outside.Empty() || !far.Empty() || float64(rim.Count())*part.Cell < bedded*s.Line {
			return Sheet{}, false
		}
	}
	ceiling := part.Layer(k0 + len(cut))
	top := cut[len(cut)-1]
	bed := raster.And(&top, part.Layer(k0+len(cut)-1))
	fused := raster.And(&top, ceiling)
	fused = raster.AndNot(&fused, &bed)
	if fused.Empty() {
		return Sheet{}, false
	}
	pierced := raster.AndNot(&plan, ceiling)
	sliver := raster.DiscOf(s.Line / 2 / part.Cell)
	cells := 0
	for _, p := range raster.Pieces(&pierced) {
		// What is narrower than a line is the edge of the steps' polygon.
		if core := raster.Erode(&p.Cells, sliver); !core.Empty() {
			cells += p.Area
		}
	}
	lo, hi := part.Point(raster.Corner{I: x0 + 2, J: y0 + 2}), part.Point(raster.Corner{I: x1 - 2, J: y1 - 2})
	box := r3.Box{Min: r3.Vec{X: tidy(lo.X), Y: tidy(lo.Y), Z: tidy(part.Bottom(k0))}, Max: r3.Vec{X: tidy(hi.X), Y: tidy(hi.Y), Z: tidy(part.Top(k0 + len(cut) - 1))}}
	return Sheet{
		At:     r3.Vec{X: tidy((lo.X + hi.X) / 2), Y: tidy((lo.Y + hi.Y) / 2), Z: box.Min.Z},
		Bounds: box, Layers: len(cut),
		PiercedMM2: tidy(float64(cells) * part.CellArea()), FusedMM2: tidy(float64(fused.Count()) * part.CellArea()),
	}, true
}

// closing reads off what sheets and steps are, and judges them once more as bodies of
// their own: a program that keeps part and supports apart lands their beads on what
// of them lies in the wall.
func (p *proof) closing(r *Report) {
	r.Sheets = p.sheets.list
	if p.sheets.cells == nil {
		r.Sheets = []Sheet{}
		return
	}
	for _, h := range r.Sheets {
		r.PiercedMM2 = tidy(r.PiercedMM2 + h.PiercedMM2)
		if h.PiercedMM2 > 0 {
			r.Notes = append(r.Notes, Reason{
				Kind: Pierced, At: h.At, LayerZ: h.At.Z, AreaMM2: h.PiercedMM2,
				Text: fmt.Sprintf("A sheet of %s closes the opening round x %.1f, y %.1f, z %.2f mm: %s of it are to be pierced after printing.",
					layersOf(h.Layers), h.At.X, h.At.Y, h.At.Z, mm2(h.PiercedMM2)),
				Remedy: "pierce or drill it from the side that can be reached",
			})
		}
	}
	told := map[int]*raster.Bits{}
	for n := range r.UnheldSpots {
		told[r.UnheldSpots[n].K] = &r.UnheldSpots[n].Cells
	}
	open := map[int]raster.Bits{}
	for _, l := range hold.Judge(hold.Input{Body: p.sheets.cells, Other: stacked(p.sheets.part, p.sup), Settings: p.s, Thin: true, Workers: p.workers}) {
		open[l.K], _ = p.bare(&l, p.sheets.cells.Layer(l.K))
	}
	var spots []Spot
	contacts := map[int]*raster.Bits{}
	for n := range r.Contacts {
		contacts[r.Contacts[n].K] = &r.Contacts[n].Cells
	}
	for k := range p.sheets.cells.Cut {
		bare := open[k]
		long := p.tooLong(k, contacts[k])
		bare = raster.Or(&bare, &long)
		if t := told[k]; t != nil {
			bare = raster.AndNot(&bare, t)
		}
		spots = p.spot(spots, k, &bare)
	}
	area := tidy(cellsIn(spots) * p.part.CellArea())
	r.SupportSpots = append(r.SupportSpots, spots...)
	slices.SortStableFunc(r.SupportSpots, func(a, b Spot) int { return a.K - b.K })
	r.SupportUnheldMM2, r.UnheldMM2 = tidy(r.SupportUnheldMM2+area), tidy(r.UnheldMM2+area)
	for _, q := range p.places(spots) {
		r.Reasons = append(r.Reasons, Reason{
			Kind: SupportUnheld, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("%s of a sheet or step would be laid in mid-air at %s.", mm2(q.area), q.where()),
			Remedy: "let it reach a line into the wall round the opening, or hold the ceiling with supports",
		})
	}
}

// stacked returns the layers of two solids together.
func stacked(a, b *raster.Stack) *raster.Stack {
	if len(b.Cut) == 0 {
		return a
	}
	out := &raster.Stack{Grid: a.Grid, Layers: a.Layers, Cut: slices.Clone(a.Cut)}
	for k := range b.Cut {
		if k == len(out.Cut) {
			out.Cut = append(out.Cut, raster.Bits{})
		}
		out.Cut[k] = raster.Or(&out.Cut[k], &b.Cut[k])
	}
	return out
}

// tooLong returns what of layer k's sheets bridges further than may be, laid in the
// best direction of those in which nearly all of it lands. The rules of holding let
// the lines along an edge in the air go a little further than straight beads. What
// lies over contacts is left to them.
func (p *proof) tooLong(k int, contacts *raster.Bits) (long raster.Bits) {
	cells := p.sheets.cells.Layer(k)
	fresh := raster.AndNot(cells, p.part.Layer(k-1))
	for _, q := range raster.Pieces(&fresh) {
		if contacts != nil {
			if over := raster.And(&q.Cells, contacts); !over.Empty() {
				continue
			}
		}
		least := math.Inf(1)
		for _, b := range hold.Run(p.part, k, &q.Cells, p.s) {
			if float64(b.Both) >= mostLand*float64(b.Cells) {
				least = min(least, b.Longest)
			}
		}
		if !math.IsInf(least, 1) && least > p.s.Bridge+2*p.part.Cell {
			long = raster.Or(&long, &q.Cells)
		}
	}
	return long
}

func layersOf(n int) string {
	if n == 1 {
		return "one layer"
	}
	return fmt.Sprintf("%d layers", n)
}

// sheetsIn returns the cells of sheets and steps among supports, and their lowest and
// highest layers in mm; nil where no shell is thin enough to be one.
func sheetsIn(part, sup *mesh.Mesh, g raster.Grid, s supports.Settings) *raster.Stack {
	thin := max(thickSheet, thickLevels*s.Layer)
	if !slices.ContainsFunc(heights(sup), func(h float64) bool { return h <= thin }) {
		return nil
	}
	_, _, found := apart(raster.Section(part, g, s.Layers(), 0), raster.Section(sup, g, s.Layers(), 0), s, 1)
	return found.cells
}

// heights returns how tall the shells of a mesh are, mm.
func heights(m *mesh.Mesh) []float64 {
	f := newForest(len(m.Vertices))
	for _, t := range m.Triangles {
		f.Union(int32(t[0]), int32(t[1]))
		f.Union(int32(t[0]), int32(t[2]))
	}
	lo, hi := map[int32]float64{}, map[int32]float64{}
	for _, t := range m.Triangles {
		root := f.Find(int32(t[0]))
		for _, v := range t {
			z := m.Vertices[v].Z
			if _, seen := lo[root]; !seen {
				lo[root], hi[root] = z, z
			}
			lo[root], hi[root] = min(lo[root], z), max(hi[root], z)
		}
	}
	var out []float64
	for root := range lo {
		out = append(out, hi[root]-lo[root])
	}
	return out
}

// ofSheet tells whether a stretch of a support over a cell belongs to a sheet.
func ofSheet(cells *raster.Stack, i, j int, q stretch) bool {
	for k := cells.Above(q.lo); k < cells.Above(q.hi); k++ {
		if cells.Layer(k).Has(i, j) {
			return true
		}
	}
	return false
}

// merged returns the part's stretches over a cell with those of sheets added, the
// supports' without them, and the sheets' own.
func merged(cells *raster.Stack, i, j int, part, sup []stretch) (whole, rest, own []stretch) {
	for _, q := range sup {
		if ofSheet(cells, i, j, q) {
			own = append(own, q)
		} else {
			rest = append(rest, q)
		}
	}
	if len(own) == 0 {
		return part, sup, nil
	}
	all := slices.Concat(part, own)
	slices.SortStableFunc(all, func(a, b stretch) int {
		switch {
		case a.lo < b.lo:
			return -1
		case a.lo > b.lo:
			return 1
		}
		return 0
	})
	for _, q := range all {
		if n := len(whole); n > 0 && q.lo <= whole[n-1].hi+onPlane {
			if q.hi > whole[n-1].hi {
				whole[n-1].hi, whole[n-1].top = q.hi, q.top
			}
			continue
		}
		whole = append(whole, q)
	}
	return whole, rest, own
}

// sheetLayers returns in how many layers a stretch prints at least, whichever way a
// surface on a cutting plane goes.
func sheetLayers(q stretch, lay raster.Layers) int {
	return max(0, lay.Above(q.hi-onPlane)-lay.Above(q.lo+onPlane))
}

// sheets counts the cells of sheets by the layers that they print in. Where some print
// in none the row is no good, however good the voids are.
func (v *Void) sheets(list []sheetColumn, g raster.Grid, lay raster.Layers, s supports.Settings) {
	var counts [countedLayers]int
	lowest := math.Inf(1)
	var at *[3]float64
	for _, c := range list {
		n := sheetLayers(c.stretch, lay)
		counts[min(n, countedLayers-1)]++
		if n == 0 && c.lo < lowest {
			lowest = c.lo
			p := g.Center(int(c.cell)%g.W, int(c.cell)/g.W)
			at = &[3]float64{tidy(p.X), tidy(p.Y), tidy(c.lo)}
		}
	}
	for n := range counts {
		v.SheetMM2[n] = tidy(float64(counts[n]) * g.CellArea())
	}
	if v.Grade != VoidFused && v.SheetMM2[0] > s.Line*s.Line+onPlane {
		v.Grade, v.At = VoidGone, at
	}
}

// sheetColumn is a sheet's stretch over one cell.
type sheetColumn struct {
	cell int32
	stretch
}
