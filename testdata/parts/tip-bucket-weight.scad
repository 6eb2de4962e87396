// Tip-bucket weight: counterweight that slides on the bucket's beam and sets
// how much rain tips it.
//
// Exercises: nothing to support. Every trap is there in its printable form:
// chamfers of 40 degrees from vertical, a teardrop bore, slots whose ceilings
// are bridges of 6 mm between two walls, an upright hole. The right answer is
// "holds as it is".
//
// Lengths in mm. MIT licence.

size     = [44, 22, 20];
chamfer  = 3;            // sideways, along the lower edges of the long sides
steep    = 40;           // from vertical: everything inclined uses this
beam_d   = 8;            // the beam's bore, along Y
beam_z   = 11;
slot_w   = 6;            // shortest bridge limit in common use is 5 to 10
slot_h   = 4;
slot_at  = 8;            // slot's centre from either end
set_d    = 3.2;          // upright, for the M3 set screw that clamps the beam

$fn = 64;
eps = 1;

// A bore of radius r whose crown is drawn out to a ridge, so that no part of it
// lies flatter than `steep`: the tangents at that angle meet r/sin(steep) above
// the axis.
// The arc stops at the tangent points, so that no sliver is left beside them.
module teardrop(r, sides = 40)
    polygon(concat(
        [for (i = [0 : sides])
            let (a = 180 - steep + (180 + 2*steep)*i/sides) r*[cos(a), sin(a)]],
        [[0, r/sin(steep)]]
    ));

difference() {
    // Outline in YZ, along X, with the two lower edges chamfered.
    rotate([90, 0, 90])
        linear_extrude(size[0])
            polygon([
                [chamfer, 0], [size[1] - chamfer, 0],
                [size[1], chamfer/tan(steep)], [size[1], size[2]],
                [0, size[2]], [0, chamfer/tan(steep)]
            ]);
    translate([size[0]/2, size[1] + eps, beam_z])
        rotate([90, 0, 0])
            linear_extrude(size[1] + 2*eps) teardrop(beam_d/2);
    for (x = [slot_at, size[0] - slot_at])
        translate([x - slot_w/2, -eps, -eps])
            cube([slot_w, size[1] + 2*eps, slot_h + eps]);
    translate([size[0]/2, size[1]/2, beam_z])
        cylinder(d = set_d, h = size[2], $fn = 32);
}
