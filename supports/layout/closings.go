package layout

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// turnsTried is how many directions of the lowest bridges are compared, besides
	// those along a pocket's sides.
	turnsTried = 12
	// longSide is the length, in mm, from which a side of a pocket's outline counts.
	longSide = 1.5
	// mostLevels is how many ceilings, one over another, are looked at in one region.
	mostLevels = 4
	// weighCells bounds the work of pricing supports beside sheets and steps, in cells
	// judged; a million take about five milliseconds. Beyond it these are taken
	// unpriced: one layer has always been cheaper than walls up to it.
	weighCells = 60000000
)

// closing is a sheet, or else steps, and its solids.
type closing struct {
	sheet  plan.Sheet
	steps  plan.Steps
	solids []grow.Solid
	open   *grow.Opening
}

func (c *closing) isSheet() bool { return c.sheet.ID != "" }

// sheetIn returns a sheet across an opening, and stepsIn steps in it. Their ids are
// for the caller to give.
func sheetIn(o *grow.Opening, part *raster.Stack, s supports.Settings) (closing, error) {
	c := closing{open: o}
	i, j := inside(&o.Hole, part)
	p := part.Center(i, j)
	c.sheet = plan.Sheet{ID: "S", At: [3]float64{round(p.X, 1e-2), round(p.Y, 1e-2), round(o.Z, 1e-3)}, By: plan.Tool}
	solids, err := o.Sheet(part, s)
	c.take(c.sheet.ID, solids)
	return c, err
}

func stepsIn(o *grow.Opening, at r2.Vec, part *raster.Stack, s supports.Settings) (closing, error) {
	c := closing{open: o}
	middle, bore, ok := o.Bore(part, at)
	if !ok {
		return c, fmt.Errorf("no hole in the ceiling at x %.1f, y %.1f", at.X, at.Y)
	}
	c.steps = plan.Steps{ID: "B", At: [3]float64{round(middle.X, 1e-2), round(middle.Y, 1e-2), round(o.Z, 1e-3)}, Bore: round(bore, 1e-2), By: plan.Tool}
	c.steps.Direction = direction(o.Outline(part), middle, bore)
	solids, err := o.Steps(c.steps, part, s)
	c.take(c.steps.ID, solids)
	return c, err
}

func (c *closing) take(id string, solids []*mesh.Mesh) {
	for _, m := range solids {
		m.Round32()
		c.solids = append(c.solids, grow.Solid{ID: id, Mesh: m})
	}
}

// inside returns a cell of a set that is as near its middle as any.
func inside(b *raster.Bits, part *raster.Stack) (i, j int) {
	var sum r2.Vec
	n := 0.0
	b.Each(func(i, j int) {
		sum = r2.Add(sum, part.Center(i, j))
		n++
	})
	mid, best := r2.Scale(1/n, sum), math.Inf(1)
	b.Each(func(x, y int) {
		if d := distance(part.Center(x, y), mid); d < best {
			best, i, j = d, x, y
		}
	})
	return i, j
}

// direction returns that of the lowest bridges for which the longest is the shortest,
// in degrees from 0 to 180.
func direction(outline []r2.Vec, p r2.Vec, bore float64) float64 {
	var angles []float64
	for n := range turnsTried {
		angles = append(angles, 180*float64(n)/turnsTried)
	}
	for i, a := range outline {
		if d := r2.Sub(outline[(i+1)%len(outline)], a); math.Sqrt(r2.Norm2(d)) > longSide {
			angles = append(angles, math.Mod(math.Atan2(d.Y, d.X)*180/math.Pi+360, 180))
		}
	}
	best, least := 0.0, math.Inf(1)
	for _, a := range angles {
		a = round(a, 0.1)
		// What cells cannot tell apart is the same.
		if span := grow.StepsSpan(outline, p, bore, a*math.Pi/180); span < least-0.1 {
			best, least = a, span
		}
	}
	return math.Mod(best, 180)
}

// closed returns the site with a closing printed onto the part.
func (t *site) closed(c *closing) *site {
	out := *t
	out.part = grow.With(t.part, c.solids)
	return &out
}

