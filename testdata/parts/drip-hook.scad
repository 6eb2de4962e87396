// Drip hook: sits on the gauge's outlet and leads the emptied water to a single
// tip, so that drops fall clear of the wall.
//
// Exercises: one lone tip that begins in mid-air at z = 12, under an arm that
// holds by itself (its strut rises 42 degrees from vertical). Miss the tip and
// the print fails, though its area is hardly 1 mm2.
//
// Lengths in mm. MIT licence.

foot      = [28, 24, 3];   // heavy enough for the arm's weight on the far side
post_x    = 8;             // post set in from the foot's edge
post      = [12, 10];
reach     = 34;            // arm's end from the post's face
strut_deg = 42;            // from vertical: below the usual 45 with a margin
arm_z     = 54;            // underside of the arm at its end
arm_t     = 6;             // above arm_z
tip_z     = 12;            // a cup fits beneath
tip_r     = 0.6;           // blunt: a drop forms and lets go, nobody is pricked
tip_top_r = 4.4;           // just inside the 10 mm arm, never flush with its sides
tip_from  = 8;             // axis of the cone from the arm's end

strut_h = reach/tan(strut_deg);
face_x  = post_x + post[0];
tip_x   = face_x + reach - tip_from;

$fn = 36;

union() {
    cube(foot);
    translate([0, (foot[1] + post[1])/2, 0])
        rotate([90, 0, 0])
            linear_extrude(post[1])
                polygon([
                    [post_x, foot[2] - 1], [face_x, foot[2] - 1],
                    [face_x, arm_z - strut_h], [face_x + reach, arm_z],
                    [face_x + reach, arm_z + arm_t], [post_x, arm_z + arm_t]
                ]);
    // The cone ends inside the arm, 2 mm below its upper face.
    translate([tip_x, foot[1]/2, tip_z])
        cylinder(r1 = tip_r, r2 = tip_top_r, h = arm_z + arm_t - 2 - tip_z);
}
