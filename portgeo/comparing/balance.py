"""Runner balance: the ports of a set side by side, how far they spread, and which is the odd one out.

Ports of one set, either hand, come in; their schedules at common stations, their spread and the
places of their openings go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from portgeo.comparing.register import Alignment, align
from portgeo.comparing.state import state_of
from portgeo.comparing.tube import walled
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import areas_of, centroid_of, measure_section

ROWS = 25  # stations of the table
ODD_RATIO = 1.5  # farther off than the rest by this: one odd runner of four is off by three times
OTHER_HAND_MM = 0.5  # nearer to the first than as it is, rms, once mirrored: a sheet of the other hand
ON_PLANE_MM, SQUARE = 0.5, np.radians(3.0)  # a file whose entry lies so near to its own plane x = 0 is drawn from it
LEAST_ODD_FLOW = 0.01  # of the flow: *common practice, no source*, a bench does not repeat much better
LEAST_ODD = 0.005  # of the area: runners this close are equal to any micrometer


End = Literal["entry", "exit"]


@dataclass(frozen=True)
class Opening:
    """How far an opening sits from the set's mean: shift (2,) left and up, mm; tilt, radians, of its axis."""

    shift: FloatArray
    tilt: float


@dataclass(frozen=True)
class Balance:
    """A set of runners (k) at common stations (n,), from each one's own entry.

    areas : (k, n), mm2. volumes, lengths, least_areas, least_stations : (k,). spread : (n,), greatest
    less least area over their mean. worst : its index. odd : the runner farthest from the mean of the
    others, or None where none stands out. off : (k,), rms difference of each from the mean of the
    others, as a share. mirrored : (k,), the other hand of the first. entries, exits : (k) Openings
    after all are laid together. as_measured : they are laid as their sheets were measured, else by their
    walls. flows : (k,) bench flow, or None. gasket_shifts : (k, 2), left and up, of the opening's
    centroid at `gasket_end` from that of the gasket's hole, in each file's own frame; or None.
    """

    stations: FloatArray
    areas: FloatArray
    volumes: FloatArray
    lengths: FloatArray
    least_areas: FloatArray
    least_stations: FloatArray
    spread: FloatArray
    worst: int
    odd: int | None
    off: FloatArray
    mirrored: tuple[bool, ...]
    entries: tuple[Opening, ...]
    exits: tuple[Opening, ...]
    as_measured: bool
    flows: FloatArray | None
    gasket_shifts: FloatArray | None
    gasket_end: End
    warnings: tuple[Notice, ...]


def balance(
    ports: Sequence[Port],
    flows: Sequence[float] | None = None,
    *,
    gasket: FloatArray | None = None,
    gasket_end: End = "entry",
) -> Balance:
    """Return the balance of two or more ports. flows : a bench flow for each, all at one depression.

    gasket : outline (n, 2), left and up, of the hole at `gasket_end`, its zero the line that the sheets were
    measured from; of a mesh, the zero of its own frame, whose x must run into the entry.
    Raises InputError for too few, GeometryError where one is no port of the set.
    """
    if len(ports) < 2:
        raise InputError("a set needs two ports or more", hint="Name all the runners of the set after --set")
    if flows is not None and len(flows) != len(ports):
        raise InputError(
            f"{len(flows)} flows for {len(ports)} ports",
            hint="Give one flow for each port, in the same order",
        )
    lengths = np.array([port.centreline.length for port in ports])
    stations = np.linspace(0.0, lengths.min(), ROWS)
    areas = np.array([areas_of(sections_at(port, port.centreline.stations[0] + stations)) for port in ports])
    states = [state_of(port) for port in ports]
    as_measured = all(port.readings for port in ports)
    fits = _as_measured(ports) if as_measured else _laid_together(ports)
    mirrored = tuple(fit is not None and fit.mirrored for fit in fits)
    places = [_openings(port, fit) for port, fit in zip(ports, fits, strict=True)]
    entries, exits = (_from_mean([place[k] for place in places]) for k in (0, 1))
    mean = areas.mean(axis=0)
    spread = np.ptp(areas, axis=0) / mean
    off = _off(areas)
    return Balance(
        stations=stations,
        areas=areas,
        volumes=np.array([state.volume for state in states]),
        lengths=lengths,
        least_areas=np.array([state.least_area for state in states]),
        least_stations=np.array([state.least_station for state in states]),
        spread=spread,
        worst=int(np.argmax(spread)),
        odd=_odd(off),
        off=off,
        mirrored=mirrored,
        entries=entries,
        exits=exits,
        as_measured=as_measured,
        flows=None if flows is None else np.asarray(flows, float),
        gasket_shifts=None if gasket is None else _gasket_shifts(ports, mirrored, gasket, gasket_end),
        gasket_end=gasket_end,
        warnings=tuple(n for fit in fits if fit is not None for n in fit.warnings),
    )


def _laid_together(ports: Sequence[Port]) -> list[Alignment | None]:
    """Return how each port comes onto the first (None for that one), whichever hand it is."""
    first = walled(ports[0])
    fits: list[Alignment | None] = [None]
    for k, port in enumerate(ports[1:], start=2):
        try:
            fits.append(align(first, walled(port), "auto", hands=(False, True)))
        except GeometryError as refusal:
            raise GeometryError(f"port {k} of the set: {refusal.what}", hint=refusal.hint) from None
    return fits


