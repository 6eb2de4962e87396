package prove

import (
	"fmt"
	"math"
	"runtime"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// Options tunes a proof. The zero value is ready for use.
type Options struct {
	// Workers bounds the tasks at work; 0 means one for each processor. The
	// report does not depend on it.
	Workers int
	// Memory is what earlier proofs of much the same print left; nil for none. The report
	// does not depend on it either.
	Memory *Memory
	// Steadiness says whether supports that sway, or may let go of the plate, fail.
	Steadiness Steadiness
}

// Steadiness says what becomes of supports that sway too far under the nozzle or whose
// feet may let go of the plate.
type Steadiness int

const (
	SteadinessDefault Steadiness = iota // what steadinessBinds says
	SteadinessBinds                     // they fail
	SteadinessTold                      // they are told as notes
)

// steadinessBinds is the default.
const steadinessBinds = false

func (s Steadiness) binds() bool {
	return s == SteadinessBinds || s == SteadinessDefault && steadinessBinds
}

// Memory lets a proof judge again only those layers that changed since the one before. The
// zero value remembers nothing. Only one proof at a time may use it.
type Memory struct{ part, sup hold.Memory }

// judge is hold.Judge with a memory for one of the two bodies.
func (m *Memory) judge(of func(*Memory) *hold.Memory, in hold.Input) []hold.Layer {
	if m == nil {
		return hold.Judge(in) // which keeps nothing
	}
	return of(m).Judge(in)
}

const (
	// gridMargin keeps this much of the plate free round part and supports, in
	// mm: more than any reach or clearance that is looked for. Near a limit it matters
	// where digital lines begin, so it is that of the commands.
	gridMargin = 5.0
	// widenMargin is how much of that must be left round supports.
	widenMargin = 2.0
	// maxCells bounds the grid: two float32 maps of it then take 1 GB.
	maxCells = 1 << 27
	// belowPlate is how deep a solid may dip under the plate before it is refused,
	// in mm: far more than rounding, less than any layer's cutting plane.
	belowPlate = 0.01
)

// Prove judges a part and its supports as they would print together. The bodies
// may overlap one another, inside one mesh or between meshes; none at all proves
// the part alone. Errors name what cannot be judged and where.
func Prove(part *mesh.Mesh, bodies []*mesh.Mesh, s supports.Settings, opt Options) (Report, error) {
	s, err := s.Resolve()
	if err != nil {
		return Report{}, fmt.Errorf("prove: settings: %w", err)
	}
	if part == nil || len(part.Triangles) == 0 {
		return Report{}, fmt.Errorf("prove: the part has no triangles")
	}
	if err := standing("part", part); err != nil {
		return Report{}, err
	}
	// The cells lie as the part does, whatever the supports reach: near a limit it
	// matters where they begin.
	g, err := gridFor(part.Bounds(), s.Cell)
	if err != nil {
		return Report{}, err
	}
	return ProveCut(raster.Section(part, g, s.Layers(), opt.Workers), bodies, s, opt)
}

// ProveCut is Prove for a part that has been cut already, at the settings' layers
// and cell.
func ProveCut(part *raster.Stack, bodies []*mesh.Mesh, s supports.Settings, opt Options) (Report, error) {
	s, err := s.Resolve()
	if err != nil {
		return Report{}, fmt.Errorf("prove: settings: %w", err)
	}
	part, sup, err := Cut(part, bodies, opt.Workers)
	if err != nil {
		return Report{}, err
	}
	return ProveStacks(part, sup, s, opt)
}

// Cut cuts supports as a part has been cut, and returns both on one grid, which is wider than
// the part's where supports reach further. Errors name what cannot be judged and where.
func Cut(part *raster.Stack, bodies []*mesh.Mesh, workers int) (own, sup *raster.Stack, err error) {
	if part == nil || len(part.Cut) == 0 {
		return nil, nil, fmt.Errorf("prove: the part has no layers")
	}
	all, err := gather(bodies)
	if err != nil {
		return nil, nil, err
	}
	if len(all.Triangles) > 0 {
		if part, err = widen(part, all.Bounds(), workers); err != nil {
			return nil, nil, err
		}
	}
	return part, raster.Section(all, part.Grid, part.Layers, workers), nil
}

// Leaving returns the bodies of supports that have been cut already, on one grid
// with the part, and their ways out: that share of a proof alone.
func Leaving(part, sup *raster.Stack, s supports.Settings, opt Options) ([]Body, error) {
	p, err := newProof(part, sup, s, opt)
	if err != nil {
		return nil, err
	}
	layers, n := connect(p.sup, p.workers)
	r := Report{Bodies: p.measure(layers, n)}
	barred := p.ways(layers, n)
	p.leaving(&r, barred, p.oblique(layers, barred))
	return r.Bodies, nil
}

// Standing returns what a layout is weighed by: what is unheld, what collides, and how
// bodies stand. It is that share of a proof alone, with the same figures.
func Standing(part, sup *raster.Stack, s supports.Settings, opt Options) (Report, error) {
	p, err := newProof(part, sup, s, opt)
	if err != nil {
		return Report{}, err
	}
	var ofPart, ofSup []hold.Layer
	var layers []rows
	var stances []stance
	var tips []tip
	printed, _ := p.printed()
	overlap := make([]raster.Bits, min(len(p.sup.Cut), len(p.part.Cut)))
	r := p.report()
	var eg errgroup.Group
	eg.SetLimit(p.workers)
	eg.Go(func() error {
		ofPart = p.judgePart(printed)
		return nil
	})
	eg.Go(func() error {
		ofSup = p.judgeSupports(printed)
		var n int
		layers, n = connect(p.sup, p.workers)
		r.Bodies = p.measure(layers, n)
		stances = p.standing(layers, n)
		tips = p.tipping(layers, contactsBy(ofSup))
		for k := range overlap {
			overlap[k] = crop(raster.And(&p.sup.Cut[k], &p.part.Cut[k]))
		}
		return nil
	})
	_ = eg.Wait() // the tasks return no error
	p.holding(&r, ofPart, ofSup, layers)
	p.stands(&r, stances)
	p.tips(&r, tips, true)
	r.CollisionsMM3 = tidy(p.overlapMM3(p.collisions(overlap)))
	return r, nil
}

// ProveStacks is Prove for a part and supports that have been cut already, on one
// grid and at the settings' layers. A nil stack of supports means none.
func ProveStacks(part, sup *raster.Stack, s supports.Settings, opt Options) (Report, error) {
	p, err := newProof(part, sup, s, opt)
	if err != nil {
		return Report{}, err
	}
	return p.run(), nil
}

func newProof(part, sup *raster.Stack, s supports.Settings, opt Options) (*proof, error) {
	s, err := s.Resolve()
	if err != nil {
		return nil, fmt.Errorf("prove: settings: %w", err)
	}
	if part == nil || len(part.Cut) == 0 {
		return nil, fmt.Errorf("prove: the part has no layers")
	}
	if sup == nil {
		sup = &raster.Stack{Grid: part.Grid, Layers: part.Layers}
	}
	if part.Grid != sup.Grid || part.Layers != sup.Layers {
		return nil, fmt.Errorf("prove: part and supports are cut on different grids or layers")
	}
	if part.Layers != s.Layers() {
		return nil, fmt.Errorf("prove: the part is cut in layers of %g mm (first %g mm), the settings say %g mm (first %g mm)",
			part.Height, part.First, s.Layer, s.First)
	}
	p := &proof{part: part, sup: sup, s: s, workers: opt.Workers, memory: opt.Memory, steady: opt.Steadiness.binds()}
	if p.workers <= 0 {
		p.workers = runtime.GOMAXPROCS(0)
	}
	// From here on sheets and steps are of the part.
	p.part, p.sup, p.sheets = apart(part, sup, s, p.workers)
	return p, nil
}

// gather returns one mesh of all bodies' shells.
func gather(bodies []*mesh.Mesh) (*mesh.Mesh, error) {
	all := &mesh.Mesh{}
	for i, b := range bodies {
		if b == nil || len(b.Triangles) == 0 {
			continue
		}
		if err := standing(fmt.Sprintf("support body %d", i+1), b); err != nil {
			return nil, err
		}
		if len(bodies) == 1 {
			return b, nil
		}
		all.Append(b)
	}
	return all, nil
}

// standing refuses a mesh that is broken or reaches below the plate.
func standing(name string, m *mesh.Mesh) error {
	if err := m.Check(); err != nil {
		return fmt.Errorf("prove: %s: %w", name, err)
	}
	if z := m.Bounds().Min.Z; z < -belowPlate {
		return fmt.Errorf("prove: %s reaches %.3g mm below the plate; lift it to z = 0", name, -z)
	}
	return nil
}

func gridFor(box r3.Box, cell float64) (raster.Grid, error) {
	w := (box.Max.X - box.Min.X + 2*gridMargin) / cell
	h := (box.Max.Y - box.Min.Y + 2*gridMargin) / cell
	if !(w*h <= maxCells) {
		return raster.Grid{}, fmt.Errorf("prove: %.0f × %.0f mm is too large for cells of %g mm; use a larger cell", w*cell, h*cell, cell)
	}
	return raster.GridFor(box, cell, gridMargin), nil
}

// widen returns the stack on a grid that covers box too, itself if it does.
func widen(s *raster.Stack, box r3.Box, workers int) (*raster.Stack, error) {
	g := s.Grid
	// Cells that the box needs beyond each side.
	need := func(mm float64) int { return max(0, int(math.Ceil((mm+widenMargin)/g.Cell-1e-9))) }
	left, low := need(g.Origin.X-box.Min.X), need(g.Origin.Y-box.Min.Y)
	right := need(box.Max.X - g.Origin.X - float64(g.W)*g.Cell)
	high := need(box.Max.Y - g.Origin.Y - float64(g.H)*g.Cell)
	if left+low+right+high == 0 {
		return s, nil
	}
	g.Origin.X -= float64(left) * g.Cell
	g.Origin.Y -= float64(low) * g.Cell
	g.W += left + right
	g.H += low + high
	g.LowI += left
	g.LowJ += low
	if g.W*g.H > maxCells {
		return nil, fmt.Errorf("prove: supports reach %.0f × %.0f mm, too large for cells of %g mm", float64(g.W)*g.Cell, float64(g.H)*g.Cell, g.Cell)
	}
	out := &raster.Stack{Grid: g, Layers: s.Layers, Cut: make([]raster.Bits, len(s.Cut))}
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	eachLayer(len(s.Cut), workers, func(k int) { out.Cut[k] = raster.Moved(&s.Cut[k], left, low) })
	return out, nil
}

// proof is one proof at work.
type proof struct {
	part, sup *raster.Stack
	sheets    sheets // that were supports, and count as of the part
	s         supports.Settings
	workers   int
	steady    bool // what sways or lets go fails
	memory    *Memory
}

// report returns one with nothing found yet.
func (p *proof) report() Report {
	return Report{
		Verdict: Holds, Grid: p.part.Grid, layers: p.part.Layers,
		PartLayers: len(p.part.Cut), SupportLayers: len(p.sup.Cut),
		Bodies: []Body{}, Reasons: []Reason{}, Notes: []Reason{},
	}
}

// judgePart judges the part over supports as they print.
func (p *proof) judgePart(printed *raster.Stack) []hold.Layer {
	return p.memory.judge(func(m *Memory) *hold.Memory { return &m.part }, hold.Input{Body: p.part, Other: printed, Settings: p.s, Brief: true, Workers: p.workers})
}

// judgeSupports judges supports, which are walls one line thick, whoever drew them.
func (p *proof) judgeSupports(printed *raster.Stack) []hold.Layer {
	return p.memory.judge(func(m *Memory) *hold.Memory { return &m.sup }, hold.Input{Body: printed, Other: p.part, Settings: p.s, Thin: true, Brief: true, Workers: p.workers})
}

func (p *proof) run() Report {
	r := p.report()
	var part, sup []hold.Layer
	var layers []rows
	var barred []uint32
	var oblique []Way
	var stances []stance
	var bonds []bond
	var t touches
	var tips, supTips []tip // of the part, of the supports
	printed, thin := p.printed()
	tasks := []func(){
		func() {
			part = p.judgePart(printed)
			rows, _ := runsOf(p.part, p.workers)
			tips = p.tipping(rows, contactsBy(part))
		},
		func() {
			sup = p.judgeSupports(printed)
			var n int
			layers, n = connect(p.sup, p.workers)
			r.Bodies = p.measure(layers, n)
			barred = p.ways(layers, n)
			oblique = p.oblique(layers, barred)
			stances = p.standing(layers, n)
			bonds = p.bonds(layers, n)
			t = p.touches()
			p.rooms(r.Bodies, layers)
			supTips = p.tipping(layers, contactsBy(sup))
		},
	}
	var eg errgroup.Group
	eg.SetLimit(p.workers)
	for _, task := range tasks {
		eg.Go(func() error { task(); return nil })
	}
	_ = eg.Wait() // the tasks return no error

	p.holding(&r, part, sup, layers)
	p.closing(&r)
	p.touching(&r, t)
	p.stands(&r, stances)
	p.bonded(&r, bonds)
	p.thins(&r, thin)
	p.tips(&r, supTips, true)
	p.leaving(&r, barred, oblique)
	p.apart(&r, layers, bonds)
	r.roomless()
	p.tips(&r, tips, false)
	sortByHarm(r.Reasons)
	sortByHarm(r.Notes)
	if len(r.Reasons) > 0 {
		r.Verdict = Fails
	}
	return r
}

// holding reads off what the rules of holding found.
func (p *proof) holding(r *Report, part, sup []hold.Layer, layers []rows) {
	ledges := p.partHolding(r, part, layers)
	supLedges := p.supportsHolding(r, sup, layers)
	for i := range r.Bodies {
		b := &r.Bodies[i]
		b.ContactMM2, b.LandingMM2 = tidy(b.ContactMM2), tidy(b.LandingMM2)
		r.PlateMM2 += b.PlateMM2
	}
	r.PlateMM2 = tidy(r.PlateMM2)
	r.UnheldMM2 = tidy(r.PartUnheldMM2 + r.SupportUnheldMM2)
	r.UnheldBestDirectionMM2 = tidy(r.UnheldBestDirectionMM2)
	r.MarginalMM2 = tidy(r.MarginalMM2)
	p.ledges(r, ledges, supLedges)
}

// partHolding reads off what of the part holds and what it touches, and returns its
// marginal ledges. Contact is told by body too where the layers of supports are given.
func (p *proof) partHolding(r *Report, part []hold.Layer, layers []rows) (ledges []Spot) {
	area := p.part.CellArea()
	marginal, best, contact := 0, 0, 0
	var spots, contacts, bridges []Spot
	for i := range part {
		l := &part[i]
		bare, specks := p.bare(l, p.part.Layer(l.K))
		specks.Add(&l.Marginal)
		marginal += specks.Count()
		ledges = p.spot(ledges, l.K, &specks)
		best += min(l.Best, bare.Count())
		spots = p.spot(spots, l.K, &bare)
		contacts = p.spot(contacts, l.K, &l.Contacts)
		across := raster.AndNot(&l.Asks, &l.Unheld)
		bridges = p.spot(bridges, l.K, &across)
		p.eachContact(l, func(k, j, i0, i1 int) {
			contact += i1 - i0
			if layers == nil {
				return
			}
			if b := layers[k].bodyAt(i0, j); b >= 0 {
				r.Bodies[b].ContactMM2 += float64(i1-i0) * area
				r.scars = append(r.scars, scar{int32(b), int32(l.K), int32(j), int32(i0), int32(i1), false})
			}
		})
	}
	r.UnheldSpots, r.Contacts, r.Bridges = spots, contacts, bridges
	r.PartUnheldMM2 = tidy(cellsIn(spots) * area)
	r.UnheldBestDirectionMM2 += float64(best) * area
	r.MarginalMM2 += float64(marginal) * area
	r.ContactMM2 = tidy(float64(contact) * area)
	for _, q := range p.places(spots) {
		why := Reason{
			Kind: PartUnheld, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("%s of the part would be laid in mid-air at %s.", mm2(q.area), q.where()),
			Remedy: "hold this place with a contact line, or bring the lines round it closer",
		}
		if p.hemmed(&q, spots) {
			why.Remedy = fmt.Sprintf("no support may stand under it, less than the clearance of %g mm from a wall of the part: print thinner layers, keep less clearance (clearance_mm in the plan), or let it rise more steeply from that wall", p.s.Clearance)
		}
		r.Reasons = append(r.Reasons, why)
	}
	return ledges
}

// hemmed tells whether all cells of a place are so near to a wall of the part that no
// support under them would keep the clearance. See sidesAt for what is a wall.
func (p *proof) hemmed(q *place, spots []Spot) bool {
	tall := int(math.Ceil(wallShare*p.s.Clearance/p.s.Layer - 1e-9))
	far := raster.DiscOf(p.s.Clearance/p.part.Cell - 1e-6)
	for n := range spots {
		t := &spots[n]
		if t.K <= tall {
			continue
		}
		wall := raster.And(p.part.Layer(t.K-1), p.part.Layer(t.K-1-tall))
		open := raster.Beyond(&t.Cells, &wall, far)
		hemmed := true
		open.Each(func(i, j int) { hemmed = hemmed && !slices.Contains(q.boxes, p.box(t.K, i, j)) })
		if !hemmed {
			return false
		}
	}
	return true
}

// supportsHolding reads off what of the supports holds and what they stand on, and
// returns their marginal ledges. Landings are told by body too where their layers are given.
func (p *proof) supportsHolding(r *Report, sup []hold.Layer, layers []rows) (ledges []Spot) {
	area := p.part.CellArea()
	marginal, best, landing := 0, 0, 0
	var spots []Spot
	for i := range sup {
		l := &sup[i]
		bare, specks := p.bare(l, p.sup.Layer(l.K))
		specks.Add(&l.Marginal)
		marginal += specks.Count()
		ledges = p.spot(ledges, l.K, &specks)
		best += min(l.Best, bare.Count())
		spots = p.spot(spots, l.K, &bare)
		l.Contacts.EachRun(func(j, i0, i1 int) {
			landing += i1 - i0
			if layers == nil {
				return
			}
			if b := layers[l.K].bodyAt(i0, j); b >= 0 {
				r.Bodies[b].LandingMM2 += float64(i1-i0) * area
				r.scars = append(r.scars, scar{int32(b), int32(l.K), int32(j), int32(i0), int32(i1), true})
			}
		})
	}
	r.SupportSpots = spots
	r.SupportUnheldMM2 = tidy(cellsIn(spots) * area)
	r.UnheldBestDirectionMM2 += float64(best) * area
	r.MarginalMM2 += float64(marginal) * area
	r.LandingMM2 = tidy(float64(landing) * area)
	for _, q := range p.places(spots) {
		r.Reasons = append(r.Reasons, Reason{
			Kind: SupportUnheld, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("%s of a support would be laid in mid-air at %s.", mm2(q.area), q.where()),
			Remedy: "set a post under this place, or let the support rise more steeply",
		})
	}
	return ledges
}

// ledges lists marginal ledges: the part's by their place, the supports', which lean by
// design, by how much of them there is and where most.
func (p *proof) ledges(r *Report, part, sup []Spot) {
	tell := func(q *place, text string, args ...any) {
		r.Notes = append(r.Notes, Reason{
			Kind: Marginal, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text: fmt.Sprintf(text+" on ledges past the limit that stand out by less than a line, and may droop.", args...), Remedy: "let it lean less, or hold it with a contact line if it must not droop",
		})
	}
	for _, q := range p.places(part) {
		if q.area > p.bead() {
			tell(&q, "Round %s %s of the part, all layers taken together, lie", q.where(), mm2(q.area))
		}
	}
	var most place
	all := 0.0
	for _, q := range p.places(sup) {
		if q.area > p.bead() {
			if all += q.area; q.area > most.area {
				most = q
			}
		}
	}
	if all > 0 {
		most.area = tidy(all)
		tell(&most, "%s of supports, all layers taken together and most of it round %s, lie", mm2(all), most.where())
	}
}

// bare returns what of a judged layer is laid in mid-air. Specks no larger than a
// square of half a line beside what holds are told apart: the bead that they
// are a part of is held over the rest of its width, and cells tell no more. A strip is
// no speck however narrow: a slope past the limit fails by one in every layer.
func (p *proof) bare(l *hold.Layer, cells *raster.Bits) (bare, specks raster.Bits) {
	if l.Unheld.Empty() {
		return
	}
	// What looks so small in default cells may be larger by what they give away.
	most := int(math.Pow(p.s.Line/2/p.s.Cell+hold.Round(p.s, p.s.Cell)-1, 2) + 1e-9)
	rest := raster.AndNot(cells, &l.Unheld)
	for _, q := range raster.Pieces(&l.Unheld) {
		if q.Area <= most && raster.Near(&q.Cells, &rest, raster.DiscOf(math.Sqrt2)) {
			specks.Add(&q.Cells)
			continue
		}
		bare.Add(&q.Cells)
	}
	return bare, specks
}

// contactsBy returns the contacts of judged layers by layer.
func contactsBy(list []hold.Layer) map[int]*raster.Bits {
	out := make(map[int]*raster.Bits, len(list))
	for i := range list {
		out[list[i].K] = &list[i].Contacts
	}
	return out
}

// eachContact calls f for every run of contact cells of the part's layer with the
// layer of the supports' top below them.
func (p *proof) eachContact(l *hold.Layer, f func(k, j, i0, i1 int)) {
	rest := l.Contacts
	for k := l.K - 1; k >= 0 && !rest.Empty(); k-- {
		hit := raster.And(&rest, p.sup.Layer(k))
		hit.EachRun(func(j, i0, i1 int) { f(k, j, i0, i1) })
		rest = raster.AndNot(&rest, &hit)
	}
}
