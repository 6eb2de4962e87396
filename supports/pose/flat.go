package pose

import (
	"math"
	"slices"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/remedy"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// flat is a stretch of triangles in one plane.
type flat struct {
	normal  r3.Vec // outward, of unit length
	area    float64
	bridges bool // as a ceiling it holds: some direction crosses it from wall to wall
}

const (
	// flatAngle is how far triangles of a flat may be out of its plane, in radians,
	// and leastFlat the area in mm² below which a stretch is none. Choices of ours:
	// a facet of a round face is not taken for a flat unless it is large.
	flatAngle = 0.5 * math.Pi / 180
	leastFlat = 2.0
	// bridgeWays is how many directions are tried across a ceiling, and freeShare
	// how much of its sides may have no wall to land on.
	bridgeWays = 36
	freeShare  = 0.05
)

// flatsOf returns the flats of a mesh, the largest first, and for each triangle the
// flat that it belongs to, −1 for none.
func flatsOf(m *mesh.Mesh, s supports.Settings) (flats []flat, of []int32) {
	beside := neighbours(m)
	n := len(m.Triangles)
	normals, areas, order := make([]r3.Vec, n), make([]float64, n), make([]int32, n)
	for t := range n {
		v := m.AreaNormal(t)
		areas[t], order[t] = math.Sqrt(r3.Norm2(v)), int32(t)
		if areas[t] > 0 {
			normals[t] = r3.Scale(1/areas[t], v)
		}
	}
	slices.SortStableFunc(order, func(a, b int32) int {
		switch {
		case areas[a] > areas[b]:
			return -1
		case areas[a] < areas[b]:
			return 1
		}
		return 0
	})
	of = make([]int32, n)
	for t := range of {
		of[t] = -1
	}
	seen := make([]bool, n)
	cosFlat := math.Cos(flatAngle)
	for _, seed := range order {
		if seen[seed] || areas[seed] == 0 {
			continue
		}
		seen[seed] = true
		patch := []int32{seed}
		area := 0.0
		for k := 0; k < len(patch); k++ {
			t := patch[k]
			area += areas[t]
			for _, o := range beside[t] {
				if o >= 0 && !seen[o] && (areas[o] == 0 || r3.Dot(normals[o], normals[seed]) >= cosFlat) {
					seen[o] = true
					patch = append(patch, o)
				}
			}
		}
		if area < leastFlat {
			continue
		}
		for _, t := range patch {
			of[t] = int32(len(flats))
		}
		flats = append(flats, flat{normal: normals[seed], area: area})
		f := &flats[len(flats)-1]
		f.bridges = crossed(m, beside, of, patch, f.normal, s)
	}
	return flats, of
}

// ceiling is a stretch of triangles that holds by itself in some poses.
type ceiling struct {
	normal r3.Vec // of a flat that bridges cross when it faces down
	axis   r3.Vec // of a bore so small that its crown holds when it lies; zero for a flat
}

// lying is the sine of how far a bore may lean and its crown still be closed as a
// level one is. A choice of ours.
var lying = math.Sin(20 * math.Pi / 180)

func (c *ceiling) holds(up r3.Vec, s supports.Settings) bool {
	if c.axis != (r3.Vec{}) {
		return math.Abs(r3.Dot(c.axis, up)) <= lying
	}
	return r3.Dot(c.normal, up) < -levelSine(s)
}

// smallBore tells whether the crown of a level bore of radius r (mm) holds. Beyond the
// limit of 45° its outline closes in by r/√2 on each side over a rise of r − r/√2. The
// last layer's bridge, half a chord √(2·r·h), spans what is left; the rest stands out
// further than it rises by what a ledge may.
func smallBore(r float64, s supports.Settings) bool {
	h := s.Layer
	bridge := math.Sqrt(2 * r * h)
	out, rise := r*math.Sqrt2/2-bridge, r-r*math.Sqrt2/2-h
	return out-rise*math.Tan(s.Limit) <= s.Ledge()
}

// ceilingsOf returns what may hold by itself of a mesh, and for each triangle the one
// that it belongs to, −1 for none.
func ceilingsOf(m *mesh.Mesh, flats []flat, flatOf []int32, s supports.Settings) (ceilings []ceiling, of []int32) {
	number := make([]int32, len(flats))
	for i, f := range flats {
		number[i] = -1
		if f.bridges {
			number[i] = int32(len(ceilings))
			ceilings = append(ceilings, ceiling{normal: f.normal})
		}
	}
	of = make([]int32, len(flatOf))
	for t, k := range flatOf {
		of[t] = -1
		if k >= 0 {
			of[t] = number[k]
		}
	}
	for _, b := range remedy.Bores(m) {
		// Channels have other crowns in every pose.
		if b.Covered < 2*math.Pi-wholeTurn || !smallBore(b.Radius, s) {
			continue
		}
		for _, t := range b.Faces {
			of[t] = int32(len(ceilings))
		}
		ceilings = append(ceilings, ceiling{axis: b.Axis})
	}
	return ceilings, of
}

// wholeTurn is the angle in radians that a bore may lack and be whole: one facet of a
// coarse one.
const wholeTurn = 0.3

// crossed tells whether a flat patch, as a ceiling, is narrow enough in some
// direction for bridges whose ends land on walls that go down from its rim.
func crossed(m *mesh.Mesh, beside [][3]int32, of []int32, patch []int32, normal r3.Vec, s supports.Settings) bool {
	e1, e2 := across(normal)
	type side struct {
		p, q r2.Vec
		free bool
	}
	var rim []side
	for _, t := range patch {
		v := m.Triangles[t]
		for k := range 3 {
			o := beside[t][k]
			if o >= 0 && of[o] == of[t] {
				continue
			}
			a, b := m.Vertices[v[k]], m.Vertices[v[(k+1)%3]]
			sd := side{r2.Vec{X: r3.Dot(e1, a), Y: r3.Dot(e2, a)}, r2.Vec{X: r3.Dot(e1, b), Y: r3.Dot(e2, b)}, true}
			if o >= 0 {
				// A wall below the ceiling lies on the side that the ceiling faces, and
				// is no overhang itself.
				for _, c := range m.Triangles[o] {
					if c != v[k] && c != v[(k+1)%3] {
						sd.free = r3.Dot(r3.Sub(m.Vertices[c], a), normal) <= 0 || leans(m.AreaNormal(int(o)), normal, s)
					}
				}
			}
			rim = append(rim, sd)
		}
	}
	for way := range bridgeWays {
		sin, cos := math.Sincos(math.Pi * float64(way) / bridgeWays)
		d := r2.Vec{X: cos, Y: sin}
		lo, hi, free, all := math.Inf(1), math.Inf(-1), 0.0, 0.0
		for _, sd := range rim {
			a, b := r2.Dot(d, sd.p), r2.Dot(d, sd.q)
			lo, hi = min(lo, a, b), max(hi, a, b)
			wide := math.Abs(r2.Cross(d, r2.Sub(sd.q, sd.p)))
			all += wide
			if sd.free {
				free += wide
			}
		}
		if hi-lo <= s.Bridge && free <= freeShare*all {
			return true
		}
	}
	return false
}

// leans tells whether a facet beside a ceiling is beyond the limit.
func leans(area, ceiling r3.Vec, s supports.Settings) bool {
	return r3.Dot(area, ceiling) > math.Sin(s.Limit+facetError)*math.Sqrt(r3.Norm2(area))
}

// neighbours returns for each triangle the one across each of its edges, from
// corner k to k+1; −1 where there is none or more than one.
func neighbours(m *mesh.Mesh) [][3]int32 {
	type half struct {
		key  uint64 // the edge's corners, the lower first
		t, k int32
	}
	halves := make([]half, 0, 3*len(m.Triangles))
	for t, v := range m.Triangles {
		for k := range 3 {
			a, b := v[k], v[(k+1)%3]
			halves = append(halves, half{uint64(min(a, b))<<32 | uint64(max(a, b)), int32(t), int32(k)})
		}
	}
	slices.SortFunc(halves, func(a, b half) int {
		switch {
		case a.key < b.key:
			return -1
		case a.key > b.key:
			return 1
		}
		return int(a.t) - int(b.t)
	})
	out := make([][3]int32, len(m.Triangles))
	for t := range out {
		out[t] = [3]int32{-1, -1, -1}
	}
	for i := 0; i < len(halves); {
		n := i + 1
		for n < len(halves) && halves[n].key == halves[i].key {
			n++
		}
		if n == i+2 {
			a, b := halves[i], halves[i+1]
			out[a.t][a.k], out[b.t][b.k] = b.t, a.t
		}
		i = n
	}
	return out
}
