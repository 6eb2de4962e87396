package view

import (
	"image/color"
	"math"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/gofont/gosmallcaps"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// lettering is a typeface drawn from its outlines without hinting, so that
// figures can follow a dimension line at any angle. It is not for concurrent
// use.
type lettering struct {
	font *sfnt.Font
	buf  sfnt.Buffer
}

// fonts parses the three faces once. The files are part of the program, so a
// failure to parse them is a broken build.
var fonts = sync.OnceValues(func() ([3]*sfnt.Font, error) {
	var out [3]*sfnt.Font
	for i, data := range [][]byte{goregular.TTF, gobold.TTF, gosmallcaps.TTF} {
		f, err := opentype.Parse(data)
		if err != nil {
			return out, err
		}
		out[i] = f
	}
	return out, nil
})

// glyphs calls f for each glyph of s with its pen position in pixels at the
// given size, and returns the advance of the whole.
func (l *lettering) glyphs(s string, size float64, f func(g sfnt.GlyphIndex, x float64)) float64 {
	ppem := fixed.Int26_6(math.Round(size * 64))
	x := 0.0
	var before sfnt.GlyphIndex
	for i, r := range s {
		g, err := l.font.GlyphIndex(&l.buf, r)
		if err != nil {
			continue
		}
		if i > 0 {
			if k, err := l.font.Kern(&l.buf, before, g, ppem, font.HintingNone); err == nil {
				x += float64(k) / 64
			}
		}
		if f != nil {
			f(g, x)
		}
		if a, err := l.font.GlyphAdvance(&l.buf, g, ppem, font.HintingNone); err == nil {
			x += float64(a) / 64
		}
		before = g
	}
	return x
}

func (l *lettering) width(s string, size float64) float64 { return l.glyphs(s, size, nil) }

// draw letters s with its baseline starting at p and running in the unit
// direction dir, and returns its length.
func (l *lettering) draw(c canvas, s string, size float64, p, dir point, col color.NRGBA) float64 {
	ppem := fixed.Int26_6(math.Round(size * 64))
	down := point{-dir.y, dir.x}
	var out path
	w := l.glyphs(s, size, func(g sfnt.GlyphIndex, x float64) {
		segments, err := l.font.LoadGlyph(&l.buf, g, ppem, nil)
		if err != nil {
			return
		}
		at := func(q fixed.Point26_6) point {
			return p.add(dir.scale(x + float64(q.X)/64)).add(down.scale(float64(q.Y) / 64))
		}
		for _, sg := range segments {
			switch sg.Op {
			case sfnt.SegmentOpMoveTo:
				out.move(at(sg.Args[0]))
			case sfnt.SegmentOpLineTo:
				out.line(at(sg.Args[0]))
			case sfnt.SegmentOpQuadTo:
				out.quad(at(sg.Args[0]), at(sg.Args[1]))
			case sfnt.SegmentOpCubeTo:
				out.cubic(at(sg.Args[0]), at(sg.Args[1]), at(sg.Args[2]))
			}
		}
	})
	c.paint(&out, col)
	return w
}

var along = point{1, 0}

// fitted draws s level from p, set smaller and at last cut short where it is
// longer than room. It returns the length.
func (l *lettering) fitted(c canvas, s string, size, room float64, p point, col color.NRGBA) float64 {
	s, size = l.fit(s, size, room)
	return l.draw(c, s, size, p, along, col)
}

func (l *lettering) fit(s string, size, room float64) (string, float64) {
	const smallest = 0.75
	if w := l.width(s, size); w > room {
		size *= max(smallest, room/w)
	}
	if l.width(s, size) <= room*1.001 {
		return s, size
	}
	r := []rune(s)
	for len(r) > 0 && l.width(string(r)+"…", size) > room {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ") + "…", size
}

// wrap breaks s at spaces into lines no longer than room.
func (l *lettering) wrap(s string, size, room float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line == "" {
			line = word
		} else if l.width(line+" "+word, size) <= room {
			line += " " + word
		} else {
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
