package raster

import (
	"slices"
	"sync"
)

// columns answers what is below a cell: for each cell of the grid the layers that
// have it and have nothing right above, from the plate up.
type columns struct {
	once  sync.Once
	start []int32 // of each cell's tops, row by row
	tops  []int32
}

func (c *columns) build(s *Stack) {
	c.start = make([]int32, s.W*s.H+1)
	each := func(f func(k int32, cell int)) {
		for k := range s.Cut {
			open := AndNot(&s.Cut[k], s.Layer(k+1))
			open.Each(func(i, j int) { f(int32(k), j*s.W+i) })
		}
	}
	each(func(_ int32, cell int) { c.start[cell+1]++ })
	for n := range s.W * s.H {
		c.start[n+1] += c.start[n]
	}
	c.tops = make([]int32, c.start[len(c.start)-1])
	next := slices.Clone(c.start)
	each(func(k int32, cell int) {
		c.tops[next[cell]] = k
		next[cell]++
	})
}

// Under returns the highest layer up to k that has cell (i, j), −1 if none has. Of a
// stack that Section made the answers are kept ready, from the first on; its layers
// must not be changed after that.
func (s *Stack) Under(i, j, k int) int {
	if k = min(k, len(s.Cut)-1); k < 0 || !s.Contains(i, j) {
		return -1
	}
	if s.Cut[k].Has(i, j) {
		return k
	}
	if s.columns == nil {
		for k--; k >= 0 && !s.Cut[k].Has(i, j); k-- {
		}
		return k
	}
	s.columns.once.Do(func() { s.columns.build(s) })
	cell := j*s.W + i
	for n := s.columns.start[cell+1] - 1; n >= s.columns.start[cell]; n-- {
		if top := int(s.columns.tops[n]); top < k {
			return top
		}
	}
	return -1
}
