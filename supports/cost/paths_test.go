package cost

import (
	"math"
	"math/rand/v2"
	"testing"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
)

const testCell = 0.1 // mm

// paint returns the cells, 0.1 mm, whose centres f accepts, in a window of
// ±size mm.
func paint(size float64, f func(x, y float64) bool) raster.Bits {
	n := int(size/testCell) + 2
	b := raster.NewBits(-n, -n, n, n)
	for j := -n; j < n; j++ {
		for i := -n; i < n; i++ {
			if f((float64(i)+0.5)*testCell, (float64(j)+0.5)*testCell) {
				b.Set(i, j)
			}
		}
	}
	return b
}

// wall tells whether (x, y) is on a wall w thick from a to b with square ends.
func wall(ax, ay, bx, by, w float64) func(x, y float64) bool {
	l := math.Hypot(bx-ax, by-ay)
	ux, uy := (bx-ax)/l, (by-ay)/l
	return func(x, y float64) bool {
		s, d := (x-ax)*ux+(y-ay)*uy, (y-ay)*ux-(x-ax)*uy
		return s >= 0 && s <= l && math.Abs(d) <= w/2
	}
}

func union(fs ...func(x, y float64) bool) func(x, y float64) bool {
	return func(x, y float64) bool {
		for _, f := range fs {
			if f(x, y) {
				return true
			}
		}
		return false
	}
}

// tube tells whether (x, y) is on the ring of a square of outer side a, turned by
// turn, w thick.
func tube(a, w, turn float64) func(x, y float64) bool {
	s, c := math.Sincos(turn)
	return func(x, y float64) bool {
		d := max(math.Abs(x*c+y*s), math.Abs(y*c-x*s))
		return d <= a/2 && d >= a/2-w
	}
}

func TestContourLength(t *testing.T) {
	for _, r := range []float64{2.5, 5, 10, 28.3} {
		for n, at := range []float64{0, 0.03, 0.05, 0.071} {
			b := paint(r+1, func(x, y float64) bool { return math.Hypot(x-at, y+at/2) <= r })
			c := contours(&b)
			if len(c) != 1 {
				t.Fatalf("circle %g has %d outlines", r, len(c))
			}
			near(t, "circle", polyLength(c[0], true)*testCell, 2*math.Pi*r, 0.01)
			if n == 0 {
				t.Logf("r %g: %d points, length off by %.3f %%", r, len(c[0]), 100*(polyLength(c[0], true)*testCell/(2*math.Pi*r)-1))
			}
		}
	}
	for _, a := range []float64{5, 10, 40} {
		for _, deg := range []float64{0, 3, 17, 30, 45, 71} {
			s, c := math.Sincos(deg * math.Pi / 180)
			b := paint(a, func(x, y float64) bool { return max(math.Abs(x*c+y*s), math.Abs(y*c-x*s)) <= a/2 })
			o := contours(&b)
			if len(o) != 1 {
				t.Fatalf("square %g has %d outlines", a, len(o))
			}
			near(t, "square", polyLength(o[0], true)*testCell, 4*a, 0.01)
			// Stairs that smoothing left would slow the nozzle down.
			m := Machine{Visit: -1}.filled()
			p := path{pts: toMM(raster.Grid{Cell: testCell}, o[0]), closed: true}
			ideal := m.layer([]path{{pts: []r2.Vec{{}, {X: a}, {X: a, Y: a}, {Y: a}}, closed: true}}, false)
			near(t, "time of a turned square", m.layer([]path{p}, false).TimeS, ideal.TimeS, 0.03)
		}
	}
	// A ring has two outlines, the inner one the other way round.
	b := paint(12, func(x, y float64) bool { r := math.Hypot(x, y); return r <= 10 && r >= 4 })
	c := contours(&b)
	if len(c) != 2 {
		t.Fatalf("ring has %d outlines", len(c))
	}
	near(t, "ring", polyLength(c[0], true)+polyLength(c[1], true), 2*math.Pi*140, 0.01)
}