def _as_measured(ports: Sequence[Port]) -> list[Alignment | None]:
    """Return how each sheet's port comes onto the first as both were measured; the other hand is mirrored."""
    first = _line(ports[0])
    fits: list[Alignment | None] = [None]
    for port in ports[1:]:
        line = _line(port)
        apart, mirrored = (np.sqrt(np.mean((line * sign - first) ** 2)) for sign in (1.0, np.array([1.0, -1.0, 1.0])))
        other = bool(mirrored < apart - OTHER_HAND_MM)
        hand = np.diag([1.0, -1.0 if other else 1.0, 1.0, 1.0])
        matrix = ports[0].frame @ hand @ np.linalg.inv(port.frame)
        fits.append(Alignment("none", matrix, hand, 0.0, 1.0, np.zeros(3), np.zeros((6, 6)), other))
    return fits


def _line(port: Port) -> FloatArray:
    """Return the middles (ROWS, 3) of a port's sections in its own source's frame."""
    first, last = port.centreline.stations[[0, -1]]
    sections = sections_at(port, np.linspace(first, last, ROWS))
    return port.to_source(np.array([s.in_space(centroid_of(s)[None])[0] for s in sections]))


def _gasket_shifts(ports: Sequence[Port], mirrored: Sequence[bool], gasket: FloatArray, end: End) -> FloatArray:
    """Return how far each opening's centroid sits from the gasket hole's (k, 2), left and up in its own frame.

    Raises GeometryError for a mesh in a frame that the drawing has no place in.
    """
    hole = moments(gasket).centroid
    shifts = []
    for k, (port, other) in enumerate(zip(ports, mirrored, strict=True), start=1):
        section = sections_at(port, port.centreline.stations[[0 if end == "entry" else -1]])[0]
        centroid = measure_section(section).centroid
        if not port.readings:
            place = port.to_source(section.in_space(centroid[None]))[0]
            into = port.direction_to_source(section.frame[0])
            if end != "entry" or abs(place[0]) > ON_PLANE_MM or into[0] < np.cos(SQUARE):
                raise GeometryError(
                    f"port {k} of the set is a mesh in a frame of its own, so where the gasket's hole lies on it "
                    "is not known",
                    hint="Use sheets, which share the line they are measured from, or meshes whose entry lies in "
                    "the plane x = 0 of the file, x into the port, y left, z to the roof; else leave out --gasket",
                )
            centroid = place[1:]
        shifts.append(centroid - hole * np.array([-1.0 if other else 1.0, 1.0]))
    return np.array(shifts)


def _openings(port: Port, fit: Alignment | None) -> list[tuple[FloatArray, FloatArray]]:
    """Return the centroid (3,) and axis frame (3, 3) of entry and exit, in the first port's frame."""
    ends = port.centreline.stations[[0, -1]]
    found = []
    for section in sections_at(port, ends):
        centroid = section.in_space(measure_section(section).centroid[None])[0]
        frame = section.frame
        if fit is not None:
            centroid, frame = fit.moved(centroid[None])[0], frame @ fit.matrix[:3, :3].T
        found.append((centroid, frame))
    return found


def _from_mean(places: list[tuple[FloatArray, FloatArray]]) -> tuple[Opening, ...]:
    centroid = np.mean([place[0] for place in places], axis=0)
    axis = np.mean([place[1][0] for place in places], axis=0)
    axis /= np.linalg.norm(axis)
    across = places[0][1][1:]
    found = []
    for middle, frame in places:
        tilt = float(np.arctan2(np.linalg.norm(np.cross(frame[0], axis)), frame[0] @ axis))
        found.append(Opening(across @ (middle - centroid), tilt))
    return tuple(found)


def _off(areas: FloatArray) -> FloatArray:
    """Return for each runner (k,) its rms difference from the mean of the others, as a share of it."""
    others = (areas.sum(axis=0) - areas) / (len(areas) - 1)
    return np.sqrt(np.mean((areas / others - 1.0) ** 2, axis=1))


@dataclass(frozen=True)
class Flows:
    """Flows of all cylinders (k,) of a set: their mean, greatest less least over it, and the odd one out or None."""

    flows: FloatArray
    mean: float
    spread: float
    off: FloatArray
    odd: int | None


def flows_of(flows: Sequence[float]) -> Flows:
    """Return how the flows of a set differ. off (k,) : of each from the mean of the others, as a share of it."""
    read = np.asarray(flows, float)
    mean = float(read.mean())
    others = (read.sum() - read) / max(len(read) - 1, 1)
    off = read / others - 1.0
    return Flows(read, mean, float(np.ptp(read)) / mean, off, _odd(np.abs(off), LEAST_ODD_FLOW))


def _odd(off: FloatArray, least: float = LEAST_ODD) -> int | None:
    """Return the runner that stands out; with two, neither can be told."""
    if len(off) < 3:
        return None
    worst = int(np.argmax(off))
    others = np.delete(off, worst).mean()
    return worst if off[worst] > least and off[worst] > ODD_RATIO * others else None
