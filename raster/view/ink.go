package view

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/vector"
)

// canvas is a sheet to draw on, opaque or without paper. All coordinates are in pixels, pixel
// (x, y) covering x to x+1.
type canvas struct{ *image.NRGBA }

func newCanvas(w, h int, fill color.NRGBA) canvas {
	c := canvas{image.NewNRGBA(image.Rect(0, 0, w, h))}
	c.rect(c.Rect, fill)
	return c
}

// blend lays col over a pixel with coverage a, 0 to 1. Outside the canvas
// nothing happens.
func (c canvas) blend(x, y int, col color.NRGBA, a float64) {
	if !(image.Point{X: x, Y: y}).In(c.Rect) || a <= 0 {
		return
	}
	a = min(a, 1)
	p := c.Pix[c.PixOffset(x, y):][:4:4]
	if p[3] < 0xFF { // source over destination (Porter, Duff 1984, SIGGRAPH 18(3))
		under := float64(p[3]) / 255 * (1 - a)
		for i, v := range [3]uint8{col.R, col.G, col.B} {
			p[i] = uint8((a*float64(v)+under*float64(p[i]))/(a+under) + 0.5)
		}
		p[3] = uint8(255*(a+under) + 0.5)
		return
	}
	p[0] = uint8(float64(p[0]) + a*(float64(col.R)-float64(p[0])) + 0.5)
	p[1] = uint8(float64(p[1]) + a*(float64(col.G)-float64(p[1])) + 0.5)
	p[2] = uint8(float64(p[2]) + a*(float64(col.B)-float64(p[2])) + 0.5)
	p[3] = 0xFF
}

// rect fills whole pixels.
func (c canvas) rect(r image.Rectangle, col color.NRGBA) {
	r = r.Intersect(c.Rect)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := c.Pix[c.PixOffset(r.Min.X, y):][:4*r.Dx()]
		for i := 0; i < len(row); i += 4 {
			row[i], row[i+1], row[i+2], row[i+3] = col.R, col.G, col.B, 0xFF
		}
	}
}

// border draws a frame of whole pixels inside r.
func (c canvas) border(r image.Rectangle, width int, col color.NRGBA) {
	c.rect(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+width), col)
	c.rect(image.Rect(r.Min.X, r.Max.Y-width, r.Max.X, r.Max.Y), col)
	c.rect(image.Rect(r.Min.X, r.Min.Y, r.Min.X+width, r.Max.Y), col)
	c.rect(image.Rect(r.Max.X-width, r.Min.Y, r.Max.X, r.Max.Y), col)
}

// stroke draws a straight line with round ends; strength is its opacity.
func (c canvas) stroke(p, q point, width float64, col color.NRGBA, strength float64) {
	r := width/2 + 0.5 // coverage falls from 1 to 0 over one pixel
	d := q.sub(p)
	l2 := d.dot(d)
	y0 := max(int(math.Floor(min(p.y, q.y)-r)), c.Rect.Min.Y)
	y1 := min(int(math.Ceil(max(p.y, q.y)+r)), c.Rect.Max.Y-1)
	for y := y0; y <= y1; y++ {
		cy := float64(y) + 0.5
		// The part of the line within r of this row bounds the columns.
		ta, tb := 0.0, 1.0
		if math.Abs(d.y) > 1e-9 {
			ta, tb = (cy-r-p.y)/d.y, (cy+r-p.y)/d.y
			if ta > tb {
				ta, tb = tb, ta
			}
			ta, tb = max(ta, 0), min(tb, 1)
			if ta > tb {
				continue
			}
		}
		xa, xb := p.x+ta*d.x, p.x+tb*d.x
		x0 := max(int(math.Floor(min(xa, xb)-r)), c.Rect.Min.X)
		x1 := min(int(math.Ceil(max(xa, xb)+r)), c.Rect.Max.X-1)
		for x := x0; x <= x1; x++ {
			v := point{float64(x) + 0.5, cy}.sub(p)
			t := 0.0
			if l2 > 0 {
				t = min(1, max(0, v.dot(d)/l2))
			}
			c.blend(x, y, col, strength*min(r-v.sub(d.scale(t)).length(), 1))
		}
	}
}

