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

// clearance is what an exploded picture leaves between a body and the part, as a
// share of the part's diagonal.
const clearance = 0.08

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
		w := bodies[i].WayFrom(part)
		far[w] = max(far[w], prove.Clear(bodies[i].Bounds, part, w.Vector(), room))
	}
	for i := range bodies {
		w := bodies[i].WayFrom(part)
		if moves[i] = r3.Scale(far[w], w.Vector()); moves[i] == (r3.Vec{}) {
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
		if k := prove.BodyOf(shell.Bounds(), bodies); k >= 0 && !ofSheet(shell.Bounds(), d.sheets) {
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
	c = view.Facing(s, c)
	// What stays, since it comes off in pieces, is numbered at the side that is seen.
	for i := range min(len(bodies), mostBalloons) {
		if moves[i] != (r3.Vec{}) {
			continue
		}
		lo, hi := bodies[i].Bounds.Min, bodies[i].Bounds.Max
		at := r3.Scale(0.5, r3.Add(lo, hi))
		switch look := c.Look; {
		case math.Abs(look.X) > math.Abs(look.Y) && look.X < 0:
			at.X = hi.X
		case math.Abs(look.X) > math.Abs(look.Y):
			at.X = lo.X
		case look.Y < 0:
			at.Y = hi.Y
		default:
			at.Y = lo.Y
		}
		s.Labels = append(s.Labels, view.Label{At: at, Text: fmt.Sprint(bodies[i].ID)})
	}
	return s, c
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