// hangs returns how many cells of a closing, and of the ceiling over it, would be
// laid in mid-air at a share of the bridge, with nothing else to hold them.
func (t *site) hangs(c *closing, share float64, workers int) int {
	whole := t.closed(c)
	x0, y0, x1, y1 := c.open.Cells.Bounds()
	lo, hi := t.part.Point(raster.Corner{I: x0, J: y0}), t.part.Point(raster.Corner{I: x1, J: y1})
	r := need.Region{Bounds: r3.Box{Min: r3.Vec{X: lo.X, Y: lo.Y}, Max: r3.Vec{X: hi.X, Y: hi.Y}}}
	low := c.lowest(t.part)
	k0, k1 := max(0, low-lookBack), min(c.open.K+2, len(t.part.Cut))
	s := whole.s
	s.Bridge *= share
	cells := 0
	for _, l := range hold.Judge(hold.Input{
		Body:     &raster.Stack{Grid: t.part.Grid, Layers: t.part.Layers, Cut: whole.crop(r, k0, k1)},
		Settings: s, Workers: workers,
	}) {
		if l.K+k0 >= low {
			in := raster.Within(&l.Unheld, &c.open.Cells, raster.DiscOf(s.Line/t.part.Cell))
			cells += in.Count()
		}
	}
	return cells
}

// lowest returns the lowest layer of a closing.
func (c *closing) lowest(part *raster.Stack) int {
	low := c.open.K
	for _, m := range c.solids {
		low = min(low, part.Above(m.Mesh.Bounds().Min.Z))
	}
	return low
}

// barredBy returns the zone that keeps a closing away, and why; "" for none.
func (t *site) barredBy(c *closing) (id, why string) {
	if !t.bounded() {
		return "", ""
	}
	var all mesh.Mesh
	for _, m := range c.solids {
		all.Append(m.Mesh)
	}
	box := all.Bounds()
	cut := raster.Section(&all, t.part.Grid, t.part.Layers, 1)
	var over raster.Bits
	for k := range cut.Cut {
		over = raster.Or(&over, &cut.Cut[k])
	}
	n := 0
	over.Each(func(i, j int) {
		if n++; n%barredStep != 0 || id != "" {
			return
		}
		p := t.part.Center(i, j)
		at := r3.Vec{X: p.X, Y: p.Y, Z: box.Max.Z}
		if id = t.space.Near(plan.KeepClean, at, t.s.Line); id != "" {
			why = fmt.Sprintf("is printed onto what %s keeps clean at x %.1f, y %.1f, z %.1f", id, p.X, p.Y, box.Max.Z)
		} else if _, id = t.space.Column(plan.NoGo, at, t.s.Line, box.Min.Z, box.Max.Z); id != "" {
			why = fmt.Sprintf("enters %s, where no support may go, at x %.1f, y %.1f, z %.1f", id, p.X, p.Y, box.Max.Z)
		}
	})
	return id, why
}

// barredStep is how many cells apart zones are looked for: less than the line that is
// kept from them.
const barredStep = 4

