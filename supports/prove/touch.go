package prove

import (
	"fmt"
	"math"

	"falsework/raster"
)

// wallShare is how many clearances high a side of the part must be to count as
// a wall. Just below a slope's contact the part is near by necessity: at θ from
// the vertical its side comes back to within a clearance of the support only over
// clearance/tan θ of height. Two clearances let every slope from 27° on pass,
// well short of any that needs support, and catch all that is steeper and taller
// than about a millimetre.
const wallShare = 2.0

// touches is what the layers of part and supports do to one another, layer by
// layer.
type touches struct {
	overlap, fused, side, near []raster.Bits
	edge                       []raster.Bits // outline cells among side
}

// touches compares every layer of either with the other's beside and below.
func (p *proof) touches() touches {
	// The layer over the last of one may be laid onto it.
	n := min(len(p.sup.Cut), len(p.part.Cut)) + 1
	t := touches{
		overlap: make([]raster.Bits, n), fused: make([]raster.Bits, n),
		side: make([]raster.Bits, n), near: make([]raster.Bits, n),
		edge: make([]raster.Bits, n),
	}
	eachLayer(n, p.workers, func(k int) {
		sup, part := p.sup.Layer(k), p.part.Layer(k)
		t.overlap[k] = crop(raster.And(sup, part))
		if !p.s.IsFused() {
			t.fused[k] = crop(p.fusedAt(k))
		}
		side, near := p.sidesAt(k)
		t.side[k], t.near[k] = crop(side), crop(near)
		if !t.side[k].Empty() {
			inner := raster.Erode(sup, raster.DiscOf(1))
			t.edge[k] = crop(raster.AndNot(&t.side[k], &inner))
		}
	})
	t.overlap = p.collisions(t.overlap)
	return t
}

// collisions returns what of the layers' overlaps is a collision.
func (p *proof) collisions(overlap []raster.Bits) []raster.Bits {
	if !p.s.IsFused() {
		return overlap
	}
	// A declared contact may sink one layer into the part; deeper it collides.
	deep := make([]raster.Bits, len(overlap))
	for k := range deep {
		var beside raster.Bits
		if k > 0 {
			beside = overlap[k-1].Clone()
		}
		if k+1 < len(overlap) {
			beside = raster.Or(&beside, &overlap[k+1])
		}
		deep[k] = crop(raster.And(&overlap[k], &beside))
	}
	return deep
}

// overlapMM3 returns the volume of collisions.
func (p *proof) overlapMM3(collisions []raster.Bits) float64 {
	volume := 0.0
	for k := range collisions {
		volume += float64(collisions[k].Count()) * p.part.CellArea() * p.part.Thickness(k)
	}
	return volume
}

// crop returns b in the smallest window: what is kept of every layer is mostly
// nothing, and a window costs memory.
func crop(b raster.Bits) raster.Bits {
	x0, y0, x1, y1 := b.Bounds()
	if x0 == x1 {
		return raster.Bits{}
	}
	out := raster.NewBits(x0, y0, x1, y1)
	b.EachRun(func(j, i0, i1 int) { out.SetSpan(j, i0, i1) })
	return out
}

// fusedAt returns the cells of layer k that are laid straight onto the other
// body: the part's onto a support's top, or a support's onto the part.
func (p *proof) fusedAt(k int) raster.Bits {
	if k == 0 {
		return raster.Bits{}
	}
	part, sup, lowPart, lowSup := p.part.Layer(k), p.sup.Layer(k), p.part.Layer(k-1), p.sup.Layer(k-1)
	// Supports first: a set's window is that of the first, and theirs is smaller.
	up := raster.And(lowSup, part)
	up = raster.AndNot(&up, lowPart)
	up = raster.AndNot(&up, sup)
	down := raster.And(sup, lowPart)
	down = raster.AndNot(&down, lowSup)
	down = raster.AndNot(&down, part)
	return raster.Or(&up, &down)
}

// sidesAt returns the cells of layer k's supports that are nearer to a wall of
// the part than half the clearance, and than the clearance.
//
// Between cells whose centres are n apart lie n − 1 whole cells, and the faces
// that they stand for are n − 1 cells apart, give or take one. Half a clearance
// is judged at its expected distance; the clearance itself one cell short, so
// that a wall that keeps it exactly is never noted.
func (p *proof) sidesAt(k int) (side, near raster.Bits) {
	part, sup := p.part.Layer(k), p.sup.Layer(k)
	cell := p.part.Cell
	tall := int(math.Ceil(wallShare*p.s.Clearance/p.s.Layer - 1e-9))
	far := raster.DiscOf(p.s.Clearance/cell - 1e-6)
	half := raster.DiscOf(p.s.Clearance/2/cell + 1 - 1e-6)
	near = raster.Within(sup, part, far)
	if near.Empty() {
		return
	}
	// Only walls of the part count: sides that begin further down.
	x0, y0, x1, y1 := near.Bounds()
	m := far.Radius()
	wall := raster.Crop(part, x0-m, y0-m, x1+m, y1+m)
	wall = raster.And(&wall, p.part.Layer(max(k-tall, 0)))
	near = raster.Within(&near, &wall, far)
	near = raster.AndNot(&near, part) // a collision, told as such
	// A slope that begins on the plate has no further down: what stands under it
	// is near by necessity.
	for e := 1; k < tall && e <= tall && !near.Empty(); e++ {
		near = raster.AndNot(&near, p.part.Layer(k+e))
	}
	// Likewise what stands on a slope of the part, where the part ends further up,
	// and the rim of a foot that stands out past the edge it stands on.
	high := raster.And(&wall, p.part.Layer(k+tall))
	beside := raster.Within(&near, &high, far)
	standing := raster.AndNot(&near, &beside)
	if !standing.Empty() {
		var foot raster.Bits
		for e := 1; e <= tall; e++ {
			over := raster.And(sup, p.part.Layer(k-e))
			foot = raster.Or(&foot, &over)
		}
		standing = raster.Beyond(&standing, &foot, far)
	}
	near = raster.Or(&beside, &standing)
	side = raster.Within(&near, &wall, half)
	return side, near
}

