"""Slices of known shape photographed as people do: how thick, how tilted, how lit, how the paper lies.

Areas are those of the outlines that are drawn, by shapely; their edges are far shorter than a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from .render import Scene, held, photograph, prism, waved

COLOURS = ((0.03, 0.10, 0.38), (0.05, 0.30, 0.12), (0.45, 0.05, 0.05), (0.55, 0.22, 0.03), (0.03, 0.03, 0.035))
SIZES = ((3264, 2448), (4000, 3000), (3000, 4000))


@dataclass(frozen=True)
class SliceTrial:
    """A photograph of a slice: its bytes, what is typed beside it, and the true area and outline."""

    data: bytes
    thick: float
    bars: tuple[float, float]
    area: float
    outline: np.ndarray
    tilt: float


def port_section(rng: np.random.Generator) -> np.ndarray:
    """A port's section: a rounded rectangle, an oval or a D, 25 to 60 mm, never quite even."""
    wide, tall = rng.uniform(24.0, 62.0), rng.uniform(22.0, 50.0)
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    power = rng.choice([2.0, 2.6, 4.0, 6.0])
    c, s = np.cos(angle), np.sin(angle)
    radius = 1.0 / (np.abs(2.0 * c / wide) ** power + np.abs(2.0 * s / tall) ** power) ** (1.0 / power)
    for k in (2, 3, 5):
        radius = radius * (1.0 + rng.normal(0.0, 0.02 / k) * np.cos(k * angle + rng.uniform(0.0, 2.0 * np.pi)))
    points = np.column_stack([radius * c, radius * s])
    if rng.random() < 0.3:  # the boss of a guide stands into it
        roof = np.abs(angle - np.pi / 2.0) < 0.6
        points[roof, 1] -= 2.5 * np.cos((angle[roof] - np.pi / 2.0) / 0.6 * np.pi / 2.0) ** 2
    return points


def slice_trial(seed: int, size: tuple[int, int] | None = None, steepest: float = 35.0) -> SliceTrial:
    """One photograph of one slice."""
    rng = np.random.default_rng([191, seed])
    outline = port_section(rng)
    turn = rng.normal(0.0, 0.1)
    outline = outline @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    thick = float(rng.uniform(2.0, 14.0))
    tilt = float(np.radians(rng.uniform(0.0, steepest)))
    place = np.array([148.0, 105.0]) + rng.normal(0.0, 8.0, 2)
    stretch = 1.0 + rng.normal(0.0, 0.004) + rng.normal(0.0, 0.001, 2)
    camera = held(rng, size or SIZES[rng.integers(3)], tilt, rng.uniform(0.72, 0.9))
    bulge = waved(rng, rng.uniform(0.2, 1.0))
    base = float(bulge(np.float32(place[0]), np.float32(place[1])))
    true_thick = thick + rng.normal(0.0, 0.08)
    blocks = ()
    if thick > 3.0:  # as the frame's second page says
        spots = np.array([[52.0, 56.0], [238.0, 56.0], [238.0, 158.0], [52.0, 158.0]]) + rng.normal(0.0, 1.5, (4, 2))
        blocks = tuple(
            (200 + k, *spot, rng.uniform(0.0, 6.28), true_thick + rng.normal(0.0, 0.08)) for k, spot in enumerate(spots)
        )
    scene = Scene(
        things=(prism(outline + place, true_thick, COLOURS[rng.integers(len(COLOURS))], base),),
        blocks=blocks,
        bulge=bulge,
        stretch=tuple(stretch),
        growth=rng.uniform(0.0, 0.05),
        lean=tuple(rng.normal(0.0, 0.0012, 2)),
        shadow=(rng.uniform(0.1, 0.45), rng.uniform(2.0, 5.0), tuple(rng.normal(0.0, 2.0, 2))),
        exposure=rng.uniform(0.45, 0.8),
        white=tuple(np.array([1.0, 1.0, 1.0]) + rng.normal(0.0, 0.06, 3)),
        blur=rng.uniform(0.6, 1.5),
        noise=rng.uniform(0.003, 0.02),
        contrast=rng.uniform(0.0, 0.35),
        sharpened=rng.uniform(0.0, 0.5),
        quality=int(rng.integers(82, 96)),
        seed=seed,
    )
    bars = tuple(150.0 * stretch + rng.normal(0.0, 0.05, 2))
    area = float(shapely.Polygon(outline).area)
    return SliceTrial(photograph(scene, camera), thick, bars, area, outline, tilt)


def without_blocks(scene: Scene) -> Scene:
    """The same scene with no blocks."""
    return replace(scene, blocks=())
