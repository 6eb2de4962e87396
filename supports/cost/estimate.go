package cost

import (
	"math"
	"runtime"

	"falsework/raster"
	"falsework/supports"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
)

// Estimate is what printing something takes. Its zero value is the cost of
// nothing.
type Estimate struct {
	TimeS     float64 `json:"time_s"`           // visits, travel and retraction included
	VolumeMM3 float64 `json:"volume_mm3"`       // extruded: path length × bead area
	LengthMM  float64 `json:"length_mm"`        // of printed lines
	MassG     float64 `json:"mass_g"`           // of VolumeMM3
	TravelMM  float64 `json:"travel_mm"`        // between printed lines, visits excluded
	Paths     int     `json:"paths"`            // lines printed without lifting
	SolidMM3  float64 `json:"solid_mm3"`        // cells × layer thickness: the volume of the solids themselves; of a baseline, what its outlines enclose
	Layers    []Layer `json:"layers,omitempty"` // from the plate up
}

// Layer is one layer's share of an Estimate.
type Layer struct {
	TimeS     float64 `json:"time_s"`
	VolumeMM3 float64 `json:"volume_mm3"`
	LengthMM  float64 `json:"length_mm"`
	TravelMM  float64 `json:"travel_mm"`
	Paths     int     `json:"paths"`
}

// Supports returns the cost of printing sup, whose layers hold supports alone.
// Walls of one line are drawn as trails of Settings.Wall wide beads, thicker
// places as outlines filled with lines of Settings.Line. s and m need not be
// resolved.
func Supports(sup *raster.Stack, s supports.Settings, m Machine) Estimate {
	return Sampled(sup, s, m, 1)
}

// Sampled is Supports with one layer priced of every so many above the first: the middle
// one, or the first that has anything. The others take what it takes, in proportion to
// their cells.
func Sampled(sup *raster.Stack, s supports.Settings, m Machine, every int) Estimate {
	if !(sup.Cell > 0) || len(sup.Cut) == 0 {
		return Estimate{}
	}
	// A setting that Resolve refuses is still priced as it stands.
	s, _ = s.Resolve()
	m = m.filled()
	told, by := samples(sup, every)
	like := func(n int) int {
		if raster.Equal(sup.Layer(told[n]), sup.Layer(told[n-1])) {
			return n - 1
		}
		return -1
	}
	few := price(len(told), m, like, func(n int) []path {
		return wallPaths(sup.Layer(told[n]), sup.Grid, s, sup.Thickness(told[n]))
	})
	e := Estimate{Layers: make([]Layer, len(sup.Cut))}
	for k, n := range by {
		e.Layers[k] = few.Layers[n]
		// A sample that is empty is of layers that are.
		if all := sup.Cut[told[n]].Count(); told[n] != k && all > 0 {
			e.Layers[k] = few.Layers[n].times(float64(sup.Cut[k].Count()) / float64(all))
		}
	}
	e.sum(m)
	e.SolidMM3 = sup.Volume()
	return e
}

// samples returns which layers are priced, the first always, and for every layer which of
// them it is like.
func samples(sup *raster.Stack, every int) (told, by []int) {
	told, by = []int{0}, make([]int, len(sup.Cut))
	for first := 1; first < len(by); first += every {
		end := min(first+every, len(by))
		k := (first + end - 1) / 2
		for n := first; n < end && sup.Cut[k].Empty(); n++ {
			k = n
		}
		for n := first; n < end; n++ {
			by[n] = len(told)
		}
		told = append(told, k)
	}
	return told, by
}

// times returns a layer of so many times the paths.
func (l Layer) times(share float64) Layer {
	return Layer{l.TimeS * share, l.VolumeMM3 * share, l.LengthMM * share, l.TravelMM * share, int(math.Round(float64(l.Paths) * share))}
}

