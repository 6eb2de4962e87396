package prove

// trial is what a cut leaves: how many parts, and how many voxels of those that still
// cannot come off.
type trial struct{ count, left int }

// clump is a connected part of a chunk that is put together slab by slab.
type clump struct {
	into   int32 // the clump that it became a part of, its own number if none
	size   int
	bars   uint64
	lo, hi int     // its lowest and highest voxels
	bonds  []int32 // those of its voxels that are printed onto the part
}

func (q *clump) barred() bool { return allBars&^q.bars == 0 }

// trials returns what cuts of a chunk square to an axis leave, for every place from lo,
// where the chunk begins, to hi, where it ends: the parts before the place and those from
// there on. Slabs are added from either end, so that one pass finds the parts on one side
// of every cut.
func (c *lump) trials(q *chunk, axis, lo, hi int) []trial {
	slabs := make([][]int32, hi-lo+1)
	counts := make([]int, len(slabs))
	for _, v := range q.voxels {
		counts[c.at(v)[axis]-lo]++
	}
	room := make([]int32, 0, len(q.voxels))
	for n, count := range counts {
		slabs[n], room = room[:0:count], room[count:count]
	}
	for _, v := range q.voxels {
		n := c.at(v)[axis] - lo
		slabs[n] = append(slabs[n], v)
	}
	out := make([]trial, hi-lo+1)
	// The first cut has nothing before it and the whole behind.
	c.grow(slabs, func(added int, t trial) {
		if added < len(out) {
			out[added] = t
		}
	})
	backward := make([][]int32, len(slabs))
	for n := range slabs {
		backward[len(slabs)-1-n] = slabs[n]
	}
	c.grow(backward, func(added int, t trial) {
		o := &out[len(out)-added]
		o.count, o.left = o.count+t.count, o.left+t.left
	})
	return out
}

// grow adds slabs one after another, and tells after each how many there are and what
// parts they make.
func (c *lump) grow(slabs [][]int32, tell func(added int, t trial)) {
	if c.clump == nil {
		c.clump = make([]int32, len(c.bars))
		for i := range c.clump {
			c.clump[i] = -1
		}
		for dz := -1; dz <= 1; dz++ {
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if dx != 0 || dy != 0 || dz != 0 {
						c.beside = append(c.beside, int32((dz*c.ny+dy)*c.nx+dx))
					}
				}
			}
		}
	}
	list := c.clumps[:0]
	defer func() { c.clumps = list }()
	find := func(n int32) int32 {
		for list[n].into != n {
			list[n].into = list[list[n].into].into
			n = list[n].into
		}
		return n
	}
	var now trial
	join := func(a, b int32) int32 {
		if a = find(a); a == b {
			return b
		}
		p, q := &list[b], &list[a]
		if p.size < q.size {
			a, b, p, q = b, a, q, p
		}
		now.count--
		for _, o := range [2]*clump{p, q} {
			if o.barred() {
				now.left -= o.size
			}
		}
		q.into = b
		p.size += q.size
		p.bars |= q.bars
		p.lo, p.hi = min(p.lo, q.lo), max(p.hi, q.hi)
		p.bonds, q.bonds = append(p.bonds, q.bonds...), nil
		if p.barred() {
			now.left += p.size
		}
		return b
	}
	for n, slab := range slabs {
		for _, v := range slab {
			at := c.at(v)
			mine := int32(len(list))
			one := clump{into: mine, size: 1, bars: c.bars[v], lo: at[2], hi: at[2]}
			if len(c.bonds) > 0 && c.bonds[v] != nil {
				one.bonds = []int32{v}
			}
			list = append(list, one)
			now.count++
			if one.barred() {
				now.left++
			}
			c.clump[v] = mine
			if at[0] > 0 && at[1] > 0 && at[2] > 0 && at[0]+1 < c.nx && at[1]+1 < c.ny && at[2]+1 < c.nz {
				for _, d := range c.beside {
					if o := c.clump[v+d]; o >= 0 {
						mine = join(o, mine)
					}
				}
				continue
			}
			c.around(v, func(o int32) {
				if o := c.clump[o]; o >= 0 {
					mine = join(o, mine)
				}
			})
		}
		t := now
		if len(c.bonds) > 0 {
			for m := range list {
				if q := &list[m]; q.into == int32(m) && !q.barred() && c.bondN(q.bonds, q.lo, q.hi) > byHand {
					t.left += q.size
				}
			}
		}
		tell(n+1, t)
	}
	for _, slab := range slabs {
		for _, v := range slab {
			c.clump[v] = -1
		}
	}
}
