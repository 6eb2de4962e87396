// Package hold judges, layer by layer, which cells of a print hold and which
// would be laid in mid-air. It knows layers and settings only: the need of a bare
// part, and the proof of a part with its supports, are both read off it.
//
// A layer's new cells are those with nothing under them. They hold where one of
// these is true:
//
//  1. Overhang. A cell lies within h·tan(limit) of what is below, where the
//     distance that earlier layers overdrew is owed by the cells above them. The
//     debt of a cell is the least, over cells q below, of debt(q) + distance −
//     h·tan(limit), never under zero; a cell fails once it owes more than a ledge
//     (one line) would. A slope past the limit fails so after enough layers, and
//     a single ledge of up to one line is marginal, not failed.
//  2. Bridge. A cell lies on a straight chord no longer than the bridge limit
//     with a landing at both ends: two lines of the body's own walls, or one
//     line of a contact. On a flat patch an end at a free edge counts where it
//     stands out from what is below by no more than a ledge. A patch that leans
//     on contacts across a void must hold so in every direction, unless one is
//     stated: the program that lays the beads does not see such contacts. A
//     patch between walls alone is judged in its best direction.
//  3. Outline. The outer lines follow the outline as loops, so they hold where
//     the outline runs from landing to landing, no further than a bridge, and
//     leaves its chord by no more than half a line: a bead laid round a curve
//     spans no further than its sagitta allows. The body of a support is made of
//     one-line walls: there a single pass runs straight through crossings, and a
//     chord inside the wall that joins two landings will do.
//  4. Closing. A narrow strip at the crown of a small opening holds where the
//     next layers bridge the opening before it.
//
// The plate is a contact for what lies over it across the void that a contact may
// have: such beads sag onto it. A patch that touches nothing below is an island
// and never holds.
//
// Frame: millimetres, +Z up, plate at z = 0, angles in radians.
package hold
