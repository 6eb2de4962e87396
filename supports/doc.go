// Package supports holds what every stage below it reads alike: the settings of
// the printer and of taste.
//
// The stages are packages of their own, and data flows down this list once:
//
//	hold     the rules by which a printed layer holds, judged on layers
//	need     what of a part does not hold, clustered into regions
//	plan     the designer's document: contact lines, posts
//	layout   need → plan
//	grow     plan → solids
//	prove    part and solids, layer by layer: does everything hold and come off?
//	cost     time and plastic, ours against a stated dense baseline
//
// Frame: millimetres, +Z up, plate at z = 0, angles in radians.
package supports
