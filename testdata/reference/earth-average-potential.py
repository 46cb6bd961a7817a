"""Reference values for earth electrodes in uniform soil, from first principles.

    python3 earth-average-potential.py > earth-average-potential.txt

Needs mpmath (1.3.0 was used). Two methods, neither of which uses a formula for an electrode:

average  the current flows evenly out of the conductor; the potential, integrated numerically
         and averaged over the conductor, divided by the current (mirror image in the surface)
equal    the conductor is cut into pieces whose currents are solved for so that all have the
         same potential: what the electrode really does; good to about one part in a hundred
"""
from math import asinh, cos, hypot, pi, sin, sqrt

import mpmath as mp

mp.mp.dps = 25


def parallel(l, x):
    """Mean of 1/r between two parallel segments of length l, distance x apart."""
    l, x = mp.mpf(l), mp.mpf(x)
    cuts = [0] + [c for c in (x, 10 * x, 100 * x, 1000 * x) if c < l] + [l]
    return 2 / l**2 * mp.quad(lambda t: (l - t) / mp.sqrt(t * t + x * x), cuts)


def circles(d, x):
    """Mean of 1/r between two equal coaxial circles of diameter d, distance x apart."""
    d, x = mp.mpf(d), mp.mpf(x)
    cuts = [0] + [c for c in (x / d, 10 * x / d, 100 * x / d) if c < mp.pi / 2] + [mp.pi / 2]
    return 2 / mp.pi * mp.quad(lambda t: 1 / mp.sqrt((d * mp.sin(t)) ** 2 + x * x), cuts)


def rods(rho, l, d, places):
    """Equal vertical rods from the surface down, at the given places, with equal currents."""
    n = len(places)
    total = n * parallel(2 * l, d / 2)
    for i, p in enumerate(places):
        for q in places[i + 1:]:
            total += 2 * parallel(2 * l, hypot(p[0] - q[0], p[1] - q[1]))
    return float(rho / (2 * mp.pi) * total / n**2)


def wire(rho, l, d, h):
    return float(rho / (4 * mp.pi) * (parallel(l, d / 2) + parallel(l, 2 * h)))


def ring(rho, D, d, h):
    return float(rho / (4 * mp.pi) * (circles(D, d / 2) + circles(D, 2 * h)))


# equal potential: pieces are (start, end, radius)

def cut(a, b, r, n):
    at = lambda k: tuple(a[i] + (b[i] - a[i]) * k / n for i in range(3))
    return [(at(k), at(k + 1), r) for k in range(n)]


def potential(p, piece):
    """Mean of 1/r from point p to a piece, p at least its radius away from its axis."""
    (a, b, r) = piece
    u = [b[i] - a[i] for i in range(3)]
    l = sqrt(sum(c * c for c in u))
    along = sum((p[i] - a[i]) * u[i] for i in range(3)) / l
    off = sqrt(max(sum((p[i] - a[i]) ** 2 for i in range(3)) - along**2, r * r))
    return (asinh(along / off) + asinh((l - along) / off)) / l


def equal(rho, pieces):
    n = len(pieces)
    mid = [tuple((p[0][i] + p[1][i]) / 2 for i in range(3)) for p in pieces]
    image = [(tuple([*p[0][:2], -p[0][2]]), tuple([*p[1][:2], -p[1][2]]), p[2]) for p in pieces]
    m = [[rho / (4 * pi) * (potential(mid[i], pieces[j]) + potential(mid[i], image[j])) for j in range(n)] + [1.0] for i in range(n)]
    for k in range(n):
        for i in range(k + 1, n):
            f = m[i][k] / m[k][k]
            if f:
                row, top = m[i], m[k]
                for j in range(k, n + 1):
                    row[j] -= f * top[j]
    x = [0.0] * n
    for k in reversed(range(n)):
        x[k] = (m[k][n] - sum(m[k][j] * x[j] for j in range(k + 1, n))) / m[k][k]
    return 1 / sum(x)


def rod_pieces(places, l, d, n):
    return [p for (x, y) in places for p in cut((x, y, 0.0), (x, y, l), d / 2, n)]


def ring_pieces(D, d, h, n):
    at = lambda k: (D / 2 * cos(2 * pi * k / n), D / 2 * sin(2 * pi * k / n), h)
    return [(at(k), at(k + 1), d / 2) for k in range(n)]


def grid_pieces(side, meshes, d, h):
    step = side / meshes
    out = []
    for i in range(meshes + 1):
        for j in range(meshes):
            out += cut((i * step, j * step, h), (i * step, (j + 1) * step, h), d / 2, 1)
            out += cut((j * step, i * step, h), ((j + 1) * step, i * step, h), d / 2, 1)
    return out


line = lambda n, s: [(i * s, 0.0) for i in range(n)]
triangle = lambda s: [(0.0, 0.0), (s, 0.0), (s / 2, s * sqrt(3) / 2)]


