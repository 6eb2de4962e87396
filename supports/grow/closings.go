package grow

import (
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// ceilingReach is how far, in mm, a ceiling may be from the height that a plan
	// states, as for lines.
	ceilingReach = surfaceReach
	// hair is added, in mm, to what must print, so that where both its faces lie on
	// cutting planes one of these still meets it.
	hair = 0.002
	// apart is by what share of itself the bed of one side of steps differs from the
	// next one's: shells that had an edge in common would be one surface to a reader
	// that matches edges by their ends. In a pocket of 20 mm it is 2 µm.
	apart = 1e-4
)

// Opening is what is open under a ceiling with a hole in it, and closed all round.
type Opening struct {
	K     int         // layer of the ceiling
	Z     float64     // of its underside, mm
	Cells raster.Bits // open in the layer below the ceiling
	Hole  raster.Bits // and open in the ceiling's own
}

// OpeningAt returns the opening that a place lies in, under the ceiling that is
// nearest to its height. An error says what is wanting.
func OpeningAt(part *raster.Stack, under *Undersides, at r3.Vec) (*Opening, error) {
	i, j := part.At(r2.Vec{X: at.X, Y: at.Y})
	var best *Opening
	var why error
	near := math.Inf(1)
	for k := max(1, part.Above(at.Z-ceilingReach)); k <= min(part.Above(at.Z+ceilingReach), len(part.Cut)-1); k++ {
		off := math.Abs(part.Bottom(k) - at.Z)
		if off >= near || part.Layer(k-1).Has(i, j) {
			continue
		}
		fresh := raster.AndNot(part.Layer(k), part.Layer(k-1))
		if fresh.Empty() {
			continue
		}
		open, ok := enclosed(part, k-1, i, j)
		if !ok {
			if why == nil {
				why = fmt.Errorf("what is open there, at x %.1f, y %.1f under z %.2f, is not closed all round by the part", at.X, at.Y, part.Bottom(k))
			}
			continue
		}
		if o, ok := openingOf(part, under, k, &open); ok {
			best, near = o, off
		}
	}
	switch {
	case best == nil && why == nil:
		return nil, fmt.Errorf("no ceiling with a hole in it within %g mm of z %.2f over x %.1f, y %.1f", ceilingReach, at.Z, at.X, at.Y)
	case best == nil:
		return nil, why
	}
	return best, nil
}

// openingOf returns the opening whose cells are open in layer k−1, if layer k is a
// ceiling over them with a hole in it.
func openingOf(part *raster.Stack, under *Undersides, k int, open *raster.Bits) (*Opening, bool) {
	fresh, hole := raster.And(open, part.Layer(k)), raster.AndNot(open, part.Layer(k))
	if fresh.Empty() || hole.Empty() {
		return nil, false
	}
	o := &Opening{K: k, Z: part.Bottom(k), Cells: *open, Hole: hole}
	// The surface itself, from wherever it is found first.
	found := false
	fresh.Each(func(i, j int) {
		if !found {
			if z, level, ok := under.Find(part.Center(i, j), part.Bottom(k), part.Height); ok && level {
				// Only where it is this layer that prints it first.
				if part.Above(z) == k {
					o.Z, found = z, true
				}
			}
		}
	})
	return o, true
}

// enclosed returns what is open in layer k about cell (i, j), and whether the part
// closes it all round.
func enclosed(part *raster.Stack, k, i, j int) (raster.Bits, bool) {
	if !part.Contains(i, j) || part.Layer(k).Has(i, j) {
		return raster.Bits{}, false
	}
	for _, p := range air(part, k) {
		if p.Cells.Has(i, j) {
			return p.Cells, p.X0 > 0 && p.Y0 > 0 && p.X1 < part.W && p.Y1 < part.H
		}
	}
	return raster.Bits{}, false
}

