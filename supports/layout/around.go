package layout

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Spot is a place that a plan leaves bare, and why.
type Spot struct {
	At      r3.Vec // middle, mm
	AreaMM2 float64
	// Because is the id of the zone or the structure that is the reason, "" where
	// it is none of the designer's.
	Because string
	Why     string
}

func (s Spot) String() string {
	return fmt.Sprintf("%.3g mm² at x %.1f, y %.1f, z %.2f: %s", s.AreaMM2, s.At.X, s.At.Y, s.At.Z, s.Why)
}

// mine marks ids of the designer's while a layout is under way, so that those given
// to new structures differ.
const mine = "="

// Around keeps what of a plan is the designer's, its zones and settings, and lays
// out the rest anew for part m, cut into layers by the plan's settings. Structures
// of the program's that come out where they were keep their ids. It returns the new
// plan and what it leaves bare at the full bridge. A wish that cannot be granted is
// an *Impossible. The result does not depend on workers.
func Around(p plan.Plan, name string, m *mesh.Mesh, part *raster.Stack, n need.Need, workers int) (plan.Plan, []Spot, error) {
	s, err := p.Resolve()
	if err != nil {
		return p, nil, fmt.Errorf("layout: %w", err)
	}
	p = p.Reclaim()
	under := grow.NewUndersides(m)
	if err := check(p, m, under, part, s); err != nil {
		return p, nil, err
	}
	t := newSite(part, s)
	t.pad = max(p.Taste.Pad, s.Wall)
	kept := t.adopt(p, under)
	j := newJob(t, under, workers)
	if own := grow.Closings(kept, s, under, part); len(own) > 0 {
		t.part = grow.With(part, own)
		n = t.relieved(n, j.workers)
	}
	if len(n.Regions) > 0 || len(kept.Lines) > 0 || t.space.Has(plan.MustHold) {
		kept = j.complete(kept, n)
	}
	out := rename(p, kept)
	out.Part = partOf(name, m)
	out.Remember()
	return out, Bare(out, m, part, j.workers), nil
}

// complete adds to a plan what it takes to meet a need: nothing if that is met, or
// if what could be added leaves no less bare.
func (j *job) complete(kept plan.Plan, n need.Need) plan.Plan {
	if len(kept.Lines) == 0 {
		return j.layOut(kept, j.demand(n, j.workers))
	}
	left := func(p plan.Plan) int {
		sup, open := j.weigh(p)
		if sup == nil {
			return math.MaxInt
		}
		cells := count(open)
		for _, c := range j.uncovered(sup) {
			cells += c.Cells.Count()
		}
		return cells
	}
	was := left(kept)
	if was == 0 {
		return kept
	}
	if more := j.layOut(kept, j.demand(n, j.workers)); left(more) < was {
		return more
	}
	return kept
}

// adopt takes a plan's wishes, and returns it with what is the designer's alone.
func (t *site) adopt(p plan.Plan, under *grow.Undersides) plan.Plan {
	if len(p.Zones) > 0 {
		t.space, _ = under.Space(p.Zones) // checked before
	}
	kept := p
	kept.Drawn = plan.Past{}
	kept.Lines, kept.Posts = []plan.Line{}, []plan.Post{}
	t.adoptClosings(&kept, p)
	for _, l := range p.Lines {
		if l.By != plan.Designer {
			continue
		}
		for _, own := range contactsOf(l) {
			own.fixed = true
			t.fixed = append(t.fixed, own)
		}
		l.ID = mine + l.ID
		named := l.Posts
		l.Posts = nil
		for _, id := range named {
			l.Posts = append(l.Posts, mine+id)
		}
		kept.Lines = append(kept.Lines, l)
	}
	for _, q := range p.Posts {
		if q.By != plan.Designer {
			continue
		}
		q.ID = mine + q.ID
		if q.Under != "" {
			q.Under = mine + q.Under
		}
		kept.Posts = append(kept.Posts, q)
	}
	for _, l := range p.Struck.Lines {
		t.struck = append(t.struck, lineOf(l))
		t.struckIDs = append(t.struckIDs, l.ID)
	}
	for _, q := range p.Struck.Posts {
		t.struckAt = append(t.struckAt, r2.Vec{X: q.At[0], Y: q.At[1]})
	}
	return kept
}

