package prove

import (
	"math/rand/v2"
	"testing"

	"falsework/raster"
)

// What cuts leave, found in two passes, is what taking a chunk apart at each place leaves.
func TestTrialsAgreeWithCuttingApart(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	stack := &raster.Stack{Grid: raster.Grid{Cell: 1, W: 64, H: 64}, Layers: raster.Layers{First: 1, Height: 1}}
	bad := 0
	for n := range 200 {
		c := &lump{p: &proof{sup: stack}, n: 1, m: 1, nx: 1 + r.IntN(9), ny: 1 + r.IntN(9), nz: 1 + r.IntN(9), bonds: map[int32]*bond{}}
		c.bars = make([]uint64, c.nx*c.ny*c.nz)
		c.label = make([]int32, len(c.bars))
		dense := r.Float64()
		for v := range c.bars {
			if r.Float64() > dense {
				continue
			}
			// Each leaves a way or two, so that a few together leave none.
			c.bars[v] = allBars&^(1<<r.IntN(6)|1<<r.IntN(6)) | 1<<there
			c.list = append(c.list, int32(v))
			if n%2 == 0 && r.IntN(4) == 0 {
				at := c.at(int32(v))
				c.bonds[int32(v)] = &bond{}
				c.bond(bondRun{at[2], at[1], at[0], at[0] + 1})
			}
		}
		for _, q := range c.parts(c.list, 0, 0, 1) {
			lo, hi := c.box(&q)
			for axis := range 3 {
				trials := c.trials(&q, axis, lo[axis], hi[axis])
				for place := lo[axis] + 1; place <= hi[axis]; place++ {
					want := trial{}
					for _, part := range c.parts(q.voxels, axis, place, 100) {
						if want.count++; !c.good(&part) {
							want.left += len(part.voxels)
						}
					}
					if got := trials[place-lo[axis]]; got != want {
						t.Fatalf("%d: cut at %d on axis %d leaves %+v, taken apart %+v", n, place, axis, got, want)
					}
					if want.left > 0 && want.left < len(q.voxels) {
						bad++
					}
				}
			}
		}
	}
	if bad == 0 {
		t.Error("no cut left a part that cannot come off beside one that can")
	}
}
