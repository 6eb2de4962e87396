// Nut pocket plate: the counter plate behind the mast clamp; its nuts are
// dropped in from below and cannot turn.
//
// Exercises: hexagonal pockets opening downward with a smaller round hole in
// their ceiling: two for M6, one for M4. Every wall of the pocket is flat, so
// bridging steps or a one-layer sheet fit them well.
//
// Lengths in mm. MIT licence.

size    = [52, 24, 9];
corner  = 4;
m6_af   = 10.3;    // across flats, nut 10.0 and clearance
m6_h    = 5.2;     // nut 5.0
m6_d    = 6.5;
m6_at   = 12;      // from either end
m4_af   = 7.3;     // nut 7.0
m4_h    = 3.4;     // nut 3.2
m4_d    = 4.4;

$fn = 64;
eps = 1;

module pocket(at, af, h, d)
    translate([at, size[1]/2, 0]) {
        // A circle of six sides has its corners on the radius: af/2/cos(30).
        translate([0, 0, -eps]) cylinder(r = af/2/cos(30), h = h + eps, $fn = 6);
        cylinder(d = d, h = size[2] + eps);
    }

difference() {
    linear_extrude(size[2])
        translate([corner, corner])
            offset(r = corner)
                square([size[0] - 2*corner, size[1] - 2*corner]);
    for (x = [m6_at, size[0] - m6_at]) pocket(x, m6_af, m6_h, m6_d);
    pocket(size[0]/2, m4_af, m4_h, m4_d);
}
