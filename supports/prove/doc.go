// Package prove judges a part and its supports as they would print together. It
// sees two solids and the settings, and shares no decision with the layout.
//
// A print fails for any of these:
//
//   - Mid-air: cells of the part, or of a support, that no rule of package hold
//     holds. Supports rest on the plate, on themselves, and on the part across
//     the void that prints as the gap. A speck no larger than a square of half a
//     line beside what holds counts as marginal.
//   - Collision: part and supports claim the same cells, by more than touching
//     outlines do: a cell × a line × a layer in all. With fused contacts a support
//     may sink one layer into the part, no deeper.
//   - Fusion: with a gap asked for, one body's cells are laid straight onto the
//     other's, over more than a bead's footprint (one line square) at one place.
//   - Side fusion: a support stands nearer than half the clearance to a wall of
//     the part, along more than a bead's footprint. Between half and the whole
//     clearance it is noted. A wall is a side of the part that stands for two
//     clearances of height; the flank of a slope just below or beside a contact
//     is near by necessity and none.
//   - No way out: a connected body of support that the part bars from moving
//     straight down, straight up and along each of 16 horizontal ways. A body
//     moves whole and alone, the others being gone, and the plate with them. One
//     that is barred so is tried again lifted and lowered by the void it breaks
//     loose across.
//
// These are noted, and fail nothing:
//
//   - Sway: a nozzle's drag bends what has printed so far by more than 0.1 mm. The
//     pieces of a layer's supports are beams of their sections' second moments, from
//     the layer below's top to its own, joined rigidly to all that they rest on:
//     u″ = M/EI, summed up layer by layer as a frame (frame.go). The couple that
//     feet apart could make is left out; twist is not followed.
//   - Letting go: the tension F·z/Z under the edge of a foot on the plate is above
//     the settings' adhesion, feet that are joined sharing the moment as their
//     second moments are. What stands on the part has no known grip.
//   - Tipping: the centre of mass of a connected piece, part or support, lies
//     outside the hull of what it stands on.
//   - In pieces: a body comes off in pieces, whose order and necks are told.
//   - No room: neither pliers nor a blade get straight at a body (room.go).
//   - Marginal: cells on ledges past the limit, but less than a line out, by their place.
//   - Thin: Report.Walls finds walls that not every line from the nozzle to 1.2 times
//     it prints well.
//
// Sway and letting go fail where Options.Steadiness binds.
//
// Euler's load is told for every body from below: P·∫(h − z)/EI dz = 1, the trace of
// the kernel of w″ = −P·w/EI with the top free, bounds 1/P of its first eigenvalue
// from above. It needs no verdict of its own: an even column of height L that a
// pull F bends by δ buckles under 0.82·F·L/δ.
//
// What is swept in a horizontal way is each layer's cells along digital lines,
// against the part's cells of the same layer: half a cell of rounding. The part is
// pared by its outermost cells for it, as both outlines are known to half a cell,
// so what merely touches does not bar.
//
// The steps:
//
//  1. cut part and supports on one grid (package raster);
//  2. judge both by the rules of holding (package hold);
//  3. connect the supports' cells into bodies (bodies.go);
//  4. sweep the bodies out (ways.go), and load them as they grow (standing.go);
//  5. compare the layers of both for overlap, fusion and nearness (touch.go);
//  6. gather failing cells into places and sort them by harm (places.go).
//
// Report.Faces tells which faces of the part a body marks, and Report.Name which of a
// list of named solids is nearest to each reason. To prove many supports under one part,
// cut it once and give it to ProveCut.
//
// Beside the verdict, Voids tells what the gap prints as at the layer heights of
// strangers (voids.go). It looks along verticals and shares none of these steps,
// but that sheets are found in the same way.
//
// Cells are judged, so solids are seen at the settings' cell and at mid-layer.
// Every report depends on its inputs alone, never on the number of workers.
//
// Frame: millimetres, +Z up, plate at z = 0.
package prove
