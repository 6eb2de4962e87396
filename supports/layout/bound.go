package layout

import (
	"math"

	"falsework/raster"
	"falsework/supports"
	"falsework/supports/need"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
)

// Contact is how long contact lines run under level ceilings, in mm, and the length
// that no plan can do with less than.
type Contact struct {
	LengthMM float64
	BoundMM  float64
}

// ContactUnder measures a plan's contact lines under the level ceilings of a need.
//
// The bound counts what straight beads need: one c long between two walls of the part
// crosses at least ⌈(c−L)/(L+t)⌉ contacts t thick, L being the longest bridge; with one
// free end ⌈c/(L+t)⌉, with two ⌈(c+L)/(L+t)⌉, where each free end may stand out by a
// ledge and shortens c by it. Contacts run across the beads, so that the sum over all
// beads, each times its share of the width, is a length. In any direction it is the
// largest over boundAngles directions.
func ContactUnder(p plan.Plan, part *raster.Stack, n need.Need, s supports.Settings) (c Contact) {
	t := newSite(part, s)
	for _, r := range n.Regions {
		for i := range r.Cuts {
			for _, ceiling := range t.ceilings(&r.Cuts[i]) {
				c.LengthMM += t.lengthUnder(p, r.Cuts[i].K, &ceiling)
				c.BoundMM += t.bound(r.Cuts[i].K, &ceiling, &r.Cuts[i].Bare)
			}
		}
	}
	return c
}

const (
	// boundAngles is how many directions of beads are tried where none is stated.
	boundAngles = 12
	// boundRows spaces the beads that are looked at, in cells.
	boundRows = 2
)

// ceilings returns the level pieces of a cut that are new in its layer.
func (t *site) ceilings(c *need.Cut) (out []raster.Bits) {
	core := raster.Erode(&c.Bare, raster.DiscOf(1.5*t.s.Line/t.part.Cell))
	if core.Empty() {
		return nil
	}
	for _, p := range t.fresh(c.K, c) {
		if flat := raster.And(&p.Cells, &core); !flat.Empty() {
			out = append(out, p.Cells)
		}
	}
	return out
}

// lengthUnder returns how long a plan's contact lines run under a ceiling of layer k.
func (t *site) lengthUnder(p plan.Plan, k int, ceiling *raster.Bits) (length float64) {
	z := t.part.Bottom(k)
	// A line may run along the rim.
	cells := raster.Dilate(ceiling, raster.DiscOf(t.wall/2/t.part.Cell+1))
	for _, l := range p.Lines {
		if l.Tie {
			continue
		}
		at, relieved := l.Course()
		for i := 1; i < len(at); i++ {
			if relieved[i-1] {
				continue
			}
			a, b := at[i-1], at[i]
			v := r2.Vec{X: b[0] - a[0], Y: b[1] - a[1]}
			d := math.Sqrt(r2.Norm2(v))
			n := int(d/t.part.Cell) + 1
			for m := range n {
				f := (float64(m) + 0.5) / float64(n)
				ci, cj := t.part.At(r2.Vec{X: a[0] + f*v.X, Y: a[1] + f*v.Y})
				if math.Abs(a[2]+f*(b[2]-a[2])-z) < t.s.Layer && cells.Has(ci, cj) {
					length += d / float64(n)
				}
			}
		}
	}
	return length
}

// bound returns the least length of contacts under a ceiling of layer k, for beads
// that lie over bare cells.
func (t *site) bound(k int, ceiling, bare *raster.Bits) float64 {
	if t.s.Direction.Stated {
		return t.boundAlong(k, ceiling, bare, t.s.Direction.Angle)
	}
	most := 0.0
	for a := range boundAngles {
		most = max(most, t.boundAlong(k, ceiling, bare, math.Pi*float64(a)/boundAngles))
	}
	return most
}

// boundAlong returns it for beads in one direction.
func (t *site) boundAlong(k int, ceiling, bare *raster.Bits, angle float64) (length float64) {
	u := r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}
	v := r2.Vec{X: -u.Y, Y: u.X}
	u0, u1 := t.extent(ceiling, angle)
	v0, v1 := t.extent(ceiling, angle+math.Pi/2)
	step, width := t.part.Cell, boundRows*t.part.Cell
	at := func(along, across float64) (i, j int) {
		return t.part.At(r2.Add(r2.Scale(along, u), r2.Scale(across, v)))
	}
	layer := t.part.Layer(k)
	for across := v0 + width/2; across < v1; across += width {
		begun, asks := math.Inf(1), false
		for along := u0 - step; along <= u1+2*step; along += step {
			i, j := at(along, across)
			if ceiling.Has(i, j) {
				begun = min(begun, along)
				asks = asks || bare.Has(i, j)
				continue
			}
			if asks {
				free := 0
				// Past a rim the part goes on where something below carries it.
				for _, end := range [2]float64{begun - 2*step, along + step} {
					if i, j := at(end, across); !layer.Has(i, j) {
						free++
					}
				}
				length += width * t.contacts(along-begun-step, free)
			}
			begun, asks = math.Inf(1), false
		}
	}
	return length
}

// contacts returns how many contacts a straight bead c mm long needs at least that ends
// so many times in the air.
func (t *site) contacts(c float64, free int) float64 {
	c += (float64(free) - 1) * t.s.Bridge
	c -= float64(free) * t.s.Ledge()
	return max(0, math.Ceil(c/(t.s.Bridge+t.wall)-1e-9))
}
