package view

import (
	"fmt"
	"image"
	"image/png"
	"io"
	"strconv"
	"strings"
)

// Options says how to draw. The zero value is a three-quarter view of
// 1600×1200 pixels.
type Options struct {
	Width, Height int // pixels; 0 is 1600 and 1200
	Camera        Camera
	// Supersample is how many samples a pixel has each way, 1 to 4; 0 is 2, or 3
	// on a sheet of less than a megapixel, where lines are thin.
	Supersample int
	Background  Background
	// GhostPart draws the part as a pane of glass with its hidden edges dashed,
	// so that supports and pads behind it show.
	GhostPart bool
}

// Background is what a figure stands on.
type Background int

const (
	Sheet Background = iota // a drawing's sheet, with dimensions, legend and title block
	Plain                   // paper alone
	Clear                   // nothing: what is not drawn is transparent
)

// Limits of a sheet in pixels: below the least no letter is legible, above the
// most the rasters would take gigabytes.
const (
	leastWidth, leastHeight = 320, 240
	mostPixels              = 64 << 20
)

func (o Options) withDefaults() (Options, error) {
	if o.Width == 0 {
		o.Width = 1600
	}
	if o.Height == 0 {
		o.Height = 1200
	}
	if o.Camera == (Camera{}) {
		o.Camera = ThreeQuarter()
	}
	if o.Supersample < 0 || o.Supersample > 4 {
		return o, fmt.Errorf("view: supersampling %d is not 1 to 4", o.Supersample)
	}
	if o.Width < leastWidth || o.Height < leastHeight {
		return o, fmt.Errorf("view: a sheet of %d×%d pixels is smaller than %d×%d", o.Width, o.Height, leastWidth, leastHeight)
	}
	if o.Supersample == 0 {
		o.Supersample = 2
		if o.Width <= 1<<20/o.Height {
			o.Supersample = 3
		}
	}
	// Dividing first keeps a huge size from overflowing.
	if o.Width > mostPixels/(o.Supersample*o.Supersample)/o.Height {
		return o, fmt.Errorf("view: a sheet of %d×%d pixels at %d samples is beyond %d samples", o.Width, o.Height, o.Supersample, mostPixels)
	}
	return o, nil
}

// Render draws a scene. The picture is opaque but on a clear background, and repeats bit
// by bit. It fails
// for coordinates that are not finite, indices out of range, a camera without a
// direction and sizes out of range; the error names the item.
func Render(s Scene, o Options) (*image.NRGBA, error) {
	img, _, err := render(s, o)
	return img, err
}

// render also hands out the figure, for tests of its geometry.
func render(s Scene, o Options) (*image.NRGBA, *figure, error) {
	o, err := o.withDefaults()
	if err != nil {
		return nil, nil, err
	}
	if err := s.check(); err != nil {
		return nil, nil, err
	}
	sh, err := newSheet(o.Width, o.Height, s.Failed, o.Background)
	if err != nil {
		return nil, nil, fmt.Errorf("view: %w", err)
	}
	f := &figure{canvas: sh.canvas, frame: sh.view, bare: o.Background != Sheet, ss: o.Supersample, u: sh.u, ghost: o.GhostPart, solids: s.surfaces()}
	m := margins{left: 26 * sh.u, right: 26 * sh.u, top: 26 * sh.u, bottom: 22 * sh.u}
	if len(s.Labels) > 0 {
		widest := 0.0
		for _, lb := range s.Labels {
			_, half := f.balloonSize(lb.Text, sh.bold)
			widest = max(widest, half)
		}
		more := 2 * (widest - balloonRadius*sh.u)
		m.left, m.right = 84*sh.u+more, 130*sh.u+more
	}
	if err := f.place(&s, o.Camera, m); err != nil {
		return nil, nil, err
	}

	f.compose()
	f.drawPlate()
	f.drawTrails(s.Trails)
	f.crosshairs()
	f.regionRings()
	if o.Background != Sheet {
		f.balloons(s.Labels, nil, sh.bold)
		sh.failBand()
		return sh.NRGBA, f, nil
	}
	size := "–"
	var dims []dimension
	if box, any := s.bounds(func(r Role) bool { return r == Part }); any {
		size = overall(box)
		dims = f.dimensionLines(box)
	}
	f.dimensions(dims)
	f.balloons(s.Labels, dims, sh.bold)
	f.dimensionFigures(dims, sh.plain) // leaders pass behind them

	sh.failBand()
	sh.frame()
	sh.key(f.visible)
	sh.writeNotes(s.Notes)
	if len(f.solids) > 0 {
		base := point{float64(sh.notes.Min.X) + 26*sh.u, float64(sh.notes.Max.Y) - 22*sh.u}
		f.scaleBar(base, 0.5*float64(sh.notes.Dx()), sh.plain)
		if float64(sh.notes.Dx()) > 380*sh.u { // else the scale needs the room
			f.axes(point{float64(sh.notes.Max.X) - 72*sh.u, float64(sh.notes.Max.Y) - 62*sh.u}, sh.plain)
		}
	}
	sh.titleBlock(&s, o.Camera, size)
	return sh.NRGBA, f, nil
}

// WritePNG draws a scene and writes it as a PNG file.
func WritePNG(w io.Writer, s Scene, o Options) error {
	img, err := Render(s, o)
	if err != nil {
		return err
	}
	enc := png.Encoder{CompressionLevel: png.DefaultCompression}
	if err := enc.Encode(w, img); err != nil {
		return fmt.Errorf("view: write PNG: %w", err)
	}
	return nil
}

// trimNumber formats to three decimals without trailing zeros.
func trimNumber(x float64) string {
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(x, 'f', 3, 64), "0"), ".")
}
