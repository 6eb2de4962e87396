package prove

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// alongShare is by how much layers part more easily than they tear: strength
	// across layers is 48 % less, doi 10.1089/3dp.2020.0109.
	alongShare = 1 / (1 - 0.48)
	// mostCuts and mostPieces bound a break order: nobody follows a longer one.
	mostCuts, mostPieces = 12, 40
	// mostPlaces bounds the places along one axis that a cut is tried at.
	mostPlaces = 24
	// mostVoxels bounds the box of voxels that a body is cut up in.
	mostVoxels = 1 << 21
)

// Piece is a part of a body that comes off by itself once it is broken away from
// those that are still there.
type Piece struct {
	Bounds r3.Box `json:"-"` // bounds_mm in JSON
	Way    Way    `json:"way"`
	Necks  []Neck `json:"necks"` // where it breaks off what is left of the body
}

// Neck is a place where a body breaks.
type Neck struct {
	At      r3.Vec  `json:"-"` // at_mm in JSON: the middle of the section
	AreaMM2 float64 `json:"area_mm2"`
	// ForceN is the lesser of what pulls it apart and what bends it off at the
	// piece's far end.
	ForceN float64 `json:"force_n"`
}

// Bits of what bars a voxel: the ways of ways.go, then the horizontal ones lifted and
// lowered by a layer. The last bit says that the voxel is there.
const (
	lifted  = allWays
	lowered = lifted + compass
	there   = 63
)

const allBars = uint64(1)<<(lowered+compass) - 1

// chunk is a connected set of voxels.
type chunk struct {
	voxels []int32
	bars   uint64
}

// free returns the first way out, −1 for none.
func (q *chunk) free(but uint64) int {
	if rest := allBars &^ q.bars &^ but; rest != 0 {
		return bits.TrailingZeros64(rest)
	}
	return -1
}

// parts returns the connected pieces of voxels, those on one side of a cut being apart
// from those on the other. first is the label that the first one gets.
func (c *lump) parts(voxels []int32, axis, place int, first int32) []chunk {
	const waits = -1
	for _, v := range voxels {
		c.label[v] = waits
	}
	var out []chunk
	var todo []int32
	for _, v := range voxels {
		if c.label[v] != waits {
			continue
		}
		id := first + int32(len(out))
		side := c.at(v)[axis] < place
		q := chunk{}
		todo = append(todo[:0], v)
		c.label[v] = id
		for len(todo) > 0 {
			u := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			q.voxels = append(q.voxels, u)
			q.bars |= c.bars[u]
			c.around(u, func(o int32) {
				if c.label[o] == waits && (c.at(o)[axis] < place) == side {
					c.label[o] = id
					todo = append(todo, o)
				}
			})
		}
		q.bars &= allBars
		out = append(out, q)
	}
	return out
}

// box returns the first and last voxel of a chunk along each axis.
func (c *lump) box(q *chunk) (lo, hi [3]int) {
	lo, hi = [3]int{c.nx, c.ny, c.nz}, [3]int{-1, -1, -1}
	for _, v := range q.voxels {
		for a, n := range c.at(v) {
			lo[a], hi[a] = min(lo[a], n), max(hi[a], n)
		}
	}
	return lo, hi
}

// bounds returns that box in mm.
func (c *lump) bounds(q *chunk) r3.Box {
	g := c.p.sup.Grid
	lo, hi := c.box(q)
	top := min(c.k0+(hi[2]+1)*c.m, len(c.p.sup.Cut)) - 1
	at := func(q [3]int, z float64) r3.Vec {
		return r3.Vec{X: tidy(g.Origin.X + float64(c.i0+q[0]*c.n)*g.Cell), Y: tidy(g.Origin.Y + float64(c.j0+q[1]*c.n)*g.Cell), Z: tidy(z)}
	}
	return r3.Box{Min: at(lo, c.p.sup.Bottom(c.k0+lo[2]*c.m)), Max: at([3]int{hi[0] + 1, hi[1] + 1}, c.p.sup.Top(top))}
}

// good tells whether a piece comes off: it has a way, and a hand breaks it off the part.
func (c *lump) good(q *chunk) bool { return q.free(0) >= 0 && c.holdN(q) <= byHand }

// holdN returns the force, in N, that holds a piece to the part.
func (c *lump) holdN(q *chunk) float64 {
	if len(c.bonds) == 0 {
		return 0
	}
	lo, hi := c.box(q)
	return c.bondN(q.voxels, lo[2], hi[2])
}

// bondN returns the force, in N, that holds voxels from so far down to so far up to the
// part.
func (c *lump) bondN(voxels []int32, lo, hi int) float64 {
	var b bond
	for _, v := range voxels {
		if o := c.bonds[v]; o != nil {
			b.add(o.moments)
			b.corners = append(b.corners, o.corners...)
		}
	}
	pull, snap := b.forces(float64((hi+1-lo)*c.m) * c.p.sup.Height)
	return min(pull, snap)
}

// bond adds a run of cells that are printed onto the part to the voxels that they are of.
func (c *lump) bond(r bondRun) {
	g := c.p.sup.Grid
	for i := r.i0; i < r.i1; {
		x := (i - c.i0) / c.n
		end := min(r.i1, c.i0+(x+1)*c.n)
		v := int32(((r.k-c.k0)/c.m*c.ny+(r.j-c.j0)/c.n)*c.nx + x)
		b := c.bonds[v]
		if b == nil {
			b = &bond{}
			c.bonds[v] = b
		}
		b.add(ofRun(g, r.j, i, end))
		b.corners = append(b.corners, corners(g, r.j, i, end)...)
		i = end
	}
}