// air returns the pieces of what is open in layer k.
func air(part *raster.Stack, k int) []raster.Piece {
	all := raster.NewBits(0, 0, part.W, part.H)
	for j := range part.H {
		all.SetSpan(j, 0, part.W)
	}
	all.Remove(part.Layer(k))
	return raster.Pieces(&all)
}

// Openings returns the openings under layer k's ceilings.
func Openings(part *raster.Stack, under *Undersides, k int) []*Opening {
	var out []*Opening
	for _, p := range air(part, k-1) {
		if p.X0 > 0 && p.Y0 > 0 && p.X1 < part.W && p.Y1 < part.H {
			if o, ok := openingOf(part, under, k, &p.Cells); ok {
				out = append(out, o)
			}
		}
	}
	return out
}

// Bore returns the middle of the hole that a place lies in, and its diameter by its
// area.
func (o *Opening) Bore(part *raster.Stack, at r2.Vec) (middle r2.Vec, bore float64, ok bool) {
	i, j := part.At(at)
	for _, p := range raster.Pieces(&o.Hole) {
		if !p.Cells.Has(i, j) {
			continue
		}
		p.Cells.Each(func(i, j int) { middle = r2.Add(middle, part.Center(i, j)) })
		middle = r2.Scale(1/float64(p.Area), middle)
		return middle, 2 * math.Sqrt(float64(p.Area)*part.CellArea()/math.Pi), true
	}
	return at, 0, false
}

// Outline returns the convex hull of the opening, anticlockwise, mm.
func (o *Opening) Outline(part *raster.Stack) []r2.Vec {
	var at []r2.Vec
	half := part.Cell / 2
	o.Cells.EachRun(func(j, i0, i1 int) {
		// The middles of cells' outer sides: their corners stand out.
		a, b := part.Center(i0, j), part.Center(i1-1, j)
		at = append(at, r2.Vec{X: a.X - half, Y: a.Y}, r2.Vec{X: b.X + half, Y: b.Y})
		for _, y := range [2]float64{a.Y - half, a.Y + half} {
			at = append(at, r2.Vec{X: a.X, Y: y}, r2.Vec{X: b.X, Y: y})
		}
	})
	return raster.Hull(at)
}

// StepsSpan returns the longest bridge of steps under a pocket of convex outline, for
// a hole of diameter bore round p, when the lowest bridges run at an angle: the chords
// that touch the hole on either side, and across them the slot, or what of it the
// walls leave.
func StepsSpan(outline []r2.Vec, p r2.Vec, bore, angle float64) float64 {
	sin, cos := math.Sincos(angle)
	along, across := r2.Vec{X: cos, Y: sin}, r2.Vec{X: -sin, Y: cos}
	// Of what lies beyond a tangent, the edge along it is the longest.
	chord := func(along, out r2.Vec) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, q := range clip(outline, p, out, bore/2) {
			u := r2.Dot(r2.Sub(q, p), along)
			lo, hi = min(lo, u), max(hi, u)
		}
		return max(0, hi-lo)
	}
	span := 0.0
	for _, side := range [2]float64{1, -1} {
		span = max(span, chord(along, r2.Scale(side, across)), min(bore, chord(across, r2.Scale(side, along))))
	}
	return span
}

// levels returns the heights of n levels under a ceiling, from the ceiling down. Each
// is one layer of the settings' own, on their grid, or where other heights are
// declared as thick as the thickest of them, so that every level prints at each.
func (o *Opening) levels(part *raster.Stack, s supports.Settings, n int) ([]float64, error) {
	thick := s.Layer
	for _, h := range s.Heights {
		thick = max(thick, h)
	}
	out := []float64{o.Z}
	for i := 1; i <= n; i++ {
		z := part.Bottom(max(o.K-i, 0)) - hair
		if thick > s.Layer {
			z = o.Z - float64(i)*(thick+hair)
		}
		out = append(out, z)
	}
	if lowest := part.Above(out[n]); lowest < 1 || out[n] <= part.First/2 {
		return nil, fmt.Errorf("the ceiling at z %.2f is too near the plate for %d levels of %.3g mm", o.Z, n, thick)
	}
	return out, nil
}