// price times and sums layers 0 ≤ k < n. like names a lower layer that has the
// paths of layer k > 0, a negative number if none is known.
func price(n int, m Machine, like func(k int) int, paths func(k int) []path) Estimate {
	out := Estimate{Layers: make([]Layer, n)}
	from := make([]int, n)
	each(n, func(k int) {
		if k > 0 {
			from[k] = like(k)
		}
	})
	each(n, func(k int) {
		// Layer 0 is slower and may be thicker: nothing is like it.
		if from[k] <= 0 {
			out.Layers[k] = m.layer(paths(k), k == 0)
		}
	})
	for k, j := range from {
		if j > 0 {
			out.Layers[k] = out.Layers[j]
		}
	}
	out.sum(m)
	return out
}

// sum sets the totals from the layers.
func (e *Estimate) sum(m Machine) {
	for _, l := range e.Layers {
		e.TimeS += l.TimeS
		e.VolumeMM3 += l.VolumeMM3
		e.LengthMM += l.LengthMM
		e.TravelMM += l.TravelMM
		e.Paths += l.Paths
	}
	e.MassG = m.MassG(e.VolumeMM3)
}

// Total returns the cost of things printed in the same layers, such as a part
// and its supports: layer times add up and are raised to the machine's least
// layer time, which says nothing about one of the things alone.
func (m Machine) Total(things ...Estimate) Estimate {
	m = m.filled()
	var out Estimate
	for _, t := range things {
		out.SolidMM3 += t.SolidMM3
		for len(out.Layers) < len(t.Layers) {
			out.Layers = append(out.Layers, Layer{})
		}
		for k, l := range t.Layers {
			o := &out.Layers[k]
			o.TimeS += l.TimeS
			o.VolumeMM3 += l.VolumeMM3
			o.LengthMM += l.LengthMM
			o.TravelMM += l.TravelMM
			o.Paths += l.Paths
		}
	}
	for k := range out.Layers {
		if o := &out.Layers[k]; o.Paths > 0 {
			o.TimeS = max(o.TimeS, m.MinLayer)
		}
	}
	out.sum(m)
	return out
}

// layer prices one layer's paths, in the order they are best run in. first tells that
// it lies on the plate.
func (m Machine) layer(paths []path, first bool) Layer {
	if len(paths) == 0 {
		return Layer{}
	}
	l := Layer{Paths: len(paths)}
	var moves []Move
	var here r2.Vec
	for n, g := range order(paths) {
		speed := g.speed
		switch {
		case first:
			speed = m.FirstSpeed
		case speed == 0:
			speed = m.Speed
		}
		if n > 0 {
			t := Move{From: here, To: g.in(), Speed: m.TravelSpeed}
			d := t.LengthMM()
			lift := d > m.RetractBeyond && m.Retract > 0
			if lift {
				t.Dwell = m.Retract
			}
			l.TravelMM += d
			if d > 0 {
				moves = append(moves, t)
			}
			moves = g.moves(moves, speed, lift, m.Retract)
		} else {
			moves = g.moves(moves, speed, false, 0)
		}
		here = g.out()
		d := polyLength(g.pts, g.closed)
		l.LengthMM += d
		l.VolumeMM3 += d * g.area
	}
	m.Plan(moves)
	l.TimeS = m.Seconds(moves) + m.visitS()
	return l
}

// moves appends the moves that print l. When primed the first waits for the
// filament to be pushed forward again.
func (l leg) moves(to []Move, speed float64, primed bool, prime float64) []Move {
	n := len(l.pts)
	at := func(k int) r2.Vec {
		switch {
		case l.closed:
			return l.pts[(l.start+k)%n]
		case l.backward:
			return l.pts[n-1-k]
		}
		return l.pts[k]
	}
	last := n - 1
	if l.closed {
		last = n
	}
	for k := 0; k < last; k++ {
		v := Move{From: at(k), To: at(k + 1), Speed: speed}
		if k == 0 && primed {
			v.Dwell = prime
		}
		to = append(to, v)
	}
	return to
}

