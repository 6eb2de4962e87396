#!/usr/bin/env python3
"""Writes the bad and the odd inputs beside this script. Lengths in mm.

What each file is and what a reader ought to make of it stands in
../SOURCES.md. Python's standard library is enough. Same bytes every time.
"""

import math
import os
import struct

HERE = os.path.dirname(os.path.abspath(__file__))

HEADER = b"rain gauge kit, deliberately odd input"


def box(low, high):
    """Closed box of 12 triangles, outward normals, corners low and high.

    Triangles come in pairs: bottom, top, y-low, x-high, y-high, x-low.
    """
    corner = [
        (
            (low, high)[i & 1][0],
            (low, high)[i >> 1 & 1][1],
            (low, high)[i >> 2 & 1][2],
        )
        for i in range(8)
    ]
    quads = [
        (0, 2, 3, 1),
        (4, 5, 7, 6),
        (0, 1, 5, 4),
        (1, 3, 7, 5),
        (3, 2, 6, 7),
        (2, 0, 4, 6),
    ]
    triangles = []
    for a, b, c, d in quads:
        triangles.append((corner[a], corner[b], corner[c]))
        triangles.append((corner[a], corner[c], corner[d]))
    return triangles


def prism(outline, height):
    """Closed prism over an outline that runs counterclockwise and is seen whole
    from its first corner, from z = 0 to height."""
    low = [(x, y, 0.0) for x, y in outline]
    high = [(x, y, height) for x, y in outline]
    triangles = []
    n = len(outline)
    for i in range(1, n - 1):
        triangles.append((low[0], low[i + 1], low[i]))
        triangles.append((high[0], high[i], high[i + 1]))
    for i in range(n):
        j = (i + 1) % n
        triangles.append((low[i], low[j], high[j]))
        triangles.append((low[i], high[j], high[i]))
    return triangles


def normal(triangle):
    """Unit normal; zero where the corners give none (as STL writers do)."""
    a, b, c = triangle
    u = [b[i] - a[i] for i in range(3)]
    v = [c[i] - a[i] for i in range(3)]
    n = (
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    )
    length = math.sqrt(sum(x * x for x in n))
    if not length or not math.isfinite(length):
        return (0.0, 0.0, 0.0)
    return tuple(x / length for x in n)


def binary(triangles, header=HEADER, count=None):
    out = [header.ljust(80, b"\0")]
    out.append(struct.pack("<I", len(triangles) if count is None else count))
    for t in triangles:
        out.append(struct.pack("<12fH", *normal(t), *t[0], *t[1], *t[2], 0))
    return b"".join(out)


def ascii_solid(name, triangles):
    lines = ["solid " + name]
    for t in triangles:
        # "+ 0.0" turns a negative zero into a plain one.
        lines.append("  facet normal %g %g %g" % tuple(x + 0.0 for x in normal(t)))
        lines.append("    outer loop")
        for v in t:
            lines.append("      vertex %g %g %g" % v)
        lines.append("    endloop")
        lines.append("  endfacet")
    lines.append("endsolid " + name)
    return "\n".join(lines) + "\n"


def with_coordinate(triangles, value):
    """The same triangles with one corner's z replaced in one triangle: the
    eighth (index 7), second corner."""
    changed = list(triangles)
    a, b, c = changed[7]
    changed[7] = (a, (b[0], b[1], value), c)
    return changed


def write(name, content):
    if isinstance(content, str):
        content = content.encode("ascii")
    path = os.path.join(HERE, name)
    with open(path + ".part", "wb") as f:
        f.write(content)
    os.replace(path + ".part", path)


def main():
    block = box((0, 0, 0), (20, 16, 10))
    whole = binary(block)

    # No mesh in them.
    write(
        "not-a-mesh.stl",
        "Rain gauge, parts to print: two bearing blocks, one funnel, one bracket.\n"
        "The bracket's shelf wants supports; ask before printing.\n",
    )
    write("empty.stl", b"")

    # Binary files that lie about their length. 84 bytes of header and count,
    # 50 a triangle: the cut is 17 bytes into the eighth triangle.
    write("truncated.stl", whole[: 84 + 7 * 50 + 17])
    write("trailing-bytes.stl", whole + b"end\n")
    write("false-count.stl", binary(block, count=0xFFFFFFFF))

    # Coordinates that are no numbers.
    write("nan.stl", binary(with_coordinate(block, math.nan)))
    write("infinite.stl", binary(with_coordinate(block, math.inf)))

    # Closed, but nothing in it: a sheet with two faces and no thickness.
    sheet = ((0, 0, 0), (20, 0, 0), (20, 16, 0), (0, 16, 0))
    a, b, c, d = sheet
    write("flat.stl", binary([(a, b, c), (a, c, d), (a, c, b), (a, d, c)]))

    # An angle drawn in inches (1.5 x 1 x 0.75), read as millimetres. The inner
    # corner comes first, since the whole outline is seen from it.
    angle = [(0.25, 0.25), (0.25, 1.0), (0.0, 1.0), (0.0, 0.0), (1.5, 0.0), (1.5, 0.25)]
    write("inches.stl", binary(prism(angle, 0.75)))

    # The block a hundred thousand times too large: 2 km long.
    write("kilometre.stl", binary(box((0, 0, 0), (2e6, 1.6e6, 1e6))))

    write("below-plate.stl", binary(box((0, 0, -3), (20, 16, 7))))

    # Top missing: four open edges.
    write("open.stl", binary(block[:2] + block[4:]))

    # Two blocks that touch along one upright edge, x = 20, y = 16: four
    # triangles meet there.
    write("nonmanifold.stl", binary(block + box((20, 16, 0), (36, 30, 10))))

    # ASCII spellings.
    write(
        "ascii-two-solids.stl",
        ascii_solid("left", block) + ascii_solid("right", box((25, 0, 0), (45, 16, 10))),
    )
    write("upper-case.stl", ascii_solid("block", block).upper())

    # Valid binary whose header begins as an ASCII file does.
    write("header-says-solid.stl", binary(block, header=b"solid block made by a program that writes binary"))


if __name__ == "__main__":
    main()
