// Mast saddle: half of the mast's diameter, strapped over it with two hose
// clamps; the cross arm rests on its flat back. Printed trough down, the way
// its flanges lie flat.
//
// Exercises: half a bore, 25 mm wide and 44 mm long, open to the bed: a vault.
// Beyond 45 degrees it spans 17.7 mm. Long and low: the crown is at z = 12.5,
// so cheap support is low, and every trace of it bears on the mast.
//
// Lengths in mm. MIT licence.

mast_d   = 25;
length   = 44;      // along Y
body_w   = 37;
body_h   = 20;      // 7.5 over the crown
flange_w = 10;      // beyond the body, either side
flange_t = 5;
strap_w  = 10;      // hose clamp, two grooves across the back
strap_t  = 1.5;
screw_d  = 4.5;

$fn = 96;
eps = 1;

difference() {
    translate([body_w/2 + flange_w, length, 0])
        rotate([90, 0, 0])
            linear_extrude(length)
                difference() {
                    union() {
                        translate([-body_w/2, 0]) square([body_w, body_h]);
                        translate([-body_w/2 - flange_w, 0])
                            square([body_w + 2*flange_w, flange_t]);
                    }
                    circle(d = mast_d);
                }
    for (y = [8, length - 8])
        translate([-eps, y - strap_w/2, body_h - strap_t])
            cube([body_w + 2*flange_w + 2*eps, strap_w, strap_t + eps]);
    for (x = [flange_w/2, body_w + 1.5*flange_w], y = [10, length - 10])
        translate([x, y, -eps])
            cylinder(d = screw_d, h = flange_t + 2*eps, $fn = 32);
}
