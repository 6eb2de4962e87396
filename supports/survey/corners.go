package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// sharpTurn is the least turn of an inner corner that is told: blunter ones
	// gather little stress. Common practice, no source.
	sharpTurn = 60 * math.Pi / 180
	// cornerLength is the least length of a corner that is told, in mm, and
	// mostCorners how many are.
	cornerLength, mostCorners = 4.0, 3
	// acrossLayers is the share of a load along z from which it is said to pull
	// layers apart: a component of half.
	acrossLayers = 0.5
)

// advice is what a load in direction load makes worth telling. It compares
// nothing with any strength.
func (v *surveyor) advice(load r3.Vec) []Note {
	if r3.Norm2(load) == 0 {
		return nil
	}
	load = r3.Unit(load)
	var out []Note
	if z := math.Abs(load.Z); z >= acrossLayers {
		b := v.mesh.Bounds()
		c := r3.Scale(0.5, r3.Add(b.Min, b.Max))
		// doi 10.1089/3dp.2020.0109: PLA pulled across its layers against along them.
		out = append(out, Note{Name: "layers across the load", Advice: true, X: c.X, Y: c.Y, Z: c.Z, Text: fmt.Sprintf(
			"the load runs %.0f %% across the layers, where PLA was measured to bear about half of what it bears along them: try a pose that lays them along it", 100*z)})
	}
	for _, c := range innerCorners(v.mesh) {
		if len(out) >= mostCorners+1 || c.length < cornerLength {
			break
		}
		if math.Abs(r3.Dot(c.along, load)) > 0.8 {
			continue // the load runs along it
		}
		out = append(out, Note{Name: "inner corner", Advice: true, X: c.middle.X, Y: c.middle.Y, Z: c.middle.Z, Text: fmt.Sprintf(
			"a sharp inner corner of %.0f°, %.1f mm long, gathers stress under this load: round it with a fillet", (math.Pi-c.turn)*180/math.Pi, c.length)})
	}
	return out
}

// corner is a straight run of sharp inner edges.
type corner struct {
	along, middle r3.Vec
	length, turn  float64
}

// innerCorners returns the straight inner edges of a mesh, the longest first.
func innerCorners(m *mesh.Mesh) []corner {
	type edge struct{ a, b uint32 }
	first := map[edge]int{}
	runs := map[[6]int]*corner{}
	var order []*corner
	for t, tr := range m.Triangles {
		for k := range 3 {
			a, b := tr[k], tr[(k+1)%3]
			e := edge{min(a, b), max(a, b)}
			o, seen := first[e]
			if !seen {
				first[e] = t
				continue
			}
			n, q := m.AreaNormal(t), m.AreaNormal(o)
			if r3.Norm2(n) == 0 || r3.Norm2(q) == 0 {
				continue
			}
			n, q = r3.Unit(n), r3.Unit(q)
			turn := math.Acos(max(-1, min(1, r3.Dot(n, q))))
			if turn < sharpTurn {
				continue
			}
			// The other triangle's far corner stands before this one's face.
			p := m.Vertices[a]
			inner := false
			for _, c := range m.Triangles[o] {
				if c != a && c != b {
					inner = r3.Dot(r3.Sub(m.Vertices[c], p), n) > 1e-6
				}
			}
			d := r3.Sub(m.Vertices[b], p)
			l := r3.Norm(d)
			if !inner || l == 0 {
				continue
			}
			u := r3.Scale(1/l, d)
			if u.X < -1e-9 || math.Abs(u.X) <= 1e-9 && (u.Y < -1e-9 || math.Abs(u.Y) <= 1e-9 && u.Z < 0) {
				u = r3.Scale(-1, u)
			}
			// The straight line that the edge lies on, to a hundredth.
			foot := r3.Sub(p, r3.Scale(r3.Dot(p, u), u))
			round := func(x float64) int { return int(math.Round(x * 100)) }
			key := [6]int{round(u.X), round(u.Y), round(u.Z), round(foot.X), round(foot.Y), round(foot.Z)}
			c := runs[key]
			if c == nil {
				c = &corner{along: u, turn: turn}
				runs[key] = c
				order = append(order, c)
			}
			mid := r3.Scale(0.5, r3.Add(p, m.Vertices[b]))
			c.middle = r3.Scale(1/(c.length+l), r3.Add(r3.Scale(c.length, c.middle), r3.Scale(l, mid)))
			c.length += l
		}
	}
	slices.SortStableFunc(order, func(a, b *corner) int { return cmp.Compare(b.length, a.length) })
	out := make([]corner, len(order))
	for i, c := range order {
		out[i] = *c
	}
	return out
}