func lineOf(l plan.Line) line {
	out := line{tie: l.Tie}
	for _, q := range l.Path() {
		out.at = append(out.at, point{r2.Vec{X: q[0], Y: q[1]}, q[2]})
	}
	return out
}

// againReach is how far a line or post of the program's may have moved, in mm, and
// still go by the same id.
const againReach = 3.0

// rename gives the structures of a new layout ids: the designer's theirs, those that
// were drawn before the ones that they had, others new ones. They come in the order
// of the old plan, new ones last.
func rename(old, laid plan.Plan) plan.Plan {
	out := laid
	out.Lines, out.Posts = slices.Clone(laid.Lines), slices.Clone(laid.Posts)
	ids := map[string]string{} // of the layout → of the document
	given := map[string]bool{}
	give := func(from, to string) { ids[from], given[to] = to, true }
	for _, l := range out.Lines {
		if id, ok := strings.CutPrefix(l.ID, mine); ok {
			give(l.ID, id)
		}
	}
	for _, q := range out.Posts {
		if id, ok := strings.CutPrefix(q.ID, mine); ok {
			give(q.ID, id)
		}
	}
	// Pairs of old and new, the nearest first.
	type pair struct {
		old, new string
		d        float64
	}
	var pairs []pair
	for _, a := range old.Lines {
		for _, b := range out.Lines {
			if a.By == plan.Tool && b.By == plan.Tool && a.Tie == b.Tie {
				if d := endsApart(a, b); d <= againReach {
					pairs = append(pairs, pair{a.ID, b.ID, d})
				}
			}
		}
	}
	for _, a := range old.Posts {
		for _, b := range out.Posts {
			if a.By == plan.Tool && b.By == plan.Tool {
				if d := math.Hypot(a.At[0]-b.At[0], a.At[1]-b.At[1]); d <= againReach {
					pairs = append(pairs, pair{a.ID, b.ID, d})
				}
			}
		}
	}
	slices.SortStableFunc(pairs, func(x, y pair) int { return cmp.Compare(x.d, y.d) })
	for _, p := range pairs {
		if _, named := ids[p.new]; !named && !given[p.old] {
			give(p.new, p.old)
		}
	}
	// Ids are never used for something else again while anyone may remember them.
	place := map[string]int{}
	for i, l := range old.Lines {
		given[l.ID], place[l.ID] = true, i
	}
	for i, q := range old.Posts {
		given[q.ID], place[q.ID] = true, i
	}
	for _, z := range old.Zones {
		given[z.ID] = true
	}
	for _, past := range [...]plan.Past{{Sheets: old.Sheets, Steps: old.Steps}, old.Struck, old.Drawn} {
		for _, h := range past.Sheets {
			given[h.ID] = true
		}
		for _, h := range past.Steps {
			given[h.ID] = true
		}
		for _, l := range past.Lines {
			given[l.ID] = true
		}
		for _, q := range past.Posts {
			given[q.ID] = true
		}
	}
	fresh := func(from, letter string, n int) {
		for ; ; n++ {
			if id := fmt.Sprintf("%s%d", letter, n); !given[id] {
				give(from, id)
				return
			}
		}
	}
	for i, l := range out.Lines {
		if _, named := ids[l.ID]; !named {
			fresh(l.ID, l.ID[:1], i+1)
		}
	}
	for i, q := range out.Posts {
		if _, named := ids[q.ID]; !named {
			fresh(q.ID, "P", i+1)
		}
	}
	for i := range out.Lines {
		l := &out.Lines[i]
		l.ID = ids[l.ID]
		if l.By == plan.Designer {
			l.Posts = old.Lines[place[l.ID]].Posts
		}
	}
	for i := range out.Posts {
		q := &out.Posts[i]
		q.ID = ids[q.ID]
		if q.Under != "" {
			if id, ok := ids[q.Under]; ok {
				q.Under = id
			} else {
				q.Under = strings.TrimPrefix(q.Under, mine)
			}
		}
	}
	naming{map[string]string{}, given}.closings(old, &out)
	known := func(id string) int {
		if i, ok := place[id]; ok {
			return i
		}
		return math.MaxInt
	}
	slices.SortStableFunc(out.Lines, func(a, b plan.Line) int { return cmp.Compare(known(a.ID), known(b.ID)) })
	slices.SortStableFunc(out.Posts, func(a, b plan.Post) int { return cmp.Compare(known(a.ID), known(b.ID)) })
	return out
}

