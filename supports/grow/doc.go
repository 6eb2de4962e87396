// Package grow turns a plan into solids.
//
// Under every contact line stands one vertical wall, one printed line thick. The
// walls of all lines that meet form a network. A wall's lower edge rises from the
// nearest post along the network's shortest path, at the settings' lean:
//
//	low(v) = min over posts p of head(p) + distance(p, v) / tan(lean)
//
// so every layer grows only at the ends of what the layer below printed, no
// further than a slope that holds, and no wall leans sideways. Where two rising
// edges meet between supported places no further apart than a planned bridge, the
// wall is cut down to a tie: a shallow beam whose lowest bead bridges along
// itself. Hollow posts are square tubes with rounded corners. A wall's top follows the part's underside across the void that prints
// as the gap, and Relief layers more where the line is relieved and only carries.
//
// Links. A wall that grows ends in the air on every layer, and a bead that ends costs a hop
// to the next one. So ends that move side by side are joined by a link, a wall that leans with
// them: on the layers of a line with walls across it, comb and links are one square wave.
// A link begins on the plate, or along a wall that it then leans away from, never across
// the air; it keeps the clearance, and no loop that it closes has a piece of the part in
// it. Walls that grow out of one another side by side begin at one height for its sake.
// Links are derived, as the walls' lower edges are: the plan does not name them.
//
// A tie that meets walls only far below their tops, at both its ends, is a brace: a beam at
// its own height that bridges from one to the other. One that does so at one end, and meets
// walls at its own height besides, is a spur: these hang from the tall wall by it. A short sole on the plate that the
// nozzle's drag would lever off is flared, to the sides that have room.
//
// Walls keep out of the zones of the plan that no support may enter, and go over them
// where they can. Heads of posts by the designer are lowered where walls would hang
// from nothing.
//
// Sheets and steps are printed onto the part. An Opening is what is open under a
// ceiling with a hole in it and closed all round by the part, found from its layers. A
// sheet is one layer across it, steps are one prism for each side of the polygon that
// the hole is left in; both reach a line into the wall. Other solids keep off them as
// off the part.
//
// Every wall and post is one closed shell; shells overlap where walls meet and
// are united by the positive fill rule.
//
// Frame: millimetres, +Z up, plate at z = 0.
package grow
