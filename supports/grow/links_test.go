package grow

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// comb is a ceiling at 24 mm beside a wall, and under it a line along x with others across
// it every 6 mm, all on a sole under the first. more is added to the part.
func comb(t testing.TB, more ...*mesh.Mesh) (*mesh.Mesh, *raster.Stack, plan.Plan, supports.Settings) {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 4, Y: 34, Z: 28})
	m.Append(meshtest.Box(r3.Vec{Z: 24}, r3.Vec{X: 40, Y: 34, Z: 28}))
	for _, o := range more {
		m.Append(o)
	}
	p := plan.Plan{Version: plan.Version, Settings: plan.FromSettings(s), Lines: []plan.Line{{ID: "L1", At: [][3]float64{{8, 17, 24}, {38, 17, 24}}, By: plan.Designer}}}
	for x := 8.0; x <= 38; x += 6 {
		p.Lines = append(p.Lines, plan.Line{ID: fmt.Sprintf("L%d", len(p.Lines)+1), At: [][3]float64{{x, 2, 24}, {x, 32, 24}}, By: plan.Designer})
	}
	p.Posts = []plan.Post{{ID: "P1", At: [2]float64{23, 17}, Reach: 3, Under: "L1", Head: 6, By: plan.Designer}}
	return m, raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0), p, s
}

// linked returns a plan's network with its links.
func linked(t testing.TB, m *mesh.Mesh, part *raster.Stack, p plan.Plan, s supports.Settings) (*Network, []Solid) {
	t.Helper()
	under := NewUndersides(m)
	n := NewNetwork(p, s, under, part, finePitch)
	n.Hang(p)
	n.Ties()
	hung := n.lows()
	n.Raise()
	links, err := n.links(p, under, part, hung)
	if err != nil {
		t.Fatal(err)
	}
	return n, links
}

// beads returns how many beads package cost lays on a layer.
func beads(solids []Solid, part *raster.Stack, s supports.Settings, k int) int {
	var all mesh.Mesh
	for _, s := range solids {
		all.Append(s.Mesh)
	}
	return cost.Supports(raster.Section(&all, part.Grid, part.Layers, 0), s, cost.Machine{}).Layers[k].Paths
}

// The ribs of a comb are joined two and two, on both sides of the line that they grow out of.
func TestLinksJoinRibsByPairs(t *testing.T) {
	m, part, p, s := comb(t)
	_, links := linked(t, m, part, p, s)
	if len(links) < 4 {
		t.Fatalf("%d links between six ribs on either side", len(links))
	}
	all, err := Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	// A line with six across it is seven beads; with its ends joined by pairs it is two: the
	// line's own ends stay free, and of each side's six ribs none.
	k := part.Above(14)
	with, without := beads(all, part, s, k), beads(all[:len(all)-len(links)], part, s, k)
	if without != 7 || with > 3 {
		t.Errorf("%d beads at 14 mm without links and %d with them, want 7 and no more than 3", without, with)
	}
	p.Taste.Unlinked = true
	if bare, err := Grow(p, m, part); err != nil || len(bare) != len(all)-len(links) {
		t.Errorf("unlinked: %d solids, want %d (%v)", len(bare), len(all)-len(links), err)
	}
	for i, l := range links {
		if !l.Mesh.Topology().Watertight() || l.Mesh.Volume() <= 0 {
			t.Errorf("link %d: watertight %v, %.2f mm³", i, l.Mesh.Topology().Watertight(), l.Mesh.Volume())
		}
	}
}

// A link's layers lie on those below it: none of its corners moves by more than the lean
// from one level to the next, and the corner of two leaning walls by no more than that both
// ways. It keeps its thickness.
func TestLinksLeanNoFurtherThanWalls(t *testing.T) {
	for seed := range uint64(20) {
		m, part, p, s := comb(t)
		r := rand.New(rand.NewPCG(seed, 1))
		for i := range p.Lines[1:] { // ribs askew, of any length
			l := &p.Lines[i+1]
			x := l.At[0][0]
			l.At = [][3]float64{{x + r.Float64()*3 - 1.5, 2 + r.Float64()*10, 24}, {x, 17, 24}, {x + r.Float64()*3 - 1.5, 32 - r.Float64()*10, 24}}
		}
		_, links := linked(t, m, part, p, s)
		for i, l := range links {
			levels := map[float64][]r2.Vec{}
			var zs []float64
			for _, v := range l.Mesh.Vertices {
				if levels[v.Z] == nil {
					zs = append(zs, v.Z)
				}
				levels[v.Z] = append(levels[v.Z], r2.Vec{X: v.X, Y: v.Y})
			}
			for k, z := range zs {
				q := levels[z]
				if len(q) != 4 {
					t.Fatalf("seed %d, link %d: %d corners at %.2f mm", seed, i, len(q), z)
				}
				thick := min(dist(q[0], q[1]), dist(q[1], q[2]))
				if math.Abs(thick-s.Wall) > 1e-6 && dist(q[0], q[2]) > 3*s.Wall {
					t.Errorf("seed %d, link %d: %.3f mm thick at %.2f mm", seed, i, thick, z)
				}
				if k == 0 {
					continue
				}
				most := (z-zs[k-1])*math.Tan(s.Lean)*math.Sqrt2 + s.Wall/4
				for c := range q {
					if moved := dist(q[c], levels[zs[k-1]][c]); moved > most {
						t.Errorf("seed %d, link %d: a corner moves %.3f mm from %.2f to %.2f mm, more than %.3f", seed, i, moved, zs[k-1], z, most)
					}
				}
			}
		}
	}
}

