// Tall arm: carries the wind vane's reed switch clear of the funnel.
//
// Exercises: a small need a long way up: an arm 20 mm long and 8 mm wide whose
// underside lies at z = 80, on a slim post. The support is mostly pillar, so
// its stiffness, braces and foot decide, and part of the way down may end on
// the part's own foot.
//
// Lengths in mm. MIT licence.

foot     = [36, 30, 4];   // stays down while 86 mm of post is printed
post     = [9, 8];
post_at  = [8, 11];       // set back, so that the foot reaches under the arm
reach    = 20;            // clear of the post
arm_z    = 80;
arm_t    = 6;
switch_d = 2.2;           // upright bore for the reed switch's glass

$fn = 32;
eps = 1;

difference() {
    union() {
        cube(foot);
        translate([post_at[0], post_at[1], foot[2] - eps])
            cube([post[0], post[1], arm_z + arm_t - foot[2] + eps]);
        translate([post_at[0], post_at[1], arm_z])
            cube([post[0] + reach, post[1], arm_t]);
    }
    translate([post_at[0] + post[0] + reach - 5, post_at[1] + post[1]/2, arm_z - eps])
        cylinder(d = switch_d, h = arm_t + 2*eps);
}
