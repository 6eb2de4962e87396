package prove

import (
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r3"
)

// Layer heights and first layers, in mm, that a model is likely to be printed at
// by someone who did not make it. Common practice, no source.
var (
	strangersLayers = [...]float64{0.12, 0.16, 0.2, 0.28}
	strangersFirsts = [...]float64{0.2, 0.3}
)

const (
	// tie is how near to a cell's centre, in cells, an edge counts as through it, as in
	// package raster.
	tie = 1e-9
	// levelGradient is the rise over run from which an underside is a slope: one
	// degree, far more than rounding tilts a face, and over a line's width far
	// less than a layer.
	levelGradient = 0.0175
	// onPlane is how near to a cutting plane, in mm, a surface is on either side of
	// it: what float32 leaves of a coordinate of 100 mm.
	onPlane = 1e-5
	// countedLayers is how many counts of empty layers are kept apart: 0, 1, 2, and
	// 3 or more.
	countedLayers = 4
)

// Grade says what a void becomes in print.
type Grade string

const (
	VoidGood  Grade = "good"       // comes apart, and carries
	VoidFused Grade = "fused"      // printed together across no void
	VoidFar   Grade = "too far"    // carries too late or not at all
	VoidNone  Grade = "no contact" // no support carries the part
	// VoidGone is no void: a sheet or step that prints in no layer.
	VoidGone Grade = "no layer"
)

// Void is what prints between the tops of supports and the part above them at
// one layer height and first layer.
type Void struct {
	Layer float64 `json:"layer_mm"`
	First float64 `json:"first_layer_mm"`
	Own   bool    `json:"own"`   // the heights of the settings
	Binds bool    `json:"binds"` // the settings' own or declared: counts for the verdict
	// Grade is the worst that happens over more than a bead's footprint, one line
	// square, in all. A fused plan is good where nothing is empty.
	Grade   Grade                  `json:"grade"`
	AreaMM2 [countedLayers]float64 `json:"area_mm2"` // with 0, 1, 2, 3 or more empty layers
	// LandingMM2 counts the same where supports stand on the part.
	LandingMM2 [countedLayers]float64 `json:"landing_mm2"`
	// Of both: printed together, as it should be, and too far.
	FusedMM2 float64    `json:"fused_mm2"`
	GoodMM2  float64    `json:"good_mm2"`
	FarMM2   float64    `json:"far_mm2"`
	VoidMM   [2]float64 `json:"void_mm"` // thinnest and thickest as printed
	// SheetMM2 is the area of sheets and steps that prints in 0, 1, 2, 3 or more layers.
	SheetMM2 [countedLayers]float64 `json:"sheet_mm2"`
	// Where the grade is not good: the lowest cell of that kind.
	At *[3]float64 `json:"at_mm,omitempty"`
	// Faces are the faces of the part that the wrong ones are at, upward.
	Faces []VoidFace `json:"-"`
	// BetterFirst is the first layer, in mm, nearest to the settings' that keeps all level
	// faces at supports off the cutting planes of the layers that bind; 0 where there is none,
	// or nothing is wrong.
	BetterFirst float64 `json:"-"`
	// Places are the contacts one by one, the same ones in the same order in every row.
	Places []VoidPlace `json:"places"`
}

