"""Molds of known shape photographed from the side and from above: a swept rounded rectangle under the known camera.

The body is a fine mesh of the smooth family's own sections: no loft, no interpolant and nothing of the tracer. It lies
as a rigid body does: on the edge of its convex hull that its middle is over.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.spatial

from tests.sheets_family import FINE, SmoothPort, smooth_port

from .render import Camera, Scene, Thing, held, photograph, waved

ALONG, ROUND = 140, 112  # of the mesh: its chords are 0.006 mm off a tight short side, 0.004 mm off a corner
COLOURS = ((0.03, 0.10, 0.38), (0.05, 0.30, 0.12), (0.45, 0.05, 0.05), (0.10, 0.04, 0.25))
SIZES = ((3264, 2448), (4000, 3000))
STEEPEST = 20.0  # degrees: a phone held over the page by hand


@dataclass(frozen=True)
class MoldTrial:
    """Photographs of a mold from the side and from above, what is typed beside them, and the port it is of."""

    side: bytes
    top: bytes
    bars: tuple[float, float]
    corners: tuple[float, ...]
    port: SmoothPort


def rounded(height: float, width: float, corner: float) -> np.ndarray:
    """Points (ROUND, 2) round a rounded rectangle, y and z, even round each corner."""
    angle = np.linspace(0.0, 2.0 * np.pi, ROUND, endpoint=False) + np.pi / ROUND
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack(
        [np.sign(c) * (width / 2.0 - corner) + corner * c, np.sign(s) * (height / 2.0 - corner) + corner * s]
    )


def body(port: SmoothPort) -> tuple[np.ndarray, np.ndarray]:
    """Points (ALONG * ROUND + 2, 3) and triangles (n, 3) of a mold, in the port's own axes, outward."""
    rings = []
    middle = port.middle
    for k in np.linspace(0, FINE - 1, ALONG).astype(int):
        y, z = rounded(port.height[k], port.width[k], port.corner[k]).T
        h = port.heading[k]
        rings.append(np.column_stack([middle[k, 0] + z * np.sin(h), y, middle[k, 1] + z * np.cos(h)]))
    ends = [np.array([[middle[k, 0], 0.0, middle[k, 1]]]) for k in (0, -1)]
    points = np.vstack([*rings, *ends])
    i, j = np.meshgrid(np.arange(ALONG - 1), np.arange(ROUND), indexing="ij")
    a, b = i * ROUND + j, i * ROUND + (j + 1) % ROUND
    walls = np.concatenate([np.stack([a, b, b + ROUND], -1), np.stack([a, b + ROUND, a + ROUND], -1)]).reshape(-1, 3)
    r = np.arange(ROUND)
    first, last = ALONG * ROUND, ALONG * ROUND + 1
    caps = [
        np.column_stack([np.full(ROUND, first), (r + 1) % ROUND, r]),
        np.column_stack([np.full(ROUND, last), (ALONG - 1) * ROUND + r, (ALONG - 1) * ROUND + (r + 1) % ROUND]),
    ]
    return points, np.vstack([walls, *caps])


def lying(points: np.ndarray, triangles: np.ndarray, down: np.ndarray) -> np.ndarray:
    """Points turned so that the mold lies still: on the side of its hull nearest to `down` that its middle is over."""
    p = points[triangles]
    sixfold = np.einsum("ij,ij->i", p[:, 0], np.cross(p[:, 1], p[:, 2]))
    middle = (p.sum(axis=1) / 4.0 * sixfold[:, None]).sum(axis=0) / sixfold.sum()
    hull = scipy.spatial.ConvexHull(points)
    best, chosen = -2.0, None
    for normal, offset, corners in zip(hull.equations[:, :3], hull.equations[:, 3], hull.simplices, strict=True):
        if normal @ down <= max(best, 0.5):
            continue
        foot = middle - (normal @ middle + offset) * normal
        # All corners of the hull that lie in this plane: a flat side is many triangles.
        flat = points[hull.vertices][np.abs(points[hull.vertices] @ normal + offset) < 1e-3]
        u = np.cross(normal, points[corners[0]] - points[corners[1]])
        u /= np.linalg.norm(u)
        v = np.cross(normal, u)
        here = np.column_stack([(flat - foot) @ u, (flat - foot) @ v])
        side = scipy.spatial.ConvexHull(here)
        if (side.equations[:, 2] <= 1e-6).all():
            best, chosen = float(normal @ down), normal
    assert chosen is not None
    turn = _turn_between(chosen, np.array([0.0, 0.0, -1.0]))
    turned = points @ turn.T
    return turned - [0.0, 0.0, turned[:, 2].min()]