// Thickness of walls, in units of Settings.Wall, from which they are drawn as
// two lines and from which they are areas with an outline and a filling.
const (
	twoLines   = 1.5
	areaFrom   = 2.3
	stubLength = 0.5 // of the line that a dot is drawn as
)

// wallPaths returns the paths of a layer of supports, h thick.
func wallPaths(b *raster.Bits, g raster.Grid, s supports.Settings, h float64) []path {
	if b.Empty() {
		return nil
	}
	var out []path
	wall := s.Wall / g.Cell
	thin := *b
	thick := raster.Erode(b, raster.DiscOf(twoLines/2*wall))
	if !thick.Empty() {
		r := areaFrom / 2 * wall
		core := raster.Erode(b, raster.DiscOf(r))
		if !core.Empty() {
			// Far enough to take in the corners of a square.
			grown := raster.Dilate(&core, raster.DiscOf(math.Sqrt2*r+1))
			area := raster.And(b, &grown)
			out = append(out, areaPaths(&area, g, s, h)...)
			thin = leftover(b, &area, wall)
			thick = raster.AndNot(&thick, &area)
		}
	}
	net := trace(&thin, &thick, wall)
	bead := BeadArea(max(s.Wall, h), h)
	lines, closed := net.trails()
	for i, l := range lines {
		out = append(out, path{pts: toMM(g, l), closed: closed[i], area: bead})
	}
	for _, d := range net.dots {
		half := r2.Vec{X: stubLength / 2 * wall}
		out = append(out, path{pts: toMM(g, []r2.Vec{r2.Sub(d, half), r2.Add(d, half)}), area: bead})
	}
	return out
}

// leftover returns b without area and without the shreds that cutting left at
// its rim.
func leftover(b, area *raster.Bits, wall float64) raster.Bits {
	rest := raster.AndNot(b, area)
	rim := raster.Dilate(area, raster.DiscOf(1.5))
	var out raster.Bits
	for _, p := range raster.Pieces(&rest) {
		if float64(p.Area) < 1.5*wall*wall {
			touch := raster.And(&p.Cells, &rim)
			if !touch.Empty() {
				continue
			}
		}
		out = raster.Or(&out, &p.Cells)
	}
	return out
}

// areaPaths returns one outline loop and full lines for a solid area.
func areaPaths(b *raster.Bits, g raster.Grid, s supports.Settings, h float64) []path {
	line := s.Line / g.Cell
	bead := BeadArea(max(s.Line, h), h)
	step := bead / h / g.Cell // lines that leave no void
	room, _ := discOf(line / 2)
	loop := raster.Erode(b, room)
	out := loops(&loop, g, bead)
	in, trim := discOf(line/2 + step/2)
	fill := raster.Erode(b, in)
	for _, p := range solid(&fill, &loop, step, trim, step/2, line, false) {
		out = append(out, path{pts: toMM(g, p), area: bead})
	}
	return out
}

// loops returns the outlines of b as closed paths.
func loops(b *raster.Bits, g raster.Grid, bead float64) []path {
	var out []path
	for _, c := range contours(b) {
		out = append(out, path{pts: toMM(g, c), closed: true, area: bead})
	}
	return out
}

// toMM turns points in cells into mm, in place.
func toMM(g raster.Grid, p []r2.Vec) []r2.Vec {
	for i := range p {
		p[i] = r2.Vec{X: g.Origin.X + p[i].X*g.Cell, Y: g.Origin.Y + p[i].Y*g.Cell}
	}
	return p
}

// each calls f for 0 ≤ k < n, spread over the processors in stretches of
// neighbouring layers, which share caches. f must write to place k alone.
func each(n int, f func(k int)) {
	const stretch = 8
	var eg errgroup.Group
	eg.SetLimit(runtime.GOMAXPROCS(0))
	for k0 := 0; k0 < n; k0 += stretch {
		eg.Go(func() error {
			for k := k0; k < min(k0+stretch, n); k++ {
				f(k)
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
}
