package survey

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"
	"falsework/supports/need"
	"falsework/supports/remedy"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Options are what a survey may be told besides the part.
type Options struct {
	// Load is the direction of the part's main load, of any length. Zero is
	// none: then nothing is said about strength.
	Load    r3.Vec
	Workers int // at work at once; 0 means one for each processor
}

// Survey finds what does not hold and explains it. Mesh and layers must be of one
// pose.
func Survey(m *mesh.Mesh, part *raster.Stack, s supports.Settings, o Options) Report {
	v := &surveyor{mesh: m, part: part, s: s, boreOf: make(map[int]int)}
	var n need.Need
	var open []float64
	var faces []need.Faces
	var thin []Note
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var eg errgroup.Group
	eg.SetLimit(workers)
	for _, task := range []func(){
		func() {
			n = need.Find(m, part, s, workers)
			var after errgroup.Group
			after.Go(func() error {
				open = v.fromPlate(n)
				return nil
			})
			faces = need.FacesOf(m, part, n, s)
			_ = after.Wait() // the task returns no error
		},
		func() { v.bores = remedy.Bores(m) },
		func() { thin = v.thin(workers) },
	} {
		eg.Go(func() error {
			task()
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	for i := range v.bores {
		if v.bores[i].Crown(s.Limit).Radius > 0 {
			for _, t := range v.bores[i].Faces {
				v.boreOf[t] = i
			}
		}
	}
	out := Report{Need: n, CertifiedRise: certifiedRise, Certified: certified(s)}
	told := map[int]int{} // bore → the first region at its crown
	for i, f := range faces {
		out.Findings = append(out.Findings, v.finding(n.Regions[i], f, open[i], told))
	}
	out.Notes = slices.Concat(thin, v.notes(n, told), v.advice(o.Load))
	return out
}

// certifiedRise is the height, in mm, of the slopes that Certified speaks of.
const certifiedRise = 12.0

// certified returns the angle from which a slope of certifiedRise is sure to owe
// more than a ledge. A slope at angle a overdraws its reach by tan(a) − tan(limit)
// for each mm that it rises; rasters may take a cell off the debt at either end.
func certified(s supports.Settings) float64 {
	debt := s.Ledge() - s.Reach() + 2*s.Cell
	return math.Atan(math.Tan(s.Limit) + debt/certifiedRise)
}

// surveyor is a part being surveyed.
type surveyor struct {
	mesh   *mesh.Mesh
	part   *raster.Stack
	s      supports.Settings
	bores  []remedy.Bore
	boreOf map[int]int // triangle → the bore that it is a wall of
}

// fromPlate returns the area of each region with nothing of the part below it.
func (v *surveyor) fromPlate(n need.Need) []float64 {
	out := make([]float64, len(n.Regions))
	type cut struct{ region, cut int }
	byLayer := map[int][]cut{}
	top := 0
	for i := range n.Regions {
		for c := range n.Regions[i].Cuts {
			k := n.Regions[i].Cuts[c].K
			byLayer[k] = append(byLayer[k], cut{i, c})
			top = max(top, k)
		}
	}
	var shade raster.Bits // all that lies below
	for k := 0; k <= top; k++ {
		for _, c := range byLayer[k] {
			clear := raster.AndNot(&n.Regions[c.region].Cuts[c.cut].Cells, &shade)
			out[c.region] += float64(clear.Count()) * v.part.CellArea()
		}
		if grown := raster.AndNot(v.part.Layer(k), &shade); !grown.Empty() {
			shade = raster.Or(&shade, &grown)
		}
	}
	return out
}

// finding tells kind, rule, span and remedies of a region.
func (v *surveyor) finding(r need.Region, f need.Faces, fromPlate float64, told map[int]int) Finding {
	out := Finding{Region: r, Faces: f.Triangles, Steepest: f.Steepest, FromPlateMM2: fromPlate}
	if piece, ok := v.begins(&r); ok {
		out.Rule, out.Kind = Island, v.island(&piece)
		out.Angle, out.Span, out.WorstSpan = extents(&piece.Cells, v.part)
		out.Open = true
		out.Remedies = v.grownDown(&out, &f)
		return out
	}
	if i, ok := v.bore(f.Triangles); ok {
		b := &v.bores[i]
		out.Kind, out.Rule = Crown, Overhang
		out.Span, out.Angle = b.Crown(v.s.Limit).Chord(), across(b.Axis)
		out.WorstSpan = max(out.Span, b.Length())
		if first, again := told[i]; again {
			out.Remedies = []Remedy{{Name: "teardrop", Text: fmt.Sprintf("the teardrop of region %d takes this side of the same bore too", first)}}
		} else {
			told[i] = r.ID
			out.Remedies = v.teardrop(b)
		}
		out.Remedies = append(out.Remedies, v.held(&out))
		return out
	}
	if f.LevelMM2 > f.SlopeMM2+f.GentleMM2 {
		c := v.ceiling(&r)
		out.Rule = Span
		c.tell(&out)
		out.Remedies = v.ceilingRemedies(c, &out)
		return out
	}
	out.Kind, out.Rule = Slope, Overhang
	widest := slices.MaxFunc(r.Cuts, func(a, b need.Cut) int { return cmp.Compare(a.Cells.Count(), b.Cells.Count()) })
	out.Angle, out.Span, out.WorstSpan = extents(&widest.Cells, v.part)
	out.Remedies = append(v.steeper(&out, &f), v.held(&out))
	return out
}

// begins returns the largest piece that the region puts into mid-air with nothing
// below it.
func (v *surveyor) begins(r *need.Region) (largest raster.Piece, ok bool) {
	for n := range r.Cuts {
		cut := &r.Cuts[n]
		for _, p := range raster.Pieces(&cut.Bare) {
			if p.Area <= largest.Area {
				continue
			}
			// All of an island is bare, and nothing of its layer is beside it.
			beside := raster.Dilate(&p.Cells, raster.DiscOf(math.Sqrt2))
			beside = raster.And(&beside, v.part.Layer(cut.K))
			beside = raster.AndNot(&beside, &p.Cells)
			if beside.Empty() && !raster.Near(&p.Cells, v.part.Layer(cut.K-1), raster.DiscOf(math.Sqrt2)) {
				largest, ok = p, true
			}
		}
	}
	return
}

// narrow is the width, in lines, up to which what begins in mid-air is a tip or
// an edge rather than a face: a bead and its neighbour on either side.
const narrow = 3.0

// island tells what begins in mid-air.
func (v *surveyor) island(p *raster.Piece) Kind {
	line := v.s.Line / v.part.Cell
	core := raster.Erode(&p.Cells, raster.DiscOf(narrow/2*line-0.5))
	_, least, most := extents(&p.Cells, v.part)
	switch {
	case most <= narrow*v.s.Line+2*v.part.Cell:
		return Tip
	case core.Empty() && most > 2*least:
		return Edge
	}
	return Hanging
}

// bore returns the bore that most of a region's triangles are walls of.
func (v *surveyor) bore(triangles []int) (bore int, ok bool) {
	area := map[int]float64{}
	total := 0.0
	for _, t := range triangles {
		a := math.Abs(v.mesh.AreaNormal(t).Z)
		total += a
		if b, mine := v.boreOf[t]; mine {
			area[b] += a
		}
	}
	best := 0.0
	for b, a := range area {
		if a > best || a == best && b < bore {
			bore, best = b, a
		}
	}
	return bore, best > total/2
}

// extents returns how wide a set of cells is across its narrowest direction, how
// wide at most, and the direction of the former.
func extents(cells *raster.Bits, part *raster.Stack) (angle, least, most float64) {
	least = math.Inf(1)
	for n := 0; n < hold.Directions; n++ {
		a := math.Pi * float64(n) / hold.Directions
		sin, cos := math.Sincos(a)
		lo, hi := math.Inf(1), math.Inf(-1)
		cells.EachRun(func(j, i0, i1 int) {
			for _, i := range [2]int{i0, i1 - 1} {
				c := part.Center(i, j)
				lo, hi = min(lo, c.X*cos+c.Y*sin), max(hi, c.X*cos+c.Y*sin)
			}
		})
		w := hi - lo + part.Cell
		if w < least-part.Cell/2 {
			least, angle = w, a
		}
		most = max(most, w)
	}
	return
}

// across returns the direction in plan square to an axis, 0 ≤ angle < π.
func across(axis r3.Vec) float64 {
	a := math.Atan2(axis.X, -axis.Y)
	return math.Mod(a+math.Pi, math.Pi)
}

// ceiling is the largest level patch of a region and how beads run over it.
type ceiling struct {
	k           int
	patch       raster.Piece
	best, worst hold.Beads
	closed      hold.Beads // the best were its openings closed
	depth       float64    // mm from what holds it to its furthest cell
	outer       circle
	holes       []hole
}

// hole is an opening in a ceiling, or what stands in it.
type hole struct {
	circle
	area  float64 // mm²
	solid bool    // a boss stands there
}

// ceiling studies the largest level patch of a region.
func (v *surveyor) ceiling(r *need.Region) ceiling {
	var c ceiling
	for n := range r.Cuts {
		cut := &r.Cuts[n]
		fresh := raster.AndNot(v.part.Layer(cut.K), v.part.Layer(cut.K-1))
		for _, p := range raster.Pieces(&fresh) {
			if mine := raster.And(&p.Cells, &cut.Cells); !mine.Empty() && p.Area > c.patch.Area {
				c.k, c.patch = cut.K, p
			}
		}
	}
	cell := v.part.Cell
	runs := hold.Run(v.part, c.k, &c.patch.Cells, v.s)
	c.best, c.closed = best(runs), best(runs)
	c.worst = slices.MaxFunc(runs, func(a, b hold.Beads) int { return cmp.Compare(a.Longest, b.Longest) })
	ground := raster.And(v.part.Layer(c.k), v.part.Layer(c.k-1))
	c.depth = float64(depth(&c.patch.Cells, &ground)) * cell
	for _, loop := range raster.Contours(&c.patch.Cells) {
		at := make([]r2.Vec, len(loop))
		for i, q := range loop {
			at[i] = v.part.Point(q)
		}
		fit := fitCircle(at, cell)
		area := signedArea(at)
		if area > 0 {
			c.outer = fit
			c.outer.hull = raster.Hull(slices.Clone(at))
			length := 0.0
			for i, p := range c.outer.hull {
				length += math.Sqrt(r2.Norm2(r2.Sub(c.outer.hull[(i+1)%len(c.outer.hull)], p)))
			}
			c.outer.convex = signedArea(c.outer.hull)-area <= length*cell
			continue
		}
		if -area < v.s.Line*v.s.Line {
			continue
		}
		h := hole{circle: fit, area: -area}
		i, j := v.part.At(fit.center)
		h.solid = v.part.Layer(c.k).Has(i, j)
		c.holes = append(c.holes, h)
	}
	if c.open() {
		whole := v.closed(&c)
		c.closed = best(hold.Run(v.part, c.k, &whole, v.s))
	}
	return c
}

// best returns the direction in which most beads land, give or take a hundredth,
// and of those the one whose longest is the shortest.
func best(runs []hold.Beads) hold.Beads {
	most := 0
	for _, r := range runs {
		most = max(most, r.Both-r.Cells/100)
	}
	out := hold.Beads{Longest: math.Inf(1)}
	for _, r := range runs {
		if r.Both >= most && r.Longest < out.Longest {
			out = r
		}
	}
	return out
}

// open tells whether the ceiling has an opening.
func (c *ceiling) open() bool {
	return slices.ContainsFunc(c.holes, func(h hole) bool { return !h.solid })
}

// closed returns the patch with its openings filled.
func (v *surveyor) closed(c *ceiling) raster.Bits {
	out := c.patch.Cells.Clone()
	room := raster.NewBits(c.patch.X0, c.patch.Y0, c.patch.X1, c.patch.Y1)
	for j := c.patch.Y0; j < c.patch.Y1; j++ {
		room.SetSpan(j, c.patch.X0, c.patch.X1)
	}
	air := raster.AndNot(&room, v.part.Layer(c.k))
	for _, p := range raster.Pieces(&air) {
		if p.X0 > c.patch.X0 && p.Y0 > c.patch.Y0 && p.X1 < c.patch.X1 && p.Y1 < c.patch.Y1 {
			out = raster.Or(&out, &p.Cells)
		}
	}
	return out
}

// depth returns how many cells it is from ground to the furthest cell of patch.
func depth(patch, ground *raster.Bits) int {
	const stride = 5 // cells at a time
	n := 0
	rest, front := patch.Clone(), *ground
	for _, step := range [...]int{stride, 1} {
		for {
			near := raster.Within(&rest, &front, raster.DiscOf(float64(step)))
			left := raster.AndNot(&rest, &near)
			if near.Empty() || left.Empty() && step > 1 {
				break
			}
			n += step
			if left.Empty() {
				return n
			}
			rest, front = left, near
		}
	}
	return n
}

// allLands and hardlyLands tell ceilings between walls and ledges apart: the
// share of cells over which some direction's beads land at both ends.
const allLands, hardlyLands = 0.99, 0.1

// tell fills in kind and span.
func (c *ceiling) tell(f *Finding) {
	f.Span, f.Angle, f.WorstSpan, f.Open = c.best.Longest, c.best.Angle, c.worst.Longest, c.best.Open()
	lands := float64(c.closed.Both) / float64(max(1, c.closed.Cells))
	switch {
	case lands >= allLands && c.open():
		f.Kind = Ring
	case lands >= allLands:
		f.Kind = Bridge
	case lands <= hardlyLands:
		f.Kind = Ledge
		f.Span = c.depth
	default:
		f.Kind = Ceiling
	}
}

// circle is a circle fitted to an outline.
type circle struct {
	center r2.Vec
	radius float64
	round  bool     // the outline is one
	convex bool     // it has no corners that stand inward, give or take a cell
	hull   []r2.Vec // of an outer outline
}

// fitCircle returns the circle about the outline's centroid; cells put corners up
// to a cell's diagonal off it.
func fitCircle(at []r2.Vec, cell float64) circle {
	var c circle
	area := signedArea(at)
	for i, p := range at {
		q := at[(i+1)%len(at)]
		c.center = r2.Add(c.center, r2.Scale(r2.Cross(p, q)/(6*area), r2.Add(p, q)))
	}
	c.radius = math.Sqrt(math.Abs(area) / math.Pi)
	c.round = true
	for _, p := range at {
		if math.Abs(math.Sqrt(r2.Norm2(r2.Sub(p, c.center)))-c.radius) > math.Sqrt2*cell {
			c.round = false
			break
		}
	}
	return c
}

// signedArea returns the area inside an outline, negative where it runs clockwise.
func signedArea(at []r2.Vec) float64 {
	sum := 0.0
	for i, p := range at {
		sum += r2.Cross(p, at[(i+1)%len(at)])
	}
	return sum / 2
}