// Voids counts the empty layers that print between the top of each support and
// the part above it, and between the part and the support that stands on it: at
// the settings' own layers, first in the list, at those that are declared, and at
// those that strangers print.
//
// A void good to print is at least one layer and at most Settings.ThickestVoid. A
// surface that lies on a cutting plane may go to either side, and is counted the
// worse way. A void too thick does no harm within half a line of a good one, as
// on the treads of a slope: a bead may stand out so far.
//
// What counts as a contact is decided at the settings' own layers, so that all
// rows tell of the same places: a top below the part across no more empty layers
// than package hold lets it carry across, one more under a slope. Tops further
// down carry nothing, and the proof says what hangs above them.
//
// Both meshes are looked at along the vertical through each cell's centre, where
// their surfaces are known exactly; winding above 0 is inside. Layers then are
// intervals between planes, and any number of heights costs one pass over the
// triangles.
func Voids(part, sup *mesh.Mesh, s supports.Settings) ([]Void, error) {
	s, err := s.Resolve()
	if err != nil {
		return nil, fmt.Errorf("prove: settings: %w", err)
	}
	if part == nil || len(part.Triangles) == 0 {
		return nil, fmt.Errorf("prove: the part has no triangles")
	}
	if err := standing("part", part); err != nil {
		return nil, err
	}
	var list, landings []contact
	var own []sheetColumn
	var g raster.Grid
	if sup != nil && len(sup.Triangles) > 0 {
		if err := standing("supports", sup); err != nil {
			return nil, err
		}
		if g, err = gridFor(sup.Bounds(), s.Cell); err != nil {
			return nil, err
		}
		closed := sheetsIn(part, sup, g, s)
		for _, c := range columns(part, sup, g, closed != nil) {
			if closed != nil {
				var mine []stretch
				c.part, c.sup, mine = merged(closed, int(c.cell)%g.W, int(c.cell)/g.W, c.part, c.sup)
				for _, q := range mine {
					own = append(own, sheetColumn{c.cell, q})
				}
			}
			list = append(list, contactsOf(c.cell, c.sup, c.part, s)...)
			landings = append(landings, contactsOf(c.cell, c.part, c.sup, s)...)
		}
	}
	now := s.Layers()
	var rows []raster.Layers
	add := func(lay raster.Layers) {
		if !slices.Contains(rows, lay) {
			rows = append(rows, lay)
		}
	}
	add(now)
	for _, h := range s.Heights {
		add(raster.Layers{First: now.First, Height: h})
	}
	binding := len(rows)
	for _, h := range strangersLayers {
		for _, first := range strangersFirsts {
			add(raster.Layers{First: first, Height: h})
		}
	}
	out := make([]Void, len(rows))
	sides := [2]side{{list: list, places: placesOfContacts(list, g, false)}, {list: landings, places: placesOfContacts(landings, g, true)}}
	better := betterFirst(sides, rows[:binding], s)
	for n, lay := range rows {
		out[n] = voidAt(sides, g, lay, s)
		out[n].sheets(own, g, lay, s)
		out[n].Own, out[n].Binds = n == 0, n < binding
		if out[n].Binds && out[n].Faces != nil {
			out[n].BetterFirst = better
		}
	}
	return out, nil
}

// Bind adds to a proof the voids that are not good at the heights that bind it. What
// is wrong at the settings' own layers is named only if the proof found nothing: it
// would be the same once more.
func (r *Report) Bind(voids []Void) {
	for _, v := range voids {
		if !v.Binds || v.At == nil || v.Own && r.Verdict == Fails {
			continue
		}
		faces := v.Faces
		if v.Grade == VoidGone {
			faces = []VoidFace{{Grade: VoidGone, At: *v.At, AreaMM2: v.SheetMM2[0]}}
		}
		for _, f := range faces {
			r.Reasons = append(r.Reasons, v.wrong(f))
		}
		r.Verdict = Fails
	}
	sortByHarm(r.Reasons)
}

// Carried returns a void as it binds where the proof in the same layers has found all of the
// part held: a slope that is too far from a top is held without it there, as by tops
// further down in the settings' own layers. What a level face on a cutting plane does the other way
// such a proof does not see.
func (v Void) Carried() Void {
	v.Faces = slices.DeleteFunc(slices.Clone(v.Faces), func(f VoidFace) bool { return f.Grade == VoidFar && !f.Level })
	if v.Grade == VoidGone {
		return v
	}
	if v.At, v.Grade = nil, VoidGood; len(v.Faces) > 0 {
		v.At, v.Grade = &v.Faces[0].At, v.Faces[0].Grade
	}
	return v
}

