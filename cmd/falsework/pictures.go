package main

import (
	"fmt"
	"sort"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// mostBalloons bounds the numbered spots of a picture; beyond it they hide more
// than they show.
const mostBalloons = 12

// leastWidth and mostWidth bound a picture, in pixels.
const leastWidth, mostWidth = 600, 6000

// smallSpot is the area in mm² below which a place gets a marker of
// markerRadius mm, since a few cells would not be seen.
const smallSpot, markerRadius = 2.0, 0.7

// spot is one place where something is wrong.
type spot struct {
	at      r3.Vec  // a cell of it, near its centroid
	areaMM2 float64 // of unheld cells, which are drawn; 0 if it is about something else
}

// tiles returns the slices as flat areas at the undersides of their layers. Rows
// of one extent that follow one another become one rectangle.
func tiles(g raster.Grid, lay raster.Layers, slices []slice) *mesh.Mesh {
	var out []view.Tile
	for n := range slices {
		z := lay.Bottom(slices[n].k)
		type box struct{ j0, j1 int }
		open := map[[2]int]box{} // by first and last cell of the row
		close := func(i [2]int, b box) {
			out = append(out, view.Tile{
				Min: corner(g, i[0], b.j0), Max: corner(g, i[1], b.j1), Z: z})
		}
		slices[n].cells.EachRun(func(j, i0, i1 int) {
			at := [2]int{i0, i1}
			if b, ok := open[at]; ok && b.j1 == j {
				open[at] = box{b.j0, j + 1}
				return
			} else if ok {
				close(at, b)
			}
			open[at] = box{j, j + 1}
		})
		for at, b := range open {
			close(at, b)
		}
	}
	sort.Slice(out, func(a, b int) bool {
		p, q := out[a], out[b]
		switch {
		case p.Z != q.Z:
			return p.Z < q.Z
		case p.Min.Y != q.Min.Y:
			return p.Min.Y < q.Min.Y
		}
		return p.Min.X < q.Min.X
	})
	return view.Tiles(out)
}

func corner(g raster.Grid, i, j int) r2.Vec {
	return r2.Vec{X: g.Origin.X + float64(i)*g.Cell, Y: g.Origin.Y + float64(j)*g.Cell}
}

// drawing is what the pictures of one part show.
type drawing struct {
	title    string
	subtitle string
	part     *mesh.Mesh
	supports *mesh.Mesh
	grid     raster.Grid
	layers   raster.Layers
	pads     []slice
	sheets   []prove.Sheet // and steps, which stay where they are
	unheld   []slice
	spots    []spot // the most harmful first
	verdict  string
	failed   bool
	notes    []string
}

func (d drawing) scene() view.Scene {
	s := view.Scene{
		Title: d.title, Subtitle: d.subtitle, LayerHeight: d.layers.Height, Verdict: d.verdict, Failed: d.failed,
		Items: []view.Item{
			{Mesh: d.part, Role: view.Part, Name: "part"},
			{Mesh: d.supports, Role: view.Support, Name: "supports"},
			{Mesh: tiles(d.grid, d.layers, d.pads), Role: view.Pad, Name: "pads"},
			{Mesh: tiles(d.grid, d.layers, d.unheld), Role: view.Unheld, Name: "unheld spots"},
		},
		Notes: d.notes,
	}
	for n, p := range d.spots {
		if p.areaMM2 < smallSpot {
			s.Items = append(s.Items, view.Item{Mesh: view.Marker(p.at, markerRadius), Role: view.Unheld, Name: "marker"})
		}
		if n < mostBalloons {
			s.Labels = append(s.Labels, view.Label{At: p.at, Text: fmt.Sprint(n + 1)})
		}
	}
	return s
}

// draw returns the pictures: from below and in three quarters, the part as glass.
func (d drawing) draw(below, threeQuarter string, width int) ([]file, error) {
	s := d.scene()
	return drawAll(s, width,
		picture{below, view.Options{Camera: view.Facing(s, view.FromBelow())}},
		picture{threeQuarter, view.Options{Camera: view.Facing(s, view.ThreeQuarter()), GhostPart: true}})
}

// picture is one view of a scene and the name of its file.
type picture struct {
	name    string
	options view.Options
}

// drawAll draws views of one scene side by side, width pixels wide.
func drawAll(s view.Scene, width int, pictures ...picture) ([]file, error) {
	list := make([]shot, len(pictures))
	for i, p := range pictures {
		p.options.Width, p.options.Height = width, width*3/4
		list[i] = shot{p.name, s, p.options}
	}
	return drawShots(list...)
}

func union(a, b r3.Box) r3.Box {
	return r3.Box{
		Min: r3.Vec{X: min(a.Min.X, b.Min.X), Y: min(a.Min.Y, b.Min.Y), Z: min(a.Min.Z, b.Min.Z)},
		Max: r3.Vec{X: max(a.Max.X, b.Max.X), Y: max(a.Max.Y, b.Max.Y), Z: max(a.Max.Z, b.Max.Z)},
	}
}