// No link closes round a piece of the part, comes within the clearance of one, or goes
// through a zone that is barred.
func TestLinksKeepOffPartAndZones(t *testing.T) {
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 2))
		x, y := 10+r.Float64()*24, 3+r.Float64()*28
		wide := 2.0
		if seed == 0 {
			x, y, wide = 10.6, 17.9, 0.8 // behind where a link would stand on the plate
		}
		peg := meshtest.Box(r3.Vec{X: x, Y: y}, r3.Vec{X: x + wide, Y: y + wide, Z: 24})
		m, part, p, s := comb(t, peg)
		if seed%2 == 1 {
			p.Zones = []plan.Zone{{ID: "Z1", Kind: plan.NoGo, Box: &plan.Box{Min: [3]float64{x - 1, y - 6, 0}, Max: [3]float64{x + 3, y - 3, 20}}}}
		}
		_, links := linked(t, m, part, p, s)
		var all mesh.Mesh
		for _, l := range links {
			all.Append(l.Mesh)
		}
		cut := raster.Section(&all, part.Grid, part.Layers, 0)
		near := raster.DiscOf((s.Clearance - 2*part.Cell) / part.Cell)
		for k := range cut.Cut {
			wide := raster.Dilate(cut.Layer(k), near)
			if hit := raster.And(&wide, part.Layer(k)); !hit.Empty() {
				t.Fatalf("seed %d: a link comes within %.1f mm of the part at %.1f mm", seed, s.Clearance, part.Plane(k))
			}
		}
		if len(p.Zones) > 0 {
			for _, v := range all.Vertices {
				if v.Z < 20 && v.X > x-1 && v.X < x+3 && v.Y > y-6 && v.Y < y-3 {
					t.Fatalf("seed %d: a link is in the zone at %.1f", seed, v)
				}
			}
		}
		solids, err := Grow(p, m, part)
		if err != nil {
			t.Fatal(err)
		}
		all = mesh.Mesh{}
		for _, q := range solids {
			all.Append(q.Mesh)
		}
		cut = raster.Section(&all, part.Grid, part.Layers, 0)
		for k := part.Above(2); k < part.Above(22); k += 5 {
			if encloses(cut.Layer(k), part, r2.Vec{X: x + wide/2, Y: y + wide/2}) {
				t.Errorf("seed %d: supports close round the peg at %.1f mm", seed, part.Plane(k))
			}
		}
	}
}

// encloses tells, by flooding from a place, whether cells close round it.
func encloses(b *raster.Bits, g *raster.Stack, from r2.Vec) bool {
	i, j := g.At(from)
	seen := map[[2]int]bool{{i, j}: true}
	for todo := [][2]int{{i, j}}; len(todo) > 0; {
		c := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if c[0] <= 0 || c[1] <= 0 || c[0] >= g.W-1 || c[1] >= g.H-1 {
			return false
		}
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			n := [2]int{c[0] + d[0], c[1] + d[1]}
			if !seen[n] && !b.Has(n[0], n[1]) {
				seen[n] = true
				todo = append(todo, n)
			}
		}
	}
	return true
}

// follow against the obvious: for every layer the furthest place that the path has come to,
// found by walking it in steps of a thousandth, and what follows by the pace from layer to layer.
func TestFollowAgreesWithWalking(t *testing.T) {
	lay := raster.Layers{First: 0.3, Height: 0.2}
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 3))
		path := []place{{r2.Vec{X: 1, Y: 2}, r.Float64()}}
		for range 8 {
			last := path[len(path)-1]
			next := place{r2.Add(last.Vec, r2.Vec{X: r.Float64() - 0.3, Y: r.Float64() - 0.3}), last.z + r.Float64()}
			if r.IntN(3) == 0 {
				next.Vec = last.Vec // it stands
			}
			path = append(path, next)
		}
		from, to := lay.Above(path[0].z), lay.Above(path[len(path)-1].z)-1
		const behind, pace = 0.24, 0.9
		at, _ := follow(path, lay, from, to, behind, pace)
		tip, _ := follow(path, lay, from, to, 0, math.Inf(1))
		// Walk it.
		const fine = 1000
		var spots []r2.Vec
		var gone, z []float64
		total := 0.0
		for i := 1; i < len(path); i++ {
			for f := range fine {
				share := float64(f) / fine
				spots = append(spots, r2.Add(path[i-1].Vec, r2.Scale(share, r2.Sub(path[i].Vec, path[i-1].Vec))))
				gone = append(gone, total+share*dist(path[i-1].Vec, path[i].Vec))
				z = append(z, path[i-1].z+share*(path[i].z-path[i-1].z))
			}
			total += dist(path[i-1].Vec, path[i].Vec)
		}
		now := 0.0
		for k := from; k <= to; k++ {
			end := 0
			for end+1 < len(spots) && z[end+1] <= lay.Bottom(k) {
				end++
			}
			if d := dist(spots[end], tip[k-from]); d > 0.01 {
				t.Fatalf("seed %d, layer %d: the end is %.3f mm from where walking comes to", seed, k, d)
			}
			want := max(now, gone[end]-behind)
			if k > from {
				want = min(want, now+(lay.Bottom(k)-lay.Bottom(k-1))*pace)
			}
			now = want
			back := 0
			for back+1 < len(spots) && gone[back+1] <= now {
				back++
			}
			if d := dist(spots[back], at[k-from]); d > 0.02 {
				t.Fatalf("seed %d, layer %d: what follows is %.3f mm from where walking comes to", seed, k, d)
			}
		}
	}
}

