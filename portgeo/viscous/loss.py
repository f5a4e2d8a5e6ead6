"""What a viscous solution tells of a port: pressure lost by station, where air leaves the wall, how the throat fills.

A Solution with its stream comes in; a Lost goes out. SI units, but for stations, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from portgeo.core.plane import FloatArray
from portgeo.core.section import wall_at
from portgeo.flow.gas import Air, density_ratio, isentropic_speed, mach_of_drop
from portgeo.flow.places import hours_of
from portgeo.viscous.friction import friction_gradient
from portgeo.viscous.polymesh import METRES
from portgeo.viscous.solution import Solution

LEAST_BACK = 2  # layers that air must run back over: less is one face's own


@dataclass(frozen=True)
class Back:
    """A stretch of wall on which air runs back: stations, mm, the clock position of its middle, its area, mm2.

    past_exit : whether it goes on past the port's exit.
    """

    first: float
    last: float
    clock: float
    area: float
    past_exit: bool

    @property
    def wall(self) -> str:
        """The wall that it is on."""
        return wall_at(self.clock)


@dataclass(frozen=True)
class Lost:
    """What one solution tells, Pa.

    total : lost between the entry and where the air is even again past the exit, the friction of that run taken off.
    in_port : of that, up to the exit. friction : of a straight port of the same sections. head : of the speed that
    leaves. stations, lost (n,) : from entry to exit, lost up to there. throat_head : of the mean speed there.
    unfilled : share of the throat's area that hardly carries air. swirl, tumble : at the exit. back : None where the
    air stays on the wall.
    """

    total: float
    in_port: float
    friction: float
    head: float
    exit_area: float
    throat_head: float
    stations: FloatArray
    lost: FloatArray
    unfilled: float
    swirl: float
    tumble: float
    back: Back | None

    @property
    def coefficient(self) -> float:
        """Pressure lost over the throat's velocity head."""
        return self.total / self.throat_head


def lost_in(solution: Solution, flow: float, throat: tuple[float, float], air: Air, roughness: float = 0.0) -> Lost:
    """Return what a solution tells.

    flow : m3/s. throat : its station, mm, and its area, mm2. roughness : height of even sand grains, mm.
    """
    tube = solution.tube
    first, last, evened = tube.first, tube.last, tube.evened
    drop = air.density * (solution.total_pressure[first - 1] - solution.total_pressure[first - 1 : last])
    areas = _areas(solution) * METRES**2
    around = np.array([_girth(s) for s in tube.grid.wall]) * METRES
    gradient = air.density * friction_gradient(
        flow, areas, 4.0 * areas / around, air.kinematic_viscosity, roughness * METRES
    )
    along = np.concatenate([[0.0], np.cumsum((gradient[1:] + gradient[:-1]) / 2.0 * np.diff(tube.stations) * METRES)])
    through = solution.total_pressure[first - 1] - solution.total_pressure[evened - 1]
    speed = solution.at_rings((solution.velocity**2).sum(axis=1) / 2.0)[evened - 1]
    flux = solution.flux[evened - 1]
    ring = int(np.argmin(np.abs(tube.stations - throat[0])))
    swirl, tumble = _turning(solution, last)
    return Lost(
        total=float(air.density * through - (along[evened] - along[last])),
        in_port=float(drop[-1]),
        friction=float(along[last] - along[first]),
        head=float(air.density * (speed * flux).sum() / flux.sum()),
        exit_area=float(_areas(solution)[evened]),
        throat_head=float(air.density / 2.0 * (flow / (throat[1] * METRES**2)) ** 2),
        stations=tube.stations[first : last + 1],
        lost=drop,
        unfilled=solution.unfilled(int(np.clip(ring, first, last))),
        swirl=swirl,
        tumble=tumble,
        back=_back(solution),
    )


def flow_at(depression: float, flow: float, taken: float, area: float, air: Air) -> float:
    """Return the flow, m3/s of air at rest, that a depression, Pa, draws through an exit of an area, mm2.

    taken : Pa that a flow takes of air that does not thin out, loss and the speed that leaves: of that the exit's
    coefficient, and with it the isentropic flow (J. D. Anderson, Modern Compressible Flow; from memory).
    """
    coefficient = flow / (area * METRES**2 * np.sqrt(2.0 * taken / air.density))
    mach = mach_of_drop(depression, air)
    return float(coefficient * area * METRES**2 * isentropic_speed(mach, air) * density_ratio(mach))


