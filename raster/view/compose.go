package view

import (
	"image/color"
	"math"
)

// Line weights in sheet units: outlines are heavier than creases, as drawn by
// hand.
const (
	outlineWeight = 2.3
	creaseWeight  = 1.5
	hiddenWeight  = 1.1
	regionWeight  = 1.4 // times an outline's
)

// glass is how much of a ghosted part covers what lies behind it.
const glass = 0.24

// tint is how much of the part a region's colour covers.
const tint = 0.6

// regionStep is how far, in mm, a region steps back where it is outlined: more
// than from layer to layer.
const regionStep = 2.0

// Ink masks of one supersampled pixel.
const (
	noInk = iota
	faintInk
	paleInk // light line between two dark solids
	fullInk
)

// compose lays the layers over each other on the sheet, with their outlines.
func (f *figure) compose() {
	if len(f.solids) == 0 {
		return
	}
	w, h := f.frame.Dx()*f.ss, f.frame.Dy()*f.ss
	mask := make([]uint8, w*h)
	f.outline(mask, w, h)

	n := f.ss
	for y := range f.frame.Dy() {
		for x := range f.frame.Dx() {
			var r, g, b float64
			hits := 0
			for j := y * n; j < y*n+n; j++ {
				for i := x * n; i < x*n+n; i++ {
					pr, pg, pb, some := f.sample(i, j, j*w+i, mask[j*w+i])
					r, g, b = r+pr, g+pg, b+pb
					if some {
						hits++
					}
				}
			}
			if hits > 0 {
				k := 1 / float64(n*n)
				o := f.PixOffset(f.frame.Min.X+x, f.frame.Min.Y+y)
				if f.Pix[o+3] == 0 { // no paper: what it adds is left out, and the rest covers its share
					bare := float64(n*n - hits)
					r, g, b = r-bare*float64(Paper.R), g-bare*float64(Paper.G), b-bare*float64(Paper.B)
					k = 1 / float64(hits)
					f.Pix[o+3] = uint8(255*float64(hits)/float64(n*n) + 0.5)
				}
				f.Pix[o], f.Pix[o+1], f.Pix[o+2] = uint8(r*k+0.5), uint8(g*k+0.5), uint8(b*k+0.5)
			}
		}
	}
	f.creases()
}

// sample returns the colour of one supersampled pixel, and false where only
// paper is.
func (f *figure) sample(x, y, i int, inked uint8) (r, g, b float64, some bool) {
	if inked == fullInk {
		return float64(Ink.R), float64(Ink.G), float64(Ink.B), true
	}
	r, g, b = float64(Paper.R), float64(Paper.G), float64(Paper.B)
	over := func(cr, cg, cb, a float64) {
		r, g, b = r+a*(cr-r), g+a*(cg-g), b+a*(cb-b)
		some = true
	}
	dp, ds := math.Inf(1), math.Inf(1)
	if f.part != nil {
		dp = f.part.depthAt(i)
	}
	if f.support != nil {
		ds = f.support.depthAt(i)
	}
	havePart, haveSupport := !math.IsInf(dp, 1), !math.IsInf(ds, 1)
	if haveSupport && (f.ghost || ds <= dp) {
		cr, cg, cb := f.support.colourAt(i)
		over(cr, cg, cb, 1)
		f.visible[f.support.roleAt(i)] = true
	}
	if havePart && dp < ds {
		f.visible[Part] = true
		cr, cg, cb := f.part.colourAt(i)
		if f.ghost {
			over(cr, cg, cb, glass)
		} else {
			over(cr, cg, cb, 1)
		}
	}
	if f.mark != nil {
		if dm := f.mark.depthAt(i); !math.IsInf(dm, 1) && (f.ghost || dm <= dp+f.slack) {
			role := f.mark.roleAt(i)
			u := f.u * float64(f.ss)
			if role.tints() {
				c := fills[role]
				over(float64(c.R), float64(c.G), float64(c.B), tint)
			} else {
				cr, cg, cb := f.mark.colourAt(i)
				over(cr, cg, cb, 1)
			}
			if k, a := hatch(role, float64(x), float64(y), u); a > 0 {
				over(float64(k.R), float64(k.G), float64(k.B), a)
			}
			f.visible[role] = true
		}
	}
	switch inked {
	case faintInk:
		over(float64(Ink.R), float64(Ink.G), float64(Ink.B), 0.45)
	case paleInk:
		over(float64(Paper.R), float64(Paper.G), float64(Paper.B), 0.6)
	}
	return r, g, b, some
}

// stripe tells whether a pixel lies on a steep line that takes up the given
// share of the pitch. The slope is none that contact lines tend to have on the
// sheet, so they are crossed rather than followed.
func stripe(x, y, share, pitch float64) bool {
	t := (x + 0.4*y) / pitch
	return t-math.Floor(t) < share
}

// hatch returns the colour and strength of a role's hatching at a pixel: pads
// and regions are hatched one way in ink, unheld spots both ways in paper.
func hatch(r Role, x, y, u float64) (color.NRGBA, float64) {
	switch {
	case r == Pad && stripe(x, y, 0.2, 10*u):
		return Ink, 0.5
	case r == Region && stripe(-x, y, 0.14, 13*u):
		return Ink, 0.75
	case r == Over && stripe(x, y, 0.14, 14*u):
		return Ink, 0.5
	case r == Level && (stripe(x, y, 0.12, 12*u) || stripe(y, -x, 0.12, 12*u)):
		return Paper, 0.55
	case r == Unheld && (stripe(x, y, 0.17, 9*u) || stripe(y, -x, 0.17, 9*u)):
		return Paper, 0.9
	}
	return color.NRGBA{}, 0
}

