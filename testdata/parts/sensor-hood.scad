// Sensor hood: shelters the temperature and humidity sensor under the gauge.
// Open below and at the front; air passes over the baffles inside.
//
// Exercises: ceilings nested at three heights (z = 14, 26 and 38), each seen
// from below beside the next; walls on three sides, a free edge at the front;
// the inner ceilings can be served only from the bed inside the cavity.
//
// Lengths in mm. MIT licence.

size   = [56, 46];
wall   = 4;      // walls and roofs alike
// From outside in: [inset from the outermost walls, ceiling's height]. Insets of
// 9 mm: a sensor board's edge rests on each step. The outside follows, so that
// it is a stack of boxes that narrows upward and needs nothing.
steps  = [[0, 14], [9, 26], [18, 38]];
vent_d = 5;      // in the back wall, over the sensor; small enough to bridge
vent_z = 33;

$fn = 40;
eps = 1;

difference() {
    for (s = steps)
        translate([s[0], 0, 0])
            cube([size[0] - 2*s[0], size[1] - s[0], s[1] + wall]);
    // The front (y = 0) stays open at full height.
    for (s = steps)
        translate([wall + s[0], -eps, -eps])
            cube([size[0] - 2*(wall + s[0]), size[1] - wall - s[0] + eps, s[1] + eps]);
    translate([size[0]/2, 0, vent_z])
        rotate([-90, 0, 0])
            cylinder(d = vent_d, h = size[1]);
}
