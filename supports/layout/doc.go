// Package layout turns a need into a plan: where contact lines run under the part
// and where the walls below them go down.
//
// Contacts. A flat patch gets a contact line along its free edges and two crossed
// families of lines, spaced so that no straight bead between them is longer than
// a planned bridge in any direction (in one family across it where a direction
// is stated). A slope gets lines down its fall: the outline of each layer is
// walked from the lowest one up, existing lines are carried on to it, and new
// ones begin where it would span further than its sagitta allows. What the rules
// of package hold then still find bare gets lines of its own. On parts that are not
// too large other drawings are weighed against this one: crossed lines that leave oblongs
// open instead of squares, hoops round a hole or a stem with spokes between them (hoops.go), the lines of a low ceiling linked to one wall that stands as one
// bead a layer (weave.go), arms of a slope further apart, linked end to end or by pairs,
// spines that carry arms to both sides, low lines that hang by spurs from walls of higher
// ones (spurs.go), and in a stated direction a ceiling without the sides that beads run
// along, or as for any. Each region of the need is drawn as that one prints fastest, and of
// what comes of it and of the next best mixtures the one that prints fastest is taken, if it
// holds as well. Lines that surround something come in two halves.
//
// Posts. Walls below the contacts hang from posts by shortest paths (package
// grow). Posts are added one by one where they save the most print time, as a
// facility location by greedy addition and exchange: hollow posts, soles, and soles
// under whole lines, which must stand stiffly enough for the nozzle's drag. Walls are
// priced (price.go) by what package grow makes of them: as late as what hangs from them
// lets them begin, and with half a hop more on each layer for every place where an odd
// number of them meets, since a bead ends there.
//
// Paring. What the solids of the chosen drawing really take to print says which lines, ties
// and posts are left out, where posts move to and how wide they are, and which lines turn
// their corners by arcs, at which a nozzle does not slow down (pare.go).
//
// Firmness. Where the proof says that walls of the chosen drawing sway under the nozzle's
// drag or lever themselves off the plate, braces are laid to the walls beside them, hollow
// posts made as wide as that takes, soles longer, if what comes of it stands more firmly,
// holds and comes off as well, and takes hardly more time (firm.go).
//
// Relief. Of the contact lines of the best layout those bays that hold nothing beside the others
// end below the part: walls that others only hang from, or that only lead from one to the next
// (ease.go). What carries nothing either is left out then, and posts are chosen again for
// what is left (shed.go).
//
// Bound. ContactUnder sets the contact lines under level ceilings beside the least
// length that any plan needs.
//
// Openings. Where a pocket's ceiling has a hole in it and a planned bridge reaches from
// wall to wall, or past the hole, a sheet or bridging steps (package grow) do away with
// that region, if they print faster than supports of it. From then on they count as of
// the part. SheetAt and StepsAt make one of the designer's from a place.
//
// The designer's. Around lays out only what a designer left open: lines and posts by
// the designer stay as they are and are built on, zones bar lines and posts, what was
// struck is not drawn again. Check refuses wishes that cannot be, Bare tells where
// and why a plan leaves the part bare.
//
// Frame: millimetres, +Z up, plate at z = 0, angles in radians.
package layout
