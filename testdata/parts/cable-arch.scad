// Cable arch: a guard over the signal cable where it crosses the base plate.
// Printed on its feet, the way it is screwed down.
//
// Exercises: a half-round opening 40 mm wide, springing at z = 8, crown at
// z = 28: its slope passes every angle from vertical to flat, and beyond 45
// degrees it spans 28.3 mm (40 / sqrt 2).
//
// Lengths in mm. MIT licence.

opening  = 40;    // a bundle of three cables and their plugs
leg_h    = 8;     // straight part: the plug's thickness
ring_t   = 6;
depth    = 16;    // along Y

inner_r  = opening/2;
outer_r  = inner_r + ring_t;    // 52 wide, 34 high in all

$fn = 128;

translate([outer_r, depth, 0])
    rotate([90, 0, 0])
        linear_extrude(depth)
            difference() {
                union() {
                    translate([0, leg_h]) circle(r = outer_r);
                    translate([-outer_r, 0]) square([2*outer_r, leg_h]);
                }
                // Takes the lower half of the circles and opens the passage.
                translate([-2*outer_r, -4*outer_r]) square([4*outer_r, 4*outer_r]);
                translate([0, leg_h]) circle(r = inner_r);
                translate([-inner_r, -1]) square([opening, leg_h + 1]);
            }
