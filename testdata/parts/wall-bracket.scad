// Wall bracket: carries the rain gauge's base plate on a house wall.
// Printed as it hangs, back plate standing on the bed: the shelf, which bends
// under the gauge, then has its beads along the pull, and the back plate, whose
// layers are pulled apart, is backed by the house wall.
//
// Exercises: one flat ceiling, 56 x 40 mm at z = 30.000 mm, free on three
// sides and held by the wall along the fourth. Area 2240 mm2.
//
// Lengths in mm. MIT licence.

width        = 56;   // the gauge's base plate is 48 wide; 4 mm of rib each side
wall_t       = 6;    // three perimeters a side and still room for infill
wall_h       = 60;   // upper screws sit well above the shelf, where they pull
shelf_z      = 30;   // leaves a hand's width for the outlet hose's bend
shelf_reach  = 40;   // base plate is 40 deep
shelf_t      = 6;
rib_t        = 4;    // keeps the base plate from sliding sideways
rib_reach    = 26;   // ribs stop short of the front edge: room for the clip
screw_d      = 4.5;  // clearance for a 4 mm wood screw
screw_inset  = 14;   // from the sides; clears the ribs and a screw head
screw_low_z  = 14;   // below the shelf
screw_high_z = 49;   // above the shelf

$fn = 48;
eps = 1;             // cutters run past the faces, so that no face coincides

module screw_hole(x, z)
    translate([x, -eps, z])
        rotate([-90, 0, 0])
            cylinder(d = screw_d, h = wall_t + 2*eps);

difference() {
    union() {
        // Wall and shelf are one extruded outline, so the ceiling is a single
        // plane whose height is not touched by any rounding.
        rotate([90, 0, 90])
            linear_extrude(width)
                polygon([
                    [0, 0], [wall_t, 0],
                    [wall_t, shelf_z], [wall_t + shelf_reach, shelf_z],
                    [wall_t + shelf_reach, shelf_z + shelf_t],
                    [wall_t, shelf_z + shelf_t],
                    [wall_t, wall_h], [0, wall_h]
                ]);
        // Ribs stand on the shelf and lean back to the wall: they never overhang.
        for (x = [0, width - rib_t])
            translate([x, 0, 0])
                rotate([90, 0, 90])
                    linear_extrude(rib_t)
                        polygon([
                            [wall_t - eps, shelf_z + shelf_t - eps],
                            [wall_t + rib_reach, shelf_z + shelf_t - eps],
                            [wall_t + rib_reach, shelf_z + shelf_t],
                            [wall_t, wall_h],
                            [wall_t - eps, wall_h]
                        ]);
    }
    for (x = [screw_inset, width - screw_inset], z = [screw_low_z, screw_high_z])
        screw_hole(x, z);
}