// wrong says what is wrong with the void at a face.
func (v *Void) wrong(f VoidFace) Reason {
	what := map[Grade]string{
		VoidFused: "are printed together", VoidFar: "come too far apart",
		VoidGone: "lack a sheet or step, which prints in no layer,",
	}[f.Grade]
	at := r3.Vec{X: f.At[0], Y: f.At[1], Z: f.At[2]}
	face := ""
	if f.Level {
		face = fmt.Sprintf(" at the level face at z %.2f mm", at.Z)
	}
	remedy := "end the supports where as many whole layers stay empty at every height that is declared, or declare fewer heights"
	lay := raster.Layers{First: v.First, Height: v.Layer}
	if k := lay.Above(at.Z - nearTie); math.Abs(lay.Plane(k)-at.Z) < nearTie {
		remedy = fmt.Sprintf("the surface lies on the plane that layer %d is cut at, so it may print a layer higher or lower, and the void is not good both ways: ", k)
		if v.BetterFirst > 0 {
			remedy += fmt.Sprintf("print with a first layer of %.4g mm, or ", v.BetterFirst)
		}
		remedy += fmt.Sprintf("move it by half a layer, %.3g mm", v.Layer/2)
	}
	return Reason{
		Kind: WrongVoid, At: at, LayerZ: at.Z, AreaMM2: f.AreaMM2,
		Text: fmt.Sprintf("In layers of %g mm, the first %g mm, part and supports %s over %s%s, the lowest place being x %.1f, y %.1f, z %.2f mm.",
			v.Layer, v.First, what, mm2(f.AreaMM2), face, at.X, at.Y, at.Z),
		Remedy: remedy,
	}
}

// nearTie is how near to a cutting plane, in mm, a surface is told to lie on it: its height
// is told to a ten-thousandth.
const nearTie = 1e-4

const (
	// firstStep is how finely first layers are told, in mm, and offPlane which share of a
	// layer they keep faces off the planes by at least: half of what is to be had for one.
	firstStep, offPlane = 0.01, 0.25
	// thinnestFirst and thickestFirst bound them as shares of the layer and the nozzle. Common
	// practice, no source.
	thinnestFirst, thickestFirst = 0.75, 0.8
)

// betterFirst returns the first layer nearest to the settings' for which all level faces at
// contacts keep off the planes that the layers are cut at, 0 where there is none.
func betterFirst(sides [2]side, rows []raster.Layers, s supports.Settings) float64 {
	seen := map[float64]bool{}
	var faces []float64
	for n := range sides {
		for i := range sides[n].list {
			q := &sides[n].list[i]
			if z := q.face(n == 1); !q.slope && !seen[z] {
				seen[z] = true
				faces = append(faces, z)
			}
		}
	}
	thick := 0.0
	for _, lay := range rows {
		thick = max(thick, lay.Height)
	}
	suits := func(first float64) bool {
		for _, lay := range rows {
			lay.First = first
			for _, z := range faces {
				if z <= first {
					continue
				}
				k := lay.Above(z)
				off := lay.Plane(k) - z
				if k > 0 {
					off = min(off, z-lay.Plane(k-1))
				}
				if off < offPlane*lay.Height-onPlane {
					return false
				}
			}
		}
		return true
	}
	for n := 1; float64(n)*firstStep <= thick; n++ {
		for _, way := range [2]float64{1, -1} {
			first := math.Round((s.First+way*float64(n)*firstStep)/firstStep) * firstStep
			if first >= thinnestFirst*thick-1e-9 && first <= thickestFirst*s.Nozzle+1e-9 && suits(first) {
				return first
			}
		}
	}
	return 0
}

// surface is where a vertical enters or leaves a solid.
type surface struct {
	cell  int32 // row × width + column
	turn  int32 // change of winding, going up
	z     float64
	facet int32 // the triangle
	slope bool  // it is not level
}