// order cuts a body into pieces that each come off, the one to take first in front. It
// is nil where no such cuts are found.
//
// Cuts are planes square to an axis, and go through one piece at a time: through that
// piece which is worst, where they leave the least that still cannot come off, and of
// those the one through the least section.
func (c *lump) order() []Piece {
	pieces := c.parts(c.list, 0, 0, 1)
	for range mostCuts {
		worst := -1
		for n := range pieces {
			if !c.good(&pieces[n]) && (worst < 0 || len(pieces[n].voxels) > len(pieces[worst].voxels)) {
				worst = n
			}
		}
		if worst < 0 {
			return c.sequence(pieces)
		}
		parts := c.cut(&pieces[worst], int32(len(pieces)+1))
		if parts == nil || len(pieces)+len(parts) > mostPieces {
			return nil
		}
		pieces[worst] = parts[0]
		pieces = append(pieces, parts[1:]...)
		for n := range pieces {
			for _, v := range pieces[n].voxels {
				c.label[v] = int32(n + 1)
			}
		}
	}
	return nil
}

// cut returns a piece in parts, none where no cut helps. first is a label not in use.
func (c *lump) cut(q *chunk, first int32) []chunk {
	lo, hi := c.box(q)
	type choice struct{ axis, place, left, count, section int }
	best := choice{left: len(q.voxels)}
	for axis := range 3 {
		for _, v := range q.voxels {
			c.label[v] = first
		}
		sections := make([]int, hi[axis]+2)
		for _, v := range q.voxels {
			n := c.at(v)[axis]
			o := v + int32([3]int{1, c.nx, c.nx * c.ny}[axis])
			if n < hi[axis] && c.bars[o]>>there != 0 && c.label[o] == c.label[v] {
				sections[n+1]++
			}
		}
		trials := c.trials(q, axis, lo[axis], hi[axis])
		for _, place := range placesOf(sections, lo[axis]+1, hi[axis]) {
			t := trials[place-lo[axis]]
			try := choice{axis, place, t.left, t.count, sections[place]}
			if cmp.Or(cmp.Compare(try.left, best.left), cmp.Compare(try.count, best.count), cmp.Compare(try.section, best.section)) < 0 {
				best = try
			}
		}
	}
	if best.count == 0 {
		return nil
	}
	return c.parts(q.voxels, best.axis, best.place, first)
}

// placesOf returns where to try cuts, from lo to hi: evenly spread, and where the section
// is least in between.
func placesOf(sections []int, lo, hi int) []int {
	var out []int
	step := max(1, (hi-lo+mostPlaces)/mostPlaces)
	for a := lo; a <= hi; a += step {
		least := a
		for n := a; n < min(a+step, hi+1); n++ {
			if sections[n] < sections[least] {
				least = n
			}
		}
		out = append(out, a, least)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// sequence orders pieces so that each leaves past those that are still there, and finds
// where it breaks off them.
func (c *lump) sequence(pieces []chunk) []Piece {
	gone := make([]bool, len(pieces)+1) // by label
	var out []Piece
	for range pieces {
		found := false
		for n := range pieces {
			q := &pieces[n]
			if gone[n+1] {
				continue
			}
			barred := uint64(0)
			way := q.free(0)
			for way >= 0 && !c.passes(q, way, gone) {
				barred |= 1 << way
				way = q.free(barred)
			}
			if way < 0 {
				continue
			}
			piece := Piece{Bounds: c.bounds(q), Way: wayName(way), Necks: c.necks(q, gone)}
			if way >= lowered {
				piece.Way = wayName(way - lowered)
			} else if way >= lifted {
				piece.Way = wayName(way - lifted)
			}
			// What is printed onto the part gives way together with each neck.
			bond := c.holdN(q)
			if slices.ContainsFunc(piece.Necks, func(n Neck) bool { return n.ForceN+bond > byHand }) {
				continue
			}
			gone[n+1], found = true, true
			out = append(out, piece)
			break
		}
		if !found {
			return nil
		}
	}
	return out
}

// passes tells whether a piece leaves along a way past the pieces that are not gone.
func (c *lump) passes(q *chunk, way int, gone []bool) bool {
	var d [3]float64
	switch {
	case way == wayDown:
		d[2] = -1
	case way == wayUp:
		d[2] = 1
	default:
		if way >= lowered {
			way -= lowered
		} else if way >= lifted {
			way -= lifted
		}
		d[1], d[0] = math.Sincos(2 * math.Pi * float64(way) / compass)
	}
	id := c.label[q.voxels[0]]
	for _, v := range q.voxels {
		from := c.at(v)
		for t := 1.0; ; t++ {
			x, y, z := from[0]+int(math.Round(t*d[0])), from[1]+int(math.Round(t*d[1])), from[2]+int(math.Round(t*d[2]))
			if x < 0 || y < 0 || z < 0 || x >= c.nx || y >= c.ny || z >= c.nz {
				break
			}
			if o := c.label[(z*c.ny+y)*c.nx+x]; o != 0 && o != id && !gone[o] {
				return false
			}
		}
	}
	return true
}
