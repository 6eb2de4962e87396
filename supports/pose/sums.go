package pose

import (
	"cmp"
	"math"
	"runtime"
	"slices"

	"falsework/mesh"
	"falsework/supports"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// Sums is what adding up a mesh's triangles tells of one direction. It sees no
// layer: a face that another one shields counts as one over the plate, and a slope
// all at once.
type Sums struct {
	NeedMM2  float64 // in plan, of faces beyond the limit and above the first layer; ceilings that bridges cross and small bores left out
	RiseMM3  float64 // volume between those faces and the plate
	FootMM2  float64 // of the part's section in the first layer
	CleanMM2 float64 // of faces to be kept clean, those of NeedMM2
	HeightMM float64
	Tipping  float64 // angle in radians by which it may be tilted before it falls; 0 where it does not stand
	Layers   float64 // weakness across layers in the load directions, 1 (along layers) to 1/acrossStrength
}

// blockSize is how many triangles stay in a processor's nearest cache while batch
// directions pass over them.
const blockSize, batch = 256, 16

// face is a triangle as the sums see it. Its direction and area are one vector.
type face struct {
	nx, ny, nz float64 // outward, as long as the area, mm²
	cx, cy, cz float64 // middle, mm
	reach      float64 // of the farthest corner from the middle, mm
	area       float64
	clean      float32 // how much of it is to be kept clean, 0 to 1
	ceiling    int32   // of ceilings, −1 for none
}

// summer adds up one part.
type summer struct {
	mesh     *mesh.Mesh
	faces    []face
	flats    []flat
	ceilings []ceiling
	hull     *Hull
	centre   r3.Vec
	s        supports.Settings
	loads    []Load
	plane    float64 // of the first layer above the plate, mm
	workers  int
}

// newSummer prepares a part. The options are resolved.
func newSummer(m *mesh.Mesh, o Options) (*summer, error) {
	kept, err := o.kept(m)
	if err != nil {
		return nil, err
	}
	h, err := HullOf(m.Vertices)
	if err != nil {
		return nil, err
	}
	w := &summer{
		mesh: m, hull: h, centre: Centroid(m), s: o.Settings, loads: o.Loads,
		plane: o.Settings.Layers().Plane(0), workers: cmp.Or(max(0, o.Workers), runtime.GOMAXPROCS(0)),
	}
	var of []int32
	w.flats, of = flatsOf(m, o.Settings)
	w.ceilings, of = ceilingsOf(m, w.flats, of, o.Settings)
	w.faces = make([]face, len(m.Triangles))
	for t := range w.faces {
		a, b, c := m.Corners(t)
		n := m.AreaNormal(t)
		mid := r3.Scale(1./3, r3.Add(a, r3.Add(b, c)))
		reach := math.Sqrt(max(r3.Norm2(r3.Sub(a, mid)), r3.Norm2(r3.Sub(b, mid)), r3.Norm2(r3.Sub(c, mid))))
		w.faces[t] = face{n.X, n.Y, n.Z, mid.X, mid.Y, mid.Z, reach, math.Sqrt(r3.Norm2(n)), 0, of[t]}
		if kept != nil {
			w.faces[t].clean = float32(kept[t])
		}
	}
	return w, nil
}

// sum returns the sums of each direction, of unit length, in their order. They do
// not depend on the number of workers.
func (w *summer) sum(ups []r3.Vec) []Sums {
	out := make([]Sums, len(ups))
	var eg errgroup.Group
	eg.SetLimit(w.workers)
	for from := 0; from < len(ups); from += batch {
		eg.Go(func() error {
			w.some(ups[from:min(from+batch, len(ups))], out[from:])
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	return out
}

func (w *summer) some(ups []r3.Vec, out []Sums) {
	var lows, planes [batch]float64
	var held [batch][]bool
	sinLimit := math.Sin(w.s.Limit + facetError)
	for i, up := range ups {
		st := w.hull.stands(up, w.centre, w.plane)
		lows[i], planes[i] = st.low, st.low+w.plane
		out[i] = Sums{HeightMM: st.high - st.low, Tipping: st.margin, Layers: weakness(w.loads, up)}
		for k := range w.ceilings {
			if w.ceilings[k].holds(up, w.s) {
				if held[i] == nil {
					held[i] = make([]bool, len(w.ceilings))
				}
				held[i][k] = true
			}
		}
	}
	for from := 0; from < len(w.faces); from += blockSize {
		block := w.faces[from:min(from+blockSize, len(w.faces))]
		for i, up := range ups {
			r := &out[i]
			low, plane := lows[i], planes[i]
			for t := range block {
				f := &block[t]
				down := -(f.nx*up.X + f.ny*up.Y + f.nz*up.Z)
				z := f.cx*up.X + f.cy*up.Y + f.cz*up.Z
				over := 1.0
				if z-f.reach < plane {
					over = 1 - w.below(from+t, up, plane)
					// The section at the plane closes the surface below it.
					r.FootMM2 += down * (1 - over)
				}
				if down <= sinLimit*f.area {
					continue
				}
				if f.ceiling >= 0 && held[i] != nil && held[i][f.ceiling] {
					continue
				}
				r.NeedMM2 += down * over
				r.RiseMM3 += down * over * (z - low)
				r.CleanMM2 += f.area * float64(f.clean) * over
			}
		}
	}
}

// below returns the share of a triangle's area that lies below a height along up.
func (w *summer) below(t int, up r3.Vec, plane float64) float64 {
	a, b, c := w.mesh.Corners(t)
	z := [3]float64{r3.Dot(a, up), r3.Dot(b, up), r3.Dot(c, up)}
	slices.Sort(z[:])
	switch {
	case plane <= z[0]:
		return 0
	case plane >= z[2]:
		return 1
	case plane < z[1]:
		return (plane - z[0]) * (plane - z[0]) / ((z[1] - z[0]) * (z[2] - z[0]))
	}
	return 1 - (z[2]-plane)*(z[2]-plane)/((z[2]-z[1])*(z[2]-z[0]))
}

// facetError is what a facet's normal may be off by, in radians: corners kept as
// 32-bit floats put a facet of a line's size out by under 0.01°.
const facetError = 0.05 * math.Pi / 180

// levelSine is the sine of the angle from the vertical beyond which a face is
// printed as a ceiling of its own: one layer's step is four lines wide.
func levelSine(s supports.Settings) float64 { return math.Sin(math.Atan(4 * s.Line / s.Layer)) }

// Load is a direction in which a part is pulled, in its own frame.
type Load struct {
	Dir    r3.Vec // of any length but zero
	Weight float64
}

// acrossStrength is what is left of PLA's strength across layers: 48 % less (doi
// 10.1089/3dp.2020.0109).
const acrossStrength = 0.52

// weakness is how much weaker than along its layers a part is in the load
// directions, as their weighted mean; 1 without any. Between along and across,
// strength follows Hankinson 1921, Air Service Information Circular 3(259), given
// from memory: σ = σ₁·σ₂/(σ₁·sin²θ + σ₂·cos²θ). It ranks poses and is no strength
// calculation.
func weakness(loads []Load, up r3.Vec) float64 {
	sum, weights := 0.0, 0.0
	for _, l := range loads {
		c := r3.Dot(l.Dir, up)
		sum += l.Weight * (1 + (1/acrossStrength-1)*c*c/r3.Norm2(l.Dir))
		weights += l.Weight
	}
	if weights == 0 {
		return 1
	}
	return sum / weights
}
