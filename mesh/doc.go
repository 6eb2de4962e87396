// Package mesh holds indexed triangle solids: it reads them, welds them, measures
// them, builds simple ones and writes them.
//
// Frame: millimetres, +Z up, the printer's plate at z = 0. Angles are radians.
package mesh