// bed returns the outline of an opening in the layers down to height z, grown into
// the wall by a line: whichever of two bodies a program lets the outermost bead of
// the wall belong to, the other joins it.
func (o *Opening) bed(part *raster.Stack, s supports.Settings, z float64) ([]r2.Vec, error) {
	all := o.Cells
	low := part.Above(z)
	for k := o.K - 2; k >= low; k-- {
		var open raster.Bits
		found := false
		for _, p := range air(part, k) {
			if hit := raster.And(&p.Cells, &o.Cells); !hit.Empty() {
				open, found = raster.Or(&open, &p.Cells), true
			}
		}
		if found {
			all = raster.Or(&all, &open)
		}
	}
	wide := raster.Dilate(&all, raster.DiscOf(s.Line/part.Cell+1))
	for k := low; k < o.K; k++ {
		out := raster.AndNot(&wide, part.Layer(k))
		if out = raster.AndNot(&out, &all); !out.Empty() {
			return nil, fmt.Errorf("the wall round it is thinner than a line at z %.2f, too thin to land on", part.Bottom(k))
		}
	}
	var outer []r2.Vec
	for _, loop := range raster.Contours(&wide) {
		at := make([]r2.Vec, len(loop))
		for n, c := range loop {
			at[n] = part.Point(c)
		}
		if mesh.PolygonArea(at) > mesh.PolygonArea(outer) {
			outer = at
		}
	}
	return raster.Simplify(outer, part.Cell/2), nil
}