// stretch is a piece of a vertical inside a solid.
type stretch struct {
	lo, hi     float64
	slope, top bool // the underside, the upper side is not level
}

// column is a vertical that meets a support.
type column struct {
	cell      int32
	part, sup []stretch // upward
}

// columns returns the verticals through the cells' centres that meet a support,
// in order of their cells; those that miss the part only if alone is set.
func columns(part, sup *mesh.Mesh, g raster.Grid, alone bool) []column {
	over := raster.NewBits(0, 0, g.W, g.H)
	under := surfaces(sup, g, nil)
	for n := range under {
		over.Set(int(under[n].cell)%g.W, int(under[n].cell)/g.W)
	}
	above := surfaces(part, g, &over)
	var out []column
	for len(under) > 0 {
		cell := under[0].cell
		var mine, its []surface
		mine, under = ofCell(under, cell)
		for len(above) > 0 && above[0].cell < cell {
			_, above = ofCell(above, above[0].cell)
		}
		its, above = ofCell(above, cell)
		if p := stretches(its); len(p) > 0 || alone {
			out = append(out, column{cell, p, stretches(mine)})
		}
	}
	return out
}

// ofCell cuts the surfaces of a cell from the front of list.
func ofCell(list []surface, cell int32) (mine, rest []surface) {
	n := 0
	for n < len(list) && list[n].cell == cell {
		n++
	}
	return list[:n], list[n:]
}

// surfaces returns where the verticals through the cells of only, all where it is
// nil, meet m: by cell, then upward, entries first. An edge owns the rows from its
// lower end up to but not including its upper end, and is cut with its lower end
// first, so that of two triangles which share an edge just one has each cell.
func surfaces(m *mesh.Mesh, g raster.Grid, only *raster.Bits) []surface {
	var out []surface
	first := func(v float64) int { return int(math.Ceil(v - 0.5 - tie)) } // whose centre is at v cells or beyond
	for t := range m.Triangles {
		var v [3]r3.Vec
		v[0], v[1], v[2] = m.Corners(t)
		n := r3.Cross(r3.Sub(v[1], v[0]), r3.Sub(v[2], v[0]))
		lo, hi := min(v[0].Z, v[1].Z, v[2].Z), max(v[0].Z, v[1].Z, v[2].Z)
		slope := math.Hypot(n.X, n.Y) > levelGradient*math.Abs(n.Z)
		j0 := max(0, first((min(v[0].Y, v[1].Y, v[2].Y)-g.Origin.Y)/g.Cell))
		j1 := min(g.H, first((max(v[0].Y, v[1].Y, v[2].Y)-g.Origin.Y)/g.Cell))
		for j := j0; j < j1; j++ {
			y := g.Center(0, j).Y
			var up, down int
			crossed := false
			for e := range v {
				p, q := v[e], v[(e+1)%3]
				rises := q.Y > y
				if (p.Y > y) == rises {
					continue
				}
				crossed = true
				if !rises {
					p, q = q, p
				}
				x := p.X + (q.X-p.X)*((y-p.Y)/(q.Y-p.Y))
				col := min(max(first((x-g.Origin.X)/g.Cell), 0), g.W)
				if rises {
					up = col
				} else {
					down = col
				}
			}
			if !crossed || up == down {
				continue
			}
			turn := int32(-1) // anticlockwise from above: it faces up
			if up < down {
				turn = 1
			}
			for i := min(up, down); i < max(up, down); i++ {
				if only != nil && !only.Has(i, j) {
					continue
				}
				z := v[0].Z
				if n.Z != 0 {
					z -= (n.X*(g.Center(i, 0).X-v[0].X) + n.Y*(y-v[0].Y)) / n.Z
				}
				out = append(out, surface{int32(j*g.W + i), turn, min(max(z, lo), hi), int32(t), slope})
			}
		}
	}
	return inOrder(out, g.W*g.H)
}