// endsApart returns how far the further of the ends of two lines are apart, in mm,
// whichever way they run.
func endsApart(a, b plan.Line) float64 {
	ends := func(p, q [3]float64) float64 { return math.Hypot(math.Hypot(p[0]-q[0], p[1]-q[1]), p[2]-q[2]) }
	a0, a1, b0, b1 := a.At[0], a.At[len(a.At)-1], b.At[0], b.At[len(b.At)-1]
	return min(max(ends(a0, b0), ends(a1, b1)), max(ends(a0, b1), ends(a1, b0)))
}

// Bare tells what a plan leaves bare of the part, at the full bridge, and for what
// must be held besides where no contact is within half of one. The largest come
// first.
func Bare(p plan.Plan, m *mesh.Mesh, part *raster.Stack, workers int) []Spot {
	s, err := p.Resolve()
	if err != nil {
		return nil
	}
	t := newSite(part, s)
	t.pad = max(p.Taste.Pad, s.Wall)
	under := grow.NewUndersides(m)
	t.adopt(p, under)
	sup := &raster.Stack{Grid: part.Grid, Layers: part.Layers}
	if solids, err := grow.GrowUnder(p, under, part); err == nil {
		var all mesh.Mesh
		for i := range solids {
			all.Append(solids[i].Mesh)
		}
		sup = raster.Section(&all, part.Grid, part.Layers, workers)
	}
	var out []Spot
	whole := grow.With(part, grow.Closings(p, s, under, part))
	for _, l := range hold.Judge(hold.Input{Body: whole, Other: sup, Settings: s, Workers: workers}) {
		for _, piece := range raster.Pieces(&l.Unheld) {
			out = append(out, t.spotOf(l.K, &piece.Cells, "nothing that was drawn holds it"))
		}
	}
	for _, c := range t.uncovered(sup) {
		for _, piece := range raster.Pieces(&c.Cells) {
			out = append(out, t.spotOf(c.K, &piece.Cells, "must be held, and has no contact within half a bridge"))
		}
	}
	slices.SortStableFunc(out, func(a, b Spot) int { return cmp.Compare(b.AreaMM2, a.AreaMM2) })
	return out
}

// uncovered returns what must be held and has no contact of the supports within
// half a bridge.
func (t *site) uncovered(sup *raster.Stack) []need.Cut {
	reach := raster.DiscOf((t.s.Bridge/2 + t.s.Wall) / t.part.Cell)
	var out []need.Cut
	for _, r := range t.insisted(need.Need{}) {
		for _, c := range r.Cuts {
			var tops raster.Bits
			for k := c.K - 1 - t.s.VoidLayers() - slopeLayers; k < c.K; k++ {
				tops = raster.Or(&tops, sup.Layer(k))
			}
			if far := raster.Beyond(&c.Cells, &tops, reach); !far.Empty() {
				out = append(out, need.Cut{K: c.K, Cells: far})
			}
		}
	}
	return out
}

// slopeLayers is how many layers lower a wall's top may be under a slope.
const slopeLayers = 3