// Sheet returns the solid of a sheet: one layer across the opening, from the ceiling
// down. An error says why there can be none.
func Sheet(h plan.Sheet, part *raster.Stack, under *Undersides, s supports.Settings) ([]*mesh.Mesh, error) {
	o, err := OpeningAt(part, under, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	if err != nil {
		return nil, err
	}
	return o.Sheet(part, s)
}

// Sheet returns the solid of a sheet across the opening.
func (o *Opening) Sheet(part *raster.Stack, s supports.Settings) ([]*mesh.Mesh, error) {
	z, err := o.levels(part, s, 1)
	if err != nil {
		return nil, err
	}
	outline, err := o.bed(part, s, z[1])
	if err != nil {
		return nil, err
	}
	return []*mesh.Mesh{mesh.Prism(outline, z[1], z[0])}, nil
}

// Steps returns the solids of bridging steps: one for each side of the polygon that
// the hole is left in, the lower the earlier it comes. An error says why there can be
// none.
func Steps(h plan.Steps, part *raster.Stack, under *Undersides, s supports.Settings) ([]*mesh.Mesh, error) {
	o, err := OpeningAt(part, under, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	if err != nil {
		return nil, err
	}
	if h.Bore == 0 {
		_, bore, ok := o.Bore(part, r2.Vec{X: h.At[0], Y: h.At[1]})
		if !ok {
			return nil, fmt.Errorf("no hole in the ceiling at x %.1f, y %.1f; give the place of its axis", h.At[0], h.At[1])
		}
		h.Bore = bore
	}
	return o.Steps(h, part, s)
}

// Steps returns the solids of bridging steps under the opening's ceiling.
func (o *Opening) Steps(h plan.Steps, part *raster.Stack, s supports.Settings) ([]*mesh.Mesh, error) {
	middle := r2.Vec{X: h.At[0], Y: h.At[1]}
	pocket := math.Sqrt(float64(o.Cells.Count()) * part.CellArea() / math.Pi)
	n := remedy.Steps{Hole: h.Bore / 2, Pocket: pocket, Line: s.Line, Layer: s.Layer}.Layers()
	if n == 0 {
		return nil, fmt.Errorf("a hole of %.2f mm leaves nothing of the ceiling to step", h.Bore)
	}
	z, err := o.levels(part, s, n)
	if err != nil {
		return nil, err
	}
	outline, err := o.bed(part, s, z[n])
	if err != nil {
		return nil, err
	}
	round := raster.Hull(slices.Clone(outline))
	length := 0.0
	for i := range round {
		length += dist(round[i], round[(i+1)%len(round)])
	}
	// Cells may take half of themselves off a straight side, and simplifying as much.
	if mesh.PolygonArea(round)-mesh.PolygonArea(outline) > length*part.Cell {
		return nil, fmt.Errorf("the pocket has corners that stand into it, which bridges would cross; a sheet closes any")
	}
	var out []*mesh.Mesh
	for level := range n {
		for _, a := range turns(level) {
			sin, cos := math.Sincos(h.Direction*math.Pi/180 + a)
			side := clip(drawnIn(round, float64(len(out))*apart), middle, r2.Vec{X: cos, Y: sin}, h.Bore/2)
			if math.Abs(mesh.PolygonArea(side)) > s.Line*s.Line {
				out = append(out, mesh.Prism(side, z[n-level], z[0]))
			}
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("a hole of %.2f mm leaves nothing of the ceiling to step", h.Bore)
	}
	return out, nil
}

// drawnIn returns a polygon drawn in towards its first corner by a share of itself.
func drawnIn(polygon []r2.Vec, share float64) []r2.Vec {
	out := slices.Clone(polygon)
	for i, q := range out {
		out[i] = r2.Sub(q, r2.Scale(share, r2.Sub(q, polygon[0])))
	}
	return out
}

// turns returns the directions, from that of the lowest bridges, of the sides that a
// level adds: two that the bridges run along, two across, then all half-way between.
func turns(level int) []float64 {
	switch level {
	case 0:
		return []float64{math.Pi / 2, 3 * math.Pi / 2}
	case 1:
		return []float64{0, math.Pi}
	}
	n := 1 << level
	out := make([]float64, n)
	for i := range out {
		out[i] = (float64(i) + 0.5) * 2 * math.Pi / float64(n)
	}
	return out
}

// clip returns what of a convex polygon lies r or further from p along direction n.
func clip(polygon []r2.Vec, p, n r2.Vec, r float64) []r2.Vec {
	var out []r2.Vec
	side := func(q r2.Vec) float64 { return r2.Dot(r2.Sub(q, p), n) - r }
	for i, b := range polygon {
		a := polygon[(i+len(polygon)-1)%len(polygon)]
		da, db := side(a), side(b)
		if da*db < 0 {
			out = append(out, r2.Add(a, r2.Scale(da/(da-db), r2.Sub(b, a))))
		}
		if db >= 0 {
			out = append(out, b)
		}
	}
	return out
}

// Closings returns the solids of a plan's sheets and steps, in this order. One for
// which the part has no place is left out; the proof tells what is missing for it.
func Closings(p plan.Plan, s supports.Settings, under *Undersides, part *raster.Stack) []Solid {
	var out []Solid
	add := func(id string, solids []*mesh.Mesh, err error) {
		if err != nil {
			return
		}
		for _, m := range solids {
			m.Round32()
			out = append(out, Solid{id, m})
		}
	}
	for _, h := range p.Sheets {
		solids, err := Sheet(h, part, under, s)
		add(h.ID, solids, err)
	}
	for _, h := range p.Steps {
		solids, err := Steps(h, part, under, s)
		add(h.ID, solids, err)
	}
	return out
}

// With returns the part's layers with solids that are printed onto it added.
func With(part *raster.Stack, solids []Solid) *raster.Stack {
	if len(solids) == 0 {
		return part
	}
	var all mesh.Mesh
	for i := range solids {
		all.Append(solids[i].Mesh)
	}
	out := *part
	out.Cut = append([]raster.Bits(nil), part.Cut...)
	more := raster.Section(&all, part.Grid, part.Layers, 1)
	for k := range min(len(out.Cut), len(more.Cut)) {
		if !more.Cut[k].Empty() {
			out.Cut[k] = raster.Or(&out.Cut[k], &more.Cut[k])
		}
	}
	return &out
}