// Every outline of random cells is closed, and their signed areas add up to the
// number of cells once the eighth of a cell that midpoints cut off or add at a corner is put right.
func TestContourOfNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for n := 0; n < 300; n++ {
		b := raster.NewBits(-70, 0, 70, 12)
		for c := 0; c < 5+rng.IntN(600); c++ {
			b.Set(rng.IntN(140)-70, rng.IntN(12))
		}
		x0, y0, x1, y1 := b.Bounds()
		seen := raster.NewBits(x0, y0, x1, y1)
		area := 0.0
		b.EachRun(func(j, i0, _ int) {
			if seen.Has(i0, j) {
				return
			}
			p := traceOutline(&b, &seen, i0, j)
			for k := range p {
				q, r := p[k], p[(k+1)%len(p)]
				area += (q.X*r.Y - r.X*q.Y) / 2
				d := r2.Sub(r, q)
				if d.X != 0 && d.Y != 0 {
					// A left turn cuts an eighth of a cell off, a right turn adds one.
					horizontal := q.Y == math.Floor(q.Y)
					left := (horizontal && (d.X > 0) == (d.Y > 0)) || (!horizontal && (d.X > 0) != (d.Y > 0))
					if left {
						area += 0.125
					} else {
						area -= 0.125
					}
				}
			}
		})
		if math.Abs(area-float64(b.Count())) > 1e-6 {
			t.Fatalf("outlines hold %g cells of %d", area, b.Count())
		}
	}
}

func traced(b *raster.Bits, w float64) network {
	return trace(b, &raster.Bits{}, w/testCell)
}

func sumLength(lines [][]r2.Vec, closed []bool) float64 {
	l := 0.0
	for i, p := range lines {
		l += polyLength(p, closed[i])
	}
	return l * testCell
}

func TestStraightWall(t *testing.T) {
	const w = 0.48
	for deg := 0.0; deg < 180; deg += 7.5 {
		s, c := math.Sincos(deg * math.Pi / 180)
		b := paint(27, wall(-25*c, -25*s, 25*c, 25*s, w))
		net := traced(&b, w)
		lines, closed := net.trails()
		if len(lines) != 1 || closed[0] {
			t.Errorf("%g°: %d trails", deg, len(lines))
			continue
		}
		if l := sumLength(lines, closed); math.Abs(l-(50-w)) > 0.2 {
			t.Errorf("%g°: the line in a wall of 50 mm is %.3f mm long, want %.2f, half a line short at either end", deg, l, 50-w)
		}
	}
}

func TestPlus(t *testing.T) {
	const w = 0.48
	for deg := 0.0; deg < 90; deg += 7.5 {
		s, c := math.Sincos(deg * math.Pi / 180)
		b := paint(12, union(wall(-10*c, -10*s, 10*c, 10*s, w), wall(10*s, -10*c, -10*s, 10*c, w)))
		net := traced(&b, w)
		degree := map[int]int{}
		at := make([]int, len(net.nodes))
		for _, e := range net.edges {
			at[e.a]++
			at[e.b]++
		}
		for _, d := range at {
			degree[d]++
		}
		if degree[4] != 1 || degree[1] != 4 || degree[3] != 0 {
			t.Errorf("%g°: nodes by degree %v", deg, degree)
		}
		lines, closed := net.trails()
		if len(lines) != 2 {
			t.Errorf("%g°: %d trails", deg, len(lines))
		}
		near(t, "plus", sumLength(lines, closed), 40-2*w, 0.01)
		for _, l := range lines {
			// Straight across, not round the corner.
			near(t, "bar of the plus", dist(l[0], l[len(l)-1])*testCell, 20-w, 0.02)
		}
	}
}

func TestHollowPost(t *testing.T) {
	const w = 0.48
	for _, a := range []float64{5, 8.4} {
		for _, deg := range []float64{0, 10, 30, 45} {
			b := paint(a, tube(a, w, deg*math.Pi/180))
			net := traced(&b, w)
			lines, closed := net.trails()
			if len(lines) != 1 || !closed[0] {
				t.Errorf("post %g at %g°: %d trails %v", a, deg, len(lines), closed)
				continue
			}
			near(t, "post", sumLength(lines, closed), 4*(a-w), 0.025)
		}
	}
	b := paint(6, func(x, y float64) bool { r := math.Hypot(x, y); return r <= 4 && r >= 4-w })
	net := traced(&b, w)
	lines, closed := net.trails()
	near(t, "round post", sumLength(lines, closed), 2*math.Pi*(4-w/2), 0.01)
}

