package coupon

import (
	"fmt"
	"math"

	"falsework/mesh"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Kind says what a group tells.
type Kind string

const (
	Ramps   Kind = "ramps"   // undersides by angle from the vertical, degrees
	Bridges Kind = "bridges" // by span, mm
	Walls   Kind = "walls"   // by thickness, mm
	Ledges  Kind = "ledges"  // level undersides by how far they stand out, mm
	Voids   Kind = "voids"   // by empty layers between support and ceiling
	Feet    Kind = "feet"    // by area on the plate, mm²; alike
)

// Item is one thing to look at.
type Item struct {
	Ticks int     // on the rail beside it
	Value float64 // as its group's Kind says
	At    r2.Vec  // its middle, seen from above
}

// Group is a rail of items.
type Group struct {
	Kind  Kind
	Items []Item
}

// Coupon is the print. Part and Supports are closed shells that overlap.
type Coupon struct {
	Part, Supports *mesh.Mesh
	Groups         []Group
}

// What the items are, and their sizes in mm. Ranges go well beyond what is common
// practice on either side; no source.
var (
	rampDegrees = []float64{30, 35, 40, 45, 50, 55, 60, 65, 70}
	bridgeSpans = []float64{5, 8, 10, 12, 15, 20, 25, 30, 40}
	wallNozzles = []float64{0.8, 0.9, 1, 1.1, 1.2, 1.3, 1.4, 1.6, 2} // thickness over the nozzle's bore
	ledgeLines  = []float64{0.5, 1, 1.5, 2, 2.5, 3, 4, 6, 8}         // reach over a line
	voidLayers  = []float64{1, 2, 3}
)

const (
	rail       = 3.0  // thickness of a rail
	between    = 4.0  // from group to group
	rampFoot   = 1.0  // height that a ramp begins at, so that it does not sag onto the plate
	rampRise   = 7.0  // and that it ends at
	bridgeRise = 5.0  // of a bridge's underside
	wallRise   = 6.0  // height of a wall
	ledgeRise  = 3.0  // of a ledge's underside
	tableRise  = 6.0  // of a table's ceiling over its supports
	tableSpan  = 12.0 // between a table's legs
	wallLength = 15.0
	plank      = 1.2  // thickness of what bridges
	sunk       = 0.5  // how deep shells that belong together overlap
	footWidth  = 5.0  // along X
	footDepth  = 4.0  // along Y
	eyeApothem = 3.0  // of the eye over a foot, for a string
	leastPitch = 10.0 // from item to item
)

// FootMM2 is the area of a foot on the plate.
const FootMM2 = footWidth * footDepth

// drawing is a coupon under way.
type drawing struct {
	s     supports.Settings
	c     *Coupon
	pitch float64
	tick  float64 // width of a narrow tick and of the room between two
}

// New draws the coupon for the settings, which need not be resolved. It returns an
// error if they cannot be printed.
func New(s supports.Settings) (*Coupon, error) {
	s, err := s.Resolve()
	if err != nil {
		return nil, fmt.Errorf("coupon: %w", err)
	}
	d := drawing{s: s, c: &Coupon{Part: &mesh.Mesh{}, Supports: &mesh.Mesh{}}, tick: 2 * s.Line}
	// Nine takes a wide tick and four narrow ones.
	d.pitch = max(leastPitch, 12.5*d.tick)
	x := 0.0
	next := func(width float64) { x += d.tick + rail + width + between }
	d.group(Ramps, rampDegrees, x, 0, d.level(rampRise), d.ramp)
	next((d.level(rampRise) - d.level(rampFoot)) * math.Tan(rampDegrees[len(rampDegrees)-1]*math.Pi/180))
	d.group(Bridges, bridgeSpans, x, 0, d.level(bridgeRise)+d.plank(), d.bridge)
	next(bridgeSpans[len(bridgeSpans)-1] + rail)
	d.group(Walls, scaled(wallNozzles, s.Nozzle), x, 0, d.level(wallRise), d.wall)
	next(wallLength)
	d.group(Ledges, scaled(ledgeLines, s.Line), x, 0, d.level(ledgeRise)+d.plank(), d.ledge)
	next(8 * s.Line)
	d.group(Voids, voidLayers, x, 0, d.level(tableRise)+d.plank(), d.table)
	d.feet(x+d.tick+rail+footWidth/2, float64(len(voidLayers))*d.pitch+between)
	d.c.Part.Round32()
	d.c.Supports.Round32()
	return d.c, nil
}

func scaled(by []float64, unit float64) []float64 {
	out := make([]float64, len(by))
	for i, v := range by {
		out[i] = math.Round(v*unit*1e6) / 1e6
	}
	return out
}

// level returns the layer boundary nearest to a height, the top of the first layer
// at least.
func (d *drawing) level(z float64) float64 {
	return d.s.First + d.s.Layer*math.Max(0, math.Round((z-d.s.First)/d.s.Layer))
}

// plank returns the thickness of what bridges, in whole layers.
func (d *drawing) plank() float64 { return d.s.Layer * math.Max(1, math.Round(plank/d.s.Layer)) }

// group adds a rail with its ticks at x, y and draws an item for each value at the
// rail's +X face.
func (d *drawing) group(kind Kind, values []float64, x, y, rise float64, draw func(value, face, middle float64)) {
	x += d.tick
	face := x + rail
	d.box(x, y, 0, face, y+float64(len(values))*d.pitch, rise)
	g := Group{Kind: kind}
	for i, v := range values {
		middle := y + (float64(i)+0.5)*d.pitch
		d.ticks(i+1, x, middle, rise)
		draw(v, face, middle)
		g.Items = append(g.Items, Item{Ticks: i + 1, Value: v, At: r2.Vec{X: face, Y: middle}})
	}
	d.c.Groups = append(d.c.Groups, g)
}

// ticks counts n on the −X face of a rail, at x.
func (d *drawing) ticks(n int, x, middle, rise float64) {
	var widths []float64
	for range n / 5 {
		widths = append(widths, 2.5*d.tick)
	}
	for range n % 5 {
		widths = append(widths, d.tick)
	}
	total := -d.tick
	for _, w := range widths {
		total += w + d.tick
	}
	y := middle - total/2
	for _, w := range widths {
		d.box(x-d.tick, y, 0, x+sunk, y+w, rise)
		y += w + d.tick
	}
}

// ramp leans out from near the rail's foot.
func (d *drawing) ramp(deg, face, middle float64) {
	low, high := d.level(rampFoot), d.level(rampRise)
	out := face + (high-low)*math.Tan(deg*math.Pi/180)
	half := 0.3 * d.pitch
	d.c.Part.Append(across([]r2.Vec{{X: face - sunk, Y: low}, {X: face, Y: low}, {X: out, Y: high}, {X: face - sunk, Y: high}}, middle-half, middle+half))
}

// bridge spans from the rail to a post of its own.
func (d *drawing) bridge(span, face, middle float64) {
	z, half := d.level(bridgeRise), 0.2*d.pitch
	top := z + d.plank()
	d.box(face+span, middle-half, 0, face+span+rail, middle+half, top)
	d.box(face-sunk, middle-half, z, face+span+sunk, middle+half, top)
}

func (d *drawing) wall(thick, face, middle float64) {
	d.box(face-sunk, middle-thick/2, 0, face+wallLength, middle+thick/2, d.level(wallRise))
}

func (d *drawing) ledge(reach, face, middle float64) {
	z, half := d.level(ledgeRise), 0.3*d.pitch
	d.box(face-sunk, middle-half, z, face+reach, middle+half, z+d.plank())
}

// table is a ceiling from the rail to a leg, on a ladder of support walls with so many
// layers left empty between.
func (d *drawing) table(empty, face, middle float64) {
	z, half := d.level(tableRise), 0.4*d.pitch
	top := z + d.plank()
	d.box(face+tableSpan, middle-half, 0, face+tableSpan+rail, middle+half, top)
	d.box(face-sunk, middle-half, z, face+tableSpan+sunk, middle+half, top)
	// A wall under either free edge, and rungs so close that bridges over them are short.
	const rungs = 4
	from, to := face+d.s.Clearance+d.s.Wall/2, face+tableSpan-d.s.Clearance-d.s.Wall/2
	reach := half - d.s.Wall/2
	high := z - empty*d.s.Layer
	run := func(x0, y0, x1, y1 float64) {
		wall, err := mesh.Wall([]mesh.Station{{P: r2.Vec{X: x0, Y: middle + y0}, High: high}, {P: r2.Vec{X: x1, Y: middle + y1}, High: high}}, d.s.Wall)
		if err != nil {
			// Two places apart and a height: true of all settings that resolve.
			panic("coupon: " + err.Error())
		}
		d.c.Supports.Append(wall)
	}
	for _, y := range [2]float64{-reach, reach} {
		run(from-d.s.Wall/2, y, to+d.s.Wall/2, y)
	}
	for i := range rungs {
		x := from + (to-from)*float64(i)/(rungs-1)
		run(x, -reach, x, reach)
	}
}

// feet are three eyes, each standing on a flat of its own, from y upward.
func (d *drawing) feet(x, y float64) {
	const corners = 8
	// A regular octagon's side is 2·apothem·tan(π/8).
	apothem := footWidth / (2 * math.Tan(math.Pi/corners))
	ring := func(a float64) []r2.Vec {
		p := mesh.RegularPolygon(r2.Vec{X: x + apothem - footWidth/2, Y: apothem}, a/math.Cos(math.Pi/corners), corners, math.Pi/corners)
		for i := range p {
			if math.Abs(p[i].Y) < 1e-9 {
				p[i].Y = 0
			}
		}
		return p
	}
	g := Group{Kind: Feet}
	for i := range 3 {
		middle := y + (float64(i)+0.5)*d.pitch
		eye := mesh.Tube(ring(apothem), ring(eyeApothem), middle-footDepth/2, middle+footDepth/2)
		d.c.Part.Append(upright(eye))
		g.Items = append(g.Items, Item{Ticks: i + 1, Value: FootMM2, At: r2.Vec{X: x + apothem - footWidth/2, Y: middle}})
	}
	d.c.Groups = append(d.c.Groups, g)
}

func (d *drawing) box(x0, y0, z0, x1, y1, z1 float64) {
	d.c.Part.Append(mesh.Prism([]r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}, z0, z1))
}

// across returns the solid over an outline in the plane of X and Z, from y0 to y1.
func across(outline []r2.Vec, y0, y1 float64) *mesh.Mesh {
	return upright(mesh.Prism(outline, y0, y1))
}

// upright puts a solid that was drawn lying, with Z for Y, on its feet. To swap two
// axes mirrors it, so its triangles are turned over.
func upright(m *mesh.Mesh) *mesh.Mesh {
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Vec{X: v.X, Y: v.Z, Z: v.Y}
	}
	for i, t := range m.Triangles {
		m.Triangles[i] = [3]uint32{t[0], t[2], t[1]}
	}
	return m
}
