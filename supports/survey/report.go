package survey

import (
	"falsework/mesh"
	"falsework/supports/need"
)

// Report is what does not hold of a part in its pose, why, and what would do away
// with it.
type Report struct {
	Need     need.Need
	Findings []Finding // in the order of the need's regions
	Notes    []Note    // what else the designer should know, worst first
	// Certified is the angle from the vertical, in radians, from which a slope is
	// sure to be found, given CertifiedRise mm of it.
	Certified, CertifiedRise float64
}

// Kind is the shape of what does not hold.
type Kind string

const (
	Tip     Kind = "tip"            // begins in mid-air, no wider than two lines
	Edge    Kind = "hanging edge"   // begins in mid-air as a narrow strip
	Hanging Kind = "hanging face"   // begins in mid-air as a face
	Slope   Kind = "slope"          // leans out beyond the limit
	Crown   Kind = "bore crown"     // the top of a horizontal bore
	Ledge   Kind = "ledge"          // a level face held along one side
	Ceiling Kind = "flat ceiling"   // a level face, its edges partly in the air
	Ring    Kind = "ring ceiling"   // a level face round a hole
	Bridge  Kind = "bridge too far" // a level face between walls further apart than a bridge spans
)

// Rule is the rule of package hold that a region breaks.
type Rule string

const (
	Overhang Rule = "overhang" // further out than the layer below carries
	Span     Rule = "bridge"   // no bead across it lands at both ends
	Island   Rule = "island"   // nothing below it to hang from
)

// Finding is one region and what is known of it.
type Finding struct {
	need.Region
	Kind Kind
	Rule Rule
	// Span is the longest bead in the air, in mm, when beads are laid along
	// Angle (radians from +X towards +Y), their best direction; WorstSpan is
	// that in their worst. Open beads end in the air.
	Span, Angle, WorstSpan float64
	Open                   bool
	// Steepest is the greatest angle of its facets, radians from the vertical.
	Steepest float64
	// FromPlateMM2 is the area, in plan, with nothing of the part between it and
	// the plate.
	FromPlateMM2 float64
	Faces        []int    // triangles of the mesh, ascending
	Remedies     []Remedy // the cheapest first, never empty
}

// Remedy is one way to hold a region or to do without holding it.
type Remedy struct {
	Name string // such as "teardrop", "chamfer", "one-layer sheet", "supports"
	Text string // one sentence with numbers, ending without a full stop
	// Cutter is what to subtract from the part, in place; nil where nothing is.
	Cutter *mesh.Mesh
}

// Note is something told that is not a region.
type Note struct {
	Name   string // such as "thin wall", "bore prints as it is", "marginal ledge", "inner corner"
	Text   string // one sentence with numbers, ending without a full stop
	Z      float64
	X, Y   float64
	Advice bool // a hint on strength or looks, no finding about printing
}
