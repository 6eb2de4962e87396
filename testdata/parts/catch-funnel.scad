// Catch funnel: collects the rain and lets it drop into the tipping bucket.
// Printed spout down, so that the rim, whose area is the instrument's measure,
// is the last and cleanest thing printed.
//
// Exercises: a cone that is all overhang, 55 degrees from vertical, on a thin
// tube; a thin wall (1.6 mm) that a support must not scar through.
//
// One closed outline turned about Z: no boolean operation, hence no slivers.
// Lengths in mm. MIT licence.

rim_r    = 22;      // outer; Ø44: a small-area gauge for heavy rain
spout_r  = 6;       // outer; Ø12
wall     = 1.6;     // four lines of 0.4: watertight without sealing
spout_h  = 16;
lip_h    = 6;       // upright collar: stops splash, stiffens the rim
slope    = 55;      // from vertical

$fn = 128;

// The inner cone is the outer one moved inward by the wall, measured square to
// the slope; along Z that is wall/sin(slope).
lift      = wall/sin(slope);
cone_h    = (rim_r - spout_r)/tan(slope);
cone_top  = spout_h + cone_h;
// Heights at which the inner cone meets the bore and the collar.
in_low    = spout_h + lift - wall/tan(slope);
in_high   = cone_top + lift - wall/tan(slope);

translate([rim_r, rim_r, 0])
    rotate_extrude()
        polygon([
            [spout_r - wall, 0], [spout_r, 0], [spout_r, spout_h],
            [rim_r, cone_top], [rim_r, cone_top + lip_h],
            [rim_r - wall, cone_top + lip_h], [rim_r - wall, in_high],
            [spout_r - wall, in_low]
        ]);
