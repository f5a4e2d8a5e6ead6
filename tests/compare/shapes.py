"""Ports with known cuts for the tests of compare: an invented port, cuts as formulas, noise, poses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import manifold3d
import numpy as np
from scipy.spatial.transform import Rotation

from portgeo.comparing.tube import Places, places, walled
from portgeo.comparing.wedges import arrays_of, solid_of
from portgeo.core.centreline import at
from portgeo.core.plane import resample
from portgeo.core.port import Port, port_from_readings
from portgeo.core.section import Reading
from portgeo.core.skin import skin
from portgeo.core.surface import outlines_at, surface_from_readings
from portgeo.core.triangles import Triangles

IN = 25.4
INVENTED = [
    (0.0, 2.05, 1.20, 0),
    (1.0, 2.00, 1.20, 5),
    (2.0, 1.95, 1.22, 15),
    (3.0, 1.90, 1.30, 35),
    (4.0, 1.85, 1.45, 60),
    (4.6, 1.80, 1.55, 75),
]  # an invented intake port: station, height, width in inches, turn in degrees


def invented_readings(floor_drop: dict[int, float] | None = None) -> list[Reading]:
    """Readings of the invented port, the floor of some rows dropped by so many mm."""
    found = []
    for k, (station, height, width, turn) in enumerate(INVENTED):
        drop = (floor_drop or {}).get(k, 0.0)
        found.append(
            Reading(
                row=k + 2,
                station=station * IN,
                height=height * IN + drop,
                width=width * IN,
                corner_roof=0.3 * IN,
                corner_floor=0.3 * IN,
                turn=np.radians(turn),
                turn_error=np.radians(0.01),
                rise=-drop / 2.0,
            )
        )
    return found


def straight_readings(height: float, width: float, length: float, corner: float) -> list[Reading]:
    return [
        Reading(row=k, station=s, height=height, width=width, corner_roof=corner, corner_floor=corner)
        for k, s in enumerate((0.0, length))
    ]


def meshed(readings: list[Reading], edge: float, shift: float = 0.0) -> Port:
    """The port of readings with an even mesh of its own: rings about `edge` apart, points as far.

    shift, in edges, moves the rings and points along, so that two meshes of one port share none.
    """
    port = port_from_readings(readings)
    surface = surface_from_readings(readings)
    first, last = surface.stations[[0, -1]]
    inner = np.linspace(first, last, round((last - first) / edge) + 1)[1:-1] + shift * edge
    stations = np.concatenate([[first], inner[(inner > first) & (inner < last)], [last]])
    outlines = outlines_at(surface, stations)
    count = round(np.linalg.norm(np.diff(outlines[0], axis=0), axis=1).sum() / edge)
    rings = []
    for outline in outlines:
        close = resample(outline, 64 * count)
        rings.append(resample(np.roll(close, -round(64 * shift), axis=0), count))
    points, frames = at(surface.centreline, stations)
    space = points[:, None] + np.einsum("kmi,kij->kmj", np.array(rings), frames[:, 1:])
    vertices, faces = skin(space, frames)
    moved = vertices @ port.frame[:3, :3].T + port.frame[:3, 3]
    return replace(port, mesh=Triangles(moved, faces), readings=())


def solid(port: Port) -> manifold3d.Manifold:
    return solid_of(port.vertices, port.faces, "the test's port")


def with_solid(port: Port, made: manifold3d.Manifold) -> Port:
    vertices, faces = arrays_of(made)
    return replace(port, mesh=Triangles(vertices, faces), readings=())


def pushed(port: Port, depth: Callable[[Places], np.ndarray]) -> Port:
    """A port whose wall is moved down, in the plane of its section, by depth(places) (n,)."""
    tube = walled(port).tube
    where = places(tube, port.vertices)
    k = np.clip(np.searchsorted(tube.stations, where.station), 0, len(tube.stations) - 1)
    return replace(port, mesh=Triangles(port.vertices - depth(where)[:, None] * tube.frames[k, 2], port.faces))


def smooth(x: np.ndarray) -> np.ndarray:
    """0 to 1 with level ends."""
    t = np.clip(x, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def noisy(port: Port, sigma: float, seed: int) -> Port:
    """The same with normal noise on every point; the points of the two openings stay in their planes."""
    known = walled(port)
    noise = np.random.default_rng(seed).normal(0.0, sigma, port.vertices.shape)
    caps = port.faces[~known.is_wall]
    for end in (0, -1):
        flow = known.tube.frames[end, 0]
        mine = np.unique(caps[np.abs((port.vertices[caps] - known.tube.middles[end]) @ flow).max(axis=1) < 0.1])
        noise[mine] -= np.outer(noise[mine] @ flow, flow)
    return replace(port, mesh=Triangles(port.vertices + noise, port.faces), noise=sigma)


def posed(port: Port, seed: int, slip_mm: float = 0.8, slip_deg: float = 2.0) -> tuple[Port, np.ndarray]:
    """The same port as it comes from a scan: in a source frame of its own, its port frame a little off.

    Also the (4, 4) that takes its port frame back into the given one's.
    """
    rng = np.random.default_rng(seed)
    slip = np.eye(4)
    axis = rng.normal(size=3)
    slip[:3, :3] = Rotation.from_rotvec(np.radians(slip_deg) * axis / np.linalg.norm(axis)).as_matrix()
    slip[:3, 3] = slip_mm * rng.normal(size=3)
    spine = replace(
        port.centreline,
        points=port.centreline.points @ slip[:3, :3].T + slip[:3, 3],
        frames=port.centreline.frames @ slip[:3, :3].T,
    )
    source = np.eye(4)
    source[:3, :3] = Rotation.random(random_state=seed).as_matrix()
    source[:3, 3] = rng.normal(size=3) * 200.0
    vertices = port.vertices @ slip[:3, :3].T + slip[:3, 3]
    return replace(port, mesh=Triangles(vertices, port.faces), centreline=spine, frame=source), np.linalg.inv(slip)


def mirrored(port: Port) -> Port:
    """The other hand of a port."""
    hand = np.diag([1.0, -1.0, 1.0])
    spine = replace(
        port.centreline,
        points=port.centreline.points @ hand,
        frames=np.einsum("ij,njk,kl->nil", np.diag([1.0, -1.0, 1.0]), port.centreline.frames, hand),
    )
    return replace(port, mesh=Triangles(port.vertices @ hand, port.faces[:, ::-1]), centreline=spine, readings=())


def gaussian_floor(where: Places) -> np.ndarray:
    """A hollow in the floor, 2.5 mm deep at its middle."""
    return 2.5 * np.exp(-(((where.station - 60) / 14) ** 2) - (where.left / 7) ** 2) * (where.up < 0)


def heavy_floor(where: Places) -> np.ndarray:
    """Floor and lower walls dropped 2.5 mm from end to end: about 40 % of the surface."""
    return 2.5 * smooth((0.21 - np.abs(where.round - 0.5)) / 0.02)
