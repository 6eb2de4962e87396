package hold

import (
	"math"
	"runtime"
	"slices"

	"falsework/raster"
	"falsework/supports"

	"golang.org/x/sync/errgroup"
)

// Directions is the number of bridge directions tried over half a turn. A chord
// across a cell of the contact network that is missed between two of them is
// longer than the tested one by at most 1 − cos(π/2/24) = 0.2 %.
const Directions = 24

// passDirections is the same for the single pass that is a one-line wall: along a
// wall a bridge long, a chord leaves the wall where it is off by more than 0.5 mm in
// 10, or 3°.
const passDirections = 96

// Input is what is judged: a body resting on the plate, on itself and on another
// body's tops. The other may be nil. Both stacks share one grid and layers.
type Input struct {
	Body, Other *raster.Stack
	Settings    supports.Settings
	// Thin says that the body is made of walls one line thick, so that one line
	// of its own wall is landing enough.
	Thin bool
	// Brief leaves New out of the layers, which is as large as the body.
	Brief bool
	// Taut is the share of their sagitta that outlines in the air do without: what a plan
	// keeps in hand of it, as its margin is of a bridge.
	Taut float64
	// Workers bounds the tasks at work; 0 means one for each processor.
	Workers int
}

// Layer is the judgement of one layer. Cell sets are parts of the layer.
type Layer struct {
	K        int
	New      raster.Bits // nothing under it
	Asks     raster.Bits // new, and too far out for rule 1
	Unheld   raster.Bits // no rule holds it, bridges in the direction in force
	Contacts raster.Bits // the other body's tops that carry this layer
	Marginal raster.Bits // on a ledge between the limit and one line
	Best     int         // unheld cells if each patch were bridged its best way
	Islands  int         // patches that touch nothing below
}

// judge holds the settings in cells.
type judge struct {
	Input
	grid                        raster.Grid
	round                       float64 // allowed for rounding, cells
	reach, ledge                float64 // of one layer, cells
	reachDisc, ledgeDisc        raster.Disc
	halfLine, sliver            raster.Disc
	band                        raster.Disc // outline loops
	core                        raster.Disc // what makes a patch flat
	landBody, landContact, span float64     // cells
	dirs, passDirs              []ray
	voidMax, slopeVoid          int // empty layers under a level ceiling, under a slope
	window                      window
	workers                     int
}

// roundShare is the share of a line that a default cell is. Limits allow for one such
// cell, and where a distance begins and ends is known to half a cell each, which may give
// away another. Smaller cells give away less and are allowed the difference, but for the length of bridges: they see
// more exactly, and judge no more strictly.
const roundShare = 4

// Round returns what limits allow for rounding in cells of a size, in cells: see roundShare.
func Round(s supports.Settings, cell float64) float64 {
	return max(1, 2*s.Line/roundShare/cell-1)
}

// Judge returns the layers of the body that have something new and unsupported,
// from the plate up.
func Judge(in Input) []Layer {
	layers, _ := newJudge(in).climb(false)
	return layers
}

func newJudge(in Input) *judge {
	s := in.Settings
	g := in.Body.Grid
	c := g.Cell
	round := Round(s, c)
	j := &judge{
		Input: in, grid: g, round: round,
		reach: s.Reach() / c, ledge: s.Ledge()/c + round,
		halfLine: raster.DiscOf(s.Line/2/c + round),
		sliver:   raster.DiscOf(s.Line / 4 / c),
		band:     raster.DiscOf(loopBeads * s.Line / c),
		core:     raster.DiscOf(flatCore * s.Line / c),
		// A landing is measured on cells and may come out short.
		landContact: s.Line/c - round,
		landBody:    2*s.Line/c - round,
		span:        s.Bridge/c + 0.5, // a chord is known to a cell
		voidMax:     s.VoidLayers(),
		slopeVoid:   s.SlopeVoidLayers(),
	}
	if in.Thin {
		j.landBody = j.landContact
	}
	j.window = windowOf(int(j.ledge) + 1)
	j.reachDisc, j.ledgeDisc = raster.DiscOf(j.reach), raster.DiscOf(j.ledge)
	j.dirs = spread.over(Directions, g)
	if in.Thin {
		j.passDirs = passes.over(passDirections, g)
	}
	if s.Direction.Stated {
		j.dirs = append(slices.Clip(j.dirs), rayAt(s.Direction.Angle, g))
	}

	j.workers = in.Workers
	if j.workers <= 0 {
		j.workers = runtime.GOMAXPROCS(0)
	}
	return j
}

