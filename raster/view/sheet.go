package view

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Sizes of letters and signs in sheet units, a unit being a pixel of a sheet
// 1600 wide. The smallest letters stay legible on a sheet shown half as wide.
const (
	nameText      = 33
	valueText     = 24
	captionText   = 21
	dimensionText = 25
	balloonText   = 24
	balloonRadius = 20
)

// sheet is the drawing's paper with its divisions, in whole pixels.
type sheet struct {
	canvas
	u                      float64
	plain, bold, smallcaps *lettering

	border image.Rectangle
	band   image.Rectangle // empty unless the proof fails
	view   image.Rectangle
	legend image.Rectangle
	notes  image.Rectangle
	title  image.Rectangle
}

func newSheet(w, h int, failed bool, background Background) (*sheet, error) {
	faces, err := fonts()
	if err != nil {
		return nil, err
	}
	s := &sheet{
		canvas: newCanvas(w, h, Paper),
		u:      max(0.4, min(float64(w)/1600, float64(h)/1150)),
		plain:  &lettering{font: faces[0]}, bold: &lettering{font: faces[1]}, smallcaps: &lettering{font: faces[2]},
	}
	if background == Clear {
		clear(s.Pix)
	}
	if background != Sheet {
		s.u = max(0.4, min(float64(w)/1600, float64(h)/1200))
		s.view = s.Rect
		if failed {
			s.band = image.Rect(0, 0, w, s.px(54))
			s.view.Min.Y = s.band.Max.Y
		}
		return s, nil
	}
	m := s.px(26)
	s.border = image.Rect(m, m, w-m, h-m)
	in := s.border.Inset(s.px(3))
	foot := in.Max.Y - s.px(216)
	s.view = image.Rect(in.Min.X, in.Min.Y, in.Max.X, foot)
	if failed {
		s.band = image.Rect(in.Min.X, in.Min.Y, in.Max.X, in.Min.Y+s.px(54))
		s.view.Min.Y = s.band.Max.Y
	}
	legend := in.Min.X + s.px(268)
	title := in.Max.X - in.Dx()*42/100
	s.legend = image.Rect(in.Min.X, foot, legend, in.Max.Y)
	s.notes = image.Rect(legend, foot, title, in.Max.Y)
	s.title = image.Rect(title, foot, in.Max.X, in.Max.Y)
	return s, nil
}

// px is a number of sheet units in whole pixels, at least one.
func (s *sheet) px(units float64) int { return max(1, int(math.Round(units*s.u))) }

// frame draws the border, the centring marks of a drawing sheet and the
// divisions of its foot.
func (s *sheet) frame() {
	heavy, light := s.px(3), s.px(1.4)
	s.canvas.border(s.border, heavy, Ink)
	mid := image.Point{X: (s.border.Min.X + s.border.Max.X) / 2, Y: (s.border.Min.Y + s.border.Max.Y) / 2}
	long := s.px(13)
	for _, r := range []image.Rectangle{
		image.Rect(mid.X, s.border.Min.Y-long, mid.X+heavy, s.border.Min.Y),
		image.Rect(mid.X, s.border.Max.Y, mid.X+heavy, s.border.Max.Y+long),
		image.Rect(s.border.Min.X-long, mid.Y, s.border.Min.X, mid.Y+heavy),
		image.Rect(s.border.Max.X, mid.Y, s.border.Max.X+long, mid.Y+heavy),
	} {
		s.rect(r, Ink)
	}
	s.rect(image.Rect(s.view.Min.X, s.view.Max.Y, s.view.Max.X, s.view.Max.Y+light), Ink)
	s.rect(image.Rect(s.notes.Min.X, s.notes.Min.Y, s.notes.Min.X+light, s.notes.Max.Y), Ink)
}

// failBand says across the whole sheet that the proof fails.
func (s *sheet) failBand() {
	if s.band.Empty() {
		return
	}
	s.rect(s.band, fills[Unheld])
	size := 29 * s.u
	text := "PROOF FAILS: this does not hold as drawn"
	text, size = s.bold.fit(text, size, 0.7*float64(s.band.Dx()))
	w := s.bold.width(text, size)
	mid := float64(s.band.Min.X+s.band.Max.X) / 2
	y := float64(s.band.Min.Y+s.band.Max.Y)/2 + 0.36*size
	s.bold.draw(s.canvas, text, size, point{mid - w/2, y}, along, Paper)
	// Hazard strokes at both ends, so that the band also speaks without colour.
	top, foot := float64(s.band.Min.Y), float64(s.band.Max.Y)
	h := foot - top
	for x := 0.0; x+h < mid-float64(s.band.Min.X)-w/2-20*s.u; x += 26 * s.u {
		a := float64(s.band.Min.X) + x
		s.fill(Paper, contour{{a, foot}, {a + 9*s.u, foot}, {a + 9*s.u + h, top}, {a + h, top}})
		b := float64(s.band.Max.X) - x
		s.fill(Paper, contour{{b, foot}, {b - 9*s.u, foot}, {b - 9*s.u - h, top}, {b - h, top}})
	}
}

