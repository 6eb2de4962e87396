package pose

import (
	"cmp"
	"context"
	"runtime"
	"slices"
	"sync"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/prove"

	"golang.org/x/sync/errgroup"
)

// Laid is what supports that were really drawn for a pose take.
type Laid struct {
	NeedMM2    float64 // what does not hold of the bare part, judged on its layers
	CleanMM2   float64 // of NeedMM2, under faces to be kept clean
	FootMM2    float64 // of the part's first layer
	Supports   cost.Estimate
	ContactMM2 float64
	Holds      bool       // part and supports are proved
	Fault      string     // the worst of why they are not, a sentence; else empty
	Problem    string     // why supports could not be built, else empty; the rest is then as estimated
	Mesh       *mesh.Mesh // of the supports, in the frame of the pose
}

// margin is what a grid has to spare round the part, in mm: room for a foot beside
// it.
const margin = 5.0

// Supports are drawn once in each pose, as layout.Once does it: what is drawn again in
// a bake, to print faster or to come off, takes several times as long. What a drawing
// takes grows with what is in need. Where that is more than fineNeed, summed over the
// poses, they are drawn on cells of half a line, else on those of the settings, and only one
// layer of every sampled is priced, the others by their cells beside its: times of 42 poses of
// two parts were off by 1.2 % at most.
const (
	fineNeed = 12000.0 // mm²
	sampled  = 4
)

// CellFor returns the edge in mm of the cells that LayOut draws supports for these
// poses on: the same for all of them, so that they can be compared.
func CellFor(poses []Pose, s supports.Settings) float64 {
	if much(poses) {
		return max(s.Cell, s.Line/2)
	}
	return s.Cell
}

// much tells whether supports are drawn coarsely.
func much(poses []Pose) bool {
	need := 0.0
	for i := range poses {
		need += poses[i].Sums.NeedMM2
	}
	return need > fineNeed
}

// LayOut draws supports for each pose, proves and prices them, and puts what was
// measured in place of what was estimated. After each, done is told how many are
// finished; it may be nil. Where supports cannot be built the pose does not hold. It
// ends early with the context's error.
func LayOut(ctx context.Context, m *mesh.Mesh, poses []Pose, o Options, done func(n int)) error {
	o, err := o.resolve()
	if err != nil {
		return err
	}
	kept, err := o.kept(m)
	if err != nil {
		return err
	}
	o.Settings.Cell = CellFor(poses, o.Settings)
	every := 1
	if much(poses) {
		every = sampled
	}
	o.Workers = cmp.Or(max(0, o.Workers), runtime.GOMAXPROCS(0))
	eg, ctx := errgroup.WithContext(ctx)
	eg.SetLimit(o.Workers)
	var mu sync.Mutex
	n := 0
	// Those that take longest first, so that all processors are done at about the same time.
	order := make([]int, len(poses))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(poses[b].Sums.NeedMM2, poses[a].Sums.NeedMM2) })
	for _, i := range order {
		eg.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			poses[i].take(layOut(m, poses[i].Turn, kept, every, o), o.Weights)
			mu.Lock()
			defer mu.Unlock()
			n++
			if done != nil {
				done(n)
			}
			return nil
		})
	}
	return eg.Wait()
}

func (p *Pose) take(l *Laid, w Weights) {
	p.Laid = l
	if l.Problem != "" {
		return
	}
	p.Measures = Measures{
		Time: l.Supports.TimeS, Plastic: l.Supports.VolumeMM3, Contact: l.ContactMM2, Height: p.Sums.HeightMM,
		Slender: slender(p.Sums.HeightMM, l.FootMM2), Tipping: p.Sums.Tipping, Layers: p.Sums.Layers, Clean: l.CleanMM2,
	}
	p.Points = w.Points(p.Measures)
}

// layOut lays one pose out, with how much of each triangle is to be kept clean; nil for
// nothing. Of the supports one layer of so many is priced. Though poses are laid out side by
// side each has all workers too, for the last ones.
func layOut(given *mesh.Mesh, t Turn, kept []float64, every int, o Options) *Laid {
	s, workers := o.Settings, o.Workers
	m := t.Place(given)
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, margin), s.Layers(), workers)
	n := need.Find(m, part, s, workers)
	l := &Laid{NeedMM2: n.AreaMM2, FootMM2: float64(part.Layer(0).Count()) * part.CellArea(), Holds: true}
	if len(n.Regions) == 0 {
		return l
	}
	l.CleanMM2 = clean(m, part, n, kept, s)
	p := layout.Once("part", m, part, n, s, workers)
	refuse := func(err error) *Laid {
		l.Holds, l.Fault, l.Problem, l.Mesh = false, err.Error(), err.Error(), nil
		return l
	}
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		return refuse(err)
	}
	l.Mesh = &mesh.Mesh{}
	for _, sd := range solids {
		l.Mesh.Append(sd.Mesh)
	}
	l.Mesh.Round32()
	whole, sup, err := prove.Cut(part, []*mesh.Mesh{l.Mesh}, workers)
	if err != nil {
		return refuse(err)
	}
	proof, err := prove.Worst(whole, sup, s, prove.Options{Workers: workers})
	if err != nil {
		return refuse(err)
	}
	l.Holds, l.ContactMM2 = proof.Verdict == prove.Holds, proof.ContactMM2
	if !l.Holds && len(proof.Reasons) > 0 {
		l.Fault = proof.Reasons[0].Text
	}
	l.Supports = cost.Sampled(sup, s, o.Machine, every)
	return l
}

// clean returns how much of a need lies under faces to be kept clean: of each region
// the share that those faces have of all that look down on it.
func clean(m *mesh.Mesh, part *raster.Stack, n need.Need, kept []float64, s supports.Settings) float64 {
	if kept == nil {
		return 0
	}
	sum := 0.0
	for i, f := range need.FacesOf(m, part, n, s) {
		under, all := 0.0, 0.0
		for _, t := range f.Triangles {
			down := -m.AreaNormal(t).Z
			under, all = under+down*kept[t], all+down
		}
		if all > 0 {
			sum += n.Regions[i].AreaMM2 * under / all
		}
	}
	return sum
}
