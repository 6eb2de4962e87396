// Tine row: drip comb below the overflow: six teeth break the sheet of water
// into drops that can be counted.
//
// Exercises: six pointed tips, each an island that begins in mid-air at z = 16,
// in a row under a beam whose own underside (z = 34) needs holding too, between
// two legs 60 mm apart. Joining the tips with one continuous wall beats six
// pillars.
//
// Lengths in mm. MIT licence.

count    = 6;
pitch    = 9;
span     = 60;         // between the legs
leg      = [8, 12];    // X, Y
beam_z   = 34;
beam_t   = 7;
tip_z    = 16;
tine_r   = 2.6;        // at the beam
point_r  = 0.15;       // a point: smaller than one line, yet a face and no needle

$fn = 16;
eps = 1;

length = span + 2*leg[0];

union() {
    for (x = [0, length - leg[0]])
        translate([x, 0, 0]) cube([leg[0], leg[1], beam_z + eps]);
    translate([0, 0, beam_z]) cube([length, leg[1], beam_t]);
    // The cones end in the beam's underside itself: cut there they would leave
    // slivers, and two faces in one plane do join.
    for (i = [0 : count - 1])
        translate([length/2 + (i - (count - 1)/2)*pitch, leg[1]/2, tip_z])
            cylinder(r1 = point_r, r2 = tine_r, h = beam_z - tip_z);
}