// dashes draws a broken line.
func (c canvas) dashes(p, q point, width, on, off float64, col color.NRGBA, strength float64) {
	l := q.sub(p).length()
	for s := 0.0; s < l; s += on + off {
		c.stroke(p.lerp(q, s/l), p.lerp(q, min(s+on, l)/l), width, col, strength)
	}
}

// disc fills a circle.
func (c canvas) disc(m point, radius float64, col color.NRGBA) {
	c.stroke(m, m, 2*radius, col, 1)
}

// ring draws a circle's line; gaps breaks it into dashes.
func (c canvas) ring(m point, radius, width float64, gaps bool, col color.NRGBA) {
	r := radius + width
	for y := int(math.Floor(m.y - r - 1)); y <= int(math.Ceil(m.y+r+1)); y++ {
		for x := int(math.Floor(m.x - r - 1)); x <= int(math.Ceil(m.x+r+1)); x++ {
			v := point{float64(x) + 0.5, float64(y) + 0.5}.sub(m)
			if gaps && math.Mod(math.Atan2(v.y, v.x)/(math.Pi/8)+16.5, 2) > 1.15 {
				continue
			}
			c.blend(x, y, col, width/2+0.5-math.Abs(v.length()-radius))
		}
	}
}

// contour is a closed outline in pixels.
type contour []point

// fill fills closed polygons by the nonzero rule.
func (c canvas) fill(col color.NRGBA, outlines ...contour) {
	var path path
	for _, o := range outlines {
		for i, p := range o {
			if i == 0 {
				path.move(p)
			} else {
				path.line(p)
			}
		}
	}
	c.paint(&path, col)
}

// path collects an outline of lines and quadratic and cubic curves.
type path struct {
	ops []pathOp
}

type pathOp struct {
	kind byte // how many of the points count: 0 starts a contour with the first
	p    [3]point
}

func (p *path) move(a point)        { p.ops = append(p.ops, pathOp{0, [3]point{a}}) }
func (p *path) line(a point)        { p.ops = append(p.ops, pathOp{1, [3]point{a}}) }
func (p *path) quad(a, b point)     { p.ops = append(p.ops, pathOp{2, [3]point{a, b}}) }
func (p *path) cubic(a, b, d point) { p.ops = append(p.ops, pathOp{3, [3]point{a, b, d}}) }

// paint fills a path with antialiasing. Contours close by themselves.
func (c canvas) paint(p *path, col color.NRGBA) {
	if len(p.ops) == 0 {
		return
	}
	lo, hi := p.ops[0].p[0], p.ops[0].p[0]
	for _, o := range p.ops {
		for _, q := range o.p[:max(1, o.kind)] {
			lo = point{min(lo.x, q.x), min(lo.y, q.y)}
			hi = point{max(hi.x, q.x), max(hi.y, q.y)}
		}
	}
	box := image.Rect(int(math.Floor(lo.x)), int(math.Floor(lo.y)), int(math.Ceil(hi.x))+1, int(math.Ceil(hi.y))+1)
	if box.Intersect(c.Rect).Empty() || box.Dx() > 4*c.Rect.Dx() || box.Dy() > 4*c.Rect.Dy() {
		return
	}
	z := vector.NewRasterizer(box.Dx(), box.Dy())
	x := func(q point) float32 { return float32(q.x - float64(box.Min.X)) }
	y := func(q point) float32 { return float32(q.y - float64(box.Min.Y)) }
	for i, o := range p.ops {
		a, b, d := o.p[0], o.p[1], o.p[2]
		switch o.kind {
		case 0:
			if i > 0 {
				z.ClosePath()
			}
			z.MoveTo(x(a), y(a))
		case 1:
			z.LineTo(x(a), y(a))
		case 2:
			z.QuadTo(x(a), y(a), x(b), y(b))
		case 3:
			z.CubeTo(x(a), y(a), x(b), y(b), x(d), y(d))
		}
	}
	z.ClosePath()
	mask := image.NewAlpha(image.Rect(0, 0, box.Dx(), box.Dy()))
	z.Draw(mask, mask.Rect, image.Opaque, image.Point{})
	for my := range box.Dy() {
		for mx := range box.Dx() {
			if a := mask.Pix[my*mask.Stride+mx]; a > 0 {
				c.blend(box.Min.X+mx, box.Min.Y+my, col, float64(a)/255)
			}
		}
	}
}
