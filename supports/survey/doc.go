// Package survey explains a part's need to its designer: of which shape each
// region is, which rule it breaks, and which change in CAD would do away with it.
//
// Frame: millimetres, +Z up, plate at z = 0, angles in radians. Areas are in plan
// view.
package survey
