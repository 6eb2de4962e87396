package hold

import (
	"slices"

	"falsework/raster"
)

// Memory judges one body over and over while what carries it changes a little. It
// keeps what each layer came to, and where the same of the other body carries the
// layer, and the layer below owes the same, that is the answer again. Body, Settings
// and Thin must be the same each time.
type Memory struct{ layers []remembered }

// remembered is what was found of a layer, and out of what.
type remembered struct {
	known       bool
	from, to    state // what the layer below owed, and what this one owes
	all, gapped raster.Bits
	layer       Layer
	some        bool
}

// Judge is the package's Judge.
func (m *Memory) Judge(in Input) []Layer {
	if len(m.layers) != len(in.Body.Cut) {
		m.layers = make([]remembered, len(in.Body.Cut))
	}
	j := newJudge(in)
	j.memory = m
	return j.climb()
}

// recall returns what is remembered of a layer that the same carries, and puts what
// it owes in place.
func (c *climber) recall(k int, all, gapped *raster.Bits) (l Layer, some, known bool) {
	if c.memory == nil {
		return l, false, false
	}
	r := &c.memory.layers[k]
	if !r.known || !raster.Equal(all, &r.all) || !raster.Equal(gapped, &r.gapped) || !c.owes(&r.from) {
		return l, false, false
	}
	c.resume(r.to)
	return r.layer, r.some, true
}

// owes tells whether a state is what the layer below has left.
func (c *climber) owes(s *state) bool {
	if !raster.Equal(&c.debtors, &s.debtors) {
		return false
	}
	now := c.state()
	return slices.Equal(now.owed, s.owed)
}
