package main

import (
	"bytes"
	"fmt"
	"math"
	"slices"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports"
	"falsework/supports/prove"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// shot is one picture: a scene, how it is looked at, and the name of its file.
type shot struct {
	name    string
	scene   view.Scene
	options view.Options
}

// drawShots draws pictures side by side.
func drawShots(list ...shot) ([]file, error) {
	files := make([]file, len(list))
	var eg errgroup.Group
	for i, p := range list {
		eg.Go(func() error {
			var b bytes.Buffer
			if err := view.WritePNG(&b, p.scene, p.options); err != nil {
				return fmt.Errorf("drawing %s: %w", p.name, err)
			}
			files[i] = file{p.name, b.Bytes()}
			return nil
		})
	}
	return files, eg.Wait()
}

// vector returns the direction of a way out. It is zero for words that are none.
func vector(w prove.Way) r3.Vec {
	switch w {
	case "down":
		return r3.Vec{Z: -1}
	case "up":
		return r3.Vec{Z: 1}
	}
	var azimuth, tilt float64
	var rise string
	n, _ := fmt.Sscanf(string(w), "%g° and %g° %s", &azimuth, &tilt, &rise)
	if n < 1 {
		return r3.Vec{}
	}
	if rise == "down" {
		tilt = -tilt
	}
	sin, cos := math.Sincos(azimuth * math.Pi / 180)
	up, along := math.Sincos(tilt * math.Pi / 180)
	return r3.Vec{X: cos * along, Y: sin * along, Z: up}
}

// wayOf chooses the way by which a body is drawn, and told, to come off: of those that
// the proof found the shortest until it is clear of the part's box.
func wayOf(b *prove.Body, part r3.Box) prove.Way {
	best, least := prove.Way(""), math.Inf(1)
	for _, w := range b.WaysOut {
		if v := vector(w); v != (r3.Vec{}) {
			if far := beyond(b.Bounds, part, v, 0); far < least {
				best, least = w, far
			}
		}
	}
	return best
}

// clearance is what an exploded picture leaves between a body and the part, as a
// share of the part's diagonal.
const clearance = 0.08

// beyond returns how far a box must move along d until it is clear of another by room.
func beyond(moved, fixed r3.Box, d r3.Vec, room float64) float64 {
	far := math.Inf(1)
	for _, a := range [3][5]float64{
		{d.X, moved.Min.X, moved.Max.X, fixed.Min.X, fixed.Max.X},
		{d.Y, moved.Min.Y, moved.Max.Y, fixed.Min.Y, fixed.Max.Y},
		{d.Z, moved.Min.Z, moved.Max.Z, fixed.Min.Z, fixed.Max.Z},
	} {
		switch v := a[0]; {
		case v > 1e-3:
			far = min(far, (a[4]+room-a[1])/v)
		case v < -1e-3:
			far = min(far, (a[3]-room-a[2])/v)
		}
	}
	if math.IsInf(far, 1) {
		return 0
	}
	return max(0, far)
}

// exploded pulls each body of the supports away along its way out.
func (d drawing) exploded(bodies []prove.Body) (view.Scene, view.Camera) {
	part := d.part.Bounds()
	room := clearance * r3.Norm(r3.Sub(part.Max, part.Min))
	moves := make([]r3.Vec, len(bodies))
	s := d.scene()
	s.Labels = nil // those of unheld spots: numbers here are of supports
	// Those that leave the same way go equally far, so that none runs into another.
	far := map[prove.Way]float64{}
	for i := range bodies {
		w := wayOf(&bodies[i], part)
		far[w] = max(far[w], beyond(bodies[i].Bounds, part, vector(w), room))
	}
	for i := range bodies {
		w := wayOf(&bodies[i], part)
		if moves[i] = r3.Scale(far[w], vector(w)); moves[i] == (r3.Vec{}) {
			continue
		}
		mid := r3.Scale(0.5, r3.Add(bodies[i].Bounds.Min, bodies[i].Bounds.Max))
		top := r3.Vec{X: mid.X, Y: mid.Y, Z: bodies[i].Bounds.Max.Z}
		s.Trails = append(s.Trails, view.Trail{From: top, To: r3.Add(top, moves[i])})
		if i < mostBalloons {
			s.Labels = append(s.Labels, view.Label{At: r3.Add(top, moves[i]), Text: fmt.Sprint(bodies[i].ID)})
		}
	}
	moved := &mesh.Mesh{}
	for _, shell := range d.supports.Shells() {
		if k := bodyOf(shell.Bounds(), bodies); k >= 0 && !ofSheet(shell.Bounds(), d.sheets) {
			shell.Translate(moves[k])
		}
		moved.Append(shell)
	}
	// Unheld spots are for the other pictures: rings would hide what this one tells.
	s.Items = slices.DeleteFunc(s.Items, func(it view.Item) bool { return it.Role == view.Unheld })
	for i := range s.Items {
		if s.Items[i].Role == view.Support {
			s.Items[i].Mesh = moved
		}
	}
	s.Notes = []string{"The supports, by number, along their ways out.", shortCaution}
	c := view.ThreeQuarter()
	c.Name, c.Plate = "exploded", false
	return s, view.Facing(s, c)
}

// bodyOf finds the printed body that a shell belongs to: of those whose box holds most
// of the shell's the smallest. It returns −1 where there is none.
func bodyOf(shell r3.Box, bodies []prove.Body) int {
	volume := func(b r3.Box) float64 {
		d := r3.Sub(b.Max, b.Min)
		if d.X <= 0 || d.Y <= 0 || d.Z <= 0 {
			return 0
		}
		return d.X * d.Y * d.Z
	}
	best, most, size := -1, 0.0, 0.0
	for i := range bodies {
		b := bodies[i].Bounds
		both := r3.Box{
			Min: r3.Vec{X: max(shell.Min.X, b.Min.X), Y: max(shell.Min.Y, b.Min.Y), Z: max(shell.Min.Z, b.Min.Z)},
			Max: r3.Vec{X: min(shell.Max.X, b.Max.X), Y: min(shell.Max.Y, b.Max.Y), Z: min(shell.Max.Z, b.Max.Z)},
		}
		in := volume(both)
		// Cells stand out by a fraction of a shell; what is nearly as much is the same.
		if in > 1.02*most || in > 0.98*most && in > 0 && volume(b) < size {
			best, most, size = i, max(in, most), volume(b)
		}
	}
	return best
}

// busiest returns the layer of the part above which supports carry most, −1 without.
func (d drawing) busiest() int {
	area := map[int]int{}
	best := -1
	for i := range d.pads {
		k := d.pads[i].k
		area[k] += d.pads[i].cells.Count()
		if best < 0 || area[k] > area[best] || area[k] == area[best] && k < best {
			best = k
		}
	}
	return best
}

// layerScene shows one layer of part and supports from above. Where the layer is one
// that supports carry, their tops are drawn below the pads.
func (d drawing) layerScene(part *raster.Stack, k int) view.Scene {
	grid := raster.GridFor(union(d.part.Bounds(), d.supports.Bounds()), part.Cell, margin)
	sup := raster.Section(d.supports, grid, part.Layers, 0)
	// The tops below the pads of this layer, across the void.
	below := k
	for below > 0 && k-below < 4 && (below == k || sup.Layer(below).Count() == 0) {
		below--
	}
	var pads []slice
	for _, p := range d.pads {
		if p.k == k {
			pads = append(pads, p)
		}
	}
	s := view.Scene{
		Title: d.title, LayerHeight: d.layers.Height, Verdict: d.verdict, Failed: d.failed,
		Subtitle: fmt.Sprintf("layer %d, z %.4g to %.4g mm", k+1, part.Bottom(k), part.Bottom(k+1)),
		Items: []view.Item{
			{Mesh: tiles(part.Grid, part.Layers, []slice{{below, part.Layer(below).Clone()}}), Role: view.Part, Name: "part", Flat: true},
			{Mesh: tiles(sup.Grid, part.Layers, []slice{{below, sup.Layer(below).Clone()}}), Role: view.Support, Name: "supports", Flat: true},
			{Mesh: tiles(d.grid, d.layers, pads), Role: view.Pad, Name: "pads"},
		},
		Notes: []string{"A cut through part and supports, seen from above."},
	}
	if k > 0 {
		s.Notes = append(s.Notes, "Hatched: where the next layer of the part comes to lie on them.")
	}
	return s
}

// Bands of the need map, in radians from the vertical: nearBand below the limit, and
// from levelBand on undersides are ceilings. Choices of what to show, not rules.
const nearBand, levelBand = 10 * math.Pi / 180, 80 * math.Pi / 180

// needScene shows how far each underside of the bare part leans.
func needScene(d drawing, s supports.Settings) view.Scene {
	bands := map[view.Role]*mesh.Mesh{view.Near: {}, view.Over: {}, view.Level: {}}
	for i, t := range d.part.Triangles {
		n := d.part.AreaNormal(i)
		area := r3.Norm(n)
		a, b, c := d.part.Corners(i)
		if area == 0 || n.Z >= 0 || max(a.Z, b.Z, c.Z) <= onPlate {
			continue
		}
		lean := math.Asin(min(1, -n.Z/area))
		role := view.Near
		switch {
		case lean < s.Limit-nearBand:
			continue
		case lean >= levelBand:
			role = view.Level
		case lean > s.Limit:
			role = view.Over
		}
		m := bands[role]
		v := uint32(len(m.Vertices))
		m.Vertices = append(m.Vertices, d.part.Vertices[t[0]], d.part.Vertices[t[1]], d.part.Vertices[t[2]])
		m.Triangles = append(m.Triangles, [3]uint32{v, v + 1, v + 2})
	}
	deg := 180 / math.Pi
	out := view.Scene{
		Title: d.title, Subtitle: "how far undersides lean from the vertical", LayerHeight: d.layers.Height,
		Items: []view.Item{{Mesh: d.part, Role: view.Part, Name: "part"}},
		Notes: []string{
			fmt.Sprintf("The limit is %.3g°. Near: from %.3g°. Nearly level: from %.3g°.", s.Limit*deg, (s.Limit-nearBand)*deg, levelBand*deg),
			"Short level undersides hold as bridges: the survey tells which do not.",
		},
	}
	for _, role := range []view.Role{view.Near, view.Over, view.Level} {
		out.Items = append(out.Items, view.Item{Mesh: bands[role], Role: role, Name: role.String()})
	}
	return out
}