def square(n, s):
    m = n // 4
    return ([(i * s, 0.0) for i in range(m)] + [(m * s, i * s) for i in range(m)]
            + [((m - i) * s, m * s) for i in range(m)] + [(0.0, (m - i) * s) for i in range(m)])


def show(method, kind, value, **given):
    print(method, kind, *(f"{k}={v}" for k, v in given.items()), f"R={value:.10g}")


print("# python3 earth-average-potential.py > earth-average-potential.txt")
print("# mpmath", mp.__version__, "numerical quadrature; methods in the script")
print("# lengths in m, rho in ohm m, R in ohm; d diameter, h depth, s spacing or distance")
for l, d in ((1.5, 0.016), (3, 0.025), (3, 0.0172), (10, 0.02), (0.5, 0.025)):
    show("average", "rod", rods(100, l, d, [(0.0, 0.0)]), rho=100, L=l, d=d)
for l, d, s in ((3, 0.016, 0.5), (3, 0.016, 1.5), (3, 0.016, 3), (3, 0.016, 3.01), (3, 0.016, 6), (3, 0.016, 12), (2, 0.02, 40)):
    show("average", "line", rods(100, l, d, line(2, s)), rho=100, n=2, L=l, d=d, s=s)
for n, s in ((3, 3), (3, 6), (5, 6), (10, 6), (20, 36)):
    show("average", "line", rods(100, 3, 0.016, line(n, s)), rho=100, n=n, L=3, d=0.016, s=s)
for s in (3, 6, 30):
    show("average", "triangle", rods(100, 3, 0.016, triangle(s)), rho=100, n=3, L=3, d=0.016, s=s)
for n, s in ((4, 3), (8, 3), (8, 6), (20, 6)):
    show("average", "square", rods(100, 3, 0.016, square(n, s)), rho=100, n=n, L=3, d=0.016, s=s)
for l, d, h in ((60.96, 0.011684, 3.048), (5, 0.01, 0.5), (20, 0.01, 0.5), (20, 0.01, 10), (1, 0.01, 0.5), (100, 0.008, 0.7)):
    show("average", "wire", wire(100, l, d, h), rho=100, L=l, d=d, h=h)
for D, d, h in ((5, 0.01, 0.5), (20, 0.01, 0.5), (20, 0.01, 10), (1, 0.01, 0.5), (100, 0.008, 0.7)):
    show("average", "ring", ring(100, D, d, h), rho=100, D=D, d=d, h=h)

show("equal", "rod", equal(100, rod_pieces([(0.0, 0.0)], 3, 0.016, 60)), rho=100, L=3, d=0.016)
for n, s in ((2, 1.5), (2, 3.01), (4, 3), (4, 6)):
    show("equal", "line", equal(100, rod_pieces(line(n, s), 3, 0.016, 30)), rho=100, n=n, L=3, d=0.016, s=s)
show("equal", "triangle", equal(100, rod_pieces(triangle(3), 3, 0.016, 30)), rho=100, n=3, L=3, d=0.016, s=3)
show("equal", "square", equal(100, rod_pieces(square(8, 3), 3, 0.016, 15)), rho=100, n=8, L=3, d=0.016, s=3)
show("equal", "wire", equal(100, cut((0.0, 0.0, 0.5), (20.0, 0.0, 0.5), 0.005, 100)), rho=100, L=20, d=0.01, h=0.5)
show("equal", "ring", equal(100, ring_pieces(20, 0.01, 0.5, 120)), rho=100, D=20, d=0.01, h=0.5)
for side, meshes, d, h in ((70, 10, 0.01, 0.5), (20, 4, 0.01, 0.5), (20, 4, 0.01, 2.5), (10, 1, 0.01, 0.25)):
    show("equal", "grid", equal(100, grid_pieces(side, meshes, d, h)), rho=100, A=side * side, L=2 * side * (meshes + 1), h=h)
# combinations: a wire or a ring of 10 mm, 0.5 m deep, and rods of 3 m, 16 mm; s is the shortest distance
for s in (0.5, 2, 10):
    show("equal", "wire+rod", equal(100, cut((0.0, 0.0, 0.5), (20.0, 0.0, 0.5), 0.005, 80) + rod_pieces([(20.0 + s, 0.0)], 3, 0.016, 30)), rho=100, L=20, s=s)
    show("equal", "ring+rod", equal(100, ring_pieces(10, 0.01, 0.5, 90) + rod_pieces([(5.0 + s, 0.0)], 3, 0.016, 30)), rho=100, D=10, s=s)
    show("equal", "rod+rod+rod", equal(100, rod_pieces([(0.0, 0.0), (s, 0.0), (2 * s, 0.0)], 3, 0.016, 30)), rho=100, L=3, s=s)
