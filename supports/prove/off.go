package prove

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// leaving reads off which bodies have a way out.
func (p *proof) leaving(r *Report, barred []uint32, oblique []Way) {
	for n := range r.Bodies {
		b := &r.Bodies[n]
		for w := 0; w < allWays; w++ {
			if barred[n]>>w&1 == 0 {
				b.WaysOut = append(b.WaysOut, wayName(w))
			}
		}
		if oblique[n] != "" {
			b.WaysOut = append(b.WaysOut, oblique[n])
		}
		if b.Blocked = len(b.WaysOut) == 0; b.Blocked {
			r.BlockedBodies++
		}
	}
}

// apart looks for pieces of the bodies that do not come off whole, as they have no way
// out or are held by more than a hand gives, and fails those for which it finds none.
func (p *proof) apart(r *Report, layers []rows, bonds []bond) {
	for n := range r.Bodies {
		p.inParts(r, layers, n, &bonds[n])
	}
}

// strong tells whether it takes more than a hand to break the body off.
func (b *Body) strong() bool { return min(b.PullN, b.SnapN) > byHand }

// inParts is apart for body n.
func (p *proof) inParts(r *Report, layers []rows, n int, bonds *bond) {
	b := &r.Bodies[n]
	if !b.Blocked && !b.strong() {
		return
	}
	c := p.lumpOf(layers, n, b, bonds.runs)
	if b.Pieces = c.order(); b.Pieces != nil {
		r.Notes = append(r.Notes, inPieces(b))
		return
	}
	r.LockedBodies++
	if b.strong() {
		r.Reasons = append(r.Reasons, p.held(b, bonds))
	}
	if b.Blocked {
		r.Reasons = append(r.Reasons, c.blocked(b))
	}
}

// blocked says that a body cannot come off, and where it is held.
func (c *lump) blocked(b *Body) Reason {
	at := c.lock()
	why := Reason{
		Kind: Blocked, At: at, LayerZ: at.Z, VolumeMM3: b.VolumeMM3, Body: b.ID,
		Text: fmt.Sprintf("Support body %d cannot come off: the part bars every straight way out, at x %.1f, y %.1f, z %.1f mm at least, and no places to break it at were found that free it.",
			b.ID, at.X, at.Y, at.Z),
		Remedy: "split it into pieces that each have a way out",
	}
	if at, ok := c.closed(); ok {
		why.At, why.LayerZ = at, at.Z
		why.Text = fmt.Sprintf("Support body %d cannot come off: it closes round the part at x %.1f, y %.1f, z %.1f mm, and no places to break it at were found that free it.",
			b.ID, at.X, at.Y, at.Z)
		why.Remedy = "open the loop that it makes round the part"
	}
	return why
}

// inPieces tells how a body comes off that does not whole.
func inPieces(b *Body) Reason {
	at, hardest, necks := r3.Vec{}, 0.0, 0
	for _, q := range b.Pieces {
		for _, n := range q.Necks {
			if necks++; n.ForceN > hardest {
				at, hardest = n.At, n.ForceN
			}
		}
	}
	why := "the part bars it"
	if !b.Blocked {
		why = fmt.Sprintf("it is held by more than the %g N of a hand", byHand)
	}
	return Reason{
		Kind: InPieces, At: at, LayerZ: at.Z, Body: b.ID,
		Text: fmt.Sprintf("Support body %d does not come off whole, since %s, but in %d pieces that break apart at %d places, the hardest at x %.1f, y %.1f, z %.1f mm with about %.2g N.",
			b.ID, why, len(b.Pieces), necks, at.X, at.Y, at.Z, hardest),
		Remedy: "say on the page in which order they come off, or part them by a gap of a line and a half",
	}
}

// closed tells whether the body closes round the part in some layer, and where.
func (c *lump) closed() (at r3.Vec, ok bool) {
	g, part := c.p.sup.Grid, c.p.part
	w, h := c.nx+2, c.ny+2 // a rim of nothing round it
	seen := make([]bool, w*h)
	for z := range c.nz {
		clear(seen)
		k := c.k0 + z*c.m
		todo := [][2]int{{0, 0}}
		seen[0] = true
		for len(todo) > 0 {
			q := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				x, y := q[0]+d[0], q[1]+d[1]
				if x < 0 || y < 0 || x >= w || y >= h || seen[y*w+x] || c.has(x-1, y-1, z) {
					continue
				}
				seen[y*w+x] = true
				todo = append(todo, [2]int{x, y})
			}
		}
		for y := range c.ny {
			for x := range c.nx {
				i, j := c.i0+x*c.n+c.n/2, c.j0+y*c.n+c.n/2
				if !seen[(y+1)*w+x+1] && !c.has(x, y, z) && part.Layer(k).Has(i, j) {
					q := g.Center(i, j)
					return r3.Vec{X: tidy(q.X), Y: tidy(q.Y), Z: tidy(part.Bottom(k))}, true
				}
			}
		}
	}
	return r3.Vec{}, false
}

// has tells whether a voxel is there.
func (c *lump) has(x, y, z int) bool {
	return x >= 0 && y >= 0 && x < c.nx && y < c.ny && c.bars[(z*c.ny+y)*c.nx+x]>>there != 0
}
