package mesh

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Prism returns the solid over a simple polygon (mm, either direction) between
// two heights (mm, either order). Without area or height it is empty.
func Prism(outline []r2.Vec, z0, z1 float64) *Mesh {
	return Frustum(outline, outline, min(z0, z1), max(z0, z1))
}

// Frustum returns the solid between a bottom polygon at z0 and a top polygon at
// z1 > z0, in mm; corner i below is joined to corner i above. Both are simple,
// run the same way and have equally many corners (it panics otherwise: a
// mistake of the program, not of its input). A top whose corners all coincide
// makes a pyramid. Without volume it is empty.
func Frustum(bottom, top []r2.Vec, z0, z1 float64) *Mesh {
	m, err := Loft([][]r2.Vec{bottom, top}, nil, []float64{z0, z1})
	if err != nil {
		panic("mesh.Frustum: " + err.Error())
	}
	return m
}

// Tube returns a hollow post with closed annular ends between two heights (mm,
// either order). Corner i of outer faces corner i of inner; both are simple,
// inner lies inside outer, and both have equally many corners (it panics
// otherwise, as Frustum does).
func Tube(outer, inner []r2.Vec, z0, z1 float64) *Mesh {
	m, err := Loft([][]r2.Vec{outer, outer}, [][]r2.Vec{inner, inner}, []float64{min(z0, z1), max(z0, z1)})
	if err != nil {
		panic("mesh.Tube: " + err.Error())
	}
	return m
}

// Loft returns a post whose outline changes with height: outer[k] is its outer
// polygon at height z[k] (mm, rising), inner[k] its bore; a nil inner makes the
// post solid. All polygons of a post have equally many corners and corner i of
// one is joined to corner i of the next, so a flared foot is two levels more.
// Each outline may run either way, but all outer ones the same way and all
// inner ones the same way. A post without height or outline is empty.
//
// It returns an error when levels or corners do not match in number, heights
// fall, or a number is not finite.
func Loft(outer, inner [][]r2.Vec, z []float64) (*Mesh, error) {
	if len(outer) != len(z) || inner != nil && len(inner) != len(z) {
		return nil, fmt.Errorf("%d outer and %d inner outlines for %d heights", len(outer), len(inner), len(z))
	}
	if len(z) < 2 || z[0] == z[len(z)-1] || len(outer[0]) < 3 {
		return &Mesh{}, nil
	}
	n := len(outer[0])
	for k := range z {
		if k > 0 && !(z[k] > z[k-1]) {
			return nil, fmt.Errorf("height %g mm of level %d does not rise above %g mm", z[k], k, z[k-1])
		}
		if len(outer[k]) != n || inner != nil && len(inner[k]) != n {
			return nil, fmt.Errorf("level %d has another number of corners than %d", k, n)
		}
		for i := range n {
			if !finite2(outer[k][i]) || inner != nil && !finite2(inner[k][i]) || math.IsInf(z[k], 0) {
				return nil, fmt.Errorf("level %d, corner %d is not finite", k, i)
			}
		}
	}

	m := &Mesh{}
	sheet := func(level func(k int) []r2.Vec) (first func(k, i int) uint32) {
		base := uint32(len(m.Vertices))
		reverse := windsClockwise(level)
		for k := range z {
			for i := range n {
				p := level(k)[i]
				if reverse {
					p = level(k)[(n-i)%n] // corner 0 keeps its place, so outer and inner still face
				}
				m.Vertices = append(m.Vertices, r3.Vec{X: p.X, Y: p.Y, Z: z[k]})
			}
		}
		return func(k, i int) uint32 { return base + uint32(k*n+i%n) }
	}
	out := sheet(func(k int) []r2.Vec { return outer[k] })
	for k := range len(z) - 1 {
		for i := range n {
			m.quad(out(k, i), out(k, i+1), out(k+1, i+1), out(k+1, i))
		}
	}
	top := len(z) - 1
	if inner == nil {
		m.cap(out, 0, n, true)
		m.cap(out, top, n, false)
	} else {
		in := sheet(func(k int) []r2.Vec { return inner[k] })
		for k := range len(z) - 1 {
			for i := range n {
				m.quad(in(k, i+1), in(k, i), in(k+1, i), in(k+1, i+1))
			}
		}
		for i := range n {
			m.quad(out(0, i+1), out(0, i), in(0, i), in(0, i+1))
			m.quad(out(top, i), out(top, i+1), in(top, i+1), in(top, i))
		}
	}
	m.contract()
	return m, nil
}

