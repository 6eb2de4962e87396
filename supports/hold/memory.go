package hold

import (
	"reflect"

	"falsework/raster"
)

// Memory is what one judgement leaves to the next of much the same print, so that only
// layers that changed, and those above that owe otherwise for it, are judged again. The zero
// value remembers nothing. It must not be used from two goroutines at once.
type Memory struct {
	in     Input
	layers []Layer
	states []state // after each layer from the second up
}

// Judge returns what the function Judge does, whatever was judged before. What is
// remembered must not be changed in place afterwards.
func (m *Memory) Judge(in Input) []Layer {
	j := newJudge(in)
	changed, few := m.changed(j)
	if few {
		m.layers, m.states = m.again(j, changed)
	} else {
		m.layers, m.states = j.climb(true)
	}
	m.in = in
	return m.layers
}

// changed tells of each layer whether what it is judged by is otherwise than before, and
// whether that is worth telling: few is false where most layers are.
func (m *Memory) changed(j *judge) (changed []bool, few bool) {
	was, is := m.in, j.Input
	if was.Body == nil || was.Body.Grid != is.Body.Grid || was.Body.Layers != is.Body.Layers || was.Thin != is.Thin || was.Taut != is.Taut || was.Brief != is.Brief ||
		!reflect.DeepEqual(was.Settings, is.Settings) || (was.Other == nil) != (is.Other == nil) {
		return nil, false
	}
	count := len(is.Body.Cut)
	changed = make([]bool, count)
	n := 0
	mark := func(k int) {
		if k >= 1 && k < count && !changed[k] {
			changed[k] = true
			n++
		}
	}
	for k := len(was.Body.Cut); k < count; k++ {
		mark(k)
	}
	differ := func(a, b *raster.Stack, each func(k int)) {
		if a == b {
			return
		}
		for k := range max(len(a.Cut), len(b.Cut)) {
			if !raster.Equal(a.Layer(k), b.Layer(k)) {
				each(k)
			}
		}
	}
	// A layer looks at what contacts may lie under, and for closings above.
	below := j.voidMax + 2
	differ(was.Body, is.Body, func(k int) {
		mark(k - closingLayers)
		for up := range below + 1 {
			mark(k + up)
		}
	})
	if is.Other != nil {
		differ(was.Other, is.Other, func(k int) {
			for up := 1; up <= below; up++ {
				mark(k + up)
			}
		})
	}
	return changed, 2*n < count
}

// again climbs from every changed layer up to where things are as they were.
func (m *Memory) again(j *judge, changed []bool) (layers []Layer, states []state) {
	count := len(changed)
	states = make([]state, max(0, count-1))
	old := 0 // of m.layers
	c := j.climber()
	defer c.release()
	for k := 1; k < count; {
		for old < len(m.layers) && m.layers[old].K < k {
			old++
		}
		if !changed[k] {
			if states[k-1] = m.states[k-1]; old < len(m.layers) && m.layers[old].K == k {
				layers = append(layers, m.layers[old])
			}
			k++
			continue
		}
		var from state
		if k > 1 {
			from = states[k-2]
		}
		c.resume(from)
		for same := false; k < count && !(same && !changed[k]); k++ {
			if l, some := c.layer(k); some {
				layers = append(layers, l)
			}
			states[k-1] = c.state()
			same = k-1 < len(m.states) && states[k-1].equal(&m.states[k-1])
		}
	}
	return layers, states
}