// The way of an end never leads down: it goes up to where it meets the end that comes towards it,
// however much lower that was just before.
func TestEndsGoUpUntilTheyMeet(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(8, 2))
	for range 50 {
		n := &Network{settings: s}
		var wall []int
		peak := 2 + r.IntN(6)
		low, down := 2.0, 3+3*r.Float64()
		for i := range 10 {
			if i <= peak {
				low += 2 * r.Float64()
			} else {
				low -= down * r.Float64() / 2
			}
			n.Stations = append(n.Stations, Station{P: r2.Vec{X: 0.5 * float64(i)}, Top: 40, Low: max(low, 1), parent: 0})
			wall = append(wall, i)
		}
		n.Stations[0].parent, n.Stations[9].parent = -1, -1
		back := slices.Clone(wall)
		slices.Reverse(back)
		for side, w := range [2][]int{wall, back} {
			path, _, _ := n.path(w, 0)
			for i := 1; i < len(path); i++ {
				if path[i].z < path[i-1].z {
					t.Fatalf("side %d: from z %.2f down to %.2f: %v", side, path[i-1].z, path[i].z, path)
				}
			}
			if top := path[len(path)-1].z; math.Abs(top-n.Stations[peak].Low) > 1e-9 {
				t.Errorf("side %d: ends at z %.2f, and the other end meets it at %.2f", side, top, n.Stations[peak].Low)
			}
		}
	}
}

// An end that is flush with the face of a wall, half a wall from its middle, is no free end,
// wherever on the plate that is.
func TestEndsFlushWithAWallAreNotFree(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(4, 4))
	for range 200 {
		x := 100 * r.Float64()
		n := &Network{settings: s, Walls: [][]int{{0, 1}}}
		for _, y := range []float64{10, 10.5} {
			n.Stations = append(n.Stations, Station{P: r2.Vec{X: x, Y: y}, Top: 20})
		}
		walls := n.stretches()
		at := func(off float64) bool { return walls.goOn(1, r2.Vec{X: x + off, Y: 10.2}, r2.Vec{X: 1}, 5, s) }
		if !at(s.Wall / 2) {
			t.Fatalf("free at the face of a wall at x %.17g", x)
		}
		if at(s.Wall/2 + 0.05) {
			t.Fatalf("not free beyond the face of a wall at x %.17g", x)
		}
	}
}

// A line between two walls that begin to spread so high that no wall reaches its middle is a tie
// between them all the same, if it is no longer than a planned bridge.
func TestTiesReachOverWhatNoPostDoes(t *testing.T) {
	m, part, p, s := comb(t)
	line := func(id string, a, b [3]float64) plan.Line {
		return plan.Line{ID: id, At: [][3]float64{a, b}, By: plan.Designer}
	}
	for _, c := range []struct {
		apart float64
		tied  bool
	}{{6, true}, {s.Bridge, false}} {
		y := 10 + c.apart
		p.Lines = []plan.Line{line("L1", [3]float64{8, 10, 24}, [3]float64{38, 10, 24}), line("L2", [3]float64{8, y, 24}, [3]float64{38, y, 24}),
			line("L3", [3]float64{20, 10, 24}, [3]float64{20, y, 24})}
		p.Posts = nil
		for i, id := range []string{"L1", "L2"} {
			p.Posts = append(p.Posts, plan.Post{ID: fmt.Sprintf("P%d", i+1), At: [2]float64{23, p.Lines[i].At[0][1]}, Reach: 0.05, Under: id, Head: 22, By: plan.Designer})
		}
		n := NewNetwork(p, s, NewUndersides(m), part, finePitch)
		n.Hang(p)
		wall := n.Walls[2]
		mid := &n.Stations[wall[len(wall)/2]]
		if !math.IsInf(mid.Low, 1) {
			t.Fatalf("%g mm apart: the middle hangs from z %.1f", c.apart, mid.Low)
		}
		n.Ties()
		if mid.tied != c.tied || c.tied && math.Abs(mid.Low-(mid.Top-WallDepth(s))) > 1e-9 {
			t.Errorf("%g mm apart: tied %v, from z %.2f to %.2f", c.apart, mid.tied, mid.Low, mid.Top)
		}
	}
}
