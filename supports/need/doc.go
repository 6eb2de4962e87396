// Package need finds what of a bare part does not hold in its pose, and clusters
// it into regions that a designer would point at.
//
// Frame: millimetres, +Z up, plate at z = 0. Areas are in plan view, summed over
// the layers where they first appear.
// A slope is told where it owes a line (see package hold), so just past the limit
// the area is less than what lies beyond it: a 50° ramp 8 mm high tells about an
// eighth. From 60° on nearly all of it is told.
package need
