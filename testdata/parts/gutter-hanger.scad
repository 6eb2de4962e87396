// Gutter hanger: two long hooks that reach over the gutter's front rim; the
// gauge's overflow pipe is screwed to the plate. Printed standing, as it is
// loaded.
//
// Exercises: long cantilevers, 48 mm at z = 34, only 9 mm wide, with lips that
// turn down and begin in mid-air at z = 20: an island, then a wall, then a
// ceiling that joins them. Two of them, 25 mm apart: each its own pillar or one
// shared.
//
// Lengths in mm. MIT licence.

width   = 52;       // of the back plate, along Y
plate_t = 6;
plate_h = 52;
toe     = [18, 4];  // keeps the plate standing
hook_w  = 9;
hook_y  = [4, 39];  // lower edges of the hooks
hook_z  = 34;       // underside of the arm
hook_t  = 7;
reach   = 48;       // from the plate's face to the lip's outside
lip_t   = 5;
lip_z   = 20;
screw_d = 4.5;

$fn = 40;
eps = 1;

module in_xz(w) translate([0, w, 0]) rotate([90, 0, 0]) linear_extrude(w) children();

difference() {
    union() {
        cube([plate_t, width, plate_h]);
        cube([toe[0], width, toe[1]]);
        for (y = hook_y)
            translate([0, y, 0])
                in_xz(hook_w)
                    polygon([
                        [plate_t - eps, hook_z],
                        [plate_t + reach - lip_t, hook_z],
                        [plate_t + reach - lip_t, lip_z],
                        [plate_t + reach, lip_z],
                        [plate_t + reach, hook_z + hook_t],
                        [plate_t - eps, hook_z + hook_t]
                    ]);
    }
    for (z = [16, 46])
        translate([-eps, width/2, z])
            rotate([0, 90, 0])
                cylinder(d = screw_d, h = plate_t + 2*eps);
}
