package main

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// mostPanels bounds the failures whose layers are drawn, two beside each other.
	mostPanels, panelColumns = 6, 2
	// leastSheet is the least width of them all, in pixels, for letters to be read.
	leastSheet = 1400
	// around is how much of a layer is drawn round a failure, in mm each way: a
	// bridge and a bit.
	around = 14.0
)

// layerSheet draws, for each of the worst reasons, the layer that it is about as seen
// from above: the part, the supports, what of the part they carry, and what is wrong.
func layerSheet(name, title string, part *raster.Stack, sup *mesh.Mesh, r prove.Report, width int) (file, error) {
	stack := raster.Section(sup, r.Grid, part.Layers, 0)
	n := min(len(r.Reasons), mostPanels)
	rows := (n + panelColumns - 1) / panelColumns
	w, h := width/panelColumns, width/panelColumns*3/4
	sheet := image.NewNRGBA(image.Rect(0, 0, w*panelColumns, h*rows))
	for i := range n {
		panel, err := view.Render(layerScene(title, i+1, part, stack, r), view.Options{Width: w, Height: h, Camera: view.Top()})
		if err != nil {
			return file{}, fmt.Errorf("drawing %s: %w", name, err)
		}
		if i == 0 { // what no panel fills is paper
			draw.Draw(sheet, sheet.Bounds(), image.NewUniform(panel.At(0, 0)), image.Point{}, draw.Src)
		}
		at := image.Pt(i%panelColumns*w, i/panelColumns*h)
		draw.Draw(sheet, panel.Bounds().Add(at), panel, image.Point{}, draw.Src)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, sheet); err != nil {
		return file{}, fmt.Errorf("drawing %s: %w", name, err)
	}
	return file{name, b.Bytes()}, nil
}

// layerScene is the layer that reason no is about.
func layerScene(title string, no int, part, sup *raster.Stack, r prove.Report) view.Scene {
	why := &r.Reasons[no-1]
	k := part.Layers.Above(why.LayerZ + 1e-6)
	g := r.Grid
	lo, hi := boxAround(g, why)
	cropped := func(b *raster.Bits) raster.Bits { return raster.Crop(b, lo[0], lo[1], hi[0], hi[1]) }
	// The layer where most of it is seen.
	var wrong raster.Bits
	for _, s := range wrongSpots(r, why.Kind) {
		if b := cropped(&s.Cells); b.Count() > wrong.Count() {
			wrong, k = b, s.K
		}
	}
	var pads raster.Bits
	for _, s := range r.Contacts {
		if s.K == k {
			pads = cropped(&s.Cells)
		}
	}
	pads = raster.AndNot(&pads, &wrong)
	own := cropped(onGrid(part, g, k))
	own = raster.AndNot(&own, &wrong)
	own = raster.AndNot(&own, &pads)
	below := cropped(sup.Layer(k))
	below = raster.AndNot(&below, &wrong)
	below = raster.AndNot(&below, &own)
	flat := func(role view.Role, name string, b raster.Bits) view.Item {
		return view.Item{Mesh: tiles(g, part.Layers, []slice{{k, b}}), Role: role, Name: name, Flat: true}
	}
	return view.Scene{
		Title: fmt.Sprintf("%s, reason %d: %s", title, no, why.Kind), Subtitle: fmt.Sprintf("layer %d from above, z %.2f to %.2f mm", k+1, part.Bottom(k), part.Top(k)),
		LayerHeight: part.Height, Failed: true,
		Items:  []view.Item{flat(view.Part, "part", own), flat(view.Support, "supports", below), flat(view.Pad, "pads", pads), flat(view.Unheld, "what is wrong", wrong)},
		Labels: []view.Label{{At: r3.Vec{X: why.At.X, Y: why.At.Y, Z: part.Bottom(k)}, Text: fmt.Sprint(no)}},
		Notes:  []string{why.Text, sentence(why.Remedy)},
	}
}

// onGrid returns layer k of a stack on the grid of a proof, which may be wider.
func onGrid(s *raster.Stack, g raster.Grid, k int) *raster.Bits {
	if s.Grid == g {
		return s.Layer(k)
	}
	di, dj := g.At(s.Center(0, 0))
	b := s.Layer(k)
	x0, y0, x1, y1 := b.Bounds()
	out := raster.NewBits(x0+di, y0+dj, x1+di, y1+dj)
	b.EachRun(func(j, i0, i1 int) { out.SetSpan(j+dj, i0+di, i1+di) })
	return &out
}

// boxAround returns the cells that are drawn.
func boxAround(g raster.Grid, why *prove.Reason) (lo, hi [2]int) {
	n := int(around / g.Cell)
	i := int((why.At.X - g.Origin.X) / g.Cell)
	j := int((why.At.Y - g.Origin.Y) / g.Cell)
	return [2]int{i - n, j - n}, [2]int{i + n, j + n}
}

// wrongSpots returns the cells that a kind of reason is about, none for those about
// whole bodies.
func wrongSpots(r prove.Report, kind prove.Kind) []prove.Spot {
	switch kind {
	case prove.PartUnheld:
		return r.UnheldSpots
	case prove.SupportUnheld:
		return r.SupportSpots
	case prove.Collision:
		return r.CollisionSpots
	case prove.Fused:
		return r.FusedSpots
	case prove.SideFused:
		return r.SideTouchedSpots
	}
	return nil
}
