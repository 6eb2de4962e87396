package need

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sort"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/kdtree"
	"gonum.org/v1/gonum/spatial/r3"
)

// Need is what does not hold of a part.
type Need struct {
	Regions []Region
	AreaMM2 float64
	// MarginalMM2 stands out past the limit by less than a ledge: it holds.
	MarginalMM2 float64
}

// Region is one connected stretch of what does not hold.
type Region struct {
	ID      int     // 1, 2, … in order of height, then y, then x
	AreaMM2 float64 // in plan view
	Center  r3.Vec  // centroid, mm
	Bounds  r3.Box  // mm
	Cuts    []Cut   // from the lowest layer up
}

// Cut is what a region adds in one layer.
type Cut struct {
	K int
	// Cells are the new cells that need holding: a slope's by its facets' own
	// normals, a ceiling's with the strip next to what holds.
	Cells raster.Bits
	// Bare are those that no rule holds; none where a slope has yet to fail. The
	// last step of a slope may put a few of them outside Cells.
	Bare raster.Bits
}

// All returns Cells and Bare together.
func (c *Cut) All() raster.Bits { return raster.Or(&c.Cells, &c.Bare) }

const (
	// samplePitch spaces the samples of what fails, in mm: finer than any bridge
	// or ledge that could tell two places apart.
	samplePitch = 1.0
	// linkRadius joins samples to one region. Samples of touching cubes are at
	// most two of their diagonals apart, 3.5 mm; those further apart than three
	// pitches touch at a corner only.
	linkRadius = 3.0
)

// sample stands for the cells of a patch within one square of samplePitch.
type sample struct {
	at    r3.Vec
	index int
}

func (s sample) Compare(c kdtree.Comparable, d kdtree.Dim) float64 {
	o := c.(sample)
	switch d {
	case 0:
		return s.at.X - o.at.X
	case 1:
		return s.at.Y - o.at.Y
	}
	return s.at.Z - o.at.Z
}
func (s sample) Dims() int { return 3 }
func (s sample) Distance(c kdtree.Comparable) float64 {
	return r3.Norm2(r3.Sub(s.at, c.(sample).at))
}

type samples []sample

func (s samples) Index(i int) kdtree.Comparable { return s[i] }
func (s samples) Len() int                      { return len(s) }
func (s samples) Slice(a, b int) kdtree.Interface {
	return s[a:b]
}
func (s samples) Pivot(d kdtree.Dim) int {
	return plane{s, d}.pivot()
}

// plane sorts samples along one axis.
type plane struct {
	samples
	kdtree.Dim
}

func (p plane) Less(i, j int) bool {
	return p.samples[i].Compare(p.samples[j], p.Dim) < 0
}
func (p plane) Swap(i, j int) { p.samples[i], p.samples[j] = p.samples[j], p.samples[i] }
func (p plane) Slice(a, b int) kdtree.SortSlicer {
	return plane{p.samples[a:b], p.Dim}
}
func (p plane) pivot() int { return kdtree.Partition(p, kdtree.MedianOfMedians(p)) }

// patch is a connected set of failing cells of one layer.
type patch struct {
	k              int
	cells, bare    raster.Bits
	x0, y0, x1, y1 int // half-open box of cells
	root           int
}

// Find judges the part alone and clusters what does not hold, each slope together
// with all of it that the facets' own normals put beyond the limit. The mesh and
// its layers must be of one pose.
func Find(m *mesh.Mesh, part *raster.Stack, s supports.Settings, workers int) Need {
	layers := hold.Judge(hold.Input{Body: part, Settings: s, Workers: workers})
	ledge := raster.DiscOf(s.Ledge() / part.Cell)
	fails := make([]bool, len(part.Cut))
	for i := range layers {
		fails[layers[i].K] = !layers[i].Unheld.Empty()
	}
	// Where a slope comes back within the limit, what it owes may still fail; the
	// facets say that it ends there. An island fails whatever its facets say.
	within, beyond := strips(m, part, s, fails, workers)
	byLayer := make([][]patch, len(layers))
	var eg errgroup.Group
	eg.SetLimit(cmp.Or(max(0, workers), runtime.GOMAXPROCS(0)))
	for i := range layers {
		if l := &layers[i]; !l.Unheld.Empty() {
			eg.Go(func() error {
				byLayer[i] = failed(part, l, &within[l.K], ledge)
				return nil
			})
		}
	}
	_ = eg.Wait() // the tasks return no error
	patches := slices.Concat(byLayer...)
	var n Need
	failing := len(patches)
	if failing == 0 {
		n.MarginalMM2 = marginal(part, layers, nil)
		return n
	}
	for k, b := range beyond {
		for _, p := range raster.Pieces(&b) {
			patches = append(patches, patch{k, p.Cells, raster.Bits{}, p.X0, p.Y0, p.X1, p.Y1, 0})
		}
	}
	n.Regions = cluster(part, patches, failing)
	for i := range n.Regions {
		n.AreaMM2 += n.Regions[i].AreaMM2
	}
	n.MarginalMM2 = marginal(part, layers, n.Regions)
	return n
}

// failed returns what fails of a layer, each patch with the new cells beside it that
// no facet within the limit covers.
func failed(part *raster.Stack, l *hold.Layer, within *raster.Bits, ledge raster.Disc) (out []patch) {
	strip := raster.Within(&l.New, &l.Unheld, ledge)
	for _, p := range raster.Pieces(&strip) {
		bare := raster.And(&p.Cells, &l.Unheld)
		if bare.Empty() {
			continue // beside what fails, and no part of it
		}
		cells := p.Cells
		if raster.Near(&cells, part.Layer(l.K-1), raster.DiscOf(math.Sqrt2)) {
			cells = raster.AndNot(&cells, within)
		}
		out = append(out, patch{l.K, cells, bare, p.X0, p.Y0, p.X1, p.Y1, 0})
	}
	return out
}