// close puts sheets and steps into a plan where they hold, and print faster than
// supports of the regions that they do away with; it returns what of the need is left.
func (j *job) close(p plan.Plan, n need.Need) (plan.Plan, need.Need) {
	type candidate struct {
		open    *grow.Opening
		regions []int
	}
	var list []candidate
	byLayer := map[int][]*grow.Opening{}
	for i, r := range n.Regions {
		for _, c := range j.level(r) {
			if _, seen := byLayer[c.K]; !seen {
				byLayer[c.K] = grow.Openings(j.part, j.under, c.K)
			}
			for _, o := range byLayer[c.K] {
				if mine := raster.And(&o.Cells, &c.Bare); mine.Empty() || j.struckAtOpening(o) {
					continue
				}
				at := slices.IndexFunc(list, func(k candidate) bool { return k.open == o })
				if at < 0 {
					at = len(list)
					list = append(list, candidate{open: o})
				}
				if !slices.Contains(list[at].regions, i) {
					list[at].regions = append(list[at].regions, i)
				}
			}
		}
	}
	done := map[int]bool{}
	work := 0
	for _, k := range list {
		best, price, ok := j.cheapest(k.open, p.Taste.Weights)
		if !ok {
			continue
		}
		var alone need.Need
		whole := j.closed(&best)
		for _, i := range k.regions {
			if r := n.Regions[i]; !done[i] {
				if count(whole.bare(nil, r, j.workers)) > 0 {
					ok = false
					break
				}
				alone.Regions = append(alone.Regions, r)
				alone.AreaMM2 += r.AreaMM2
			}
		}
		if !ok || len(alone.Regions) == 0 {
			continue
		}
		if work += j.cells; work <= weighCells {
			own := p
			own.Lines, own.Posts, own.Sheets, own.Steps = nil, nil, nil, nil
			if f := j.finish(own, j.draft(alone, j.workers)); f.bare == 0 {
				if is, _ := j.score(f, math.Nextafter(price, math.Inf(1))); is <= price {
					continue
				}
			}
		}
		for _, i := range k.regions {
			done[i] = true
		}
		j.part = whole.part
		if best.isSheet() {
			best.sheet.ID = fmt.Sprintf("S%d", len(p.Sheets)+1)
			p.Sheets = append(slices.Clone(p.Sheets), best.sheet)
		} else {
			best.steps.ID = fmt.Sprintf("B%d", len(p.Steps)+1)
			p.Steps = append(slices.Clone(p.Steps), best.steps)
		}
	}
	if len(done) == 0 {
		return p, n
	}
	left := need.Need{MarginalMM2: n.MarginalMM2}
	for i, r := range n.Regions {
		if !done[i] {
			left.Regions = append(left.Regions, r)
			left.AreaMM2 += r.AreaMM2
		}
	}
	return p, left
}

// level returns the cuts of a region that are level ceilings: none of one that goes on
// from layer to layer as a slope does.
func (j *job) level(r need.Region) (out []need.Cut) {
	if j.insists(r) {
		return nil
	}
	core := raster.DiscOf(j.s.Line / 2 / j.part.Cell)
	for _, c := range r.Cuts {
		all := c.All()
		if flat := raster.Erode(&all, core); c.K > 1 && !flat.Empty() {
			out = append(out, c)
		}
	}
	if len(out) > mostLevels {
		return nil
	}
	return out
}

// cheapest returns the sheet or the steps that hold in an opening at the planned
// bridge and cost least, and their price in weighed seconds.
func (j *job) cheapest(o *grow.Opening, w plan.Weights) (best closing, price float64, ok bool) {
	var list []closing
	if c, err := sheetIn(o, j.part, j.s); err == nil {
		list = append(list, c)
	}
	i, y := inside(&o.Hole, j.part)
	if c, err := stepsIn(o, j.part.Center(i, y), j.part, j.s); err == nil {
		list = append(list, c)
	}
	ceiling := float64(o.Cells.Count()-o.Hole.Count()) * j.part.CellArea()
	for n := range list {
		c := &list[n]
		if id, _ := j.barredBy(c); id != "" || j.tooLong(c, 1-j.s.Margin) || j.hangs(c, 1-j.s.Margin, j.workers) > 0 {
			continue
		}
		var all mesh.Mesh
		for _, m := range c.solids {
			all.Append(m.Mesh)
		}
		e := cost.Supports(raster.Section(&all, j.part.Grid, j.part.Layers, j.workers), j.s, cost.Machine{})
		if s := w.Score(e.TimeS, e.MassG, ceiling); !ok || s < price {
			best, price, ok = *c, s, true
		}
	}
	return best, price, ok
}

// struckAtOpening tells whether a sheet or steps in the opening were struck.
func (t *site) struckAtOpening(o *grow.Opening) bool {
	return slices.ContainsFunc(t.struckIn, func(at r3.Vec) bool {
		i, j := t.part.At(r2.Vec{X: at.X, Y: at.Y})
		return o.Cells.Has(i, j) && math.Abs(at.Z-o.Z) <= mostSag
	})
}

// relieved returns a need without the regions that hold since sheets and steps of the
// designer's were added to the part.
func (t *site) relieved(n need.Need, workers int) need.Need {
	own := *t
	own.s.Margin = 0 // what the designer asks for is held to the whole bridge
	own.wishes.fixed = nil
	out := need.Need{MarginalMM2: n.MarginalMM2}
	for _, r := range n.Regions {
		if len(r.Cuts) > 0 && count(own.bare(nil, r, workers)) == 0 {
			continue
		}
		out.Regions = append(out.Regions, r)
		out.AreaMM2 += r.AreaMM2
	}
	return out
}