def _areas(solution: Solution) -> FloatArray:
    """Return the areas (n,) of the rings, mm2."""
    return np.asarray(np.linalg.norm(solution.areas.sum(axis=1), axis=1))


def _girth(wall: FloatArray) -> float:
    return float(np.linalg.norm(np.roll(wall, -1, axis=0) - wall, axis=1).sum())


def _turning(solution: Solution, ring: int) -> tuple[float, float]:
    """Return swirl and tumble at a ring: angular momentum, and that of the speed along, over momentum and radius.

    Swirl is about the axis, the usual swirl number (A. K. Gupta and others, Swirl Flows; from memory); tumble is how
    far the stream's momentum stands off the middle.
    """
    tube, section = solution.tube, solution.tube.sections[-1]
    frame, area = section.frame, _areas(solution)[ring]
    quads = tube.grid.nodes[ring][tube.grid.pattern.quads].mean(axis=1)
    weight = np.linalg.norm(solution.areas[ring], axis=1)
    middle = (quads * weight[:, None]).sum(axis=0) / weight.sum()
    arm = (quads - middle) @ frame[1:].T
    velocity = solution.at_rings(solution.velocity)[ring - 1] @ frame.T
    momentum = velocity[:, 0] * solution.flux[ring - 1]
    about = (arm[:, 0] * velocity[:, 2] - arm[:, 1] * velocity[:, 1]) * solution.flux[ring - 1]
    radius = float(np.sqrt(area / np.pi))
    off = np.linalg.norm((arm * momentum[:, None]).sum(axis=0))
    return float(about.sum() / (radius * momentum.sum())), float(off / (radius * momentum.sum()))


def _back(solution: Solution) -> Back | None:
    """Return the largest stretch of the port's wall on which air runs back, None where there is none to tell of."""
    tube, wall = solution.tube, solution.tube.grid.wall
    runs_back = solution.wall_shear < 0.0
    runs_back[: tube.first] = False
    # Round the tube the last face stands beside the first: seen twice over, no stretch is cut.
    parts, count = label(np.hstack([runs_back, runs_back]))
    sides = np.stack([wall[1:] - wall[:-1], np.roll(wall, -1, axis=1)[:-1] - wall[:-1]])
    area = np.linalg.norm(np.cross(sides[0], sides[1]), axis=2)
    found: list[tuple[float, Back]] = []
    faces = runs_back.shape[1]
    for part in range(1, count + 1):
        layers, places = np.nonzero(parts == part)
        places = places % faces
        single = np.unique(layers * faces + places)
        layers, places = single // faces, single % faces
        inside = layers < tube.last
        if len(np.unique(layers[inside])) < LEAST_BACK:
            continue
        weight = area[layers[inside], places[inside]]
        clock = _clock(solution, layers[inside], places[inside], weight)
        back = Back(
            first=float(tube.stations[layers[inside].min()]),
            last=float(tube.stations[layers[inside].max() + 1]),
            clock=clock,
            area=float(weight.sum()),
            past_exit=bool((layers >= tube.last).any()),
        )
        found.append((back.area, back))
    return max(found, key=lambda each: each[0])[1] if found else None


def _clock(solution: Solution, layers: FloatArray, places: FloatArray, weight: FloatArray) -> float:
    """Return the clock position in the middle of faces of the port's wall."""
    tube = solution.tube
    wall = tube.grid.wall
    arms = []
    for layer, place in zip(layers.tolist(), places.tolist(), strict=True):
        section = tube.sections[layer - tube.first]
        face = (wall[layer, place] + wall[layer, (place + 1) % wall.shape[1]]) / 2.0
        arms.append((face - wall[layer].mean(axis=0)) @ section.frame[1:].T)
    arm = np.array(arms)
    arm /= np.linalg.norm(arm, axis=1, keepdims=True)
    return float(hours_of((arm * weight[:, None]).sum(axis=0)))
