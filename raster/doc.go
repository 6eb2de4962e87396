// Package raster cuts solids into the layers a printer lays down and answers set
// questions on them.
//
// A Grid divides the plate into square cells; a Layers says at which heights a
// print is cut; Section fills a Stack with one Bits (a set of cells) a layer by
// exact scan conversion: a cell belongs to a layer where its centre has positive
// winding at the layer's cutting plane.
//
// Frame: millimetres, +Z up, plate at z = 0. Cell (i, j) has its centre at
// Origin + (i+½, j+½)·Cell. Layer 0 is First thick and cut at First/2; layer
// k ≥ 1 is cut at First + (k−½)·Height.
//
// Every result depends on its inputs alone, never on the number of workers.
package raster
