package view

import (
	"image"
	"math"

	"github.com/fogleman/fauxgl"
	"gonum.org/v1/gonum/spatial/r3"
)

// layer is one raster of the figure with colour and depth, at the supersampled
// resolution. The colour's alpha carries the role plus one; 0 is nothing there.
type layer struct {
	width, height int
	pix           []uint8   // NRGBA
	z             []float64 // depth as drawn, 0 near to 1 far; empty is huge
	near, span    float64   // mm: depth = near + span·z
}

// depthAt returns the depth in mm, +Inf where the layer is empty.
func (l *layer) depthAt(i int) float64 {
	if l.pix[4*i+3] == 0 {
		return math.Inf(1)
	}
	return l.near + l.span*l.z[i]
}

func (l *layer) roleAt(i int) Role { return Role(l.pix[4*i+3]) - 1 }

func (l *layer) colourAt(i int) (r, g, b float64) {
	return float64(l.pix[4*i]), float64(l.pix[4*i+1]), float64(l.pix[4*i+2])
}

// passThrough takes vertices that are already in clip space and their colours.
type passThrough struct{}

func (passThrough) Vertex(v fauxgl.Vertex) fauxgl.Vertex {
	v.Output = fauxgl.VectorW{X: v.Position.X, Y: v.Position.Y, Z: v.Position.Z, W: 1}
	return v
}

func (passThrough) Fragment(v fauxgl.Vertex) fauxgl.Color { return v.Color }

// solid is one item ready to be drawn: its surface and where its vertices fall.
type solid struct {
	*surface
	role  Role
	flat  bool
	place []point   // sheet pixels
	depth []float64 // mm
}

// lamp is the direction from a surface to the light, in the eye's own frame
// (right, up, towards the eye), so a ceiling seen from below is lit from below.
var lamp = r3.Vec{X: -0.42, Y: 0.60, Z: 0.68}

// light returns the share of light, 0 to 1, of a face with unit normal n turned
// towards the eye. Half of the range goes to faces turned away from the lamp,
// which still differ by their slope.
func light(p *projection, n r3.Vec) float64 {
	d := lamp.X*r3.Dot(p.right, n) + lamp.Y*r3.Dot(p.up, n) - lamp.Z*r3.Dot(p.away, n)
	return min(1, max(0, 0.5+0.5*d))
}

// rasterise draws solids in order, triangle by triangle, from the caller's
// goroutine. ss is the supersampling factor, frame the figure on the sheet.
func rasterise(solids []*solid, p *projection, frame image.Rectangle, ss int, near, far float64) *layer {
	w, h := frame.Dx()*ss, frame.Dy()*ss
	dc := fauxgl.NewContext(w, h)
	dc.AlphaBlend = false // alpha is the role
	dc.Cull = fauxgl.CullNone
	dc.Shader = passThrough{}

	span := far - near
	clip := func(q point, depth float64) fauxgl.Vector {
		return fauxgl.Vector{
			X: 2*(q.x-float64(frame.Min.X))/float64(frame.Dx()) - 1,
			Y: 1 - 2*(q.y-float64(frame.Min.Y))/float64(frame.Dy()),
			Z: 2*(depth-near)/span - 1,
		}
	}
	var tri fauxgl.Triangle
	for _, s := range solids {
		corner := s.cornerNormals()
		alpha := (float64(s.role) + 1.5) / 255 // half a step keeps truncation harmless
		for f, t := range s.tris {
			a, b, c := s.place[t[0]], s.place[t[1]], s.place[t[2]]
			// Twice the area on the sheet; positive turns clockwise with y down,
			// which is a face turned away. A sliver covers no pixel, and its
			// barycentric coordinates would be NaN.
			area := (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x)
			if !(math.Abs(area) > 1e-9) {
				continue
			}
			away := area > 0
			if away && s.closed {
				continue
			}
			v := [3]*fauxgl.Vertex{&tri.V1, &tri.V2, &tri.V3}
			for i, k := range t {
				n := corner[f][i]
				if away {
					n = r3.Scale(-1, n)
				}
				col := tone(fills[s.role], light(p, n))
				v[i].Position = clip(s.place[k], s.depth[k])
				v[i].Color = fauxgl.Color{
					R: (float64(col.R) + 0.5) / 255, G: (float64(col.G) + 0.5) / 255, B: (float64(col.B) + 0.5) / 255,
					A: alpha,
				}
			}
			dc.DrawTriangle(&tri)
		}
	}
	return &layer{width: w, height: h, pix: dc.ColorBuffer.Pix, z: dc.DepthBuffer, near: near, span: span}
}
