package prove

import (
	"fmt"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// byHand is the force, in N, that a body may take to break off.
const byHand = supports.ByHand

// bond is where a body is printed onto the part, seen from above.
type bond struct {
	moments
	corners []r2.Vec
	z       float64 // lowest
	runs    []bondRun
}

// bondRun is a row's run of a body's cells in its layer k that are bonded.
type bondRun struct{ k, j, i0, i1 int }

// forces returns what it takes to break a bond, in N: pulled straight, as tension over
// all of it at once, strength × area; and bent about its weak axis by a force arm mm
// away, strength × Z / arm.
func (b *bond) forces(arm float64) (pull, snap float64) {
	if b.area == 0 {
		return 0, 0
	}
	return strength * b.area, strength / b.lever(raster.Hull(b.corners)) / arm
}

// bonds returns where each body is printed onto the part.
func (p *proof) bonds(layers []rows, bodies int) []bond {
	list := make([]bond, bodies)
	// What of layer k is laid onto the layer below, of bodies in layer at.
	add := func(k, at int, cells raster.Bits) {
		cells.EachRun(func(j, i0, i1 int) {
			n := layers[at].bodyAt(i0, j)
			if n < 0 {
				return
			}
			b := &list[n]
			if b.area == 0 {
				b.z = p.part.Bottom(k)
			}
			b.add(ofRun(p.part.Grid, j, i0, i1))
			b.corners = append(b.corners, corners(p.part.Grid, j, i0, i1)...)
			b.runs = append(b.runs, bondRun{at, j, i0, i1})
		})
	}
	for k := 1; k <= len(p.sup.Cut); k++ {
		low := raster.AndNot(p.sup.Layer(k-1), p.part.Layer(k-1))
		add(k, k-1, raster.And(&low, p.part.Layer(k)))
		if k < len(layers) {
			high := raster.AndNot(p.sup.Layer(k), p.part.Layer(k))
			add(k, k, raster.And(&high, p.part.Layer(k-1)))
		}
	}
	return list
}

// bonded reads off what it takes to break bodies off that are printed onto the part, by
// a force at the far end where they are bent.
func (p *proof) bonded(r *Report, list []bond) {
	for n := range list {
		b, body := &list[n], &r.Bodies[n]
		pull, snap := b.forces(body.Bounds.Max.Z - body.Bounds.Min.Z)
		body.BondMM2, body.PullN, body.SnapN = tidy(b.area), tidy(pull), tidy(snap)
	}
}

// held says that a body takes more than a hand to break off.
func (p *proof) held(body *Body, b *bond) Reason {
	return Reason{
		Kind: Held, At: r3.Vec{X: tidy(b.at.X), Y: tidy(b.at.Y), Z: tidy(b.z)}, LayerZ: tidy(b.z), AreaMM2: body.BondMM2, Body: body.ID,
		Text: fmt.Sprintf("Support body %d is printed onto the part over %s and takes about %.0f N to pull straight off and %.0f N to snap off at its far end, where a hand gives %g N, and no pieces of it were found that come off one by one.",
			body.ID, mm2(b.area), body.PullN, body.SnapN, byHand),
		Remedy: "fuse it by a few teeth one line square, or cut it into pieces that come off one by one",
	}
}