// outline marks where a layer ends or steps back, on the near side.
func (f *figure) outline(mask []uint8, w, h int) {
	ssUnit := f.u * float64(f.ss)
	stamp := func(i int, radius float64, value uint8) {
		x, y, r := i%w, i/w, int(radius)
		for dy := -r; dy <= r; dy++ {
			for dx := -r; dx <= r; dx++ {
				if float64(dx*dx+dy*dy) > radius*radius+0.5 || x+dx < 0 || x+dx >= w || y+dy < 0 || y+dy >= h {
					continue
				}
				k := i + dy*w + dx
				mask[k] = max(mask[k], value)
			}
		}
	}
	depth := func(l *layer, i int) float64 {
		if l == nil {
			return math.Inf(1)
		}
		return l.depthAt(i)
	}
	full := max(1, (outlineWeight*ssUnit-1)/2)
	thin := max(0.5, (creaseWeight*ssUnit-1)/2)
	// Smaller steps come from facets that stand almost edge on.
	edgeOn := func(int) float64 { return 6 / (f.proj.scale * float64(f.ss)) }

	each := func(l *layer, step func(i int) float64, draw func(i int, d float64, silhouette bool)) {
		if l == nil {
			return
		}
		for y := range h {
			for x := range w {
				i := y*w + x
				d := l.depthAt(i)
				if math.IsInf(d, 1) {
					continue
				}
				silhouette, stepped := false, false
				step := step(i)
				look := func(by int, room bool) {
					if !room {
						return
					}
					da := l.depthAt(i + by)
					if math.IsInf(da, 1) {
						silhouette = true
						return
					}
					// A plane's depth grows evenly and a bend goes on as steeply as it
					// begins, so a step is a rise beyond the slope on both its sides.
					if rise := da - d; rise > step && rise-max(d-l.depthAt(i-by), l.depthAt(i+2*by)-da) > step {
						stepped = true
					}
				}
				look(1, x > 0 && x < w-2)
				look(-1, x > 1 && x < w-1)
				look(w, y > 0 && y < h-2)
				look(-w, y > 1 && y < h-1)
				if silhouette || stepped {
					draw(i, d, silhouette)
				}
			}
		}
	}
	each(f.support, edgeOn, func(i int, d float64, silhouette bool) {
		covered := depth(f.part, i) < d-f.slack
		switch {
		case covered && f.ghost:
			stamp(i, thin, faintInk)
		case covered:
		case silhouette:
			stamp(i, full, fullInk)
		default:
			stamp(i, thin, paleInk)
		}
	})
	each(f.part, edgeOn, func(i int, d float64, silhouette bool) {
		if depth(f.support, i) >= d-f.slack {
			stamp(i, full, fullInk)
		}
	})
	markStep := func(i int) float64 {
		if f.mark.roleAt(i) == Region {
			return max(edgeOn(i), regionStep)
		}
		return edgeOn(i)
	}
	each(f.mark, markStep, func(i int, d float64, silhouette bool) {
		switch {
		case !f.ghost && depth(f.part, i) < d-f.slack:
		case f.mark.roleAt(i) == Region:
			stamp(i, regionWeight*full, fullInk)
		default:
			stamp(i, 0.5, fullInk) // contact lines are narrow: no more than a hairline
		}
	})
}

// What stands before a point of a crease.
const (
	seen = iota
	behindPart
	behindSupport
	onOutline
)

// creases inks the sharp edges of parts and supports that are in sight. A
// ghosted part also shows its hidden edges, dashed.
func (f *figure) creases() {
	for _, sd := range f.solids {
		if sd.role.isMark() || sd.flat {
			continue // their outlines are enough
		}
		look := func(p point, depth float64) int {
			// Where a dark solid ends its outline is inked already.
			if sd.role == Support && f.rim(f.support, p, outlineWeight*f.u) {
				return onOutline
			}
			if f.hidden(f.support, p, depth) {
				return behindSupport
			}
			if f.hidden(f.part, p, depth) {
				return behindPart
			}
			return seen
		}
		for _, e := range sd.creases {
			s := segment{sd.place[e.a], sd.place[e.b], sd.depth[e.a], sd.depth[e.b]}
			s.runs(look, func(p, q point, is int) {
				switch {
				case sd.role == Part && is == seen:
					f.stroke(p, q, creaseWeight*f.u, Ink, 1)
				case sd.role == Part && is == behindPart && f.ghost:
					f.dashes(p, q, hiddenWeight*f.u, 7*f.u, 5*f.u, Ink, 0.5)
				case sd.role == Support && is == seen:
					f.stroke(p, q, hiddenWeight*f.u, Paper, 0.7)
				case sd.role == Support && is == behindPart && f.ghost:
					f.stroke(p, q, hiddenWeight*f.u, Paper, 0.45)
				case sd.role == Ground && is == seen:
					f.stroke(p, q, hiddenWeight*f.u, InkSoft, 1)
				}
			})
		}
	}
}
