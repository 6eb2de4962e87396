// Shelf over shelf: holds the data logger above its battery.
//
// Exercises: an undercut over the part itself. The lower shelf (underside
// z = 12) sticks out 38 mm and is served from the bed; the upper one (underside
// z = 38) sticks out 26 mm and all of it lies over the lower shelf, so its
// supports stand on the part and leave marks there, unless they reach past it.
//
// Lengths in mm. MIT licence.

width    = 44;
wall_t   = 8;
height   = 56;
// [underside's height, reach from the wall]
shelves  = [[12, 38], [38, 26]];
shelf_t  = 5;
toe      = [6, 6];    // sloped fillet along the wall's foot: more hold on the bed

rotate([90, 0, 90])
    linear_extrude(width)
        union() {
            square([wall_t, height]);
            polygon([[wall_t - 1, 0], [wall_t + toe[0], 0], [wall_t, toe[1]], [wall_t - 1, toe[1]]]);
            for (s = shelves)
                translate([wall_t - 1, s[0]])
                    square([s[1] + 1, shelf_t]);
        }
