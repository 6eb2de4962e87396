// Package mesh holds indexed triangle solids: it reads them, welds them, measures
// them, builds simple ones and writes them.
//
// Frame: millimetres, +Z up, the printer's plate at z = 0. Angles are radians.
// Triangles run counter-clockwise seen from outside. A solid may be several
// closed shells, which may overlap: a point is inside where its winding number
// is positive.
//
// Files: [Read] reads STL, 3MF and OBJ, in the unit that it is told, [EncodeSTL] and
// [Encode3MF] write; the Decode functions read from memory and never panic, whatever
// the bytes.
// Errors about a file are of three types, so that a program can tell them apart:
// [FormatError] (malformed), [UnsupportedError] (sound perhaps, but not handled)
// and [SizeError] (another unit, most likely). Each is one line that names the
// file, the place in it, and a remedy. The formats keep coordinates in
// float32; [Mesh.Round32] does the same to a mesh in memory, so that what is
// measured is what is written. The same mesh gives the same bytes.
//
// Measures: [Mesh.Volume], [Mesh.Area], [Mesh.Bounds], and [Mesh.Topology] for
// holes, shells and other defects, which are counted rather than refused.
//
// Builders: [Prism], [Frustum], [Tube], [Loft] and [Wall] return closed shells
// that face outward.
package mesh