// window is a square of cells round one of them.
type window struct {
	n   int       // half its width, less the middle
	off []float32 // off[dy*(n+1)+dx] is how far (dx, dy) is off the middle
}

func windowOf(n int) window {
	w := window{n, make([]float32, (n+1)*(n+1))}
	for at := range w.off {
		w.off[at] = float32(math.Hypot(float64(at%(n+1)), float64(at/(n+1))))
	}
	return w
}

// nearest returns how far it is, in cells, from cell (i, j) to the nearest of set in the
// window round it, infinite where there is none.
func (w *window) nearest(set *raster.Bits, i, j int) float32 {
	least := float32(math.Inf(1))
	for dy := -w.n; dy <= w.n; dy++ {
		for dx := -w.n; dx <= w.n; dx++ {
			if d := w.off[max(dy, -dy)*(w.n+1)+max(dx, -dx)]; d < least && set.Has(i+dx, j+dy) {
				least = d
			}
		}
	}
	return least
}

// flatCore, in lines, is the half-width from which a patch counts as flat rather
// than as one step of a slope: a slope whose steps are wider than this is within
// 6° of level at the usual proportion of layer and line.
const flatCore = 2.0

// patch is what rule 1 leaves of a layer for the other rules.
type patch struct {
	layer            Layer
	cells            *raster.Bits // the whole layer
	ground           raster.Bits  // what of it is carried: by the body's own and contacts
	gapped           raster.Bits  // contacts across a void
	islands, bridges []raster.Piece
}

// contacts returns the cells of layer k that lie over the other body's top, or the
// plate, across the void allowed, and those of them across a void of at least one
// layer.
func (j *judge) contacts(k int, fresh *raster.Bits) (all, gapped raster.Bits) {
	if fresh.Empty() || j.Other == nil && k-1 > j.slopeVoid {
		return
	}
	if j.Other != nil {
		all = raster.And(fresh, j.Other.Layer(k-1)) // fused
	}
	// Only over these is anything met.
	var at box
	for e := 1; e <= j.slopeVoid && e <= k; e++ {
		if e == k {
			at = boxOf(fresh)
		} else if j.Other != nil {
			at = at.with(boxOf(j.Other.Layer(k - 1 - e)))
		}
	}
	open := raster.Crop(fresh, at.x0, at.y0, at.x1, at.y1)
	open.Remove(&all)
	for e := 1; e <= j.slopeVoid && e <= k && !open.Empty(); e++ {
		hit := open // a void that reaches the plate
		if e < k {
			if hit = (raster.Bits{}); j.Other != nil {
				hit = raster.And(&open, j.Other.Layer(k-1-e))
			}
		}
		if e > j.voidMax && !hit.Empty() {
			// Where a slope rises over a contact, one step more may be empty, if thin enough.
			flat := j.flat(fresh, &all, boxOf(&hit))
			hit = raster.AndNot(&hit, &flat)
		}
		gapped = raster.Or(&gapped, &hit)
		if e == k {
			break
		}
		// A void has neither body in it.
		open.Remove(&hit)
		open.Remove(j.Body.Layer(k - 1 - e))
	}
	all = raster.Or(&all, &gapped)
	return all, gapped
}

// flat returns what of fresh outside but is level, as far as a box goes: discs of the
// core's radius cover it.
func (j *judge) flat(fresh, but *raster.Bits, at box) raster.Bits {
	m := 2*j.core.Radius() + 1
	out := raster.Crop(fresh, at.x0-m, at.y0-m, at.x1+m, at.y1+m)
	out.Remove(but)
	out = raster.Erode(&out, j.core)
	return raster.Dilate(&out, j.core)
}

