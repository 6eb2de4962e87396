package main

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"math"
	"sort"
	"sync"

	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports/cost"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	lettering "gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// sheetRule is the colour of a chart's grid, between paper and ground.
var sheetRule = color.NRGBA{0xD9, 0xD2, 0xC0, 0xFF}

// sheetWidth is the width of a chart in points; what is drawn on it is scaled to
// the pixels asked for.
const sheetWidth = 600

// sheetFaces holds the typeface of the other pictures.
var sheetFaces = sync.OnceValues(func() (*font.Cache, error) {
	var faces font.Collection
	for _, f := range []struct {
		weight xfont.Weight
		data   []byte
	}{{xfont.WeightNormal, goregular.TTF}, {xfont.WeightBold, gobold.TTF}} {
		face, err := opentype.Parse(f.data)
		if err != nil {
			return nil, err
		}
		faces = append(faces, font.Face{Font: font.Font{Typeface: "Go", Weight: f.weight}, Face: face})
	}
	return font.NewCache(faces), nil
})

// steps is time of each layer against height, drawn as a stair.
type steps struct {
	plotter.XYs // mm, s; two points a layer
	draw.LineStyle
	hatch *draw.LineStyle // of the area below; nil for none
}

// hatchGap is the distance between lines of a hatching, and hatchStep how far its
// ends may be from the edge, in points along the line.
const hatchGap, hatchStep = 6.0, 0.25

// stepsOf returns the stair of an estimate whose layers are lay.
func stepsOf(e cost.Estimate, lay raster.Layers) plotter.XYs {
	n := printed(e)
	if n == 0 {
		return nil
	}
	pts := plotter.XYs{{X: lay.Bottom(0)}}
	for k, l := range e.Layers[:n] {
		pts = append(pts, plotter.XY{X: lay.Bottom(k), Y: l.TimeS}, plotter.XY{X: lay.Top(k), Y: l.TimeS})
	}
	return append(pts, plotter.XY{X: lay.Top(n - 1)})
}

// at returns the height of the stair over x, 0 beside it.
func (s steps) at(x float64) float64 {
	i := sort.Search(len(s.XYs), func(i int) bool { return s.XYs[i].X > x })
	if i == 0 || i == len(s.XYs) {
		return 0
	}
	return s.XYs[i].Y
}

// Plot draws the stair.
func (s steps) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	if s.hatch != nil && len(s.XYs) > 0 {
		perPoint := (p.X.Max - p.X.Min) / float64(c.Max.X-c.Min.X)
		s.shade(c, *s.hatch, func(x vg.Length) vg.Length { return ty(s.at(p.X.Min + float64(x-c.Min.X)*perPoint)) })
	}
	// Where nothing is printed the axis shows through.
	var line []vg.Point
	for i, q := range s.XYs {
		if i > 0 && q.Y == 0 && s.XYs[i-1].Y == 0 {
			c.StrokeLines(s.LineStyle, line)
			line = nil
		}
		line = append(line, vg.Point{X: tx(q.X), Y: ty(q.Y)})
	}
	c.StrokeLines(s.LineStyle, line)
}

// shade hatches c below an edge with lines at 45°.
func (s steps) shade(c draw.Canvas, style draw.LineStyle, edge func(x vg.Length) vg.Length) {
	w, h := c.Max.X-c.Min.X, c.Max.Y-c.Min.Y
	for from := -h; from < w; from += hatchGap {
		begin := vg.Length(-1)
		for up := max(0, -from); ; up += hatchStep {
			inside := up <= h && from+up <= w
			switch under := inside && c.Min.Y+up < edge(c.Min.X+from+up); {
			case under && begin < 0:
				begin = up
			case !under && begin >= 0:
				c.StrokeLine2(style, c.Min.X+from+begin, c.Min.Y+begin, c.Min.X+from+up, c.Min.Y+up)
				begin = -1
			}
			if !inside {
				break
			}
		}
	}
}

// ticks marks an axis at round numbers, some six of them.
type ticks struct{}

// Ticks returns the marks from lo to hi: multiples of 1, 2 or 5 times a power of
// ten.
func (ticks) Ticks(lo, hi float64) []plot.Tick {
	const most = 8
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/most)))
	for _, f := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(f*step) <= most {
			step *= f
			break
		}
	}
	var out []plot.Tick
	for i := math.Ceil(lo / step); i*step <= hi+step/1e6; i++ {
		out = append(out, plot.Tick{Value: i * step, Label: fmt.Sprintf("%.6g", i*step)})
	}
	return out
}

// Thumbnail draws a sample for the key.
func (s steps) Thumbnail(c *draw.Canvas) {
	if s.hatch != nil {
		s.shade(*c, *s.hatch, func(vg.Length) vg.Length { return c.Max.Y })
	}
	y := c.Max.Y
	if s.hatch == nil {
		y = c.Center().Y
	}
	c.StrokeLine2(s.LineStyle, c.Min.X, y, c.Max.X, y)
}