// marginal returns the area on marginal ledges outside the regions.
func marginal(part *raster.Stack, layers []hold.Layer, regions []Region) float64 {
	told := map[int][]*Cut{}
	for i := range regions {
		for c := range regions[i].Cuts {
			cut := &regions[i].Cuts[c]
			told[cut.K] = append(told[cut.K], cut)
		}
	}
	cells := 0
	for i := range layers {
		left := layers[i].Marginal.Clone()
		for _, cut := range told[layers[i].K] {
			left.Remove(&cut.Cells)
			left.Remove(&cut.Bare)
		}
		cells += left.Count()
	}
	return float64(cells) * part.CellArea()
}

// cluster joins patches of one slope, and of the first so many, which fail, those
// whose samples lie within linkRadius of one another.
func cluster(part *raster.Stack, patches []patch, failing int) []Region {
	var list samples
	var owner []int
	pitch := max(1, int(samplePitch/part.Cell))
	for n := range patches {
		patches[n].root = n
	}
	find := func(n int) int {
		for patches[n].root != n {
			patches[n].root = patches[patches[n].root].root
			n = patches[n].root
		}
		return n
	}
	join := func(a, b int) {
		a, b = find(a), find(b)
		patches[max(a, b)].root = min(a, b)
	}
	// One sample stands for all patches in a cube of samplePitch.
	taken := map[[3]int]int{}
	for n := range patches[:failing] {
		z := part.Bottom(patches[n].k)
		patches[n].bare.Each(func(i, j int) {
			cube := [3]int{i / pitch, j / pitch, int(z / samplePitch)}
			if o, ok := taken[cube]; ok {
				if o != n {
					join(o, n)
					taken[cube] = n
				}
				return
			}
			taken[cube] = n
			c := part.Center(i, j)
			list = append(list, sample{r3.Vec{X: c.X, Y: c.Y, Z: z}, len(list)})
			owner = append(owner, n)
		})
	}
	tree := kdtree.New(append(samples(nil), list...), false)
	for _, s := range list {
		near := kdtree.NewDistKeeper(linkRadius * linkRadius)
		tree.NearestSet(near, s)
		for _, h := range near.Heap {
			if h.Comparable != nil {
				join(owner[s.index], owner[h.Comparable.(sample).index])
			}
		}
	}
	link(patches, join)
	return gather(part, patches, failing, find)
}

// gather makes regions of the joined patches, the failing ones being the first.
func gather(part *raster.Stack, patches []patch, failing int, find func(int) int) []Region {
	byRoot := map[int]*Region{}
	var order []*Region
	for n := range patches {
		p := &patches[n]
		r := byRoot[find(n)]
		if r == nil {
			if n >= failing {
				continue // a slope short enough to hold
			}
			r = &Region{}
			byRoot[find(n)] = r
			order = append(order, r)
		}
		at := sort.Search(len(r.Cuts), func(i int) bool { return r.Cuts[i].K >= p.k })
		if at == len(r.Cuts) || r.Cuts[at].K != p.k {
			r.Cuts = slices.Insert(r.Cuts, at, Cut{K: p.k})
		}
		c := &r.Cuts[at]
		c.Cells.Add(&p.cells)
		c.Bare.Add(&p.bare)
	}
	for _, r := range order {
		r.measure(part)
	}
	sort.SliceStable(order, func(a, b int) bool {
		p, q := order[a].Bounds.Min, order[b].Bounds.Min
		if p.Z != q.Z {
			return p.Z < q.Z
		}
		if p.Y != q.Y {
			return p.Y < q.Y
		}
		return p.X < q.X
	})
	var out []Region
	for n, r := range order {
		r.ID = n + 1
		out = append(out, *r)
	}
	return out
}

func (r *Region) measure(part *raster.Stack) {
	if !slices.ContainsFunc(r.Cuts, func(c Cut) bool { return !c.Cells.Empty() }) {
		for n := range r.Cuts {
			r.Cuts[n].Cells = r.Cuts[n].Bare // facets and layers disagree: layers count
		}
	}
	var sum r3.Vec
	cells := 0
	for n := range r.Cuts {
		c := &r.Cuts[n]
		z := part.Bottom(c.K)
		c.Cells.Each(func(i, j int) {
			p := part.Center(i, j)
			at := r3.Vec{X: p.X, Y: p.Y, Z: z}
			half := part.Cell / 2
			lo := r3.Vec{X: p.X - half, Y: p.Y - half, Z: z}
			hi := r3.Vec{X: p.X + half, Y: p.Y + half, Z: z}
			if cells == 0 {
				r.Bounds = r3.Box{Min: lo, Max: hi}
			}
			b := &r.Bounds
			b.Min = r3.Vec{X: min(b.Min.X, lo.X), Y: min(b.Min.Y, lo.Y), Z: min(b.Min.Z, lo.Z)}
			b.Max = r3.Vec{X: max(b.Max.X, hi.X), Y: max(b.Max.Y, hi.Y), Z: max(b.Max.Z, hi.Z)}
			sum = r3.Add(sum, at)
			cells++
		})
	}
	r.AreaMM2 = float64(cells) * part.CellArea()
	r.Center = r3.Scale(1/float64(cells), sum)
}
