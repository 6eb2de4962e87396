// Package meshtest makes closed solids of known size for tests and benchmarks.
// Every coordinate is a float32 value, so the solids survive STL and 3MF
// without change.
package meshtest

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Blob returns one lumpy closed shell about 60 mm across, resting on z = 0, with
// nearly the given number of triangles (at least 8). It has overhangs, shallow
// ceilings and hanging tips, and is the same on every call.
func Blob(triangles int) *mesh.Mesh {
	m := octahedral(max(1, int(math.Round(math.Sqrt(float64(triangles)/8)))))
	for i, d := range m.Vertices {
		// Waves of three lengths, out of step with one another and with the axes.
		r := 26 + 5*math.Sin(3*d.X+2*d.Y+0.4)*math.Cos(2*d.Z-d.X) +
			2.5*math.Sin(7*d.Z+5*d.X)*math.Sin(6*d.Y+1) +
			0.8*math.Sin(19*d.X-13*d.Z)*math.Sin(17*d.Y+11*d.Z)
		m.Vertices[i] = r3.Scale(r, d)
	}
	m.Translate(r3.Vec{Z: -m.Bounds().Min.Z})
	m.Round32()
	return m
}

// Sphere returns a sphere of radius r (mm) round c, of 8·n² triangles inscribed
// in it.
func Sphere(c r3.Vec, r float64, n int) *mesh.Mesh {
	m := octahedral(n)
	for i, d := range m.Vertices {
		m.Vertices[i] = r3.Add(c, r3.Scale(r, d))
	}
	m.Round32()
	return m
}

// Box returns the box between two corners, in mm.
func Box(lo, hi r3.Vec) *mesh.Mesh {
	m := mesh.Prism([]r2.Vec{{X: lo.X, Y: lo.Y}, {X: hi.X, Y: lo.Y}, {X: hi.X, Y: hi.Y}, {X: lo.X, Y: hi.Y}}, lo.Z, hi.Z)
	m.Round32()
	return m
}

// Cone returns a frustum of n sides on the z axis: radius r0 (mm) at z0, r1 at
// z1 > z0. Either radius, not both, may be zero.
func Cone(z0, r0, z1, r1 float64, n int) *mesh.Mesh {
	m := mesh.Frustum(mesh.RegularPolygon(r2.Vec{}, r0, n, 0), mesh.RegularPolygon(r2.Vec{}, r1, n, 0), z0, z1)
	m.Round32()
	return m
}

// octahedral returns the unit sphere as an octahedron whose faces are cut into
// n² triangles each.
func octahedral(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	// Rings of constant i = n·(1−|z|) corner steps from a pole: ring i of the
	// upper half has 4i corners, the poles one.
	ring := make([]uint32, 2*n+1)
	corners := func(k int) int { return max(1, 4*min(k, 2*n-k)) }
	for k := range ring {
		ring[k] = uint32(len(m.Vertices))
		i := min(k, 2*n-k)
		z := float64(n-k) / float64(n)
		for j := range corners(k) {
			var x, y float64
			if i > 0 {
				f := float64(j%i) / float64(n)
				side := float64(i) / float64(n)
				switch j / i {
				case 0:
					x, y = side-f, f
				case 1:
					x, y = -f, side-f
				case 2:
					x, y = f-side, -f
				case 3:
					x, y = f, f-side
				}
			}
			v := r3.Vec{X: x, Y: y, Z: z}
			m.Vertices = append(m.Vertices, r3.Scale(1/math.Sqrt(r3.Norm2(v)), v))
		}
	}
	at := func(k, j int) uint32 { return ring[k] + uint32(j%corners(k)) }
	add := func(a, b, c uint32) { m.Triangles = append(m.Triangles, [3]uint32{a, b, c}) }
	for k := range 2 * n {
		i := min(k, 2*n-k) // steps a side on ring k
		if k < n {
			for q := range 4 {
				for s := range i + 1 {
					add(at(k, q*i+s), at(k+1, q*(i+1)+s), at(k+1, q*(i+1)+s+1))
					if s < i {
						add(at(k, q*i+s), at(k+1, q*(i+1)+s+1), at(k, q*i+s+1))
					}
				}
			}
			continue
		}
		for q := range 4 {
			for s := range i {
				add(at(k, q*i+s), at(k+1, q*(i-1)+s), at(k, q*i+s+1))
				if s < i-1 {
					add(at(k+1, q*(i-1)+s), at(k+1, q*(i-1)+s+1), at(k, q*i+s+1))
				}
			}
		}
	}
	return m
}
