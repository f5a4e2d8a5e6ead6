"""Ports with known cuts, for the tests of compare: an invented port, cuts written as formulas, noise, poses."""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np
from scipy.spatial.transform import Rotation

from portgeo.compare.tube import places, tube_of, wall_faces
from portgeo.port import Port, port_from_readings
from portgeo.section import Reading

IN = 25.4


def invented_port(drop: float = 0.0, widen: float = 0.0) -> Port:
    """An invented intake port: tall at the flange, turning down to a wider throat."""
    rows = [(0, 2.05, 1.20, 0), (1, 2.0, 1.2, 5), (2, 1.95, 1.22, 15), (3, 1.9, 1.3, 35), (4, 1.85, 1.45, 60)]
    rows.append((4.6, 1.8, 1.55, 75))
    return port_from_readings(
        [
            Reading(
                row=k + 2,
                station=s * IN,
                height=h * IN + drop,
                width=w * IN + widen,
                corner_roof=0.3 * IN,
                corner_floor=0.3 * IN,
                turn=np.radians(turn),
                rise=-drop / 2.0,
            )
            for k, (s, h, w, turn) in enumerate(rows)
        ],
        chord_error=0.02,
    )


def straight_port(
    height: float = 50.0, width: float = 30.0, length: float = 120.0, corner: float = 6.0
) -> Port:
    """A straight tube of one section."""
    return port_from_readings(
        [
            Reading(row=k, station=s, height=height, width=width, corner_roof=corner, corner_floor=corner)
            for k, s in enumerate((0.0, length))
        ]
    )


def solid(port: Port) -> manifold3d.Manifold:
    mesh = manifold3d.Mesh64(
        vert_properties=np.ascontiguousarray(port.vertices), tri_verts=port.faces.astype(np.uint64)
    )
    made = manifold3d.Manifold(mesh)
    assert made.status() == manifold3d.Error.NoError
    return made


def with_solid(port: Port, made: manifold3d.Manifold) -> Port:
    mesh = made.to_mesh64()
    return replace(
        port,
        vertices=np.asarray(mesh.vert_properties)[:, :3].copy(),
        faces=np.asarray(mesh.tri_verts).astype(np.int64),
        readings=(),
    )


def refined(port: Port, edge: float) -> Port:
    """The same port with edges no longer than `edge`."""
    return with_solid(port, solid(port).refine_to_length(edge))


def pushed(port: Port, depth) -> Port:
    """A port whose wall is moved outward, straight away from the section's middle for floor and roof.

    depth(places) gives a depth (n,) along the floor's direction, down.
    """
    tube = tube_of(port)
    where = places(tube, port.vertices)
    down = -np.array(
        [
            tube.frames[k, 2]
            for k in np.searchsorted(tube.stations, where.station).clip(0, len(tube.stations) - 1)
        ]
    )
    return replace(port, vertices=port.vertices + depth(where)[:, None] * down)


def noisy(port: Port, sigma: float, seed: int) -> Port:
    """The same with normal noise on every point of the wall; the openings stay flat."""
    tube = tube_of(port)
    on_cap = np.zeros(len(port.vertices), dtype=bool)
    on_cap[np.unique(port.faces[~wall_faces(port, tube)])] = True
    noise = np.random.default_rng(seed).normal(0.0, sigma, port.vertices.shape)
    noise[on_cap] -= 0.0
    for end in (0, -1):
        flow = tube.frames[end, 0]
        near = on_cap & (np.abs((port.vertices - tube.middles[end]) @ flow) < 0.1)
        noise[near] -= np.outer(noise[near] @ flow, flow)
    return replace(port, vertices=port.vertices + noise, noise=sigma)


def posed(port: Port, seed: int) -> tuple[Port, np.ndarray]:
    """The same port from a source in another pose, its port frame off by a little, and the true (4, 4)
    that takes its port frame back into the given one's."""
    rng = np.random.default_rng(seed)
    slip = np.eye(4)
    slip[:3, :3] = Rotation.from_rotvec(np.radians(2.0) * rng.normal(size=3) / np.sqrt(3)).as_matrix()
    slip[:3, 3] = rng.normal(size=3) * 0.8
    moved = port.vertices @ slip[:3, :3].T + slip[:3, 3]
    spine = replace(
        port.centreline,
        points=port.centreline.points @ slip[:3, :3].T + slip[:3, 3],
        frames=port.centreline.frames @ slip[:3, :3].T,
    )
    source = np.eye(4)
    source[:3, :3] = Rotation.random(random_state=seed).as_matrix()
    source[:3, 3] = rng.normal(size=3) * 200.0
    return replace(port, vertices=moved, centreline=spine, frame=source), np.linalg.inv(slip)