// A post with walls to its corners, a comb and a grid: half as many trails as
// odd nodes, and every wall drawn once.
func TestTrails(t *testing.T) {
	const w = 0.48
	type bar [4]float64
	shape := func(bars ...bar) raster.Bits {
		var fs []func(x, y float64) bool
		for _, b := range bars {
			fs = append(fs, wall(b[0], b[1], b[2], b[3], w))
		}
		return paint(22, union(fs...))
	}
	for _, c := range []struct {
		name   string
		cells  raster.Bits
		trails int
		length float64
	}{
		// A lid on two legs and one in the middle: nodes of degree 3, 1, 1, 1.
		{"comb", shape(bar{-10, 0, 10, 0}, bar{-9.76, 0, -9.76, -8}, bar{9.76, 0, 9.76, -8}, bar{0, 0, 0, -8}), 2, 20 + 3*8 - 0.96},
		// Three bars across three: 12 ends of degree 1, 9 crossings of degree 4.
		{"grid", shape(bar{-15, -10, 15, -10}, bar{-15, 0, 15, 0}, bar{-15, 10, 15, 10},
			bar{-10, -15, -10, 15}, bar{0, -15, 0, 15}, bar{10, -15, 10, 15}), 6, 6 * (30 - w)},
		// Two boxes that share one wall: two nodes of degree 3.
		{"eight", shape(bar{-10, -5, 10, -5}, bar{-10, 5, 10, 5}, bar{-9.8, -5, -9.8, 5}, bar{9.8, -5, 9.8, 5}, bar{0, -5, 0, 5}), 1, 40 + 30},
		// Two boxes that touch in a crossing: no odd node, one closed trail.
		{"bow", shape(bar{-10, -9.8, 0.24, -9.8}, bar{-9.8, -10, -9.8, 0}, bar{-10, 0, 10, 0}, bar{0, -10, 0, 10}, bar{0, 9.8, 10, 9.8}, bar{9.8, 0, 9.8, 10}), 1, 80},
		{"two apart", shape(bar{-10, -5, 10, -5}, bar{-10, 5, 10, 5}), 2, 2 * (20 - w)},
	} {
		net := traced(&c.cells, w)
		lines, closed := net.trails()
		if len(lines) != c.trails {
			t.Errorf("%s: %d trails, want %d", c.name, len(lines), c.trails)
		}
		near(t, c.name, sumLength(lines, closed), c.length, 0.02)
	}
}

// Trails of random networks: every edge once, and no more trails than half the
// odd nodes of each part, at least one.
func TestTrailCount(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for n := 0; n < 300; n++ {
		var net network
		nodes := 2 + rng.IntN(9)
		for i := 0; i < nodes; i++ {
			net.nodes = append(net.nodes, r2.Vec{X: 100 * rng.Float64(), Y: 100 * rng.Float64()})
		}
		degree := make([]int, nodes)
		part := make([]int, nodes)
		for i := range part {
			part[i] = i
		}
		total := 0.0
		for k := rng.IntN(16) + 1; k > 0; k-- {
			a, b := rng.IntN(nodes), rng.IntN(nodes)
			if a == b {
				continue
			}
			net.edges = append(net.edges, edge{a, b, []r2.Vec{net.nodes[a], net.nodes[b]}})
			total += dist(net.nodes[a], net.nodes[b])
			degree[a]++
			degree[b]++
			pa, pb := part[a], part[b]
			for i := range part {
				if part[i] == pb {
					part[i] = pa
				}
			}
		}
		odd := map[int]int{}
		for i, d := range degree {
			if d > 0 {
				odd[part[i]] += d % 2
			}
		}
		want := 0
		for _, o := range odd {
			want += max(1, o/2)
		}
		// Without smoothing, which may shorten these unlikely lines.
		lines, _ := net.trails()
		if len(lines) != want {
			t.Fatalf("%d trails, want %d", len(lines), want)
		}
	}
}