// spotOf describes bare cells of layer k: what of the designer's wishes is nearest
// to them is why, else what is given.
func (t *site) spotOf(k int, cells *raster.Bits, why string) Spot {
	z := t.part.Bottom(k)
	var sum r2.Vec
	count := 0
	cells.Each(func(i, j int) {
		sum = r2.Add(sum, t.part.Center(i, j))
		count++
	})
	mid := r2.Scale(1/float64(count), sum)
	out := Spot{At: r3.Vec{X: mid.X, Y: mid.Y, Z: z}, AreaMM2: float64(count) * t.part.CellArea(), Why: why}
	// Each of these is asked of a few cells all over the spot.
	every := count/200 + 1
	about := func(ask func(p r2.Vec) (string, string)) bool {
		n := 0
		cells.Each(func(i, j int) {
			if n++; n%every == 0 && out.Because == "" {
				if id, words := ask(t.part.Center(i, j)); id != "" {
					out.Because, out.Why = id, words
				}
			}
		})
		return out.Because != ""
	}
	// In it first, then within reach of it.
	for _, r := range [2]float64{t.touches(), t.s.Bridge / 2} {
		if about(func(p r2.Vec) (string, string) {
			id := t.space.Near(plan.KeepClean, r3.Vec{X: p.X, Y: p.Y, Z: z}, r)
			return id, fmt.Sprintf("%s is to be kept clean, and nothing beside it reaches", id)
		}) || about(func(p r2.Vec) (string, string) {
			_, id := t.space.Column(plan.NoGo, r3.Vec{X: p.X, Y: p.Y}, r, 0, z)
			return id, fmt.Sprintf("no support may enter %s below it", id)
		}) || about(func(p r2.Vec) (string, string) {
			for n, l := range t.struck {
				for i := 1; i < len(l.at); i++ {
					if math.Abs(l.at[i].z-z) <= mostSag && raster.SegmentDistance(p, l.at[i-1].Vec, l.at[i].Vec) <= r {
						id := t.struckIDs[n]
						return id, fmt.Sprintf("line %s, which would hold it, was struck", id)
					}
				}
			}
			return "", ""
		}) {
			break
		}
	}
	return out
}

// Refusal is a wish that cannot be granted.
type Refusal struct {
	ID     string `json:"id"`
	Reason string `json:"reason"`
}

// Impossible is what of a plan the designer wishes in vain.
type Impossible struct{ Refusals []Refusal }

func (e *Impossible) Error() string {
	words := make([]string, len(e.Refusals))
	for i, r := range e.Refusals {
		words[i] = r.ID + ": " + r.Reason
	}
	return strings.Join(words, "; ")
}

// Check returns an *Impossible for wishes that cannot be granted: structures of the
// designer's in zones that bar them or inside the part, contacts where the part has
// no underside, zones that mean no place of it.
func Check(p plan.Plan, m *mesh.Mesh, part *raster.Stack) error {
	s, err := p.Resolve()
	if err != nil {
		return fmt.Errorf("layout: %w", err)
	}
	return check(p.Reclaim(), m, grow.NewUndersides(m), part, s)
}

// look is the spacing of the places at which a wish is looked at, in mm.
const look = 0.4

func check(p plan.Plan, m *mesh.Mesh, under *grow.Undersides, part *raster.Stack, s supports.Settings) error {
	e := &Impossible{}
	refuse := func(id, format string, args ...any) {
		e.Refusals = append(e.Refusals, Refusal{id, fmt.Sprintf(format, args...)})
	}
	for _, z := range p.Zones {
		if _, err := plan.NewSpace([]plan.Zone{z}, m); err != nil {
			refuse(z.ID, "%s", strings.TrimPrefix(err.Error(), "zone "+z.ID+": "))
			continue
		}
		if z.Kind == plan.MustHold {
			one := newSite(part, s)
			one.space, _ = plan.NewSpace([]plan.Zone{z}, m)
			if len(one.insisted(need.Need{})) == 0 {
				refuse(z.ID, "must be held, but nothing of the part in it faces down")
			}
		}
	}
	if len(e.Refusals) > 0 {
		return e
	}
	t := newSite(part, s)
	t.pad = max(p.Taste.Pad, s.Wall)
	t.adopt(p, under)
	for _, l := range p.Lines {
		if l.By == plan.Designer {
			if why := t.refuseLine(l, under); why != "" {
				refuse(l.ID, "%s", why)
			}
		}
	}
	for _, q := range p.Posts {
		if q.By == plan.Designer {
			if why := t.refusePost(q, under); why != "" {
				refuse(q.ID, "%s", why)
			}
		}
	}
	t.refuseClosings(p, under, refuse)
	if len(e.Refusals) > 0 {
		return e
	}
	return nil
}

