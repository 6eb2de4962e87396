// Package pose ranks ways to turn a part before it is printed.
//
// Find compares directions by sums over the part's triangles: the sides of its convex
// hull that it stands on, its flats laid level, and directions spread over the
// sphere, the best of them refined. Poses that are the same by the part's symmetry
// count once. Sums see no layers: a face that another one shields counts as one over
// the plate. So LayOut draws, proves and prices real supports for what Find chose,
// and Rank orders poses by what was measured: by points that weights give, beside
// the set of those that no other pose beats in everything (Pareto).
//
// Frame: millimetres, +Z up, plate at z = 0. Directions are those of the part as it
// was given; the direction called up is the one that a pose brings to +Z. Angles are
// radians, but those of a Turn, which is written down, are degrees.
package pose
