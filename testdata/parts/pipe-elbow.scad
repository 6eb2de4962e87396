// Pipe elbow: leads the emptied water from the gauge's floor to a hose, Ø20
// outside, Ø16 inside. Printed standing on one end.
//
// Exercises: a bend: overhang outside, below the level end. The bore has a roof of
// 45° instead of a round crown, for what held a crown up in the bend could not be
// drawn out again.
//
// Swept as one polyhedron, ring by ring, so that inner and outer facets follow
// each other and no boolean operation leaves slivers. Lengths in mm. MIT licence.

outer_r = 10;
inner_r = 8;
bend_r  = 20;      // of the centre line: twice the outer radius, water turns easily
rise    = 14;      // straight, from the bed
run     = 16;      // straight, level, holds the hose

sides = 48;        // around the tube
turns = 18;        // rings in the bend: 5 degrees each

// Stations along the centre line: [x, z, tilt], tilt 0 upward, 90 level.
stations = concat(
    [[0, 0, 0]],
    [for (i = [0 : turns])
        let (a = 90*i/turns) [bend_r*(1 - cos(a)), rise + bend_r*sin(a), a]],
    [[bend_r + run, rise + bend_r, 90]]
);
count = len(stations);

// Ring of a station: the tube's section lies in the plane of Y and of the
// outward normal (cos tilt, -sin tilt).
function ring(s, r) =
    [for (j = [0 : sides - 1])
        let (b = 360*j/sides, q = r*roof(b))
            [s[0] - q*cos(b)*cos(s[2]), q*sin(b), s[1] + q*cos(b)*sin(s[2])]];

// How far out the section is at angle b, as a share of its radius: the tangents at
// 45° to either side of the top meet in a ridge.
function roof(b) = let (a = min(b, 360 - b)) a < 45 ? 1/cos(45 - a) : 1;

points = concat(
    [for (s = stations) each ring(s, outer_r)],
    [for (s = stations) each ring(s, inner_r)]
);

function outer(i, j) = i*sides + j%sides;
function inner(i, j) = (count + i)*sides + j%sides;

// Corners run clockwise seen from outside. Split by hand: in the bend a quad is
// planar only until its corners are rounded.
function quad(a, b, c, d) = [[a, b, c], [a, c, d]];

faces = concat(
    [for (i = [0 : count - 2], j = [0 : sides - 1])
        each quad(outer(i, j), outer(i, j + 1), outer(i + 1, j + 1), outer(i + 1, j))],
    [for (i = [0 : count - 2], j = [0 : sides - 1])
        each quad(inner(i, j), inner(i + 1, j), inner(i + 1, j + 1), inner(i, j + 1))],
    [for (j = [0 : sides - 1])
        each quad(outer(0, j), inner(0, j), inner(0, j + 1), outer(0, j + 1))],
    [for (j = [0 : sides - 1])
        let (e = count - 1)
        each quad(outer(e, j), outer(e, j + 1), inner(e, j + 1), inner(e, j))]
);

translate([outer_r*sqrt(2), outer_r, 0])
    polyhedron(points = points, faces = faces, convexity = 4);