// inOrder sorts surfaces by cell, of which there are so many, then upward, entries first.
// Those of one cell are few.
func inOrder(list []surface, cells int) []surface {
	at := make([]int32, cells+1)
	for n := range list {
		at[list[n].cell+1]++
	}
	for c := range cells {
		at[c+1] += at[c]
	}
	out := make([]surface, len(list))
	for _, f := range list {
		out[at[f.cell]] = f
		at[f.cell]++
	}
	for n := range out {
		for k := n; k > 0 && out[k].cell == out[k-1].cell && (out[k].z < out[k-1].z || out[k].z == out[k-1].z && out[k].turn > out[k-1].turn); k-- {
			out[k], out[k-1] = out[k-1], out[k]
		}
	}
	return out
}

// stretches returns the pieces of a vertical that lie inside. What an open mesh
// leaves without an end is none.
func stretches(list []surface) []stretch {
	var out []stretch
	var at stretch
	winding := int32(0)
	for _, f := range list {
		was := winding
		winding += f.turn
		switch {
		case was <= 0 && winding > 0:
			at = stretch{lo: f.z, slope: f.slope}
		case was > 0 && winding <= 0 && f.z > at.lo:
			at.hi, at.top = f.z, f.slope
			out = append(out, at)
		}
	}
	return out
}

// contact is a vertical on which one solid ends below the other: supports below the
// part, or the part below what stands on it.
type contact struct {
	cell  int32
	low   []stretch // up to the one that ends
	high  []stretch // from the one above it
	slope bool
}

// contactsOf picks the tops of low that the settings' own layers make contacts with
// high.
func contactsOf(cell int32, low, high []stretch, s supports.Settings) []contact {
	var out []contact
	p := 0
	for n := range low {
		top := low[n].hi
		for p < len(high) && high[p].hi <= top {
			p++
		}
		if p == len(high) {
			break
		}
		if n+1 < len(low) && low[n+1].lo < high[p].lo {
			continue // another of the same is between
		}
		q := contact{cell, low[:n+1], high[p:], high[p].slope || low[n].top}
		most := s.VoidLayers()
		if q.slope {
			most = s.SlopeVoidLayers()
		}
		if empty, _, ok := q.void(s.Layers(), onPlane); ok && empty <= most {
			out = append(out, q)
		}
	}
	return out
}

// void returns how many layers print empty between the lower and the upper solid, and
// how thick that is in mm. The one ends and the other begins nearer to each other
// by twice the given length. It is false where the upper one does not print.
func (q *contact) void(lay raster.Layers, nearer float64) (empty int, thick float64, ok bool) {
	// What is too thin to print in any layer is not there. What prints in none leaves
	// the plate.
	top := -1
	for n := len(q.low) - 1; n >= 0 && top < 0; n-- {
		if end := lay.Above(q.low[n].hi + nearer); end > lay.Above(q.low[n].lo) {
			top = end - 1
		}
	}
	for _, p := range q.high {
		k := lay.Above(p.lo - nearer)
		if k == lay.Above(p.hi) {
			continue
		}
		if k <= top+1 {
			return 0, 0, true
		}
		from := 0.0
		if top >= 0 {
			from = lay.Top(top)
		}
		return k - top - 1, lay.Bottom(k) - from, true
	}
	return 0, 0, false
}

// face returns the height of the part's surface at a contact, or at a landing.
func (q *contact) face(landing bool) float64 {
	if landing {
		return q.low[len(q.low)-1].hi
	}
	return q.high[0].lo
}

// side is the contacts under the part, or those on it.
type side struct {
	list   []contact
	places contactPlaces
}

