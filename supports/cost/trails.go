package cost

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
)

// lookCells is how far along an edge its heading at a node is read, in cells.
const lookCells = 8

// trails covers every edge of net once with the fewest lines drawn without
// lifting: for each connected part half as many as it has nodes of odd degree,
// at least one. At a node a trail goes as straight on as the others let it. The
// lines are in cells, smoothed, with corners that thinning cut off restored;
// closed tells which end where they began.
func (net *network) trails() (lines [][]r2.Vec, closed []bool) {
	// End 2e of edge e is at its node a, end 2e+1 at b. mate links the ends that a
	// trail passes through a node by, −1 where a trail ends.
	ends := make([][]int, len(net.nodes))
	head := make([]r2.Vec, 2*len(net.edges))
	mate := make([]int, 2*len(net.edges))
	for e := range net.edges {
		ed := &net.edges[e]
		ends[ed.a] = append(ends[ed.a], 2*e)
		ends[ed.b] = append(ends[ed.b], 2*e+1)
		n := len(ed.pts)
		look := min(lookCells, n-1)
		head[2*e] = unit(r2.Sub(ed.pts[look], ed.pts[0]))
		head[2*e+1] = unit(r2.Sub(ed.pts[n-1-look], ed.pts[n-1]))
	}
	for i := range mate {
		mate[i] = -1
	}
	for _, at := range ends {
		for {
			// Straight on means opposite headings.
			best, p, q := math.Inf(1), -1, -1
			for k, a := range at {
				if mate[a] >= 0 {
					continue
				}
				for _, b := range at[k+1:] {
					if mate[b] >= 0 {
						continue
					}
					if d := r2.Dot(head[a], head[b]); d < best-1e-12 {
						best, p, q = d, a, b
					}
				}
			}
			if p < 0 {
				break
			}
			mate[p], mate[q] = q, p
		}
	}
	net.splice(ends, mate)

	done := make([]bool, len(net.edges))
	follow := func(end int) []r2.Vec {
		var pts []r2.Vec
		for end >= 0 && !done[end/2] {
			done[end/2] = true
			p := net.edges[end/2].pts
			for k := range p {
				q := p[k]
				if end&1 == 1 {
					q = p[len(p)-1-k]
				}
				if len(pts) == 0 || pts[len(pts)-1] != q {
					pts = append(pts, q)
				}
			}
			end = mate[end^1]
		}
		return pts
	}
	for end := range mate {
		if mate[end] < 0 && !done[end/2] {
			lines = append(lines, smooth(follow(end), false, 1.5*net.wall))
			closed = append(closed, false)
		}
	}
	for e := range net.edges {
		if !done[e] {
			p := follow(2 * e)
			if len(p) > 1 && p[0] == p[len(p)-1] {
				p = p[:len(p)-1]
			}
			lines = append(lines, smooth(p, true, 1.5*net.wall))
			closed = append(closed, true)
		}
	}
	for _, l := range net.loops {
		lines = append(lines, smooth(l, true, 1.5*net.wall))
		closed = append(closed, true)
	}
	return lines, closed
}

// splice changes mates so that no closed trail shares a node with another trail:
// a closed one is entered and left at that node.
func (net *network) splice(ends [][]int, mate []int) {
	sets := mesh.NewDisjoint[int](len(net.edges))
	open := make([]bool, len(net.edges))
	join := func(a, b int) {
		a, b = sets.Find(a), sets.Find(b)
		if a != b {
			sets.Union(a, b)
			open[min(a, b)] = open[a] || open[b]
		}
	}
	for end, m := range mate {
		if m >= 0 {
			join(end/2, m/2)
		}
	}
	for end, m := range mate {
		if m < 0 {
			open[sets.Find(end/2)] = true
		}
	}
	for _, at := range ends {
		for again := true; again; {
			again = false
			for _, a := range at {
				for _, c := range at {
					ra, rc := sets.Find(a/2), sets.Find(c/2)
					if ra == rc || open[ra] && open[rc] || mate[c] < 0 {
						continue
					}
					// a–b and c–d become a–c and b–d; when a is an end, d is the end now.
					b, d := mate[a], mate[c]
					if b < 0 && open[rc] {
						continue
					}
					mate[a], mate[c] = c, a
					if mate[d] = b; b >= 0 {
						mate[b] = d
					}
					join(a/2, c/2)
					again = true
				}
			}
		}
	}
}

func unit(v r2.Vec) r2.Vec {
	n := math.Sqrt(r2.Norm2(v))
	if n == 0 {
		return r2.Vec{}
	}
	return r2.Scale(1/n, v)
}
