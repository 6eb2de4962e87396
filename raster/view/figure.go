package view

import (
	"image"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// figure is the view itself: solids placed on the sheet and their rasters.
type figure struct {
	canvas
	frame image.Rectangle // on the sheet
	ss    int             // supersampling factor
	u     float64         // the sheet's unit of line and letter sizes, in pixels
	proj  projection
	ghost bool
	bare  bool // no dimensions are drawn

	solids              []*solid
	part, support, mark *layer  // nil where no item has such a role
	slack               float64 // mm of depth taken as the same surface

	plate  []r3.Vec // corners of the plate's patch, counter-clockwise from above; empty without
	extent []point  // what dimensions keep clear of, projected

	visible [roles]bool // roles with a pixel in sight
}

// margins keep room in pixels round the figure and its dimensions.
type margins struct{ left, right, top, bottom float64 }

// surfaces prepares the items of a scene that have something to draw.
func (s *Scene) surfaces() []*solid {
	var out []*solid
	for _, it := range s.Items {
		if it.Mesh != nil && len(it.Mesh.Triangles) > 0 {
			out = append(out, &solid{surface: newSurface(it.Mesh), role: it.Role, flat: it.Flat})
		}
	}
	return out
}

// place fits the solids and the plate's patch into the frame and rasterises
// them.
func (f *figure) place(s *Scene, cam Camera, m margins) error {
	right, up, away, err := cam.basis()
	if err != nil {
		return err
	}
	f.proj = projection{right: right, up: up, away: away, scale: 1}

	box, any := s.bounds(func(Role) bool { return true })
	if any && cam.Plate && math.Abs(away.Z) > 0.05 {
		// The patch stands out by a little more than a brim would.
		g := max(2, 0.07*max(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y))
		f.plate = []r3.Vec{
			{X: box.Min.X - g, Y: box.Min.Y - g}, {X: box.Max.X + g, Y: box.Min.Y - g},
			{X: box.Max.X + g, Y: box.Max.Y + g}, {X: box.Min.X - g, Y: box.Max.Y + g},
		}
	}

	f.fit(s, m)
	f.slack = 1.5/f.proj.scale + 1e-4

	near, far := math.Inf(1), math.Inf(-1)
	for _, sd := range f.solids {
		sd.place = make([]point, len(sd.at))
		sd.depth = make([]float64, len(sd.at))
		for i, v := range sd.at {
			sd.place[i], sd.depth[i] = f.proj.at(v)
			near, far = min(near, sd.depth[i]), max(far, sd.depth[i])
		}
	}
	if len(f.solids) == 0 {
		return nil
	}
	pad := 0.01*(far-near) + 1e-3
	near, far = near-pad, far+pad

	// The layers share nothing but the solids, which they only read.
	var wait sync.WaitGroup
	draw := func(into **layer, keep func(Role) bool) {
		var some []*solid
		for _, sd := range f.solids {
			if keep(sd.role) {
				some = append(some, sd)
			}
		}
		if len(some) > 0 {
			wait.Go(func() { *into = rasterise(some, &f.proj, f.frame, f.ss, near, far) })
		}
	}
	draw(&f.part, func(r Role) bool { return r == Part })
	draw(&f.support, func(r Role) bool { return r == Support || r == Ground })
	draw(&f.mark, Role.isMark)
	wait.Wait()
	return nil
}

// fit chooses scale and origin so that the solids, the plate's patch and the
// dimension lines fill the frame. Dimension lines keep their distance in pixels,
// whatever the scale, so the scale that lets them fit is found by repetition;
// each round leaves a small share of the misfit of the one before.
func (f *figure) fit(s *Scene, m margins) {
	var flat []point
	add := func(v r3.Vec) {
		q, _ := f.proj.at(v)
		flat = append(flat, q)
	}
	for _, sd := range f.solids {
		for _, v := range sd.at {
			add(v)
		}
	}
	for _, v := range f.plate {
		add(v)
	}
	solids := len(flat)
	for _, l := range s.Labels {
		add(l.At)
	}
	for _, t := range s.Trails {
		add(t.From)
		add(t.To)
	}
	if len(flat) == 0 {
		return
	}
	box, dimensioned := s.bounds(func(r Role) bool { return r == Part })
	x0, x1 := float64(f.frame.Min.X)+m.left, float64(f.frame.Max.X)-m.right
	y0, y1 := float64(f.frame.Min.Y)+m.top, float64(f.frame.Max.Y)-m.bottom
	f.extent = make([]point, solids)
	const rounds = 12
	for i := range rounds {
		lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
		reach := func(q point) {
			lo = point{min(lo.x, q.x), min(lo.y, q.y)}
			hi = point{max(hi.x, q.x), max(hi.y, q.y)}
		}
		for k, q := range flat {
			q = f.proj.origin.add(q.scale(f.proj.scale))
			if k < solids {
				f.extent[k] = q
			}
			reach(q)
		}
		if dimensioned && i > 0 && !f.bare {
			for _, d := range f.dimensionLines(box) {
				beyond := d.out.scale(dimensionRoom * f.u)
				reach(d.p.add(beyond))
				reach(d.q.add(beyond))
			}
		}
		// A lone point has no size; 1 µm keeps the scale finite.
		least := 1e-3 * f.proj.scale
		by := min((x1-x0)/max(hi.x-lo.x, least), (y1-y0)/max(hi.y-lo.y, least))
		mid := lo.lerp(hi, 0.5)
		f.proj.origin = point{(x0 + x1) / 2, (y0 + y1) / 2}.sub(mid.sub(f.proj.origin).scale(by))
		f.proj.scale *= by
	}
	for k := range f.extent {
		f.extent[k] = f.proj.origin.add(flat[k].scale(f.proj.scale))
	}
}

// farthest returns the greatest depth of l near a place on the sheet: a point
// behind that is hidden even if it was projected a pixel off.
func (f *figure) farthest(l *layer, p point) float64 {
	x := int((p.x - float64(f.frame.Min.X)) * float64(f.ss))
	y := int((p.y - float64(f.frame.Min.Y)) * float64(f.ss))
	d := math.Inf(-1)
	for j := max(y-1, 0); j <= min(y+1, l.height-1); j++ {
		for i := max(x-1, 0); i <= min(x+1, l.width-1); i++ {
			d = max(d, l.depthAt(j*l.width+i))
		}
	}
	if math.IsInf(d, -1) {
		return math.Inf(1)
	}
	return d
}

// rim tells whether a layer ends within a distance in pixels of a place, to
// either side or above or below.
func (f *figure) rim(l *layer, p point, away float64) bool {
	for _, d := range []point{{}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		q := p.add(d.scale(away))
		x := int((q.x - float64(f.frame.Min.X)) * float64(f.ss))
		y := int((q.y - float64(f.frame.Min.Y)) * float64(f.ss))
		if x < 0 || y < 0 || x >= l.width || y >= l.height || l.pix[4*(y*l.width+x)+3] == 0 {
			return true
		}
	}
	return false
}

// hidden tells whether a layer stands before a point of the scene. A nil layer
// hides nothing.
func (f *figure) hidden(l *layer, p point, depth float64) bool {
	return l != nil && f.farthest(l, p) < depth-f.slack
}

// segment is a straight piece of the scene on the sheet with the depths of its
// ends in mm.
type segment struct {
	p, q   point
	dp, dq float64
}

func (f *figure) segment(a, b r3.Vec) segment {
	var s segment
	s.p, s.dp = f.proj.at(a)
	s.q, s.dq = f.proj.at(b)
	return s
}

// runs splits a segment where test changes its answer along it, looking once a
// pixel, and hands over each run with that answer.
func (s segment) runs(test func(p point, depth float64) int, each func(p, q point, is int)) {
	n := max(1, int(math.Ceil(s.q.sub(s.p).length())))
	look := func(i int) int {
		t := (float64(i) + 0.5) / float64(n)
		return test(s.p.lerp(s.q, t), s.dp+t*(s.dq-s.dp))
	}
	start, is := 0, look(0)
	for i := 1; i <= n; i++ {
		now := -1
		if i < n {
			now = look(i)
		}
		if i == n || now != is {
			each(s.p.lerp(s.q, float64(start)/float64(n)), s.p.lerp(s.q, float64(i)/float64(n)), is)
			start, is = i, now
		}
	}
}
