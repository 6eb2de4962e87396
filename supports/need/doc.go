// Package need finds what of a bare part does not hold in its pose, and clusters
// it into regions that a designer would point at.
//
// Frame: millimetres, +Z up, plate at z = 0. Areas are in plan view, summed over
// the layers where they first appear.
package need