// windsClockwise looks at the first level that has an area: a pointed end has none.
func windsClockwise(level func(k int) []r2.Vec) bool {
	n := len(level(0))
	for k := 0; ; k++ {
		p := level(k)
		if len(p) != n {
			return false
		}
		if a := PolygonArea(p); a != 0 {
			return a < 0
		}
		if k > 0 {
			return false
		}
	}
}

// PolygonArea returns the signed area of a simple polygon, in mm², positive
// when it runs counter-clockwise (the shoelace formula).
func PolygonArea(p []r2.Vec) float64 {
	sum := 0.0
	for i := range p {
		sum += cross(p[0], p[i], p[(i+1)%len(p)])
	}
	return sum / 2
}

func finite2(p r2.Vec) bool {
	return !math.IsNaN(p.X-p.X) && !math.IsNaN(p.Y-p.Y)
}

// quad adds the face a b c d, counter-clockwise seen from outside.
func (m *Mesh) quad(a, b, c, d uint32) {
	m.Triangles = append(m.Triangles, [3]uint32{a, b, c}, [3]uint32{a, c, d})
}

// cap closes level k of a post over n corners; down turns it to face the plate.
func (m *Mesh) cap(at func(k, i int) uint32, k, n int, down bool) {
	flat := make([]r2.Vec, n)
	for i := range flat {
		v := m.Vertices[at(k, i)]
		flat[i] = r2.Vec{X: v.X, Y: v.Y}
	}
	for _, t := range triangulate(flat) {
		a, b, c := at(k, t[0]), at(k, t[1]), at(k, t[2])
		if down {
			b, c = c, b
		}
		m.Triangles = append(m.Triangles, [3]uint32{a, b, c})
	}
}

// cross is twice the signed area of the triangle a b c.
func cross(a, b, c r2.Vec) float64 {
	return (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X)
}

// triangulate cuts a counter-clockwise simple polygon into len(p)-2 triangles
// by clipping ears (Meisters 1975, American Mathematical Monthly 82:648–651).
// Every corner is used, those on straight edges too, so that the caps meet the
// sides edge for edge. For a polygon that crosses itself the triangles still
// fill its boundary, in the sense that their signed areas add up to its own.
func triangulate(p []r2.Vec) [][3]int {
	ring := make([]int, len(p))
	for i := range ring {
		ring[i] = i
	}
	out := make([][3]int, 0, max(0, len(p)-2))
	from := 0
	for len(ring) > 3 {
		n := len(ring)
		ear := findEar(p, ring, from, FlatTriangle)
		if ear < 0 { // corners all but touch an edge
			ear = findEar(p, ring, from, 0)
		}
		if ear < 0 { // the polygon crosses or touches itself
			ear = largestCorner(p, ring)
		}
		out = append(out, [3]int{ring[(ear+n-1)%n], ring[ear], ring[(ear+1)%n]})
		ring = append(ring[:ear], ring[ear+1:]...)
		from = ear // going on from here spreads the ears round instead of fanning them
	}
	if len(ring) == 3 {
		out = append(out, [3]int{ring[0], ring[1], ring[2]})
	}
	return out
}

func findEar(p []r2.Vec, ring []int, from int, margin float64) int {
	for s := range ring {
		if i := (from + s) % len(ring); isEar(p, ring, i, margin) {
			return i
		}
	}
	return -1
}

// isEar reports whether the triangle at ring[i] has area and holds no other
// corner, its border included, and a margin round it, as a share of its longest
// edge: a corner left on the border would end up in a triangle without area.
func isEar(p []r2.Vec, ring []int, i int, margin float64) bool {
	n := len(ring)
	a, b, c := p[ring[(i+n-1)%n]], p[ring[i]], p[ring[(i+1)%n]]
	area := cross(a, b, c)
	long := max(r2.Norm2(r2.Sub(b, a)), r2.Norm2(r2.Sub(c, b)), r2.Norm2(r2.Sub(a, c)))
	if area <= FlatTriangle*long {
		return false
	}
	edge := -margin * long
	for s := range n - 3 {
		q := p[ring[(i+2+s)%n]]
		if q == a || q == b || q == c {
			continue
		}
		if cross(a, b, q) >= edge && cross(b, c, q) >= edge && cross(c, a, q) >= edge {
			return false
		}
	}
	return true
}

