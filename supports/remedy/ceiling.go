package remedy

import (
	"fmt"
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Steps are bridging steps: layers added under the ceiling of a round pocket,
// so that a smaller hole in it stands on bridges. The first leaves a slot as
// wide as the hole, between bridges from wall to wall; the second closes the
// slot's ends to a square; each further one cuts its corners, to an octagon and
// on, until the hole stands out over them by no more than a line.
type Steps struct {
	Hole, Pocket float64 // radii, mm, round one axis
	Line, Layer  float64 // mm
	Longest      float64 // bridge, mm, where the pocket is not round; 0: by its radius
}

// mostSteps makes a polygon of 64 sides, round within 0.4 mm up to a radius of
// 0.3 m.
const mostSteps = 6

// Layers returns how many layers the steps take: 0 without a ceiling. The
// corners of the polygon of n sides round the hole stand off it by
// r·(1/cos(π/n) − 1); layer k leaves 2^k sides.
func (p Steps) Layers() int {
	if !(p.Pocket > p.Hole) || !(p.Hole > 0) {
		return 0
	}
	k := 2
	for k < mostSteps && p.Hole*(1/math.Cos(math.Pi/math.Exp2(float64(k)))-1) > p.Line+1e-9 {
		k++
	}
	return k
}

// Span returns the longest bridge of the steps, in mm: in the first layer the
// pocket's chord along the hole's tangent, 2·√(R² − r²). In the second it is the
// same chord, across, or less where the slot is narrower.
func (p Steps) Span() float64 {
	if p.Layers() == 0 {
		return 0
	}
	if p.Longest > 0 {
		return p.Longest
	}
	return 2 * math.Sqrt(p.Pocket*p.Pocket-p.Hole*p.Hole)
}

// Lowered returns how far the steps lower the seat, in mm.
func (p Steps) Lowered() float64 { return float64(p.Layers()) * p.Layer }

// Holds tells whether a printer with this longest bridge (mm) prints the steps.
func (p Steps) Holds(bridge float64) bool { return p.Span() <= bridge+1e-9 }

func (p Steps) String() string {
	if p.Layers() == 0 {
		return "no ceiling to step"
	}
	return fmt.Sprintf("bridging steps: %d layers, longest bridge %.1f mm; deepen the pocket by %.2f mm to keep the seat",
		p.Layers(), p.Span(), p.Lowered())
}

// seatSagitta is how far, in mm, the facets of a seat cutter may lie inside the
// pocket's circle: a tenth of what a printer places.
const seatSagitta = 0.01

// Seat returns the solid to subtract from the part, so that the steps leave the
// seat where it is drawn: a disc of the pocket's radius from the ceiling up,
// beginning 0.1 mm inside the pocket. The point is where the hole's axis meets
// the ceiling. Without a ceiling it is empty.
func (p Steps) Seat(at r3.Vec) *mesh.Mesh {
	if !(p.Lowered() > 0) {
		return &mesh.Mesh{}
	}
	// A facet of a circle cut into n comes r·(1 − cos(π/n)) closer.
	n := math.Ceil(math.Pi / math.Acos(max(0, 1-seatSagitta/p.Pocket)))
	sides := 4 * int(math.Ceil(min(max(n, 12), 1024)/4))
	return mesh.Prism(mesh.RegularPolygon(r2.Vec{X: at.X, Y: at.Y}, p.Pocket, sides, 0), at.Z-overlapEnd, at.Z+p.Lowered())
}

// Sheet is one layer under a ceiling of any shape, from wall to wall, so that the
// ceiling and the hole in it lie on it. It is pierced after printing.
type Sheet struct {
	Span  float64 // of what it closes, mm
	Area  float64 // of the hole, which is pierced, mm²
	Layer float64 // mm, by which it lowers the seat
}

// RoundSheet returns the sheet under a hole in the ceiling of a round pocket,
// given both radii and the layer height in mm: the bridge is the pocket's full width.
func RoundSheet(hole, pocket, layer float64) Sheet {
	return Sheet{Span: 2 * pocket, Area: math.Pi * hole * hole, Layer: layer}
}

// Holds tells whether a printer with this longest bridge (mm) prints the sheet.
func (p Sheet) Holds(bridge float64) bool { return p.Span <= bridge+1e-9 }

func (p Sheet) String() string {
	return fmt.Sprintf("sheet: one layer under the ceiling, bridging %.1f mm; pierce %.1f mm² after printing; deepen the pocket by %.2f mm to keep the seat",
		p.Span, p.Area, p.Layer)
}

// Chamfer fills the corner under a ledge with a face at the limit.
type Chamfer struct {
	Depth  float64 // of the ledge, square to its wall, mm
	Length float64 // along the wall, mm
	Limit  float64 // from the vertical
}

// Height returns how far the chamfer reaches down the wall, depth/tan(limit).
func (p Chamfer) Height() float64 { return p.Depth / math.Tan(p.Limit) }

// Volume returns what it adds, in mm³: a triangle along the ledge,
// depth²/(2·tan(limit))·length.
func (p Chamfer) Volume() float64 { return p.Depth * p.Height() / 2 * p.Length }

func (p Chamfer) String() string {
	return fmt.Sprintf("chamfer: %.2f mm out, %.2f mm down the wall, over %.1f mm; adds %.1f mm³",
		p.Depth, p.Height(), p.Length, p.Volume())
}

// MidWall is one wall, a line thick, that halves the span of a ceiling.
type MidWall struct {
	Span float64 // wall to wall, mm
	Line float64 // thickness of the new wall, mm
}

// Half returns the span that is left on either side, (span − line)/2, in mm.
func (p MidWall) Half() float64 { return (p.Span - p.Line) / 2 }

// Helps tells whether a printer with this longest bridge (mm) fails the span
// and prints the halves.
func (p MidWall) Helps(bridge float64) bool {
	return p.Span > bridge+1e-9 && p.Half() <= bridge+1e-9
}

func (p MidWall) String() string {
	return fmt.Sprintf("wall in the middle: %.2f mm thick, leaves two bridges of %.1f mm instead of one of %.1f mm",
		p.Line, p.Half(), p.Span)
}
