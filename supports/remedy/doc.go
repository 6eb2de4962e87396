// Package remedy is the geometry by which a designer takes the need for support
// out of a part in CAD: a teardrop over a lying bore, bridging steps or a sheet
// under a ceiling with a hole in it, a chamfer under a ledge, one wall in the
// middle of a span.
//
// [Bores] finds the cylindrical holes of a mesh. [Bore.Crown] tells how much of
// one is too steep, [Crown.Closes] whether it prints all the same, and
// [Bore.Teardrop] with [Bore.Cutter] makes the solid to subtract. The other
// remedies ([Steps], [Sheet], [Chamfer], [MidWall]) are plain numbers, given the
// measures of the place.
//
// The formulas are elementary trigonometry, derived beside them. Each remedy
// has a String in words that can be read out to whoever sits at the CAD program.
//
// Frame: millimetres, +Z up, plate at z = 0. Angles are radians, limits from the
// vertical.
package remedy