// Two lines thick counts twice; thicker is an area whose filling lays down its
// own volume.
func TestThickWalls(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	g := raster.Grid{Cell: testCell}
	length := func(p []path) (l, v float64) {
		for _, q := range p {
			l += polyLength(q.pts, q.closed)
			v += polyLength(q.pts, q.closed) * q.area
		}
		return
	}
	b := paint(12, wall(-10, 0.03, 10, 0.03, 0.8))
	l, _ := length(wallPaths(&b, g, s, s.Layer))
	near(t, "two-line wall", l, 2*(20-0.8), 0.02)

	b = paint(12, func(x, y float64) bool { return max(math.Abs(x), math.Abs(y)) <= 10 })
	p := wallPaths(&b, g, s, s.Layer)
	_, v := length(p)
	near(t, "block", v, 20*20*s.Layer, 0.01)
	if len(p) != 2 {
		t.Errorf("block takes %d paths, want an outline and a zigzag", len(p))
	}
	b = paint(12, func(x, y float64) bool { return math.Hypot(x, y) <= 3 })
	_, v = length(wallPaths(&b, g, s, s.Layer))
	near(t, "disc", v, math.Pi*9*s.Layer, 0.03)

	// A foot with a wall to it: the wall is still one line, up to the foot's rim.
	b = paint(25, union(func(x, y float64) bool { return math.Hypot(x, y) <= 2.5 }, wall(0, 0, 20, 0, s.Wall)))
	p = wallPaths(&b, g, s, s.Layer)
	bare := paint(25, func(x, y float64) bool { return math.Hypot(x, y) <= 2.5 })
	l, _ = length(p)
	l0, _ := length(wallPaths(&bare, g, s, s.Layer))
	if math.Abs(l-l0-17.5) > 1.2 {
		t.Errorf("wall to a foot adds %.2f mm, want about 17.5", l-l0)
	}
	// A spot smaller than a line is still printed.
	b = raster.NewBits(0, 0, 2, 2)
	b.Set(1, 1)
	if p = wallPaths(&b, g, s, s.Layer); len(p) != 1 {
		t.Errorf("a spot takes %d paths", len(p))
	}
}

// Travel on small layers against every order, direction and, of closed paths,
// beginning.
func TestOrderAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	worst := 0.0
	for n := 0; n < 90; n++ {
		paths := make([]path, 2+rng.IntN(5))
		for i := range paths {
			a := r2.Vec{X: 50 * rng.Float64(), Y: 50 * rng.Float64()}
			u := r2.Vec{X: 10 * rng.NormFloat64(), Y: 10 * rng.NormFloat64()}
			paths[i].pts = []r2.Vec{a, r2.Add(a, u)}
			if n%3 == 0 && i%2 == 0 { // a square
				v := r2.Vec{X: -u.Y, Y: u.X}
				paths[i].pts = append(paths[i].pts, r2.Add(r2.Add(a, u), v), r2.Add(a, v))
				paths[i].closed = true
			}
		}
		got := 0.0
		legs := order(paths)
		seen := map[*path]bool{}
		for i, l := range legs {
			seen[l.path] = true
			if i > 0 {
				got += dist(legs[i-1].out(), l.in())
			}
		}
		if len(seen) != len(paths) || len(legs) != len(paths) {
			t.Fatal("a path was lost or run twice")
		}
		best := math.Inf(1)
		used := make([]bool, len(paths))
		var try func(at r2.Vec, n int, d float64)
		try = func(at r2.Vec, n int, d float64) {
			if d >= best {
				return
			}
			if n == len(paths) {
				best = d
				return
			}
			for i := range paths {
				if used[i] {
					continue
				}
				used[i] = true
				for f, in := range paths[i].pts {
					out := in
					if !paths[i].closed {
						out = paths[i].pts[1-f]
					}
					hop := 0.0
					if n > 0 {
						hop = dist(at, in)
					}
					try(out, n+1, d+hop)
				}
				used[i] = false
			}
		}
		try(r2.Vec{}, 0, 0)
		if best > 1 {
			worst = max(worst, got/best)
		}
		if got > 1.1*best+1e-9 {
			t.Errorf("%d paths, case %d: travel %.3f mm, best %.3f", len(paths), n, got, best)
		}
	}
	t.Logf("worst travel is %.3f of the best", worst)
}
