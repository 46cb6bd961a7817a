"""Areas of widened parts in the plane by GEOS, with arcs drawn as polygons of 4096 segments a quarter circle.

Debian package python3-shapely (on libgeos 3.11.1). Made geo-buffers.txt by
  /usr/bin/python3 geo-buffers.py > geo-buffers.txt
The segments lie within the arcs: the areas are too small by up to 2.5e-8. Lines are widened edge by edge, because
a buffer of GEOS leaves out notches of a line shallower than 1 % of the distance.
"""
import math, random
import shapely, shapely.geos
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

SEGMENTS = 4096
rng = random.Random(4)


def star(n, lo, hi, x, y):
    out = []
    for i in range(n):
        q, a = rng.uniform(lo, hi), 2 * math.pi * i / n
        out.append((x + q * math.cos(a), y + q * math.sin(a)))
    return out


def jogs(x, y, angle):
    """An L-shape whose long walls step in and out by half a metre."""
    p = [(0, 0)]
    for i in range(8):
        p += [(5 * i + 5, 0.5 * (i % 2)), (5 * i + 5, 0.5 * ((i + 1) % 2))]
    p += [(45, 0), (45, 15), (15, 15)]
    for i in range(4):
        p += [(15 + 0.5 * (i % 2), 18 + 3 * i), (15 + 0.5 * ((i + 1) % 2), 18 + 3 * i)]
    p += [(15, 35), (0, 35)]
    c, s = math.cos(angle), math.sin(angle)
    return [(x + c * u - s * v, y + s * u + c * v) for u, v in p]


def square(x, y, a, turn=1):
    return [(x, y), (x + a, y), (x + a, y + a), (x, y + a)][::turn]


CASES = {
    "protrusion": [(25, "polygon", [[(0, 0), (70, 0), (70, 30), (0, 30)]]), (40, "point", [[(35, 15)]])],
    "jogs": [(9, "polygon", [jogs(0, 0, 0.4)])],
    "star": [(4, "polygon", [star(60, 20, 80, 0, 0)])],
    "open-courtyard": [(5, "polygon", [square(0, 0, 90), square(10, 10, 70, -1)])],
    "filled-courtyard": [(15, "polygon", [square(0, 0, 90), square(10, 10, 70, -1)])],
    "two-courtyards": [(4, "polygon", [[(0, 0), (120, 0), (120, 60), (0, 60)], square(5, 5, 40, -1), square(60, 10, 45, -1)])],
    "zigzag": [(6, "line", [[(0, 0), (40, 10), (5, 25), (60, 60), (60, 61), (20, -30)]])],
    "mast-within": [(3, "polygon", [square(0, 0, 200)]), (30, "point", [[(90, 95)]]), (30, "point", [[(10, 100)]])],
    "shared-wall": [(7, "polygon", [square(0, 0, 20)]), (7, "polygon", [square(20, 0, 20)]), (7, "polygon", [square(10, 20, 20)])],
    "overlap": [(5, "polygon", [star(9, 10, 40, 0, 0)]), (8, "polygon", [star(9, 10, 40, 15, 10)]), (3, "line", [[(-60, 0), (60, 3)]])],
    "village": [
        (rng.uniform(3, 9), "polygon", [star(rng.randint(3, 9), 4, 9, rng.uniform(0, 400), rng.uniform(0, 400))])
        for _ in range(60)
    ] + [(rng.uniform(8, 15), "point", [[(rng.uniform(0, 400), rng.uniform(0, 400))]]) for _ in range(15)],
}


def shape(kind, rings):
    if kind == "point":
        return Point(rings[0][0])
    if kind == "line":
        return LineString(rings[0])
    return Polygon(rings[0], rings[1:])


def widened(s, r):
    if s.geom_type == "LineString":
        c = list(s.coords)
        return unary_union([LineString(c[i:i + 2]).buffer(r, SEGMENTS) for i in range(len(c) - 1)])
    return s.buffer(r, SEGMENTS)


print("# Made by geo-buffers.py with shapely %s, GEOS %s. Lengths in m, areas in m²." % (shapely.__version__, "%d.%d.%d" % shapely.geos.geos_version))
print("# case NAME, then its parts: kind, height, rings of x,y; then the areas: footprint, within 3 times the height, within 500 m without the footprint.")
for name, parts in CASES.items():
    print("case", name)
    shapes = [(h, shape(kind, rings)) for h, kind, rings in parts]
    for h, kind, rings in parts:
        print(kind, repr(float(h)), " ; ".join(" ".join("%r,%r" % (float(x), float(y)) for x, y in r) for r in rings))
    footprint = unary_union([s for _, s in shapes]).area
    direct = unary_union([widened(s, 3 * h) for h, s in shapes]).area
    near = unary_union([widened(s, 500) for _, s in shapes]).area - footprint
    print("areas %.9f %.6f %.6f" % (footprint, direct, near))
