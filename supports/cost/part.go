package cost

import (
	"math"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

// Part returns the cost of printing part alone, which pays no visits: on each
// layer Machine.Loops outlines at true offsets from its edge, one line apart; full
// lines where fewer than Machine.Solid layers lie above or below; elsewhere lines
// that take Machine.Infill of the room. Lines run along X and Y in turn. What is
// thinner than a line is one line. s and m need not be resolved.
//
// Lines lie as far apart as leaves no void between beads, their area over the
// layer's thickness, and full ones are spread evenly, their beads widened or
// narrowed to fit, so that a solid body takes its own volume.
func Part(part *raster.Stack, s supports.Settings, m Machine) Estimate {
	if !(part.Cell > 0) || len(part.Cut) == 0 {
		return Estimate{}
	}
	s, _ = s.Resolve() // a setting that Resolve refuses is still priced as it stands
	m = m.filled()
	alone := m
	alone.Visit = -1
	n := len(part.Cut)
	// change[k] counts the layers up to k that differ from the one below.
	change := make([]int, n)
	for k := 1; k < n; k++ {
		change[k] = change[k-1]
		if !raster.Equal(part.Layer(k), part.Layer(k-1)) {
			change[k]++
		}
	}
	// Two layers down the lines run the same way.
	like := func(k int) int {
		from, to := k-2-m.Solid, k+m.Solid
		if from < 0 || to >= n || change[from] != change[to] {
			return -1
		}
		return k - 2
	}
	middle := r2.Vec{X: float64(part.W) / 2, Y: float64(part.H) / 2}
	e := price(n, alone, like, func(k int) []path {
		return partPaths(part, k, s, m, middle)
	})
	e.SolidMM3 = part.Volume()
	return e
}

// partPaths returns the paths of layer k of a part. middle is where lines of sparse
// filling are counted from, in cells.
func partPaths(part *raster.Stack, k int, s supports.Settings, m Machine, middle r2.Vec) []path {
	b := part.Layer(k)
	if b.Empty() {
		return nil
	}
	g, h := part.Grid, part.Thickness(k)
	line := s.Line / g.Cell
	bead := BeadArea(max(s.Line, h), h)
	full := bead / h / g.Cell // line spacing that leaves no void
	var out []path
	inner := *b // what the middles of the innermost loop go round
	for i := range m.Loops {
		// There is an outline where a whole line fits. It is drawn half a pitch in, where
		// its own area, and not its roundest point, ends at the edge.
		d := line/2 + float64(i)*full
		inner = raster.Erode(b, raster.DiscOf(d))
		speed := m.Speed
		if i == 0 {
			speed = m.OuterSpeed
			out = append(out, thinPaths(b, &inner, g, line, bead, speed)...)
		}
		for _, c := range contours(&inner) {
			if c = inset(c, d, (float64(i)+0.5)*full); len(c) > 2 {
				out = append(out, path{pts: toMM(g, c), closed: true, area: bead, speed: speed})
			}
		}
	}
	in, trim := discOf(line/2 + (float64(m.Loops)-0.5)*full)
	trim -= (line - full) / 2
	fill := raster.Erode(b, in)
	if fill.Empty() {
		return out
	}
	upright := k%2 == 1
	tight := fill
	sparse := raster.Bits{}
	if m.Infill < 1 {
		tight = shell(part, k, m.Solid, &fill, line/2)
		sparse = raster.AndNot(&fill, &tight)
	}
	for _, l := range evenly(&tight, &inner, full, trim, upright) {
		out = append(out, path{pts: toMM(g, l.pts), area: bead * l.pitch / full, speed: m.Speed})
	}
	if m.Infill > 0 && !sparse.Empty() {
		first := middle.Y
		if upright {
			first = middle.X
		}
		for _, p := range passes(&sparse, &inner, first, full/m.Infill, trim, full/2, line, upright) {
			out = append(out, path{pts: toMM(g, p), area: bead, speed: m.Speed})
		}
	}
	return out
}

// shell returns the cells of fill, on layer k, that fewer than solid layers cover
// above or below, without shreds that a line, 2·half wide in cells, does not fit in.
func shell(part *raster.Stack, k, solid int, fill *raster.Bits, half float64) raster.Bits {
	deep := *fill
	for i := 1; i <= solid && !deep.Empty(); i++ {
		for _, j := range [2]int{k - i, k + i} {
			if j < 0 {
				return *fill
			}
			if !raster.Equal(part.Layer(j), part.Layer(k)) {
				deep = raster.And(&deep, part.Layer(j))
			}
		}
	}
	if raster.Equal(&deep, fill) {
		return raster.Bits{}
	}
	near := raster.AndNot(fill, &deep)
	core := raster.Erode(&near, raster.DiscOf(half))
	return raster.Within(&near, &core, raster.DiscOf(half+1))
}

// thinPaths returns one line along each place of b too thin for a loop, whose middle
// would go round loop.
func thinPaths(b, loop *raster.Bits, g raster.Grid, line, bead, speed float64) []path {
	covered := raster.Dilate(loop, raster.DiscOf(line/2+1))
	rest := raster.AndNot(b, &covered)
	if rest.Empty() {
		return nil
	}
	// Back to where loops reach, so that walls of a line are whole; what is left at
	// corners is smaller than a line is wide.
	rest = leftover(b, &covered, line)
	var out []path
	net := trace(&rest, &raster.Bits{}, line)
	lines, closed := net.trails()
	for i, l := range lines {
		out = append(out, path{pts: toMM(g, l), closed: closed[i], area: bead, speed: speed})
	}
	for _, d := range net.dots {
		half := r2.Vec{X: stubLength / 2 * line}
		out = append(out, path{pts: toMM(g, []r2.Vec{r2.Sub(d, half), r2.Add(d, half)}), area: bead, speed: speed})
	}
	return out
}

// zigzag is a full line, in cells, and its distance from its neighbours.
type zigzag struct {
	pts   []r2.Vec
	pitch float64
}

// evenly fills cells with full lines, in each piece as many as its width holds at
// step, spread over it. trim is what the cells are too wide by.
func evenly(fill, room *raster.Bits, step, trim float64, upright bool) []zigzag {
	var out []zigzag
	for _, p := range raster.Pieces(fill) {
		lo, hi := float64(p.Y0), float64(p.Y1)
		if upright {
			lo, hi = float64(p.X0), float64(p.X1)
		}
		lo, hi = lo+trim, hi-trim
		n := math.Max(1, math.Round((hi-lo)/step))
		// A piece that is hardly there still takes a thin line.
		pitch := math.Max((hi-lo)/n, step/4)
		first := (lo+hi)/2 - (n-1)/2*pitch
		for _, l := range passes(&p.Cells, room, first, pitch, trim, step/2, step/4, upright) {
			out = append(out, zigzag{l, pitch})
		}
	}
	return out
}

// inset moves a closed outline of what raster.DiscOf(r) left of a set of cells, its
// inside on the left, to d cells from the set's own edge. Such a disc is a polygon of
// cells, and takes off a straight edge what it measures in that edge's direction:
// less than r, by less than a cell.
func inset(p []r2.Vec, r, d float64) []r2.Vec {
	n := len(p)
	if n < 3 {
		return p
	}
	heading := make([]r2.Vec, n) // of the edge from corner i
	left := make([]float64, n)   // that it has to move
	for i := range p {
		heading[i] = unit(r2.Sub(p[(i+1)%n], p[i]))
		left[i] = d - measure(r, heading[i])
	}
	out := make([]r2.Vec, n)
	for i := range p {
		h := (i + n - 1) % n
		u, w := heading[h], heading[i]
		a, b := left[h], left[i]
		if math.Abs(r2.Cross(u, w)) < math.Sin(math.Pi/6) {
			// Where edges hardly meet.
			a = (a + b) / 2
			b = a
		}
		// The corner moves along both edges' left normals: by v with v·nu = a and
		// v·nw = b, a spike's less far.
		nu, nw := r2.Vec{X: -u.Y, Y: u.X}, r2.Vec{X: -w.Y, Y: w.X}
		c := r2.Dot(u, w)
		var v r2.Vec
		if s := 1 - c*c; s > 0.25 {
			v = r2.Scale(1/s, r2.Add(r2.Scale(a-b*c, nu), r2.Scale(b-a*c, nw)))
		} else {
			v = r2.Scale(a/math.Max(1+c, 0.5), r2.Add(nu, nw))
		}
		out[i] = r2.Add(p[i], v)
	}
	return out
}

// measure returns how far raster.DiscOf(r) reaches across an edge of a unit heading,
// in cells.
func measure(r float64, heading r2.Vec) float64 {
	most := 0.0
	for y := 0.0; y <= r+1e-9; y++ {
		x := math.Floor(math.Sqrt(math.Max(0, r*r-y*y)) + 1e-9)
		most = max(most, math.Abs(heading.Y)*x+math.Abs(heading.X)*y)
	}
	return most
}
