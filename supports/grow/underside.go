package grow

import (
	"math"
	"sync"

	"falsework/mesh"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// Undersides answers how high the part's down-facing surface is over a place, and its
// up-facing one under it.
type Undersides struct {
	m      *mesh.Mesh
	x0, y0 float64
	bin    float64 // edge of a bin in mm
	w, h   int
	down   facets // that face down, by bin
	upper  facets // and up

	// The zones that were asked for last, and the places that they mean: a picked
	// face takes a walk over the whole mesh.
	mu    sync.Mutex
	zones []plan.Zone
	space *plan.Space
}

// facets are triangles by bin: those of bin n are list[start[n]:start[n+1]], in the order of
// the mesh. One that lies over several bins is in all of them.
type facets struct {
	start []int32
	list  []facet
}

// facet is a triangle and between which heights it lies, rounded outward.
type facet struct {
	t      int32
	lo, hi float32
}

const (
	// widestBin and finestBin bound the edge of a bin in mm: the finest pitch of stations, and
	// half the thinnest line that is usual. In between there is a bin for each of perBin
	// triangles, were they spread evenly over the box: of 0.25 to 16, most was found in a
	// second with 4 on a part of 517 000 triangles.
	widestBin, finestBin, perBin = 0.5, 0.1, 4.0
	// onEdge is by how much of a triangle a place may lie outside it and still be on it.
	onEdge = 1e-9
)

// levelNormal is the cosine from which a facet counts as level: its height
// changes by less than a thousandth of its width.
const levelNormal = 1 - 5e-7

// NewUndersides sorts the facets of m that are not upright into bins.
func NewUndersides(m *mesh.Mesh) *Undersides {
	b := m.Bounds()
	u := &Undersides{m: m, x0: b.Min.X, y0: b.Min.Y}
	wide, deep := b.Max.X-b.Min.X, b.Max.Y-b.Min.Y
	u.bin = min(max(math.Sqrt(perBin*wide*deep/float64(max(1, len(m.Triangles)))), finestBin), widestBin)
	u.w, u.h = int(wide/u.bin)+1, int(deep/u.bin)+1
	u.down.start, u.upper.start = make([]int32, u.w*u.h+1), make([]int32, u.w*u.h+1)
	// First how many facets there are to each bin, then which.
	u.each(func(f *facets, _ facet, n int) { f.start[n]++ })
	for _, f := range [2]*facets{&u.down, &u.upper} {
		sum := int32(0)
		for n, count := range f.start {
			f.start[n] = sum
			sum += count
		}
		f.list = make([]facet, sum)
	}
	u.each(func(f *facets, q facet, n int) {
		f.list[f.start[n]] = q
		f.start[n]++
	})
	// Each start has come to the next one's place.
	for _, f := range [2]*facets{&u.down, &u.upper} {
		copy(f.start[1:], f.start[:len(f.start)-1])
		f.start[0] = 0
	}
	return u
}

// Mesh returns the part. It must not be changed.
func (u *Undersides) Mesh() *mesh.Mesh { return u.m }

// each calls put for every facet and each bin that it lies over.
func (u *Undersides) each(put func(f *facets, q facet, n int)) {
	for t := range u.m.Triangles {
		a, b, c := u.m.Corners(t)
		// Twice the plan area, negative where the facet looks down.
		twice := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		if twice == 0 {
			continue
		}
		into := &u.down
		if twice > 0 {
			into = &u.upper
		}
		lo, hi := min(a.Z, b.Z, c.Z), max(a.Z, b.Z, c.Z)
		// On the edge a height is off by as much of the triangle; and float32 rounds.
		room := 4*onEdge*(hi-lo) + 2*0x1p-24*max(math.Abs(lo), math.Abs(hi)) + 1e-9
		q := facet{int32(t), float32(lo - room), float32(hi + room)}
		x0, x1 := min(a.X, b.X, c.X), max(a.X, b.X, c.X)
		y0, y1 := min(a.Y, b.Y, c.Y), max(a.Y, b.Y, c.Y)
		dx, dy := 4*onEdge*(x1-x0), 4*onEdge*(y1-y0)
		i0, j0 := u.at(x0-dx, y0-dy)
		i1, j1 := u.at(x1+dx, y1+dy)
		for j := j0; j <= j1; j++ {
			for i := i0; i <= i1; i++ {
				put(into, q, j*u.w+i)
			}
		}
	}
}

// Space returns the places that zones mean on the part. They must not be changed in
// place afterwards. Errors are those of
// plan.NewSpace.
func (u *Undersides) Space(zones []plan.Zone) (*plan.Space, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(zones) > 0 && len(zones) == len(u.zones) && &zones[0] == &u.zones[0] {
		return u.space, nil
	}
	space, err := plan.NewSpace(zones, u.m)
	if err == nil {
		u.zones, u.space = zones, space
	}
	return space, err
}

func (u *Undersides) at(x, y float64) (i, j int) {
	i = min(max(int((x-u.x0)/u.bin), 0), u.w-1)
	j = min(max(int((y-u.y0)/u.bin), 0), u.h-1)
	return
}

// Find returns the height of the underside over p that is nearest to z, no
// further than within, and whether it is level there.
func (u *Undersides) Find(p r2.Vec, z, within float64) (height float64, level, ok bool) {
	return u.find(&u.down, p, z, within)
}

// FindUpper is Find for the upper side under p.
func (u *Undersides) FindUpper(p r2.Vec, z, within float64) (height float64, level, ok bool) {
	return u.find(&u.upper, p, z, within)
}

// find is Find among facets that were sorted into bins.
func (u *Undersides) find(f *facets, p r2.Vec, z, within float64) (height float64, level, ok bool) {
	if p.X < u.x0 || p.Y < u.y0 || p.X > u.x0+float64(u.w)*u.bin || p.Y > u.y0+float64(u.h)*u.bin {
		return 0, false, false
	}
	i, j := u.at(p.X, p.Y)
	best, nearest := within, int32(-1)
	for _, q := range f.list[f.start[j*u.w+i]:f.start[j*u.w+i+1]] {
		if float64(q.lo) > z+best || float64(q.hi) < z-best {
			continue
		}
		a, b, c := u.m.Corners(int(q.t))
		d := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		l1 := ((p.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(p.Y-a.Y)) / d
		l2 := ((b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y)) / d
		if l1 < -onEdge || l2 < -onEdge || l1+l2 > 1+onEdge {
			continue
		}
		h := a.Z + l1*(b.Z-a.Z) + l2*(c.Z-a.Z)
		if off := math.Abs(h - z); off <= best {
			best, height, nearest = off, h, q.t
		}
	}
	if nearest < 0 {
		return 0, false, false
	}
	n := u.m.AreaNormal(int(nearest))
	return height, math.Abs(n.Z) >= levelNormal*math.Sqrt(n.X*n.X+n.Y*n.Y+n.Z*n.Z), true
}
