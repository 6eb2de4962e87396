// Mast clamp: grips the 25 mm mast; the gauge's cross arm is glued to its flat
// foot. Printed with the bore lying, so that the clamp's hoop stress runs along
// the beads and not across the layers.
//
// Exercises: the crown of a horizontal bore, cut in two by the slit, so that
// either half ends in a free edge; small horizontal bores that hold by
// themselves; the outer shell's overhang beside the foot is avoided by a block.
//
// Lengths in mm. MIT licence.

mast_d  = 25;              // common aluminium mast tube
wall    = 6;               // hoop around the mast
width   = 22;              // along the mast (Y)
floor_t = 7;               // under the bore: the glued foot
slit    = 3;               // closes by about 1 mm when the bolt is tight
ear_t   = 6;               // either side of the slit
ear_h   = 15;              // above the hoop's crown: 5 mm bolt, washer, wrench
bolt_d  = 5;               // horizontal, along X

outer_r = mast_d/2 + wall;
axis_z  = floor_t + mast_d/2;
top_z   = axis_z + outer_r + ear_h - 4;   // ears start 4 mm inside the hoop
bolt_z  = top_z - 7.5;                    // 7.5: washer's radius and a margin

$fn = 96;
eps = 1;

translate([outer_r, 0, 0])
difference() {
    // Outline in XZ, extruded along the mast.
    translate([0, width, 0])
        rotate([90, 0, 0])
            linear_extrude(width)
                difference() {
                    union() {
                        translate([0, axis_z]) circle(r = outer_r);
                        // Block below the axis: vertical sides down to the bed.
                        translate([-outer_r, 0]) square([2*outer_r, axis_z]);
                        translate([-slit/2 - ear_t, axis_z])
                            square([slit + 2*ear_t, top_z - axis_z]);
                    }
                    translate([0, axis_z]) circle(d = mast_d);
                    translate([-slit/2, axis_z]) square([slit, top_z]);
                }
    translate([-outer_r - eps, width/2, bolt_z])
        rotate([0, 90, 0])
            cylinder(d = bolt_d, h = 2*outer_r + 2*eps, $fn = 48);
}
