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
	w, h   int
	cells  [][]int32 // triangles that face down, by bin
	upper  [][]int32 // and up

	// The zones that were asked for last, and the places that they mean: a picked
	// face takes a walk over the whole mesh.
	mu    sync.Mutex
	zones []plan.Zone
	space *plan.Space
}

// bin is the edge of a bin in mm: about a printed line's length between two
// stations.
const bin = 1.0

// levelNormal is the cosine from which a facet counts as level: its height
// changes by less than a thousandth of its width.
const levelNormal = 1 - 5e-7

// NewUndersides sorts the facets of m that are not upright into bins.
func NewUndersides(m *mesh.Mesh) *Undersides {
	b := m.Bounds()
	u := &Undersides{m: m, x0: b.Min.X, y0: b.Min.Y}
	u.w = int((b.Max.X-b.Min.X)/bin) + 1
	u.h = int((b.Max.Y-b.Min.Y)/bin) + 1
	u.cells, u.upper = make([][]int32, u.w*u.h), make([][]int32, u.w*u.h)
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		// Twice the plan area, negative where the facet looks down.
		twice := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		if twice == 0 {
			continue
		}
		into := u.cells
		if twice > 0 {
			into = u.upper
		}
		i0, j0 := u.at(min(a.X, b.X, c.X), min(a.Y, b.Y, c.Y))
		i1, j1 := u.at(max(a.X, b.X, c.X), max(a.Y, b.Y, c.Y))
		for j := j0; j <= j1; j++ {
			for i := i0; i <= i1; i++ {
				into[j*u.w+i] = append(into[j*u.w+i], int32(t))
			}
		}
	}
	return u
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
	i = min(max(int((x-u.x0)/bin), 0), u.w-1)
	j = min(max(int((y-u.y0)/bin), 0), u.h-1)
	return
}

// Find returns the height of the underside over p that is nearest to z, no
// further than within, and whether it is level there.
func (u *Undersides) Find(p r2.Vec, z, within float64) (height float64, level, ok bool) {
	return u.find(u.cells, p, z, within)
}

// FindUpper is Find for the upper side under p.
func (u *Undersides) FindUpper(p r2.Vec, z, within float64) (height float64, level, ok bool) {
	return u.find(u.upper, p, z, within)
}

// find is Find among facets that were sorted into bins.
func (u *Undersides) find(cells [][]int32, p r2.Vec, z, within float64) (height float64, level, ok bool) {
	if p.X < u.x0 || p.Y < u.y0 || p.X > u.x0+float64(u.w)*bin || p.Y > u.y0+float64(u.h)*bin {
		return 0, false, false
	}
	i, j := u.at(p.X, p.Y)
	best := within
	for _, t := range cells[j*u.w+i] {
		a, b, c := u.m.Corners(int(t))
		d := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		l1 := ((p.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(p.Y-a.Y)) / d
		l2 := ((b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y)) / d
		const edge = -1e-9
		if l1 < edge || l2 < edge || l1+l2 > 1-edge {
			continue
		}
		h := a.Z + l1*(b.Z-a.Z) + l2*(c.Z-a.Z)
		if off := math.Abs(h - z); off <= best {
			best, height, ok = off, h, true
			n := u.m.AreaNormal(int(t))
			level = math.Abs(n.Z) >= levelNormal*math.Sqrt(n.X*n.X+n.Y*n.Y+n.Z*n.Z)
		}
	}
	return
}
