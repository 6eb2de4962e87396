// Level bob: sighting ball for levelling the gauge: the mast is upright when
// the ball covers the mark on the base plate.
//
// Exercises: the lower cap of a sphere, r = 14 around z = 26, over a foot disc
// of r = 15, so supports stand partly on the part itself. Steeper than 45
// degrees is the cap below z = 26 - 14/sqrt 2 = 16.1, less the stem.
//
// One closed outline turned about Z: no boolean operation, hence no slivers.
// Lengths in mm. MIT licence.

ball_r   = 14;
ball_z   = 26;
stem_r   = 4;     // Ø8: stiff enough to hold the ball still while it is printed
foot_r   = 15;
foot_t   = 3;

$fn = 64;         // around; a circle of 64 sides is within 0.02 mm at r = 14
steps = 32;       // along the ball's meridian

// Polar angle from the south pole at which the ball meets the stem.
a0 = asin(stem_r/ball_r);

translate([foot_r, foot_r, 0])
    rotate_extrude()
        polygon(concat(
            [[0, 0], [foot_r, 0], [foot_r, foot_t], [stem_r, foot_t]],
            [for (i = [0 : steps - 1])
                let (a = a0 + (180 - a0)*i/steps)
                    [ball_r*sin(a), ball_z - ball_r*cos(a)]],
            [[0, ball_z + ball_r]]
        ));
