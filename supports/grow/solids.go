package grow

import (
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// Solid is one grown shell and the structure of the plan that it stands for.
type Solid struct {
	ID   string
	Mesh *mesh.Mesh
}

const (
	// flareHeight and flareOut widen a hollow post's foot on the plate, in mm: a
	// wall that narrows upward by 45° always holds. Common practice, no source. It is
	// several beads on each of its layers: only where the plate might let go.
	flareHeight, flareOut = 1.2, 1.2
	// HeadOverlap is how far, in mm, a hollow post rises past its head so that
	// post and walls share material.
	HeadOverlap = 0.6
	// thinnest is the least height of a wall, in layers.
	thinnest = 2.0
	// step is the plan length, in mm, over which a lower edge jumps where a tie
	// begins: far under a line's width.
	step = 0.02
)

// Grow returns the solids of a plan for a part, given as its mesh and as layers
// cut by the plan's settings: the walls in the plan's order,
// then the posts, then sheets and steps. A structure without height is left out; the proof tells what
// is missing for it. Errors name the structure.
func Grow(p plan.Plan, m *mesh.Mesh, part *raster.Stack) ([]Solid, error) {
	return GrowUnder(p, NewUndersides(m), part)
}

// GrowUnder is Grow for a part whose undersides were found before.
func GrowUnder(p plan.Plan, under *Undersides, part *raster.Stack) ([]Solid, error) {
	return growUnder(p, under, part, true)
}

// Unlinked is GrowUnder without the links between walls' ends, which take most of the
// time where walls are many and touch the part nowhere: it is for judging what a plan
// leaves bare.
func Unlinked(p plan.Plan, under *Undersides, part *raster.Stack) ([]Solid, error) {
	return growUnder(p, under, part, false)
}

func growUnder(p plan.Plan, under *Undersides, part *raster.Stack, linked bool) ([]Solid, error) {
	s, err := p.Resolve()
	if err != nil {
		return nil, fmt.Errorf("grow: %w", err)
	}
	if _, err := under.Space(p.Zones); err != nil {
		return nil, fmt.Errorf("grow: %w", err)
	}
	closings := Closings(p, s, under, part)
	part = With(part, closings) // walls keep clear of them as of the part
	n := NewNetwork(p, s, under, part, finePitch)
	n.Hang(p)
	n.Ties()
	if n.lower(&p) {
		n.Hang(p)
		n.Ties()
	}
	hung := n.lows()
	n.Raise()
	var links []Solid
	if linked && !p.Taste.Unlinked {
		if links, err = n.links(p, under, part, hung); err != nil {
			return nil, fmt.Errorf("grow: %w", err)
		}
	}
	var out []Solid
	teeth := make([][]*mesh.Mesh, len(p.Lines))
	if s.IsFused() {
		teeth = n.teeth(&p)
	}
	for l := range p.Lines {
		walls, err := n.solids(l, p.Lines[l].Tie)
		if err != nil {
			return nil, fmt.Errorf("grow: line %s: %w", p.Lines[l].ID, err)
		}
		for _, m := range slices.Concat(walls, teeth[l]) {
			out = append(out, Solid{p.Lines[l].ID, m})
		}
	}
	for i, q := range p.Posts {
		m, err := n.post(q, n.highest(i))
		if err != nil {
			return nil, fmt.Errorf("grow: post %s: %w", q.ID, err)
		}
		if m != nil {
			out = append(out, Solid{q.ID, m})
			lid, err := n.lid(q)
			if err != nil {
				return nil, fmt.Errorf("grow: post %s: %w", q.ID, err)
			}
			for _, m := range lid {
				out = append(out, Solid{q.ID, m})
			}
		}
		for _, m := range n.flares(&p, q, n.highest(i), part, under) {
			out = append(out, Solid{q.ID, m})
		}
	}
	out = append(out, links...)
	out = append(out, closings...)
	for i := range out {
		out[i].Mesh.Round32()
	}
	return out, nil
}

// samePlace is how near stations, in mm, are one: a thousandth of what a printer steps.
const samePlace = 1e-5

// solids builds line l's wall: one shell, or several where it has no height in
// between.
func (n *Network) solids(l int, tie bool) ([]*mesh.Mesh, error) {
	var out []*mesh.Mesh
	var run []mesh.Station
	var before *Station // that the run has come to
	flush := func() error {
		defer func() { run = nil }()
		if len(run) < 2 {
			return nil
		}
		m, err := mesh.Wall(run, n.settings.Wall)
		if err != nil {
			return err
		}
		if len(m.Triangles) > 0 {
			out = append(out, m)
		}
		if n.pad > n.settings.Wall && !tie {
			top, err := mesh.Wall(n.padOf(run), n.pad)
			if err != nil {
				return err
			}
			out = append(out, top)
		}
		return nil
	}
	wall := n.Walls[l]
	for _, id := range wall {
		s := &n.Stations[id]
		// Where walls cannot rise to, nothing is built: the proof tells.
		low := max(s.Low, 0)
		if s.Top-low < thinnest*n.settings.Layer {
			if err := flush(); err != nil {
				return nil, err
			}
			continue
		}
		st := mesh.Station{P: s.P, Low: low, High: s.Top}
		if len(run) > 0 {
			run = append(run, n.leap(before, s, run[len(run)-1], st)...)
		}
		before = s
		if n := len(run); n > 0 && dist(run[n-1].P, st.P) < samePlace {
			// A wall has one height at a place: what both of them fill.
			run[n-1].Low, run[n-1].High = min(run[n-1].Low, st.Low), max(run[n-1].High, st.High)
			continue
		}
		run = append(run, st)
	}
	if err := flush(); err != nil {
		return nil, err
	}
	return out, nil
}

// leap returns what stands between two neighbouring stations, here and there, which the wall
// was built to and goes on to as from and to, where its lower edge rises or falls by more
// than the lean: a tie begins or ends there, or what hangs from the wall needs it no lower.
// The deep side keeps its edge past the face of a wall that crosses it.
func (n *Network) leap(here, there *Station, from, to mesh.Station) []mesh.Station {
	gap, lean := dist(from.P, to.P), 1/math.Tan(n.settings.Lean)
	if math.Abs(to.Low-from.Low) <= gap*lean+1e-6 || gap <= step+samePlace || here.parent < 0 && there.parent < 0 {
		return nil
	}
	falls := to.Low < from.Low
	if falls {
		here, there, from, to = there, here, to, from // from the deep side on
	}
	off := min(n.settings.Wall/2, gap-step)
	aside := !there.lifted && (there.Ground == 0 && there.Floor > from.Low || there.Ground > from.Low+seatReach) // a side of the part
	edge := here.parent < 0 && here.Ground > 0 && there.Ground < here.Ground-n.settings.Layer/2                  // what it stands on ends
	if aside || edge {
		off = 0
	}
	at := func(d, low float64) mesh.Station {
		t := d / gap
		st := mesh.Station{P: r2.Add(from.P, r2.Scale(t, r2.Sub(to.P, from.P))), High: from.High + (to.High-from.High)*t}
		// Where the top falls steeply the edge falls with it.
		st.Low = min(low, st.High-thinnest*n.settings.Layer)
		return st
	}
	high := to.Low
	if off > 0 && !there.tied { // no tie: it leans from here on
		high = max(from.Low, to.Low-(gap-off-step)*lean, min(to.Low, there.Floor))
	}
	deep, far := at(off, from.Low), at(off+step, high)
	if here.Ground > 0 && there.Ground > 0 { // what stands on a slope keeps clear of it
		deep.Low = max(deep.Low, min(max(here.seat, there.seat), far.Low))
	}
	switch {
	case off == 0:
		return []mesh.Station{far}
	case gap-off-step < samePlace:
		return []mesh.Station{deep}
	case falls:
		return []mesh.Station{far, deep}
	}
	return []mesh.Station{deep, far}
}

const (
	// postRound is the radius of a hollow post's corners as a share of its side. A square
	// with them is as stiff as one with sharp corners 8 % narrower, and its outline is 14 %
	// shorter besides what sharp corners take to slow down for.
	postRound = 1.0 / 3
	// roundSteps is in how many straights a rounded corner of 90° turns.
	roundSteps = int(math.Pi / 2 / plan.ArcTurn)
)

// outline returns the corners of an axis-aligned square of a post, or of its bore, whose own
// corners are rounded by r.
func outline(at [2]float64, side, r float64) []r2.Vec {
	var out []r2.Vec
	for q := range 4 {
		for i := range roundSteps + 1 {
			sin, cos := math.Sincos(float64(q)*math.Pi/2 + float64(i)*plan.ArcTurn)
			x, y := side/2-r, side/2-r
			if q == 1 || q == 2 {
				x = -x
			}
			if q >= 2 {
				y = -y
			}
			out = append(out, r2.Vec{X: at[0] + x + r*cos, Y: at[1] + y + r*sin})
		}
	}
	return out
}

// outside returns the outline of a post's walls, further out by flare.
func (n *Network) outside(q plan.Post, flare float64) []r2.Vec {
	return outline(q.At, q.Side+2*flare, q.Side*postRound+flare)
}

// bore returns the outline of the room inside a post's walls when they are so much thicker.
func (n *Network) bore(q plan.Post, by float64) []r2.Vec {
	in := n.settings.Wall + by
	return outline(q.At, q.Side-2*in, boreRound(q.Side, in))
}

// boreRound returns the radius of a bore's corners behind walls so thick: round the same
// middle as those outside, but never sharp.
func boreRound(side, wall float64) float64 { return max(side*postRound-wall, leastRound) }

// leastRound is the least radius of a bore's corner, in mm, for its outline to have as many
// corners as the outside.
const leastRound = 0.05

// Tube returns the second moment of a hollow post's section about any axis through its
// middle, in mm⁴, and how far its corners are from there, in mm.
func Tube(side, wall float64) (moment, reach float64) {
	r := side * postRound
	return roundSquare(side, r) - roundSquare(side-2*wall, boreRound(side, wall)), (side/2-r)*math.Sqrt2 + r
}

// Around returns how long a hollow post's outline is, in mm.
func Around(side float64) float64 { return side * (4 - (8-2*math.Pi)*postRound) }

// roundSquare returns the second moment of a square with corners rounded by r: a⁴/12, less
// at each corner a square of side r and more a quarter of a circle.
func roundSquare(a, r float64) float64 {
	d := a/2 - r
	corner := r*r*r*r/12 + r*r*(d+r/2)*(d+r/2)
	quarter := d*d*math.Pi*r*r/4 + 2*d*r*r*r/3 + math.Pi*r*r*r*r/16
	return a*a*a*a/12 - 4*(corner-quarter)
}

// highest returns the top of what hangs from a post, by its place in the plan.
func (n *Network) highest(post int) (z float64) {
	for i := range n.Stations {
		if s := &n.Stations[i]; s.Near == post {
			z = max(z, s.Top)
		}
	}
	return z
}

// footKept is the share of the plate's hold that a foot without a flare may use up.
const footKept = 0.9

// lets tells whether the plate could let go of a hollow post without a flare when the
// nozzle drags at height z: the tension at a corner is F·z/Z, Z its second moment over how
// far out the corner is.
func (n *Network) lets(q plan.Post, z float64) bool {
	moment, reach := Tube(q.Side, n.settings.Wall)
	return n.settings.Drag*z/(moment/reach) > footKept*n.settings.Adhesion
}

// post builds a hollow post for what is so high, nil for a sole.
func (n *Network) post(q plan.Post, highest float64) (*mesh.Mesh, error) {
	if q.Side == 0 {
		return nil, nil
	}
	foot := Foot(q, n.under, n.settings)
	top := q.Head + HeadOverlap
	for _, i := range n.near(q.At[0], q.Side) {
		if s := &n.Stations[i]; s.over(q) {
			top = min(top, s.Top)
		}
	}
	if top-foot < n.settings.Layer {
		return nil, nil
	}
	outside, inner := n.outside(q, 0), n.bore(q, 0)
	if q.Foot > 0 || top-foot < 2*flareHeight || !n.lets(q, highest) {
		return mesh.Loft([][]r2.Vec{outside, outside}, [][]r2.Vec{inner, inner}, []float64{foot, top})
	}
	return mesh.Loft(
		[][]r2.Vec{n.outside(q, flareOut), outside, outside},
		[][]r2.Vec{inner, inner, inner},
		[]float64{foot, foot + flareHeight, top})
}

// Foot returns the height of a post's lowest face: the plate, or the part's upper
// side below it and the void that prints as the gap.
func Foot(q plan.Post, under *Undersides, s supports.Settings) float64 {
	if q.Foot <= 0 {
		return 0
	}
	low, level := groundUnder(q.At, q.Side, q.Foot, under, s)
	z, _ := seatOver(low, level, s)
	return z
}

// lidLayers is the thickness of a post's lid, in layers: a bridge and one layer
// for its sag to heal.
const lidLayers = 2

// lidSpan is the widest bore that a lid bridges, in mm. Cells measure a chord to within one of
// them at either end.
func lidSpan(s supports.Settings) float64 { return s.Bridge*(1-s.Margin) - 2*s.Cell }

// WidestPost returns the widest hollow post so many mm high whose bore a lid can close.
func WidestPost(high float64, s supports.Settings) float64 {
	return 2*s.Wall + lidSpan(s) + 2*max(0, high-lidLayers*thickest(s))*math.Tan(s.Lean)
}

// lid closes a post whose bore a wall would end or turn a corner over, or is too wide to
// bridge; nil where every wall crosses it from side to side. Under the lid of a wide bore
// the post's walls thicken inward at the lean, as far as it takes to bridge the rest.
func (n *Network) lid(q plan.Post) ([]*mesh.Mesh, error) {
	s := n.settings
	bore, span := q.Side-2*s.Wall, lidSpan(s)
	if !n.covers(q, bore, bore > span) {
		return nil, nil
	}
	under := q.Head - lidLayers*thickest(s)
	out := []*mesh.Mesh{mesh.Prism(n.outside(q, -s.Wall/2), under, q.Head)}
	from := under - (bore-span)/2/math.Tan(s.Lean)
	if bore <= span || from < Foot(q, n.under, s) {
		return out, nil // what is too wide and too low the proof tells
	}
	lean, err := mesh.Loft(
		[][]r2.Vec{n.outside(q, 0), n.outside(q, 0)},
		[][]r2.Vec{n.bore(q, 0), n.bore(q, (bore-span)/2)},
		[]float64{from, under})
	return append(out, lean), err
}

// covers tells whether a wall ends or turns a corner over the bore of a post, or, where
// any will do, is over it at all.
func (n *Network) covers(q plan.Post, bore float64, any bool) bool {
	hole := plan.Post{At: q.At, Side: bore}
	crossing := map[int]bool{}
	for _, i := range n.near(q.At[0], bore) {
		if Within(hole, n.Stations[i].P) {
			crossing[n.Stations[i].Line] = true
		}
	}
	for l, wall := range n.Walls {
		if !crossing[l] {
			continue
		}
		for i, id := range wall {
			s := &n.Stations[id]
			if !Within(hole, s.P) || s.Top <= q.Head {
				continue
			}
			if !any && i > 0 && i+1 < len(wall) {
				in, out := r2.Sub(s.P, n.Stations[wall[i-1]].P), r2.Sub(n.Stations[wall[i+1]].P, s.P)
				if math.Abs(math.Atan2(r2.Cross(in, out), r2.Dot(in, out))) <= plan.SharpTurn {
					continue
				}
			}
			return true
		}
	}
	return false
}