// refuseLine tells why a line of the designer's cannot be.
func (t *site) refuseLine(l plan.Line, under *grow.Undersides) (why string) {
	held, first := false, ""
	own := lineOf(l)
	for i := 1; i < len(own.at); i++ {
		a, b := own.at[i-1], own.at[i]
		n := int(distance(a.Vec, b.Vec)/look) + 1
		for k := 0; k <= n; k++ {
			f := float64(k) / float64(n)
			p := point{r2.Add(a.Vec, r2.Scale(f, r2.Sub(b.Vec, a.Vec))), a.z + f*(b.z-a.z)}
			at := r3.Vec{X: p.X, Y: p.Y, Z: p.z}
			place := fmt.Sprintf("x %.1f, y %.1f, z %.1f", p.X, p.Y, p.z)
			if !l.Tie {
				if id := t.space.Near(plan.KeepClean, at, t.pad/2+t.part.Cell); id != "" {
					return fmt.Sprintf("touches what %s keeps clean at %s", id, place)
				}
			}
			if _, id := t.space.Column(plan.NoGo, at, t.pad/2, max(0, p.z-grow.WallDepth(t.s)), p.z); id != "" {
				return fmt.Sprintf("enters %s, where no support may go, at %s", id, place)
			}
			_, _, ok := under.Find(p.Vec, p.z, mostSag)
			if held = held || ok; first == "" {
				first = place
			}
		}
	}
	if !l.Tie && !held {
		return fmt.Sprintf("no underside of the part within %g mm of %s or the rest of it; give the height of the underside that it holds", mostSag, first)
	}
	return ""
}

// refusePost tells why a post of the designer's cannot be.
func (t *site) refusePost(q plan.Post, under *grow.Undersides) string {
	c := r2.Vec{X: q.At[0], Y: q.At[1]}
	foot := grow.Foot(q, under, t.s)
	top := max(q.Head, foot+2*t.s.Layer)
	half := q.Side / 2
	if q.Side == 0 {
		half = t.wall / 2
		if top = foot + 2*t.s.Layer; q.Under != "" {
			return "" // it stands wherever its line runs
		}
	}
	if q.Foot > 0 && !t.upperSide(c, max(half, min(q.Reach, soleReach)), q.Foot) {
		return fmt.Sprintf("its foot is to stand on the part at z %g, where the part has no upper side; 0 is the plate", q.Foot)
	}
	n := int(2*half/look) + 1
	for i := 0; i <= n; i++ {
		for j := 0; j <= n; j++ {
			p := r2.Add(c, r2.Vec{X: half * (2*float64(i)/float64(n) - 1), Y: half * (2*float64(j)/float64(n) - 1)})
			at := r3.Vec{X: p.X, Y: p.Y, Z: q.Foot}
			if q.Foot > 0 {
				if id := t.space.Near(plan.KeepClean, at, t.s.Layer+t.part.Cell); id != "" {
					return fmt.Sprintf("stands on what %s keeps clean at x %.1f, y %.1f, z %.1f", id, p.X, p.Y, q.Foot)
				}
			}
			if z, id := t.space.Column(plan.NoGo, at, look/2, foot, top); id != "" {
				return fmt.Sprintf("enters %s, where no support may go, at x %.1f, y %.1f up to z %.1f", id, p.X, p.Y, z)
			}
			ci, cj := t.part.At(p)
			for k := t.part.Above(foot + t.s.Layer/4); q.Side > 0 && k < min(t.part.Above(top), len(t.part.Cut)); k++ {
				if t.part.Cut[k].Has(ci, cj) {
					return fmt.Sprintf("goes through the part at x %.1f, y %.1f, z %.2f", p.X, p.Y, t.part.Bottom(k))
				}
			}
		}
	}
	return ""
}

// upperSide tells whether the part has an upper side at about a height within r of c.
func (t *site) upperSide(c r2.Vec, r, z float64) bool {
	n := int(2*r/look) + 1
	for i := 0; i <= n; i++ {
		for j := 0; j <= n; j++ {
			p := r2.Add(c, r2.Vec{X: r * (2*float64(i)/float64(n) - 1), Y: r * (2*float64(j)/float64(n) - 1)})
			if low, _ := grow.Descend(t.part, p, z+grow.SoleStep, 0); math.Abs(low-z) <= grow.SoleStep {
				return true
			}
		}
	}
	return false
}
