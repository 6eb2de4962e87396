// Package view draws a part and its temporary supports as a sheet of a
// construction drawing: the figure in ink on paper, dimension lines, a graphic
// scale, a legend and a title block in the lower right corner.
//
// A picture is made in this order:
//
//  1. project: every vertex goes through one orthographic projection, fitted to
//     the figure's frame (camera.go, figure.go);
//  2. rasterise: part, supports and marks become one layer each, with colour and
//     depth. Triangles are drawn in the order of the mesh from one goroutine a
//     layer, so nearly coincident surfaces come out alike every time (layer.go);
//  3. compose: layers meet by depth. Pads and unheld spots show through
//     supports, since a support stands before the very place it holds; regions
//     tint the part; a ghosted part is a pane over what it hides (compose.go);
//  4. ink: outlines come from jumps of depth, sharp edges from the mesh's
//     topology, both tested against the depth of every layer (topology.go);
//  5. letter: frame, dimensions, balloons, legend, scale and title block
//     (sheet.go, annotate.go).
//
// The same scene and options give the same bytes, whatever the number of
// processors. No role is told by colour alone: lightness, hatching and a word in
// the legend say it as well, and a test holds the palette apart under simulated
// colour blindness.
//
// Frame: millimetres, +Z up, plate at z = 0. Inside the package, sheet
// coordinates are pixels with x to the right and y down.
package view
