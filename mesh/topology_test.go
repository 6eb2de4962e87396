package mesh_test

import (
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

func TestTopologyOfKnownDefects(t *testing.T) {
	edit := func(f func(m *mesh.Mesh)) *mesh.Mesh {
		m := cube.Clone()
		f(m)
		return m
	}
	// Two boxes that share the four vertices of an upright edge, or one corner.
	weld := func(at r3.Vec) *mesh.Mesh {
		m := cube.Clone()
		other := meshtest.Box(r3.Add(r3.Vec{X: 5, Y: 5}, at), r3.Add(r3.Vec{X: 15, Y: 15, Z: 10}, at))
		m.Append(other)
		m, _, err := mesh.DecodeSTL("", encode(t, m, "")) // reading welds
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want mesh.Topology
	}{
		{"empty", &mesh.Mesh{}, mesh.Topology{}},
		{"cube", cube, mesh.Topology{Edges: 18, Shells: 1}},
		{"a triangle missing", edit(func(m *mesh.Mesh) { m.Triangles = m.Triangles[1:] }),
			mesh.Topology{Edges: 18, Boundary: 3, Shells: 1}},
		{"a triangle turned", edit(func(m *mesh.Mesh) { v := &m.Triangles[4]; v[0], v[1] = v[1], v[0] }),
			mesh.Topology{Edges: 18, Inconsistent: 3, Shells: 1}},
		{"a triangle twice", edit(func(m *mesh.Mesh) { m.Triangles = append(m.Triangles, m.Triangles[0]) }),
			mesh.Topology{Edges: 18, NonManifold: 3, Inconsistent: 3, Shells: 1}},
		{"a repeated vertex", edit(func(m *mesh.Mesh) { m.Triangles = append(m.Triangles, [3]uint32{1, 1, 2}) }),
			mesh.Topology{Edges: 18, Degenerate: 1, Shells: 2}},
		{"touching along an edge", weld(r3.Vec{}), mesh.Topology{Edges: 35, NonManifold: 1, Shells: 1}},
		{"touching at a corner", weld(r3.Vec{Z: 10}), mesh.Topology{Edges: 36, Shells: 2}},
		// A corner on a straight edge makes one triangle without area.
		{"collinear", &mesh.Mesh{Vertices: []r3.Vec{{}, {X: 1}, {X: 3}}, Triangles: [][3]uint32{{0, 1, 2}}},
			mesh.Topology{Edges: 3, Boundary: 3, Degenerate: 1, Shells: 1}},
		// Float32 needles are legal, only degenerate ones count.
		{"needle", &mesh.Mesh{Vertices: []r3.Vec{{}, {X: 100}, {X: 50, Y: 1e-5}}, Triangles: [][3]uint32{{0, 1, 2}}},
			mesh.Topology{Edges: 3, Boundary: 3, Shells: 1}},
	} {
		if d := cmp.Diff(c.want, c.m.Topology()); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
	if top := weld(r3.Vec{}).Topology(); !top.Closed() || top.Watertight() {
		t.Error("shells that touch along an edge are closed but not watertight")
	}
}

// slowTopology files every edge in a map and floods triangles one by one.
func slowTopology(m *mesh.Mesh) mesh.Topology {
	type use struct {
		triangle int
		up       bool
	}
	var top mesh.Topology
	edges := make(map[[2]uint32][]use)
	for i, t := range m.Triangles {
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			top.Degenerate++
			continue
		}
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			key := [2]uint32{min(a, b), max(a, b)}
			edges[key] = append(edges[key], use{i, a < b})
		}
	}
	neighbours := make([][]int, len(m.Triangles))
	for _, uses := range edges {
		top.Edges++
		up := 0
		for _, u := range uses {
			if u.up {
				up++
			}
			for _, v := range uses {
				neighbours[u.triangle] = append(neighbours[u.triangle], v.triangle)
			}
		}
		if len(uses) == 1 {
			top.Boundary++
			continue
		}
		if len(uses) > 2 {
			top.NonManifold++
		}
		if up != len(uses)-up {
			top.Inconsistent++
		}
	}
	seen := make([]bool, len(m.Triangles))
	for i := range seen {
		if seen[i] {
			continue
		}
		top.Shells++
		seen[i] = true
		for todo := []int{i}; len(todo) > 0; {
			at := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, n := range neighbours[at] {
				if !seen[n] {
					seen[n] = true
					todo = append(todo, n)
				}
			}
		}
	}
	return top
}

func TestTopologyAgainstSlowTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Few vertices make every kind of defect likely. They lie on a moment
		// curve, so that no three are collinear.
		n := rapid.IntRange(3, 40).Draw(t, "vertices")
		m := &mesh.Mesh{}
		for i := range n {
			x := float64(i)
			m.Vertices = append(m.Vertices, r3.Vec{X: x, Y: x * x, Z: x * x * x})
		}
		index := rapid.Uint32Range(0, uint32(n-1))
		for range rapid.IntRange(0, 200).Draw(t, "triangles") {
			m.Triangles = append(m.Triangles, [3]uint32{index.Draw(t, "a"), index.Draw(t, "b"), index.Draw(t, "c")})
		}
		if d := cmp.Diff(slowTopology(m), m.Topology()); d != "" {
			t.Fatalf("(-slow +fast):\n%s", d)
		}
		total := 0
		shells := m.Shells()
		for _, s := range shells {
			total += len(s.Triangles)
			if err := s.Check(); err != nil {
				t.Fatal(err)
			}
			if got := s.Topology().Shells; got != 1 {
				t.Fatalf("a shell has %d shells", got)
			}
		}
		if len(shells) != m.Topology().Shells || total != len(m.Triangles) {
			t.Fatalf("%d shells of %d triangles from %d and %d", len(shells), total, m.Topology().Shells, len(m.Triangles))
		}
	})
}

func TestShellsKeepGeometry(t *testing.T) {
	parts := []*mesh.Mesh{meshtest.Blob(1000), cube, meshtest.Sphere(r3.Vec{X: 100}, 3, 4)}
	all := &mesh.Mesh{}
	for _, p := range parts {
		all.Append(p)
	}
	shells := all.Shells()
	if len(shells) != len(parts) {
		t.Fatalf("%d shells", len(shells))
	}
	for i, s := range shells {
		if d := cmp.Diff(loose(parts[i]), loose(s)); d != "" {
			t.Errorf("shell %d (-want +got):\n%s", i, d)
		}
		if len(s.Vertices) != len(parts[i].Vertices) {
			t.Errorf("shell %d: %d vertices, want %d", i, len(s.Vertices), len(parts[i].Vertices))
		}
	}
}

// A fan's hub has more edges than insertion sort should meet.
func TestTopologyOfAFan(t *testing.T) {
	cone := meshtest.Cone(0, 20, 10, 0, 5000)
	if top := cone.Topology(); !top.Watertight() || top.Shells != 1 || top.Degenerate != 0 {
		t.Errorf("%+v", top)
	}
}
