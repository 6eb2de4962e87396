package view

import (
	"fmt"
	"image"
	"image/png"
	"io"
)

// Frame is one figure of a contact sheet.
type Frame struct {
	Scene  Scene // its items are drawn; its notes stand below, a line each
	Camera Camera
	// Number stands in a balloon in the corner; Heading beside it.
	Number, Heading string
	// Marked draws the frame's border heavily.
	Marked bool
}

// captionLines is how many notes of a frame are written.
const captionLines = 3

// WriteContactSheet draws figures in rows of so many columns on one sheet, as many
// rows as they need, and writes it as a PNG file. The head's title, notes and verdict
// go into the foot of the sheet, its items are not drawn; size is the value of the
// title block's cell for it. Options' camera is not used. It fails as Render does,
// and where there is no frame or no column.
func WriteContactSheet(w io.Writer, head Scene, size string, frames []Frame, columns int, o Options) error {
	if len(frames) == 0 || columns <= 0 {
		return fmt.Errorf("view: a contact sheet of %d frames in %d columns", len(frames), columns)
	}
	o, err := o.withDefaults()
	if err != nil {
		return err
	}
	sh, err := newSheet(o.Width, o.Height, false, Sheet)
	if err != nil {
		return fmt.Errorf("view: %w", err)
	}
	rows := (len(frames) + columns - 1) / columns
	var present [roles]bool
	for i := range frames {
		f := &frames[i]
		if err := f.Scene.check(); err != nil {
			return err
		}
		x, y := i%columns, i/columns
		v := sh.view
		box := image.Rect(v.Min.X+v.Dx()*x/columns, v.Min.Y+v.Dy()*y/rows, v.Min.X+v.Dx()*(x+1)/columns, v.Min.Y+v.Dy()*(y+1)/rows)
		if err := sh.frameOf(f, box, o, &present); err != nil {
			return err
		}
		if f.Marked {
			sh.canvas.border(box.Inset(sh.px(6)), sh.px(4), Ink)
		}
	}
	light := sh.px(1.4)
	for x := 1; x < columns; x++ {
		at := sh.view.Min.X + sh.view.Dx()*x/columns
		sh.rect(image.Rect(at, sh.view.Min.Y, at+light, sh.view.Max.Y), Ink)
	}
	for y := 1; y < rows; y++ {
		at := sh.view.Min.Y + sh.view.Dy()*y/rows
		sh.rect(image.Rect(sh.view.Min.X, at, sh.view.Max.X, at+light), Ink)
	}
	sh.frame()
	sh.key(present)
	sh.writeNotes(head.Notes)
	sh.titleBlock(&head, frames[0].Camera, size)
	enc := png.Encoder{CompressionLevel: png.DefaultCompression}
	if err := enc.Encode(w, sh.NRGBA); err != nil {
		return fmt.Errorf("view: write PNG: %w", err)
	}
	return nil
}

// frameOf draws one figure with its words into a box, and adds the roles in sight.
func (s *sheet) frameOf(f *Frame, box image.Rectangle, o Options, present *[roles]bool) error {
	size, pitch := 19*s.u, 24*s.u
	caption := box.Max.Y - s.px(16+24*captionLines)
	fig := &figure{canvas: s.canvas, frame: image.Rect(box.Min.X, box.Min.Y+s.px(56), box.Max.X, caption),
		ss: o.Supersample, u: s.u, ghost: o.GhostPart, bare: true, solids: f.Scene.surfaces()}
	m := 14 * s.u
	camera := f.Camera
	if camera == (Camera{}) {
		camera = ThreeQuarter()
	}
	bare := f.Scene
	bare.Labels = nil
	if err := fig.place(&bare, camera, margins{m, m, m, m}); err != nil {
		return err
	}
	fig.compose()
	fig.drawPlate()
	for r := range roles {
		present[r] = present[r] || fig.visible[r]
	}
	at := point{float64(box.Min.X) + 36*s.u, float64(box.Min.Y) + 34*s.u}
	s.disc(at, balloonRadius*s.u, Ink)
	s.disc(at, (balloonRadius-2.4)*s.u, Paper)
	text, ts := s.bold.fit(f.Number, balloonText*s.u, 1.6*balloonRadius*s.u)
	s.bold.draw(s.canvas, text, ts, point{at.x - s.bold.width(text, ts)/2, at.y + 0.36*ts}, along, Ink)
	x := at.x + 34*s.u
	s.bold.fitted(s.canvas, f.Heading, 22*s.u, float64(box.Max.X)-18*s.u-x, point{x, at.y + 8*s.u}, Ink)
	room := float64(box.Dx()) - 40*s.u
	for i, note := range f.Scene.Notes[:min(len(f.Scene.Notes), captionLines)] {
		s.plain.fitted(s.canvas, note, size, room, point{float64(box.Min.X) + 20*s.u, float64(caption) + size + float64(i)*pitch}, Ink)
	}
	return nil
}
