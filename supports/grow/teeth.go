package grow

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
)

// teeth returns what fuses line l to the part: teeth one line square, at most apart mm
// along it, evenly spread, at least one.
func (n *Network) teeth(l int, apart float64) []*mesh.Mesh {
	s := n.settings
	wall := n.Walls[l]
	var from, length float64
	var built []int
	for _, id := range wall {
		if st := &n.Stations[id]; st.Top-max(st.Low, 0) >= thinnest*s.Layer {
			built = append(built, id)
		}
	}
	if len(built) < 2 {
		return nil
	}
	from = n.Stations[built[0]].along
	length = n.Stations[built[len(built)-1]].along - from
	count := int(math.Ceil(length/apart - 1e-9))
	var out []*mesh.Mesh
	next := 0
	for m := range count {
		// The built station nearest to the tooth's place, each used once.
		at := from + (float64(m)+0.5)*length/float64(count)
		for next+1 < len(built) && math.Abs(n.Stations[built[next+1]].along-at) <= math.Abs(n.Stations[built[next]].along-at) {
			next++
		}
		st := &n.Stations[built[next]]
		beside := &n.Stations[built[max(next-1, 0)]]
		if next == 0 {
			beside = &n.Stations[built[1]]
		}
		dir := r2.Unit(r2.Sub(beside.P, st.P))
		low := max(st.Top-thinnest*s.Layer, st.Low, 0)
		if math.IsNaN(dir.X) || st.tooth <= st.Top {
			continue
		}
		h := s.Line / 2
		a, b := r2.Scale(h, dir), r2.Scale(h, r2.Vec{X: -dir.Y, Y: dir.X})
		out = append(out, mesh.Prism([]r2.Vec{
			r2.Sub(r2.Sub(st.P, a), b), r2.Sub(r2.Add(st.P, a), b),
			r2.Add(r2.Add(st.P, a), b), r2.Add(r2.Sub(st.P, a), b),
		}, low, st.tooth))
	}
	return out
}
