package prove

import (
	"fmt"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// byHand is the force, in N, that a body may take to break off. Common practice, no
// source.
const byHand = 40.0

// bond is where a body is printed onto the part, seen from above.
type bond struct {
	moments
	corners []r2.Vec
	z       float64 // lowest
}

// bonds reads off what it takes to break bodies off that are printed onto the part:
// as tension over all of the bond at once, strength × area, and as bending of the
// bond about its weak axis by a force at the body's far end, strength × Z / height.
func (p *proof) bonds(r *Report, layers []rows) {
	list := make([]bond, len(r.Bodies))
	add := func(k int, cells raster.Bits, l *rows) {
		z := p.part.Bottom(k)
		cells.EachRun(func(j, i0, i1 int) {
			n := l.bodyAt(i0, j)
			if n < 0 {
				return
			}
			b := &list[n]
			if b.area == 0 {
				b.z = z
			}
			b.add(ofRun(p.part.Grid, j, i0, i1))
			b.corners = append(b.corners, corners(p.part.Grid, j, i0, i1)...)
		})
	}
	for k := 1; k <= len(p.sup.Cut); k++ {
		low := raster.AndNot(p.sup.Layer(k-1), p.part.Layer(k-1))
		add(k, raster.And(&low, p.part.Layer(k)), &layers[k-1])
		if k < len(layers) {
			high := raster.AndNot(p.sup.Layer(k), p.part.Layer(k))
			add(k, raster.And(&high, p.part.Layer(k-1)), &layers[k])
		}
	}
	for n := range list {
		b := &list[n]
		if b.area == 0 {
			continue
		}
		body := &r.Bodies[n]
		arm := body.Bounds.Max.Z - body.Bounds.Min.Z
		body.BondMM2 = tidy(b.area)
		body.PullN = tidy(strength * b.area)
		body.SnapN = tidy(strength / b.lever(hullOf(b.corners)) / arm)
		if min(body.PullN, body.SnapN) <= byHand {
			continue
		}
		r.Notes = append(r.Notes, Reason{
			Kind: Held, At: r3.Vec{X: tidy(b.at.X), Y: tidy(b.at.Y), Z: tidy(b.z)}, LayerZ: tidy(b.z), AreaMM2: body.BondMM2, Body: body.ID,
			Text: fmt.Sprintf("Support body %d is printed onto the part over %s and takes about %.0f N to pull straight off and %.0f N to snap off at its far end, where a hand gives %g N.",
				body.ID, mm2(b.area), body.PullN, body.SnapN, byHand),
			Remedy: "fuse it by a few teeth one line square, or cut it into pieces that come off one by one",
		})
	}
}