// adoptClosings keeps what of a plan's sheets and steps is the designer's.
func (t *site) adoptClosings(kept *plan.Plan, p plan.Plan) {
	kept.Sheets, kept.Steps = nil, nil
	for _, h := range p.Sheets {
		if h.By == plan.Designer {
			h.ID = mine + h.ID
			kept.Sheets = append(kept.Sheets, h)
		}
	}
	for _, h := range p.Steps {
		if h.By == plan.Designer {
			h.ID = mine + h.ID
			kept.Steps = append(kept.Steps, h)
		}
	}
	for _, h := range p.Struck.Sheets {
		t.struckIn = append(t.struckIn, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	}
	for _, h := range p.Struck.Steps {
		t.struckIn = append(t.struckIn, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	}
}

// refuseClosing tells why a sheet or steps of the designer's cannot be.
func (t *site) refuseClosing(c closing, err error) string {
	if err != nil {
		return err.Error()
	}
	if _, why := t.barredBy(&c); why != "" {
		return why
	}
	if cells := t.hangs(&c, 1, 0); t.tooLong(&c, 1) || float64(cells)*t.part.CellArea() > t.s.Line*t.s.Line {
		return fmt.Sprintf("needs a bridge of %.1f mm, and %g mm hold", t.bridgeOf(&c), t.s.Bridge)
	}
	return ""
}

// bridgeOf returns the longest bridge of a closing, laid the way for which it is shortest.
func (t *site) bridgeOf(c *closing) float64 {
	outline := c.open.Outline(t.part)
	if !c.isSheet() {
		return grow.StepsSpan(outline, r2.Vec{X: c.steps.At[0], Y: c.steps.At[1]}, c.steps.Bore, c.steps.Direction*math.Pi/180)
	}
	least := math.Inf(1)
	for _, b := range hold.Run(t.closed(c).part, c.open.K-1, &c.open.Cells, t.s) {
		if !b.Open() {
			least = min(least, b.Longest)
		}
	}
	return least
}

// tooLong tells whether the longest bridge of a closing is more than a share of what
// holds; it is measured in cells, and may come out one longer at either end.
func (t *site) tooLong(c *closing, share float64) bool {
	return t.bridgeOf(c) > t.s.Bridge*share+2*t.part.Cell
}

// ofSheet and ofSteps find the opening that a structure of a plan closes.
func (t *site) ofSheet(h plan.Sheet, under *grow.Undersides) (closing, error) {
	c := closing{sheet: h}
	o, err := grow.OpeningAt(t.part, under, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	if err != nil {
		return c, err
	}
	c.open = o
	solids, err := o.Sheet(t.part, t.s)
	c.take(h.ID, solids)
	return c, err
}

func (t *site) ofSteps(h plan.Steps, under *grow.Undersides) (closing, error) {
	c := closing{steps: h}
	o, err := grow.OpeningAt(t.part, under, r3.Vec{X: h.At[0], Y: h.At[1], Z: h.At[2]})
	if err != nil {
		return c, err
	}
	c.open = o
	if c.steps.Bore == 0 {
		bore, ok := 0.0, false
		if _, bore, ok = o.Bore(t.part, r2.Vec{X: h.At[0], Y: h.At[1]}); !ok {
			return c, fmt.Errorf("no hole in the ceiling at x %.1f, y %.1f; give the place of its axis", h.At[0], h.At[1])
		}
		c.steps.Bore = bore
	}
	solids, err := o.Steps(c.steps, t.part, t.s)
	c.take(h.ID, solids)
	return c, err
}

// refuseClosings tells which sheets and steps of the designer's cannot be.
func (t *site) refuseClosings(p plan.Plan, under *grow.Undersides, refuse func(id, format string, args ...any)) {
	for _, h := range p.Sheets {
		if h.By == plan.Designer {
			if why := t.refuseClosing(t.ofSheet(h, under)); why != "" {
				refuse(h.ID, "%s", why)
			}
		}
	}
	for _, h := range p.Steps {
		if h.By == plan.Designer {
			if why := t.refuseClosing(t.ofSteps(h, under)); why != "" {
				refuse(h.ID, "%s", why)
			}
		}
	}
}

// SheetAt returns a sheet of the designer's, with an id that plan p has not used, for
// the opening that a place lies in: x, y in it, and about the height of the ceiling
// over it, in mm. An error says why there can be none.
func SheetAt(p plan.Plan, m *mesh.Mesh, part *raster.Stack, at r3.Vec) (plan.Sheet, error) {
	t, under, err := siteOf(p, m, part)
	if err != nil {
		return plan.Sheet{}, err
	}
	o, err := grow.OpeningAt(part, under, at)
	if err != nil {
		return plan.Sheet{}, fmt.Errorf("layout: a sheet: %w", err)
	}
	c, err := sheetIn(o, part, t.s)
	if why := t.refuseClosing(c, err); why != "" {
		return plan.Sheet{}, fmt.Errorf("layout: a sheet at x %.1f, y %.1f, z %.2f: %s", at.X, at.Y, at.Z, why)
	}
	c.sheet.ID, c.sheet.By = p.Fresh("S"), plan.Designer
	return c.sheet, nil
}

// StepsAt returns bridging steps of the designer's, likewise, for the hole that a place
// lies in, with its bore and the best direction.
func StepsAt(p plan.Plan, m *mesh.Mesh, part *raster.Stack, at r3.Vec) (plan.Steps, error) {
	t, under, err := siteOf(p, m, part)
	if err != nil {
		return plan.Steps{}, err
	}
	o, err := grow.OpeningAt(part, under, at)
	if err != nil {
		return plan.Steps{}, fmt.Errorf("layout: steps: %w", err)
	}
	c, err := stepsIn(o, r2.Vec{X: at.X, Y: at.Y}, part, t.s)
	if why := t.refuseClosing(c, err); why != "" {
		return plan.Steps{}, fmt.Errorf("layout: steps at x %.1f, y %.1f, z %.2f: %s", at.X, at.Y, at.Z, why)
	}
	c.steps.ID, c.steps.By = p.Fresh("B"), plan.Designer
	return c.steps, nil
}

func siteOf(p plan.Plan, m *mesh.Mesh, part *raster.Stack) (*site, *grow.Undersides, error) {
	s, err := p.Resolve()
	if err != nil {
		return nil, nil, fmt.Errorf("layout: %w", err)
	}
	under := grow.NewUndersides(m)
	t := newSite(part, s)
	if len(p.Zones) > 0 {
		if t.space, err = under.Space(p.Zones); err != nil {
			return nil, nil, fmt.Errorf("layout: %w", err)
		}
	}
	return t, under, nil
}

// naming gives the sheets and steps of a new layout ids, as rename does lines and posts.
type naming struct {
	ids   map[string]string // of the layout → of the document
	given map[string]bool
}

// closings names those of out; what is the designer's has the name that it had, and of
// the program's what is near where it was.
func (n naming) closings(old plan.Plan, out *plan.Plan) {
	out.Sheets, out.Steps = slices.Clone(out.Sheets), slices.Clone(out.Steps)
	for i := range out.Sheets {
		h := &out.Sheets[i]
		was := plan.Sheet{}
		for _, o := range old.Sheets {
			if o.By == plan.Tool && apart3(o.At, h.At) <= againReach && was.ID == "" {
				was = o
			}
		}
		h.ID = n.of(h.ID, was.ID, "S")
	}
	for i := range out.Steps {
		h := &out.Steps[i]
		was := plan.Steps{}
		for _, o := range old.Steps {
			if o.By == plan.Tool && apart3(o.At, h.At) <= againReach && was.ID == "" {
				was = o
			}
		}
		h.ID = n.of(h.ID, was.ID, "B")
	}
}

// of returns the name of one thing: its own, that of what was there, or a new one.
func (n naming) of(id, was, letter string) string {
	if own, ok := strings.CutPrefix(id, mine); ok {
		return own
	}
	if used := n.ids[was]; was != "" && used == "" {
		n.ids[was] = was
		return was
	}
	for i := 1; ; i++ {
		if id := fmt.Sprintf("%s%d", letter, i); !n.given[id] {
			n.given[id] = true
			return id
		}
	}
}

func apart3(a, b [3]float64) float64 {
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}
