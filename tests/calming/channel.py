"""Flow in a plane channel, and its best floor: a model apart, of stream function and finite volumes.

It shares nothing with the project: another unknown, another grid, another measure (the fastest place itself), another
family of floors and another way to look for the best (sequential quadratic programming, differences for slopes).
"""

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve

ACROSS = 24
OUT = 2.0  # of the height: straight channel past either end


def speeds_on_floor(floor, roof):
    """Speeds of unit flow along a floor (n, 2) under a roof (n, 2), at the middles of its pieces.

    Laplace's equation for the stream function on triangles: flux through the edges of each point's cell by cotangents.
    """
    ends = []
    for line in (floor, roof):
        head, tail = line[0] - line[1], line[-1] - line[-2]
        step = np.arange(1, 31)[:, None] / 30.0 * OUT * np.linalg.norm(floor[0] - roof[0])
        ends.append(
            np.vstack(
                [
                    line[0] + step[::-1] * head / np.linalg.norm(head),
                    line,
                    line[-1] + step * tail / np.linalg.norm(tail),
                ]
            )
        )
    low, high = ends
    share = np.linspace(0.0, 1.0, ACROSS + 1) ** 1.5  # crowded at the floor
    points = low[:, None] * (1 - share)[None, :, None] + high[:, None] * share[None, :, None]
    n, m = points.shape[:2]
    node = np.arange(n * m).reshape(n, m)
    a, b, c, d = node[:-1, :-1].ravel(), node[1:, :-1].ravel(), node[1:, 1:].ravel(), node[:-1, 1:].ravel()
    triangles = np.concatenate([np.column_stack(t) for t in ((a, b, c), (a, c, d), (a, b, d), (b, c, d))])
    flat = points.reshape(-1, 2)
    rows, columns, values = [], [], []
    for k in range(3):
        i, j, o = triangles[:, k], triangles[:, (k + 1) % 3], triangles[:, (k + 2) % 3]
        u, v = flat[i] - flat[o], flat[j] - flat[o]
        weight = (u * v).sum(axis=1) / np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 4.0  # both diagonals, half each
        rows += [i, j, i, j]
        columns += [j, i, i, j]
        values += [-weight, -weight, weight, weight]
    matrix = coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))).tocsr()
    known = np.zeros((n, m), bool)
    known[[0, -1]], known[:, [0, -1]] = True, True
    psi = np.broadcast_to(share, (n, m)).ravel().copy()
    free, fixed = ~known.ravel(), known.ravel()
    psi[free] = spsolve(matrix[free][:, free], -(matrix[free][:, fixed] @ psi[fixed]))
    psi = psi.reshape(n, m)
    # Off the wall the stream function goes as speed times distance and a little with its square: two layers tell both.
    along = np.gradient(low, axis=0)
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    y1, y2 = (((points[:, k] - low) * normal).sum(axis=1) for k in (1, 2))
    speed = np.abs((psi[:, 1] * y2**2 - psi[:, 2] * y1**2) / (y1 * y2**2 - y2 * y1**2))
    return speed[30 : n - 30]


def lowered(floor, roof, knots, depth):
    """The floor (n, 2) lowered along its own normals by a curve through depths at shares of its length: PCHIP."""
    from scipy.interpolate import PchipInterpolator

    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(floor, axis=0), axis=1))])
    down = PchipInterpolator(knots, depth)(along / along[-1])
    run = np.gradient(floor, axis=0)
    normal = np.column_stack([run[:, 1], -run[:, 0]]) / np.linalg.norm(run, axis=1)[:, None]
    normal *= np.sign(((floor - roof) * normal).sum(axis=1))[:, None]
    return floor + down[:, None] * normal


def area_between(one, other):
    """Area (mm2) between two lines (n, 2) with the same ends, by the trapezoids of their pieces."""
    loop = np.vstack([one, other[::-1]])
    x, y = loop.T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def best_floor(floor, roof, area, knots, greatest):
    """The floor that lowers the fastest place on it most for so much area (mm2), and the speed there."""

    def speeds(depth):
        return speeds_on_floor(lowered(floor, roof, knots, np.pad(depth, 1)), roof)

    count = len(knots) - 2
    start = np.full(count, area / 2.0 / np.linalg.norm(np.diff(floor, axis=0), axis=1).sum())
    unit = speeds(np.zeros(count)).max()

    def off(z):
        return z[-1] - speeds(z[:-1]) / unit

    def left(z):
        return 1.0 - area_between(floor, lowered(floor, roof, knots, np.pad(z[:-1], 1))) / area

    answer = minimize(
        lambda z: z[-1],
        np.append(start, 1.0),
        method="SLSQP",
        bounds=[(0.0, greatest)] * count + [(0.0, 2.0)],
        constraints=[{"type": "ineq", "fun": off}, {"type": "ineq", "fun": left}],
        options={"maxiter": 60, "ftol": 1e-5, "eps": 1e-4},
    )
    best = lowered(floor, roof, knots, np.pad(answer.x[:-1], 1))
    return best, float(speeds_on_floor(best, roof).max())
