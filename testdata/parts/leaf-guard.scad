// Leaf guard: a pebble on a stalk that stands over the outlet; leaves slide off,
// water runs round it.
//
// Exercises: an organic underside: no plane, no edge, no axis of symmetry. Three
// lobes of unlike length droop to unlike heights; each begins as an island in
// mid-air and fades into a slope that holds by itself.
//
// One polyhedron, ring by ring: a turned meridian, each of whose points is
// pushed out and down by the lobes. Unions of spheres would leave slivers along
// their seams. Lengths in mm. MIT licence.

foot_r  = 10;
foot_t  = 3;
stalk_r = 5;
body_a  = 13;      // the pebble before lobes: half axes of an ellipse
body_c  = 7;
body_z  = 27;
// Lobes: [direction in degrees, sharpness, length, droop]
lobes   = [[20, 6, 11, 5], [140, 5, 7, 9], [255, 7, 13, 7]];

sides = 60;
steps = 22;        // rings on the pebble

// A bump of height 1 at angle 0, falling off smoothly; sharper for larger n.
function bump(a, n) = pow((1 + cos(a))/2, n);
function push(a, k) = [for (l = lobes) bump(a - l[0], l[1])*l[k]] * [1, 1, 1];

// Share of the lobes that a point at radius r feels: none at the stalk, all at
// the ellipse's rim, smooth in between (3t^2 - 2t^3).
function share(r) = let (t = max(0, (r - stalk_r)/(body_a - stalk_r))) t*t*(3 - 2*t);

// Polar angle from the ellipse's south pole at which it meets the stalk.
a0 = asin(stalk_r/body_a);

// Meridian: [radius, z, share]. The foot runs into the stalk by a quarter ellipse.
meridian = concat(
    [[foot_r, 0, 0]],
    [for (i = [0 : 6])
        let (a = 90*i/6)
            [foot_r - (foot_r - stalk_r)*sin(a), foot_t + 6*(1 - cos(a)), 0]],
    [for (i = [0 : steps - 1])
        let (a = a0 + (180 - a0)*i/steps, r = body_a*sin(a))
            [r, body_z - body_c*cos(a), share(r)]]
);
rings = len(meridian);

surface = [for (m = meridian, j = [0 : sides - 1])
    let (a = 360*j/sides, r = m[0] + m[2]*push(a, 2))
        [r*cos(a), r*sin(a), m[1] - m[2]*push(a, 3)]];
poles = [[0, 0, 0], [0, 0, body_z + body_c]];

function at(i, j) = i*sides + j%sides;

faces = concat(
    [for (j = [0 : sides - 1]) [at(0, j), at(0, j + 1), rings*sides]],
    [for (i = [0 : rings - 2], j = [0 : sides - 1])
        each [[at(i, j), at(i + 1, j), at(i + 1, j + 1)],
              [at(i, j), at(i + 1, j + 1), at(i, j + 1)]]],
    [for (j = [0 : sides - 1]) [at(rings - 1, j), rings*sides + 1, at(rings - 1, j + 1)]]
);

corner = [min([for (p = surface) p[0]]), min([for (p = surface) p[1]])];

translate([-corner[0], -corner[1], 0])
    polyhedron(points = concat(surface, poles), faces = faces, convexity = 6);