// bridge runs rules 2 and 3 on what rule 1 left of a layer.
func (j *climber) bridge(p *patch) Layer {
	l := p.layer
	if l.Asks.Empty() {
		return l
	}
	for i := range p.bridges {
		q := &p.bridges[i]
		asks := raster.And(&q.Cells, &l.Asks)
		c := j.chordsOver(&q.Cells, &p.ground, &l.Contacts, j.room)
		j.room = c.cells
		if core := raster.Erode(&q.Cells, j.core); !core.Empty() {
			sure := raster.AndNot(&q.Cells, &l.Asks) // rule 1 holds them, debts and all
			c.beside = raster.Within(&sure, &p.ground, j.ledgeDisc)
		}

		loops, all := c.loops(p.cells, &asks)
		leans := raster.Near(&q.Cells, &p.gapped, raster.DiscOf(math.Sqrt2))
		rest := raster.AndNot(&asks, &loops)
		if rest.Empty() {
			continue
		}
		at := boxOf(&rest)
		open := []raster.Bits{rest}
		if leans || !all {
			open = j.each(func(r *ray) raster.Bits { return c.open(&rest, at, r) }, !leans)
		}
		unheld := raster.Bits{}
		bestN := -1
		for n := range open {
			if leans || j.Thin {
				open[n] = j.despeckle(&open[n])
			}
			if cells := open[n].Count(); n < Directions && (bestN < 0 || cells < bestN) {
				bestN = cells
				if !leans {
					unheld = open[n]
				}
			}
			if leans && (!j.Settings.Direction.Stated || n == Directions) {
				unheld = raster.Or(&unheld, &open[n])
			}
		}
		if leans && !unheld.Empty() && j.alone(&c, &l.Contacts, &rest) {
			continue // walls of its own hold it: contacts only help
		}
		if !unheld.Empty() {
			crown := c.closing(p.cells, j.Body.Layer(l.K+closingLayers), &unheld)
			unheld.Remove(&crown)
		}
		l.Best += min(bestN, unheld.Count())
		l.Unheld.Add(&unheld)
	}
	for i := range p.islands {
		l.Best += p.islands[i].Area
		l.Unheld.Add(&p.islands[i].Cells)
	}
	return l
}

// alone tells whether a patch would hold in its best direction without the
// contacts under it.
func (j *judge) alone(c *chords, contacts, asks *raster.Bits) bool {
	patch := raster.Or(c.free, contacts)
	walls := raster.AndNot(c.ground, contacts)
	bare := j.chordsOver(&patch, &walls, &raster.Bits{}, nil)
	at := boxOf(asks)
	open := j.each(func(r *ray) raster.Bits { return bare.open(asks, at, r) }, true)
	return slices.ContainsFunc(open[:min(len(open), Directions)], func(b raster.Bits) bool { return b.Empty() })
}

// despeckle drops spots that are no wider than a line either way: the bead that
// passes over one has held ground on both sides. Of a body of one-line walls it
// also drops short slivers under half a line wide: they are the flank of a bead
// that lies on the wall beside them, as long as that is no leaning wall's.
func (j *judge) despeckle(b *raster.Bits) raster.Bits {
	out := *b
	line := int(math.Round(j.Settings.Line / j.grid.Cell))
	if j.Thin {
		line = int(math.Ceil(j.Settings.Wall / j.grid.Cell))
	}
	for _, p := range raster.Pieces(b) {
		small := p.X1-p.X0 <= line && p.Y1-p.Y0 <= line
		if j.Thin && !small {
			core := raster.Erode(&p.Cells, j.sliver)
			small = core.Empty() && p.Area <= 2*line*line || 2*p.Area <= line*line
		}
		if small {
			out = raster.AndNot(&out, &p.Cells)
		}
	}
	return out
}

// each runs test for every direction, a few at a time, and returns what each
// leaves open. With first set it may stop after a direction that leaves nothing.
func (j *judge) each(test func(*ray) raster.Bits, first bool) []raster.Bits {
	out := make([]raster.Bits, len(j.dirs))
	for n := 0; n < len(j.dirs); n += eachAtOnce {
		end := min(n+eachAtOnce, len(j.dirs))
		j.side(n, end, func(m int) { out[m] = test(&j.dirs[m]) })
		for m := n; first && m < end; m++ {
			if out[m].Empty() {
				return out[: m+1 : m+1]
			}
		}
	}
	return out
}

// side runs task for n ≤ m < end side by side.
func (j *judge) side(n, end int, task func(m int)) {
	if j.workers == 1 {
		for m := n; m < end; m++ {
			task(m)
		}
		return
	}
	var eg errgroup.Group
	eg.SetLimit(j.workers)
	for m := n; m < end; m++ {
		eg.Go(func() error {
			task(m)
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
}

// eachAtOnce is how many directions are tried before looking whether one will do:
// a fixed number, so that results do not depend on the workers.
const eachAtOnce = 4
