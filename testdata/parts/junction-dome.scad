// Junction dome: lid over the cable junction, drum below, dome above, with a
// flange at mid height by which it is clamped from above.
//
// Exercises: a flange all round in mid-air (underside z = 16, 11 mm wide, its
// outline curved and free; a support that closes round the drum can come off
// only downward); and the dome's inside, whose crown is held from the bed within
// the room and must leave by the opening below.
//
// One closed outline turned about Z: no boolean operation, hence no slivers.
// Lengths in mm. MIT licence.

drum_r   = 24;     // outside
wall     = 3;
drum_h   = 22;     // the dome springs here
flange_r = 35;
flange_z = 16;
flange_t = 4;

$fn = 64;
steps = 12;        // along the dome's quarter circle

function quarter(r, from, to) =
    [for (i = [0 : steps])
        let (a = from + (to - from)*i/steps)
            // cos(90) is exactly 0 here, so both ends lie on the axis.
            [r*cos(a), drum_h + r*sin(a)]];

translate([flange_r, flange_r, 0])
    rotate_extrude()
        polygon(concat(
            [[drum_r - wall, 0], [drum_r, 0],
             [drum_r, flange_z], [flange_r, flange_z],
             [flange_r, flange_z + flange_t], [drum_r, flange_z + flange_t]],
            quarter(drum_r, 0, 90),
            quarter(drum_r - wall, 90, 0)
        ));