def _turn_between(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The least rotation that takes one unit vector to another."""
    axis, c = np.cross(a, b), float(a @ b)
    k = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    return np.eye(3) + k + k @ k / (1.0 + c)


def mold_trial(seed: int, make=smooth_port, size: tuple[int, int] | None = None, easy: bool = False) -> MoldTrial:
    """A mold of a random port, photographed from the side and from above."""
    rng = np.random.default_rng([192, seed])
    port = make(rng)
    points, triangles = body(port)
    stretch = 1.0 + rng.normal(0.0, 0.004) + rng.normal(0.0, 0.001, 2)
    colour = np.array(COLOURS[rng.integers(len(COLOURS))])
    size = size or SIZES[rng.integers(len(SIZES))]
    # Lying on its left wall, roof away from the one who photographs it; then on its floor. Entry to the left.
    side = np.column_stack([points[:, 0], points[:, 2], -points[:, 1]])
    views: list[bytes] = []
    camera = None
    bulge = waved(rng, rng.uniform(0.1, 0.3) if easy else rng.uniform(0.2, 1.0))
    half = float(port.heading[-1]) / 2.0
    beneath = np.array([0.0, 0.0, -1.0]), np.array([-np.sin(half), 0.0, -np.cos(half)])
    for k, (laid, down) in enumerate(zip((side, points), beneath, strict=True)):
        laid = lying(laid, triangles, down)
        tilt = np.radians(rng.uniform(0.0, 8.0 if easy else STEEPEST))
        camera = _same(held(rng, size, tilt, rng.uniform(0.72, 0.85)), camera)
        views.append(_view(laid, triangles, colour, stretch, camera, bulge, rng, 2 * seed + k))
    bars = tuple(150.0 * stretch + rng.normal(0.0, 0.05, 2))
    step = 25.4 / 32.0
    corners = tuple(step * round(float(port.corner[k]) / step) for k in np.linspace(0, FINE - 1, 5).astype(int))
    return MoldTrial(*views, bars, corners, port)


def _same(camera: Camera, first: Camera | None) -> Camera:
    """A camera as it was held, with the lens of the first: both views are taken with one phone."""
    if first is None:
        return camera
    position = camera.target + (camera.position - camera.target) * (first.focal / camera.focal)
    return replace(camera, position=position, focal=first.focal, bend=first.bend, off_axis=first.off_axis)


def _view(points, triangles, colour, stretch, camera, bulge, rng, seed) -> bytes:
    turn = rng.normal(0.0, 0.05)
    c, s = np.cos(turn), np.sin(turn)
    points = points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    place = np.array([151.0, 109.0]) + rng.normal(0.0, 2.0, 2)
    touching = points[points[:, 2] < 0.2, :2] - (low + high) / 2.0 + place
    base = float(np.mean(bulge(*touching.T.astype(np.float32))))
    points = points + [*(place - (low + high) / 2.0), base]
    corners = points[triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-12)[:, None]
    front = ((camera.position - corners[:, 0]) * normals).sum(axis=1) > 0.0
    shade = 0.6 + 0.35 * normals[:, 2] + 0.1 * normals[:, 0]
    scene = Scene(
        things=(Thing(corners[front], np.maximum(shade[front], 0.25)[:, None] * colour),),
        bulge=bulge,
        stretch=tuple(stretch),
        growth=rng.uniform(0.0, 0.05),
        lean=tuple(rng.normal(0.0, 0.0012, 2)),
        shadow=(rng.uniform(0.1, 0.35), rng.uniform(4.0, 8.0), tuple(rng.normal(0.0, 3.0, 2))),
        exposure=rng.uniform(0.45, 0.8),
        white=tuple(np.array([1.0, 1.0, 1.0]) + rng.normal(0.0, 0.05, 3)),
        blur=rng.uniform(0.6, 1.5),
        noise=rng.uniform(0.003, 0.015),
        contrast=rng.uniform(0.0, 0.3),
        sharpened=rng.uniform(0.0, 0.4),
        quality=int(rng.integers(84, 96)),
        seed=seed,
    )
    return photograph(scene, camera)
