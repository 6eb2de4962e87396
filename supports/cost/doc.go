// Package cost prices parts and supports in seconds and in plastic, and prices a
// textbook dense support for the same part beside them.
//
// All are turned into the paths a nozzle would take, layer by layer, and timed
// by one planner:
//
//  1. Supports reads the layers of supports that were grown. Whatever is up to
//     two lines thick is thinned to its middle lines, a network of nodes and
//     edges; the network is covered by the fewest trails, half as many as it has
//     odd nodes, and each trail's start has its price. Thicker areas get an
//     outline loop and full lines.
//  2. Baseline derives the dense support that BaselineText describes from the
//     part's layers, with one outline loop, zigzag lines at a spacing and full
//     lines at the contact.
//  3. Part draws the part itself: outlines at true offsets, full lines near tops and
//     undersides, sparse lines between. Machine.Total adds what is printed together.
//  4. The paths of a layer are put in a short order of travel; moves between
//     them retract; Machine.Plan gives every move its entry and exit speed.
//
// Plastic is path length times bead area, for both sides of a Comparison.
//
// Frame and units: mm in the printer's frame, +Z up, plate at z = 0; seconds,
// mm/s, mm/s², mm³, g; angles in radians. Where cells are meant the comment says
// so: cell (i, j) covers [i, i+1) × [j, j+1).
//
// Results depend on the layers, the settings and the machine alone, never on the
// number of workers.
package cost
