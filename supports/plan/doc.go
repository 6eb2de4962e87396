// Package plan is the designer's document: what should hold the part, in words
// that can be edited by hand, never triangles.
//
// A Line is a contact line drawn under the part; a wall one printed line thick
// stands below it. A Post is where walls gather and go down: a hollow post, or a
// sole, which is a stretch of wall, or the whole wall under one line, that goes
// straight to what is below. The shape
// in between, walls that lean from the posts up to the lines, is derived from
// these by package grow and is not in the document.
//
// A Sheet closes an opening under a ceiling with one layer, Steps let a hole in a
// pocket's ceiling stand on bridges. Both are printed onto the part.
//
// A Zone is a place with a wish: keep it clean, hold it, do not go there. Whatever
// is by the designer stays as it is; the program draws the rest around it.
//
// [Decode] reads a document strictly, [Update] changes what one says and leaves its
// comments, and all that did not change, as they were written. [Plan.Remember] and
// [Plan.Reclaim] are how the program knows what a person did to its own drawing.
//
// Frame: millimetres, +Z up, plate at z = 0; angles are degrees in the document
// and radians in memory.
package plan
