"""Path: what the air runs through, one port or a manifold runner and a head port joined at the flange.

Ports come in; sections at any station of the whole path go out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portgeo.core.centreline import at
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import Section

STEP_NOTICED = 0.02  # of the area: a smaller step at a joint is within two readings' errors


@dataclass(frozen=True)
class Path:
    """Ports one after the other in one frame, the last port's own.

    ports : in the direction of flow. poses : (k, 4, 4), each port's frame into the path's. starts :
    (k,), the path's station at each port's entry. The path's stations are the last port's own; those of
    a runner ahead of it count back from there.
    """

    ports: tuple[Port, ...]
    poses: FloatArray
    starts: FloatArray

    @property
    def first(self) -> float:
        """Station of the path's entry."""
        return float(self.starts[0])

    @property
    def last(self) -> float:
        """Station of the path's exit."""
        return float(self.starts[-1] + self.ports[-1].centreline.length)

    @property
    def length(self) -> float:
        """Length along the centrelines."""
        return self.last - self.first


def path_of(port: Port) -> Path:
    """Return the path through one port."""
    return Path((port,), np.eye(4)[None], port.centreline.stations[:1])


def join(runner: Port, head: Port, pose: FloatArray | None = None) -> Path:
    """Return the path through a manifold runner and a head port.

    pose : (4, 4) that takes the runner's frame into the head's; by default the end of the runner's
    centreline is laid on the start of the head's, their walls parallel.
    """
    if pose is None:
        pose = _onto_entry(runner, head)
    joint = float(head.centreline.stations[0])
    return Path((runner, head), np.stack([pose, np.eye(4)]), np.array([joint - runner.centreline.length, joint]))


def _onto_entry(runner: Port, head: Port) -> FloatArray:
    """Return the (4, 4) that lays the end of one centreline on the start of the other, walls parallel."""
    points, frames = zip(
        *(at(p.centreline, p.centreline.stations[[k]]) for p, k in ((runner, -1), (head, 0))), strict=True
    )
    pose = np.eye(4)
    pose[:3, :3] = frames[1][0].T @ frames[0][0]
    pose[:3, 3] = points[1][0] - pose[:3, :3] @ points[0][0]
    return pose


def sections_along(path: Path, stations: FloatArray) -> list[Section]:
    """Return the sections at stations (n,) of the path, in the path's frame.

    A station at a joint is cut in the port downstream of it. Raises GeometryError where a plane cuts
    no tube.
    """
    owner = port_at(path, stations)
    found: list[Section] = []
    for k, port in enumerate(path.ports):
        here = stations[owner == k] - path.starts[k] + port.centreline.stations[0]
        turn, move = path.poses[k, :3, :3], path.poses[k, :3, 3]
        for section in sections_at(port, here) if len(here) else []:
            origin, frame = turn @ section.origin + move, section.frame @ turn.T
            found.append(Section(section.outline, origin, frame, section.islands))
    return found


def port_at(path: Path, stations: FloatArray) -> np.ndarray:
    """Return which port of the path each station (n,) is in."""
    return np.clip(np.searchsorted(path.starts, stations, side="right") - 1, 0, len(path.ports) - 1)


def to_source(path: Path, station: float, point: FloatArray) -> FloatArray:
    """Return a point (3,) of the path near a station in the own coordinates of the port it is in."""
    k = int(port_at(path, np.array([station]))[0])
    inside = path.poses[k, :3, :3].T @ (point - path.poses[k, :3, 3])
    return path.ports[k].to_source(inside)


def joint_notices(path: Path) -> tuple[Notice, ...]:
    """Return a notice for each joint whose two openings differ in area."""
    notices = []
    for before, after, start in zip(path.ports[:-1], path.ports[1:], path.starts[1:], strict=True):
        out = moments(sections_at(before, before.centreline.stations[-1:])[0].outline).area
        into = moments(sections_at(after, after.centreline.stations[:1])[0].outline).area
        if abs(into / out - 1.0) > STEP_NOTICED:
            case = "lip" if into < out else "opens"
            notices.append(Notice("joint_step", case=case, station=start, before=out, after=into))
    return tuple(notices)