// voidAt is one row: what the contacts and landings print as in layers lay.
func voidAt(sides [2]side, g raster.Grid, lay raster.Layers, s supports.Settings) Void {
	v := Void{Layer: lay.Height, First: lay.First, Grade: VoidNone, Places: []VoidPlace{}}
	if len(sides[0].list)+len(sides[1].list) == 0 {
		return v
	}
	there := s
	there.Layer = lay.Height
	area := func(n int) float64 { return tidy(float64(n) * g.CellArea()) }
	total := 0
	var wrong []VoidFace
	for n, areas := range [...]*[countedLayers]float64{&v.AreaMM2, &v.LandingMM2} {
		side, landing := &sides[n], n == 1
		places := side.places.row()
		var counts [countedLayers]int
		var sets [3]raster.Bits // good, fused, too far
		for n := range sets {
			sets[n] = raster.NewBits(0, 0, g.W, g.H)
		}
		type surface struct {
			z     float64
			level bool
		}
		heights := map[int32]surface{}
		for n := range side.list {
			q := &side.list[n]
			// Both ways that a surface on a cutting plane may go.
			empty, thick, ok := q.void(lay, onPlane)
			if !ok {
				continue
			}
			far, farThick, ok := q.void(lay, -onPlane)
			if !ok {
				continue
			}
			set := 0
			switch {
			case empty == 0 && !s.IsFused():
				set = 1
			case farThick > there.ThickestVoid(q.slope)+onPlane:
				set = 2
			}
			if set != 1 {
				empty, thick = far, farThick
			}
			places[side.places.of[n]].add(empty, thick, set == 1, g.CellArea())
			if total == 0 {
				v.VoidMM = [2]float64{thick, thick}
			}
			total++
			v.VoidMM = [2]float64{min(v.VoidMM[0], thick), max(v.VoidMM[1], thick)}
			counts[min(empty, countedLayers-1)]++
			i, j := int(q.cell)%g.W, int(q.cell)/g.W
			sets[set].Set(i, j)
			// Where the part's surface is, which is what can be moved.
			if z, at := q.face(landing), heights[q.cell]; at == (surface{}) || z < at.z {
				heights[q.cell] = surface{z, !q.slope}
			}
		}
		// Beside what carries, a bead may stand out by half its width.
		sets[2] = raster.Beyond(&sets[2], &sets[0], raster.DiscOf(s.Line/2/g.Cell))
		for n, grade := range [...]Grade{VoidGood, VoidFused, VoidFar} {
			if n == 0 {
				continue
			}
			sets[n].EachRun(func(j, i0, i1 int) {
				for i := i0; i < i1; i++ {
					at := heights[int32(j*g.W+i)]
					c := g.Center(i, j)
					wrong = addFace(wrong, VoidFace{grade, [3]float64{tidy(c.X), tidy(c.Y), tidy(at.z)}, g.CellArea(), at.level})
				}
			})
		}
		for n := range counts {
			areas[n] = area(counts[n])
		}
		v.Places = append(v.Places, places...)
		v.GoodMM2 += area(sets[0].Count())
		v.FusedMM2 += area(sets[1].Count())
		v.FarMM2 += area(sets[2].Count())
	}
	v.GoodMM2, v.FusedMM2, v.FarMM2 = tidy(v.GoodMM2), tidy(v.FusedMM2), tidy(v.FarMM2)
	v.VoidMM = [2]float64{tidy(v.VoidMM[0]), tidy(v.VoidMM[1])}
	bead := s.Line*s.Line + onPlane
	switch {
	case total == 0: // none of them prints
		return v
	case v.FusedMM2 > bead:
		v.Grade = VoidFused
	case v.FarMM2 > bead:
		v.Grade = VoidFar
	default:
		v.Grade = VoidGood
		return v
	}
	for _, f := range wrong {
		if f.Grade == v.Grade && (v.At == nil || f.At[2] < v.At[2]) {
			at := f.At
			v.At = &at
		}
	}
	v.Faces = facesOf(wrong, bead)
	return v
}
