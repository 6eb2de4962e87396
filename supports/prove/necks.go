package prove

import (
	"math"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// face is where two voxels of different pieces meet.
type face struct {
	axis int
	v    int32 // the lower of the two
	moments
	hull []r2.Vec
	z    float64
}

// necks returns where a piece hangs on those that are not gone.
func (c *lump) necks(q *chunk, gone []bool) []Neck {
	id := c.label[q.voxels[0]]
	at := map[[2]int32]int{}
	var faces []face
	steps := [3]int32{1, int32(c.nx), int32(c.nx * c.ny)}
	size := [3]int{c.nx, c.ny, c.nz}
	for _, v := range q.voxels {
		for axis, step := range steps {
			for _, low := range [2]int32{v, v - step} {
				if low < 0 {
					continue
				}
				here := c.at(low)
				if here[axis]+1 >= size[axis] || here[axis] < 0 {
					continue
				}
				other := low
				if low == v {
					other = v + step
				}
				if o := c.label[other]; o == 0 || o == id || gone[o] {
					continue
				}
				if f := c.faceOf(axis, low); f.area > 0 {
					at[[2]int32{int32(axis), low}] = len(faces)
					faces = append(faces, f)
				}
			}
		}
	}
	// Faces side by side are one neck.
	groups := newForest(len(faces))
	for n := range faces {
		c.around(faces[n].v, func(o int32) {
			if m, ok := at[[2]int32{int32(faces[n].axis), o}]; ok {
				groups.Union(int32(n), int32(m))
			}
		})
	}
	sum := map[int32]*face{}
	var roots []int32
	for n := range faces {
		root := groups.Find(int32(n))
		f := sum[root]
		if f == nil {
			f = &face{axis: faces[n].axis, v: faces[n].v}
			sum[root] = f
			roots = append(roots, root)
		}
		f.add(faces[n].moments)
		f.hull = append(f.hull, faces[n].hull...)
	}
	box := c.bounds(q)
	out := []Neck{}
	for _, root := range roots {
		f := sum[root]
		tears := strength
		if f.axis < 2 {
			tears *= alongShare
		}
		mid := c.middle(f)
		arm := 0.0
		for _, x := range [2]float64{box.Min.X, box.Max.X} {
			for _, y := range [2]float64{box.Min.Y, box.Max.Y} {
				for _, z := range [2]float64{box.Min.Z, box.Max.Z} {
					arm = max(arm, r3.Norm(r3.Sub(r3.Vec{X: x, Y: y, Z: z}, mid)))
				}
			}
		}
		pull, snap := tears*f.area, tears/f.lever(raster.Hull(f.hull))/arm
		out = append(out, Neck{At: mid, AreaMM2: tidy(f.area), ForceN: tidy(min(pull, snap))})
	}
	return out
}

// faceOf returns the section through which a voxel hangs on the next along an axis: of
// cells that are there on both sides, in the other two axes in turn.
func (c *lump) faceOf(axis int, low int32) face {
	g, sup := c.p.sup.Grid, c.p.sup
	q := c.at(low)
	f := face{axis: axis, v: low}
	i, j, k := c.i0+q[0]*c.n, c.j0+q[1]*c.n, c.k0+q[2]*c.m
	add := func(u, v, du, dv float64) {
		f.add(moments{area: du * dv, at: r2.Vec{X: u, Y: v}, xx: du * du * du * dv / 12, yy: dv * dv * dv * du / 12})
		for _, su := range [2]float64{-du / 2, du / 2} {
			for _, sv := range [2]float64{-dv / 2, dv / 2} {
				f.hull = append(f.hull, r2.Vec{X: u + su, Y: v + sv})
			}
		}
	}
	if axis == 2 {
		up, down := sup.Layer(k+c.m), sup.Layer(k+c.m-1)
		for dj := range c.n {
			for di := range c.n {
				if up.Has(i+di, j+dj) && down.Has(i+di, j+dj) {
					at := g.Center(i+di, j+dj)
					add(at.X, at.Y, g.Cell, g.Cell)
				}
			}
		}
		return f
	}
	for dk := range c.m {
		l := sup.Layer(k + dk)
		z, dz := (sup.Bottom(k+dk)+sup.Top(k+dk))/2, sup.Thickness(k+dk)
		for d := range c.n {
			if axis == 0 && l.Has(i+c.n-1, j+d) && l.Has(i+c.n, j+d) {
				add(g.Center(i, j+d).Y, z, g.Cell, dz)
			}
			if axis == 1 && l.Has(i+d, j+c.n-1) && l.Has(i+d, j+c.n) {
				add(g.Center(i+d, j).X, z, g.Cell, dz)
			}
		}
	}
	return f
}

// middle returns the place of a neck.
func (c *lump) middle(f *face) r3.Vec {
	g := c.p.sup.Grid
	q := c.at(f.v)
	var v r3.Vec
	switch f.axis {
	case 0:
		v = r3.Vec{X: g.Origin.X + float64(c.i0+(q[0]+1)*c.n)*g.Cell, Y: f.at.X, Z: f.at.Y}
	case 1:
		v = r3.Vec{X: f.at.X, Y: g.Origin.Y + float64(c.j0+(q[1]+1)*c.n)*g.Cell, Z: f.at.Y}
	default:
		v = r3.Vec{X: f.at.X, Y: f.at.Y, Z: c.p.sup.Bottom(c.k0 + (q[2]+1)*c.m)}
	}
	return r3.Vec{X: tidy(v.X), Y: tidy(v.Y), Z: tidy(v.Z)}
}

// lock returns the place where the body is barred the least, where the part holds it.
func (c *lump) lock() r3.Vec {
	var counts [lifted]int
	for _, v := range c.list {
		for w := range counts {
			counts[w] += int(c.bars[v] >> w & 1)
		}
	}
	way := 0
	for w := range counts {
		if counts[w] < counts[way] {
			way = w
		}
	}
	g := c.p.sup.Grid
	at := func(v int32) r3.Vec {
		q := c.at(v)
		mid := func(n, size int) float64 { return (float64(n) + 0.5) * float64(size) }
		return r3.Vec{
			X: g.Origin.X + (float64(c.i0)+mid(q[0], c.n))*g.Cell, Y: g.Origin.Y + (float64(c.j0)+mid(q[1], c.n))*g.Cell,
			Z: c.p.sup.Bottom(min(c.k0+q[2]*c.m, len(c.p.sup.Cut)-1)),
		}
	}
	var sum r3.Vec
	for _, v := range c.list {
		if c.bars[v]>>way&1 != 0 {
			sum = r3.Add(sum, at(v))
		}
	}
	middle, best, nearest := r3.Scale(1/float64(max(1, counts[way])), sum), math.Inf(1), r3.Vec{}
	for _, v := range c.list {
		if d := r3.Norm2(r3.Sub(at(v), middle)); c.bars[v]>>way&1 != 0 && d < best {
			best, nearest = d, at(v)
		}
	}
	return r3.Vec{X: tidy(nearest.X), Y: tidy(nearest.Y), Z: tidy(nearest.Z)}
}