// draw returns a chart of the time of each layer against height, width pixels
// wide and 4 : 3, as PNG: the part, the supports and the dense lines at
// DefaultSpacing.
func (c *costing) draw(width int) ([]byte, error) {
	faces, err := sheetFaces()
	if err != nil {
		return nil, err
	}
	hand := lettering.Plain{Fonts: faces}
	style := func(size vg.Length, weight xfont.Weight, col color.Color, to lettering.Style) lettering.Style {
		to.Font = font.Font{Typeface: "Go", Weight: weight, Size: size}
		to.Color = col
		to.Handler = hand
		return to
	}
	stroke := func(w vg.Length, col color.Color, dashes ...vg.Length) draw.LineStyle {
		return draw.LineStyle{Color: col, Width: w, Dashes: dashes}
	}

	p := plot.New()
	p.TextHandler = hand
	p.BackgroundColor = view.Paper
	p.Title.Text = c.name + ": time of each layer"
	p.Title.TextStyle = style(15, xfont.WeightBold, view.Ink, p.Title.TextStyle)
	p.Title.Padding = 10
	for _, a := range []struct {
		axis *plot.Axis
		text string
	}{{&p.X, "height above the plate, mm"}, {&p.Y, "time per layer, s"}} {
		a.axis.Label.Text = a.text
		a.axis.Label.TextStyle = style(11, xfont.WeightNormal, view.Ink, a.axis.Label.TextStyle)
		a.axis.Label.Padding = 5
		a.axis.Tick.Label = style(10, xfont.WeightNormal, view.Ink, a.axis.Tick.Label)
		a.axis.LineStyle = stroke(1, view.Ink)
		a.axis.Tick.LineStyle = stroke(0.7, view.Ink)
		a.axis.Tick.Marker = ticks{}
		a.axis.Padding = 0
	}
	p.Legend.TextStyle = style(11, xfont.WeightNormal, view.Ink, p.Legend.TextStyle)
	p.Legend.Top = true
	p.Legend.ThumbnailWidth = 40
	p.Legend.Padding = 4
	p.Legend.XOffs, p.Legend.YOffs = -8, -6

	grid := plotter.NewGrid()
	grid.Horizontal, grid.Vertical = stroke(0.5, sheetRule), stroke(0.5, sheetRule)
	p.Add(grid)
	most := 0.0
	add := func(name string, t priced, s steps) {
		s.XYs = stepsOf(t.Estimate, c.partCut.Layers)
		for _, q := range s.XYs {
			most = math.Max(most, q.Y)
		}
		p.Add(s)
		p.Legend.Add(fmt.Sprintf("%s: %s, %.1f g  ", name, duration(t.TimeS), t.MassG), s)
	}
	add("part", c.body, steps{LineStyle: stroke(0.8, view.InkSoft)})
	if c.ours != nil {
		hatch := stroke(0.5, view.Fill(view.Support))
		add("supports", *c.ours, steps{LineStyle: stroke(1.4, view.Fill(view.Support)), hatch: &hatch})
	}
	for _, d := range c.dense {
		if d.spacing == cost.DefaultSpacing {
			add(denseName(d.spacing), d, steps{LineStyle: stroke(1.1, view.Ink, 5, 3)})
		}
	}
	p.X.Min, p.X.Max = 0, math.Max(c.partCut.Layers.Top(len(c.partCut.Cut)-1), c.settings.Layer)
	// Room above for the key.
	p.Y.Min, p.Y.Max = 0, 1.2*math.Max(most, 1)

	dpi := int(math.Round(float64(width) * 72 / sheetWidth))
	w := vg.Length(width) / vg.Length(dpi) * vg.Inch
	canvas := vgimg.NewWith(vgimg.UseWH(w, w*3/4), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(view.Paper))
	sheet := draw.New(canvas)
	const edge, foot = 9, 40
	sheet.StrokeLines(stroke(1, view.Ink), []vg.Point{{X: edge, Y: edge}, {X: w - edge, Y: edge},
		{X: w - edge, Y: w*3/4 - edge}, {X: edge, Y: w*3/4 - edge}, {X: edge, Y: edge}})
	p.Draw(draw.Crop(sheet, 24, -28, foot, -22))
	note := style(9, xfont.WeightNormal, view.InkSoft, lettering.Style{})
	sheet.FillText(note, vg.Point{X: 24, Y: 20}, fmt.Sprintf(
		"Each alone, travel and retraction included. Layers of %g mm, printer: %.40s. A planner's times, for comparing.",
		c.settings.Layer, c.machine.name))

	var b bytes.Buffer
	if err := png.Encode(&b, canvas.Image()); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
