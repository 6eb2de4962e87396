// Bearing block: holds one ball bearing (22 x 8 x 7 mm) of the tipping bucket's
// axle. Two of them face each other; the bearing is pressed in from below.
// Printed pocket down, since the upper face carries the dust shield and must
// be free of marks, and the pocket's wall comes out round.
//
// Exercises: an annular ceiling at z = 7.2: held outside by the pocket's wall
// (diameter 22), while the smaller through hole in it (diameter 8) has its
// outline in air. The chord that misses the hole is 2 sqrt(11^2 - 4^2) = 20.5.
//
// Lengths in mm. MIT licence.

side       = 34;
height     = 16;
pocket_d   = 22;     // nominal; the crush fit comes from the printer's own error
pocket_h   = 7.2;    // bearing 7 plus one layer of 0.2
axle_d     = 8;      // clears the bearing's inner ring shoulder
corner     = 5;      // chamfer of the upright edges, for handling
screw_d    = 4.2;    // four M4, upright
screw_at   = 11.8;   // from the centre, both ways: leaves 3.5 mm to the pocket

$fn = 96;
eps = 1;

module outline()
    polygon([
        [corner, 0], [side - corner, 0], [side, corner], [side, side - corner],
        [side - corner, side], [corner, side], [0, side - corner], [0, corner]
    ]);

difference() {
    linear_extrude(height) outline();
    translate([side/2, side/2, 0]) {
        translate([0, 0, -eps]) cylinder(d = pocket_d, h = pocket_h + eps);
        cylinder(d = axle_d, h = height + eps, $fn = 64);
        for (x = [-screw_at, screw_at], y = [-screw_at, screw_at])
            translate([x, y, -eps])
                cylinder(d = screw_d, h = height + 2*eps, $fn = 32);
    }
}