func largestCorner(p []r2.Vec, ring []int) int {
	best, area := 0, math.Inf(-1)
	n := len(ring)
	for i := range ring {
		if a := cross(p[ring[(i+n-1)%n]], p[ring[i]], p[ring[(i+1)%n]]); a > area {
			best, area = i, a
		}
	}
	return best
}

// A Station is a place on a wall's centre line, in mm: the wall stands over P
// between the heights Low and High.
type Station struct {
	P         r2.Vec
	Low, High float64
}

const (
	// sharpTurn is the plan angle, in radians, from which a wall's outer corner
	// is cut off square instead of mitred: at 120° a full mitre already reaches
	// two half thicknesses beyond the centre line.
	sharpTurn = 2 * math.Pi / 3
	// backTurn is the plan angle from which two legs of a wall would lie on
	// each other.
	backTurn = 170 * math.Pi / 180
	// mitreShare is how much of the shorter leg an inner mitre may take; two
	// corners share a leg, so less than half.
	mitreShare = 0.45
	// sameStation is the plan distance, in mm, below which two stations are one.
	sameStation = 1e-6
)

// Wall returns a vertical wall of the given thickness (mm, measured in plan)
// along a line of at least two stations. Its lower and upper edges run straight
// from station to station, its ends are square, its corners mitred; at a turn
// beyond 120° the outer corner is cut off square. The wall is one watertight
// shell. A wall whose first or last station has no height tapers there to an
// edge.
//
// Where an inner mitre would take more than 45 % of the shorter leg, the legs
// overlap instead: the shell then passes through itself, and is whole where its
// winding number is positive as long as no leg is shorter than the thickness.
//
// It returns an error that names the station when a height is missing inside
// the line or negative anywhere, when two stations share a place but not their
// heights, when the line turns back by more than 170°, or when a number is not
// finite.
func Wall(stations []Station, thickness float64) (*Mesh, error) {
	if !(thickness > 0) || math.IsInf(thickness, 0) {
		return nil, fmt.Errorf("wall: thickness %g mm is not positive", thickness)
	}
	var line []Station
	for i, s := range stations {
		if !finite2(s.P) || !finite2(r2.Vec{X: s.Low, Y: s.High}) {
			return nil, fmt.Errorf("wall: station %d is not finite", i)
		}
		if s.High < s.Low {
			return nil, fmt.Errorf("wall: station %d ends at z %g mm, below its start at %g mm", i, s.High, s.Low)
		}
		if len(line) > 0 {
			last := line[len(line)-1]
			if r2.Norm2(r2.Sub(s.P, last.P)) < sameStation*sameStation {
				if s.Low != last.Low || s.High != last.High {
					return nil, fmt.Errorf("wall: station %d stands where the one before it does, at other heights", i)
				}
				continue
			}
		}
		line = append(line, s)
	}
	n := len(line)
	if n < 2 {
		return nil, fmt.Errorf("wall: %d distinct stations make no wall", n)
	}
	tall := false
	for i, s := range line {
		if s.High > s.Low {
			tall = true
		} else if i > 0 && i < n-1 {
			return nil, fmt.Errorf("wall: no height at %.3f, %.3f inside the line; make two walls of it", s.P.X, s.P.Y)
		}
	}
	if !tall {
		return nil, fmt.Errorf("wall: no height at either end")
	}

	// A section is the wall cut across at a station. Corners coincide exactly
	// where the wall has no height or an outer corner is cut; contract then
	// closes the wall over them.
	type section struct {
		left, right r2.Vec
		low, high   float64
	}
	var sections []section
	half := thickness / 2
	for i, s := range line {
		var in, out r2.Vec // unit directions of the legs before and after
		if i > 0 {
			in = direction(line[i-1].P, s.P)
		}
		if i < n-1 {
			out = direction(s.P, line[i+1].P)
		}
		if i == 0 {
			in = out
		}
		if i == n-1 {
			out = in
		}
		turn := math.Atan2(in.X*out.Y-in.Y*out.X, r2.Dot(in, out)) // left is positive
		if math.Abs(turn) > backTurn {
			return nil, fmt.Errorf("wall: the line turns back on itself at %.3f, %.3f", s.P.X, s.P.Y)
		}
		at := func(side float64, dir r2.Vec) r2.Vec { // side +1 is left of dir
			return r2.Add(s.P, r2.Scale(side*half, r2.Vec{X: -dir.Y, Y: dir.X}))
		}
		if turn == 0 {
			sections = append(sections, section{at(1, in), at(-1, in), s.Low, s.High})
			continue
		}
		inside := 1.0
		if turn < 0 {
			inside = -1
		}
		// The mitre line halves the corner; reach is how far it goes back, and
		// on, along the legs.
		bisector := direction(r2.Vec{}, r2.Add(in, out))
		reach := half * math.Tan(math.Abs(turn)/2)
		mitre := func(side float64) r2.Vec {
			length := reach / math.Sin(math.Abs(turn)/2)
			return r2.Add(s.P, r2.Scale(side*length, r2.Vec{X: -bisector.Y, Y: bisector.X}))
		}
		leg := math.Sqrt(min(r2.Norm2(r2.Sub(s.P, line[i-1].P)), r2.Norm2(r2.Sub(line[i+1].P, s.P))))
		var inner, outer [2]r2.Vec // where the leg before ends, and the leg after begins
		if reach <= mitreShare*leg {
			inner = [2]r2.Vec{mitre(inside), mitre(inside)}
		} else {
			inner = [2]r2.Vec{at(inside, in), at(inside, out)}
		}
		if math.Abs(turn) <= sharpTurn {
			outer = [2]r2.Vec{mitre(-inside), mitre(-inside)}
		} else {
			outer = [2]r2.Vec{
				r2.Add(at(-inside, in), r2.Scale(half, in)),
				r2.Sub(at(-inside, out), r2.Scale(half, out)),
			}
		}
		for k := range 2 {
			if inside > 0 {
				sections = append(sections, section{inner[k], outer[k], s.Low, s.High})
			} else {
				sections = append(sections, section{outer[k], inner[k], s.Low, s.High})
			}
			if inner[0] == inner[1] && outer[0] == outer[1] {
				break
			}
		}
	}

	m := &Mesh{}
	for _, s := range sections {
		m.Vertices = append(m.Vertices,
			r3.Vec{X: s.left.X, Y: s.left.Y, Z: s.low},
			r3.Vec{X: s.right.X, Y: s.right.Y, Z: s.low},
			r3.Vec{X: s.right.X, Y: s.right.Y, Z: s.high},
			r3.Vec{X: s.left.X, Y: s.left.Y, Z: s.high})
	}
	m.quad(0, 1, 2, 3)
	for i := range len(sections) - 1 {
		a := uint32(4 * i)
		for k := range uint32(4) {
			j := (k + 1) % 4
			m.quad(a+k+4, a+j+4, a+j, a+k)
		}
	}
	e := uint32(4 * (len(sections) - 1))
	m.quad(e, e+3, e+2, e+1)
	m.contract()
	return m, nil
}

// direction is the unit vector from a to b, which must not coincide.
func direction(a, b r2.Vec) r2.Vec {
	d := r2.Sub(b, a)
	return r2.Scale(1/math.Sqrt(r2.Norm2(d)), d)
}

// RegularPolygon returns n ≥ 3 corners on a circle of radius r (mm) round c,
// counter-clockwise, the first at angle turn (radians from +X).
func RegularPolygon(c r2.Vec, r float64, n int, turn float64) []r2.Vec {
	p := make([]r2.Vec, n)
	for i := range p {
		sin, cos := math.Sincos(turn + 2*math.Pi*float64(i)/float64(n))
		p[i] = r2.Vec{X: c.X + r*cos, Y: c.Y + r*sin}
	}
	return p
}