// swatch draws a role as the figure shows it; unheld spots with their ring.
func (s *sheet) swatch(r Role, box image.Rectangle) {
	if r == Unheld {
		ring := point{float64(box.Max.X) - 13*s.u, float64(box.Min.Y+box.Max.Y) / 2}
		s.ring(ring, 8*s.u, 3*s.u, false, fills[Unheld])
		for _, d := range []point{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			s.stroke(ring.add(d.scale(6*s.u)), ring.add(d.scale(14*s.u)), 2.6*s.u, fills[Unheld], 1)
		}
		box.Max.X -= s.px(30)
	}
	fill := fills[r]
	if r.tints() {
		fill = mix(fills[Part], fill, tint)
	}
	s.rect(box, fill)
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			if k, a := hatch(r, float64(x), float64(y), s.u); a > 0 {
				s.blend(x, y, k, a)
			}
		}
	}
	weight := 1.8
	if r == Region {
		weight = regionWeight * outlineWeight
	}
	s.canvas.border(box, s.px(weight), Ink)
}

// key draws the legend of the roles that are in sight.
func (s *sheet) key(present [roles]bool) {
	var rows []Role
	for r := range roles {
		if present[r] {
			rows = append(rows, r)
		}
	}
	if len(rows) == 0 {
		return
	}
	top, pitch := float64(s.legend.Min.Y)+16*s.u, 46*s.u
	if len(rows) > 4 {
		pitch = 38 * s.u
	}
	for i, r := range rows {
		y := int(top + float64(i)*pitch)
		x := s.legend.Min.X + s.px(18)
		box := image.Rect(x, y, x+s.px(58), y+s.px(29))
		s.swatch(r, box)
		tx := float64(box.Max.X) + 14*s.u
		s.plain.fitted(s.canvas, r.String(), valueText*s.u, float64(s.legend.Max.X)-tx-8*s.u,
			point{tx, float64(box.Min.Y+box.Max.Y)/2 + 0.35*valueText*s.u}, Ink)
	}
}

// writeNotes sets the notes above the scale, as many lines as there is room for.
func (s *sheet) writeNotes(notes []string) {
	size, pitch := 22*s.u, 28*s.u
	x := float64(s.notes.Min.X) + 20*s.u
	room := float64(s.notes.Max.X) - 16*s.u - x
	var lines []string
	for _, n := range notes {
		lines = append(lines, s.plain.wrap(n, size, room)...)
	}
	const most = 4
	if len(lines) > most {
		lines = lines[:most]
		lines[most-1] += " …"
	}
	for i, line := range lines {
		s.plain.fitted(s.canvas, line, size, room, point{x, float64(s.notes.Min.Y) + 32*s.u + float64(i)*pitch}, Ink)
	}
}

// cell is a field of the title block: a caption over a value.
type cell struct {
	caption, value string
	colour         color.NRGBA
	face           *lettering
}

func (s *sheet) drawCell(r image.Rectangle, c cell) {
	x, room := float64(r.Min.X)+13*s.u, float64(r.Dx())-22*s.u
	s.smallcaps.fitted(s.canvas, c.caption, captionText*s.u, room, point{x, float64(r.Min.Y) + 23*s.u}, InkSoft)
	c.face.fitted(s.canvas, c.value, valueText*s.u, room, point{x, float64(r.Max.Y) - 11*s.u}, c.colour)
}

// titleBlock draws the block in the lower right corner.
func (s *sheet) titleBlock(sc *Scene, cam Camera, size string) {
	light := s.px(1.4)
	r := s.title
	s.rect(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Max.Y), Paper)
	s.rect(image.Rect(r.Min.X, r.Min.Y, r.Min.X+s.px(3), r.Max.Y), Ink)
	s.rect(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+s.px(3)), Ink)
	x, room := float64(r.Min.X)+16*s.u, float64(r.Dx())-28*s.u
	s.bold.fitted(s.canvas, sc.Title, nameText*s.u, room, point{x, float64(r.Min.Y) + 42*s.u}, Ink)
	s.plain.fitted(s.canvas, sc.Subtitle, 22*s.u, room, point{x, float64(r.Min.Y) + 74*s.u}, InkSoft)

	rows := [3]int{r.Min.Y + s.px(88), r.Min.Y + s.px(152), r.Max.Y}
	split := r.Min.X + r.Dx()*46/100
	for _, y := range rows[:2] {
		s.rect(image.Rect(r.Min.X, y, r.Max.X, y+light), Ink)
	}
	s.rect(image.Rect(split, rows[0], split+light, r.Max.Y), Ink)

	layer := "–"
	if sc.LayerHeight > 0 {
		layer = trimNumber(sc.LayerHeight) + " mm"
	}
	verdict := cell{"verdict", sc.Verdict, Ink, s.bold}
	switch {
	case sc.Failed && sc.Verdict == "":
		verdict.value = "fails"
	case sc.Verdict == "":
		verdict.value = "–"
	}
	if sc.Failed {
		verdict.colour = fills[Unheld]
	}
	for _, c := range []struct {
		box image.Rectangle
		cell
	}{
		{image.Rect(r.Min.X, rows[0], split, rows[1]), cell{"view", cam.Name, Ink, s.plain}},
		{image.Rect(split, rows[0], r.Max.X, rows[1]), cell{"size x × y × z", size, Ink, s.plain}},
		{image.Rect(r.Min.X, rows[1], split, rows[2]), cell{"layer", layer, Ink, s.plain}},
		{image.Rect(split, rows[1], r.Max.X, rows[2]), verdict},
	} {
		s.drawCell(c.box, c.cell)
	}
}

// overall formats the size of a box.
func overall(b r3.Box) string {
	d := r3.Sub(b.Max, b.Min)
	if d.Z == 0 { // a single layer
		return millimetres(d.X) + " × " + millimetres(d.Y) + " mm"
	}
	return millimetres(d.X) + " × " + millimetres(d.Y) + " × " + millimetres(d.Z) + " mm"
}