// noise is the overlap that counts as touching, in mm³: a cell wide, as outlines
// are known to half a cell each, over one line's length of one layer.
func (p *proof) noise() float64 {
	return p.s.Cell * p.s.Line * max(p.s.Layer, p.s.First)
}

// bead is the footprint of the least that a nozzle lays, a square of one line:
// what is fused over no more than this breaks like a stray thread.
func (p *proof) bead() float64 { return p.s.Line * p.s.Line }

// overlapping reads off collisions.
func (p *proof) overlapping(r *Report, collisions []raster.Bits) {
	volume := p.overlapMM3(collisions)
	for k := range collisions {
		r.CollisionSpots = p.spot(r.CollisionSpots, k, &collisions[k])
	}
	r.CollisionsMM3 = tidy(volume)
	for _, q := range p.places(r.CollisionSpots) {
		why := Reason{
			Kind: Collision, At: q.at, LayerZ: q.z, VolumeMM3: q.volume,
			Text:   fmt.Sprintf("Part and support overlap in %.3g mm³ at %s.", q.volume, q.where()),
			Remedy: "move the support out of the part",
		}
		if volume > p.noise() {
			r.Reasons = append(r.Reasons, why)
		} else {
			r.Notes = append(r.Notes, why)
		}
	}
}

// touching reads off collisions, accidental fusion and want of clearance.
func (p *proof) touching(r *Report, t touches) {
	cell := p.part.Cell
	var side, near []Spot
	upright := 0.0
	p.overlapping(r, t.overlap)
	for k := range t.overlap {
		r.FusedSpots = p.spot(r.FusedSpots, k, &t.fused[k])
		side = p.spot(side, k, &t.side[k])
		between := raster.AndNot(&t.near[k], &t.side[k])
		near = p.spot(near, k, &between)
		upright += float64(t.edge[k].Count()) * cell * p.part.Thickness(k)
	}
	r.SideTouchedSpots = side
	r.ClearanceMM2 = tidy(upright)
	r.FusedMM2 = tidy(cellsIn(r.FusedSpots) * p.part.CellArea())

	for _, q := range p.places(r.FusedSpots) {
		why := Reason{
			Kind: Fused, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("Part and support are printed onto each other over %s, no layer between, at %s.", mm2(q.area), q.where()),
			Remedy: "leave at least one whole layer empty between them",
		}
		if q.area > p.bead() {
			r.Reasons = append(r.Reasons, why)
		} else {
			r.Notes = append(r.Notes, why)
		}
	}
	sides := p.places(side)
	owner := map[[3]int32]int{}
	for n := range sides {
		sides[n].area = 0
		for _, key := range sides[n].boxes {
			owner[key] = n
		}
	}
	for k := range t.edge {
		t.edge[k].Each(func(i, j int) {
			sides[owner[p.box(k, i, j)]].area += cell * p.part.Thickness(k)
		})
	}
	for _, q := range sides {
		q.area = tidy(q.area)
		why := Reason{
			Kind: SideFused, At: q.at, LayerZ: q.z, AreaMM2: q.area,
			Text:   fmt.Sprintf("A support stands nearer than %.3g mm to a wall of the part along %s at %s and will fuse with it.", p.s.Clearance/2, mm2(q.area), q.where()),
			Remedy: fmt.Sprintf("move it %.3g mm away from the wall", p.s.Clearance),
		}
		if q.area > p.bead() {
			r.Reasons = append(r.Reasons, why)
		} else {
			r.Notes = append(r.Notes, why)
		}
	}
	for _, q := range p.places(near) {
		r.Notes = append(r.Notes, Reason{
			Kind: SideNear, At: q.at, LayerZ: q.z,
			Text:   fmt.Sprintf("A support stands nearer than the clearance of %.3g mm to a wall of the part at %s and may fuse with it.", p.s.Clearance, q.where()),
			Remedy: fmt.Sprintf("move it %.3g mm away from the wall", p.s.Clearance),
		})
	}
}
