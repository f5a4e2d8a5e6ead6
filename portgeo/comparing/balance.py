"""Runner balance: the ports of a set side by side, how far they spread, and which is the odd one out.

Ports of one set, either hand, come in, and where they stand in their manifold; their schedules at common stations,
their spread, the places and edges of their openings, the dividers between them and what would even them go out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from portgeo.comparing.against import Against, of_figure, of_quantity, others_of, own_areas_u
from portgeo.comparing.dividers import Divider, dividers, spacing_notices
from portgeo.comparing.evening import EVEN, Evening, advised, evenings, spread_of
from portgeo.comparing.odd import odd_by_volume, off_others, off_others_u, stands_out
from portgeo.comparing.register import Alignment, align
from portgeo.comparing.tube import walled
from portgeo.core.errors import GeometryError, InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray, moments
from portgeo.core.port import Port, sections_at
from portgeo.core.section import TOOLS, areas_of, centroid_of, measure_section, row_key
from portgeo.measuring import survey
from portgeo.measuring.flare import CLOCK, Flare
from portgeo.measuring.schedule import Survey

ROWS = 25  # stations of the table
OTHER_HAND_MM = 0.5  # nearer to the first than as it is, rms, once mirrored: a sheet of the other hand
ON_PLANE_MM, SQUARE = 0.5, np.radians(3.0)  # a file whose entry lies so near to its own plane x = 0 is drawn from it
READ_AT = (0, 3, 6, 9)  # hours at which an edge's radius is read by gauge, where four are given


End = Literal["entry", "exit"]


@dataclass(frozen=True)
class Opening:
    """How far an opening sits from the set's mean: shift (2,) left and up, mm; tilt, radians, of its axis."""

    shift: FloatArray
    tilt: float


@dataclass(frozen=True)
class Layout:
    """Where the runners of a set stand in their manifold, looking into their entries from the plenum.

    spacing (k - 1,) : from each to the next, to the right, mm; None where it is not known. one_frame : their files'
    own coordinates are the manifold's; else each one's are its own, and only the spacing says where it stands.
    """

    spacing: FloatArray | None = None
    one_frame: bool = False

    @property
    def known(self) -> bool:
        """Whether the runners have places at all."""
        return self.one_frame or self.spacing is not None

    def steps(self, count: int) -> FloatArray:
        """Return how far (k, 3) each runner stands off the first, in the manifold's frame."""
        off = np.zeros((count, 3))
        if self.spacing is not None:
            off[1:, 1] = -np.cumsum(self.spacing)
        return off

    def poses(self, ports: Sequence[Port]) -> list[FloatArray]:
        """Return the (4, 4) of each port from its own frame into the manifold's."""
        found: list[FloatArray] = []
        for port, step in zip(ports, self.steps(len(ports)), strict=True):
            own = self.one_frame or bool(port.readings)
            pose = np.array(np.linalg.inv(port.frame) if own else np.eye(4), dtype=np.float64)
            if not self.one_frame:
                pose[:3, 3] += step
            found.append(pose)
        return found


@dataclass(frozen=True)
class Balance:
    """A set of runners (k) at common stations (n,), from each one's own entry.

    areas : (k, n), mm2. volumes, lengths, least_areas, least_stations : (k,). spread : (n,), greatest
    less least area over their mean. worst : where it is most, past the rounded edges of the entries. odd : the
    runner farthest from the mean of the others, or None where none stands out. off, off_u : (k,), rms difference
    of each from the mean of the others, as a share, and what the readings leave unsure of it. mirrored : (k,), the
    other hand of the first. entries, exits : (k) Openings after all are laid together. as_measured : they are laid
    as they were measured, else by their walls. flows : (k,) bench flow, or None. gasket_shifts : (k, 2), left and
    up, of the opening's centroid at `gasket_end` from that of the gasket's hole, in each file's own frame; or None;
    gasket_u : (k), how sure the readings make each of the two, None of a scan. volume, least_area, length : of each
    against the others, of which the odd one is not counted. edges : (k) how each one's entry is rounded. layout :
    where they stand; dividers : between each and the next, none where that is not known. choices : what to cut to so
    that they pass alike, the least metal first; advised : the number of the one to take, None where none brings them
    nearer; tells : the share of an area that the readings can tell two runners apart by.
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
    gasket_u: tuple[float | None, ...]
    off_u: FloatArray
    volume: Against
    least_area: Against
    length: Against
    edges: tuple[Flare, ...]
    layout: Layout
    dividers: tuple[Divider, ...]
    choices: tuple[Evening, ...]
    advised: int | None
    tells: float
    warnings: tuple[Notice, ...]


def balance(
    ports: Sequence[Port],
    flows: Sequence[float] | None = None,
    *,
    gasket: FloatArray | None = None,
    gasket_end: End = "entry",
    layout: Layout | None = None,
    edge_radii: FloatArray | None = None,
    readings_tried: bool = True,
) -> Balance:
    """Return the balance of two or more ports. flows : a bench flow for each, all at one depression.

    gasket : outline (n, 2), left and up, of the hole at `gasket_end`, its zero the line that the sheets were
    measured from; of a mesh, the zero of its own frame, whose x must run into the entry. In one frame it is the first
    runner's, and the layout's spacing says where the others' are. edge_radii : (k, 4), of each entry's edge at 12, 3,
    6 and 9 o'clock, as read with a gauge; else they are told from the walls. readings_tried : as `survey` has it.
    Raises InputError for too few, GeometryError where one is no port of the set.
    """
    if len(ports) < 2:
        raise InputError("a set needs two ports or more", hint="Name all the runners of the set after --set")
    if flows is not None and len(flows) != len(ports):
        raise InputError(
            f"{len(flows)} flows for {len(ports)} ports",
            hint="Give one flow for each port, in the same order",
        )
    layout = layout or Layout()
    if gasket is not None and layout.one_frame and layout.spacing is None:
        raise InputError(
            "the runners are in one frame, and where each one's hole in the gasket lies is not known",
            hint="Give spacing too: the hole is drawn for the first runner, and those of the others lie so far on",
        )
    lengths = np.array([port.centreline.length for port in ports])
    stations = np.linspace(0.0, lengths.min(), ROWS)
    rows = [sections_at(port, port.centreline.stations[0] + stations) for port in ports]
    areas = np.array([areas_of(sections) for sections in rows])
    surveys = [survey(port, readings_tried=readings_tried) for port in ports]
    placed = layout.one_frame and layout.spacing is not None
    as_measured = all(port.readings for port in ports) or placed
    fits = _as_measured(ports, layout) if as_measured else _laid_together(ports)
    mirrored = tuple(fit is not None and fit.mirrored for fit in fits)
    places = [_openings(port, fit) for port, fit in zip(ports, fits, strict=True)]
    entries, exits = (_from_mean([place[k] for place in places]) for k in (0, 1))
    edges = _edges(surveys, edge_radii)
    spread = spread_of(areas)
    # Where an entry's wall is rounded its area tells of the edge; the runners are told apart past all of that.
    mouth = max(float(np.nanmax([0.0, *found.entry_edge.radius])) for found in surveys)
    tube = stations >= min(mouth, stations[-2])
    own_u = own_areas_u(surveys, stations)[:, tube]
    off, off_u = off_others(areas[:, tube]), off_others_u(areas[:, tube], own_u)
    odd = stands_out(off)
    if odd is None or off[odd] <= 2.0 * off_u[odd]:
        odd = odd_by_volume(surveys)
    others, ends_u = others_of(len(ports), odd), np.array([np.hypot(*port.ends_u) or np.nan for port in ports])
    widths = np.array([[np.ptp(section.outline[:, 0]) for section in sections] for sections in rows])
    perimeters = np.array([[_around(section.outline) for section in sections] for sections in rows])
    choices = evenings(stations[tube], areas[:, tube], perimeters[:, tube], own_u, odd)
    tells = float(2.0 * np.sqrt(2.0) * (own_u / areas[:, tube]).mean())
    take = advised(choices, tells, areas[:, tube])
    return Balance(
        stations=stations,
        areas=areas,
        volumes=np.array([found.volume for found in surveys]),
        lengths=lengths,
        least_areas=np.array([found.least_area for found in surveys]),
        least_stations=np.array([found.least_station for found in surveys]),
        spread=spread,
        worst=int(np.argmax(np.where(tube, spread, 0.0))),
        odd=odd,
        off=off,
        mirrored=mirrored,
        entries=entries,
        exits=exits,
        as_measured=as_measured,
        flows=None if flows is None else np.asarray(flows, float),
        gasket_shifts=None if gasket is None else _gasket_shifts(ports, mirrored, gasket, gasket_end, layout),
        gasket_end=gasket_end,
        gasket_u=tuple(
            port.readings[0 if gasket_end == "entry" else -1].error if port.readings else None for port in ports
        ),
        off_u=off_u,
        volume=of_quantity(surveys, "volume", others),
        least_area=of_quantity(surveys, "least_area", others),
        length=of_figure(lengths, ends_u, others),
        edges=edges,
        layout=layout,
        dividers=dividers(ports, layout.poses(ports), edges) if layout.known else (),
        choices=choices,
        advised=take,
        tells=tells,
        warnings=(
            *_copies(ports),
            *(() if layout.spacing is None else spacing_notices(layout.spacing, widths[:, tube][:, 0])),
            *(_few_rows(ports, stations[tube], own_u / areas[:, tube], tells) if take is None else ()),
            *(n for fit in fits if fit is not None for n in fit.warnings),
        ),
    )


def _copies(ports: Sequence[Port]) -> tuple[Notice, ...]:
    """Return a notice of runners that hold the same: sheets with the same readings, scans of the same bytes."""
    holders = defaultdict[Any, list[str]](list)
    for k, port in enumerate(ports, start=1):
        holds = tuple((row_key(r), r.turn, r.swing) for r in port.readings) or port.source.get("sha256")
        if holds:
            holders[holds].append(str(k))
    return tuple(Notice("set_copy", runners=alike) for alike in holders.values() if len(alike) > 1)


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


def _edges(surveys: Sequence[Survey], read: FloatArray | None) -> tuple[Flare, ...]:
    """Return how each entry's edge is rounded: as read with a gauge, where it was, else as its wall tells."""
    if read is None:
        return tuple(found.entry_edge for found in surveys)
    found = []
    for four in read:
        radius, radius_u = np.full(CLOCK, np.nan), np.full(CLOCK, np.nan)
        radius[list(READ_AT)], radius_u[list(READ_AT)] = four, TOOLS["template"][0]
        found.append(Flare(radius, radius_u))
    return tuple(found)


def _around(outline: FloatArray) -> float:
    return float(np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1).sum())


def _as_measured(ports: Sequence[Port], layout: Layout) -> list[Alignment | None]:
    """Return how each port comes onto the first as both were measured; the other hand is mirrored.

    What is in one frame is moved onto the first by the spacing, so that what is left is where the cores stood.
    """
    steps = layout.steps(len(ports)) if layout.one_frame else np.zeros((len(ports), 3))
    first = _line(ports[0])
    fits: list[Alignment | None] = [None]
    for port, step in zip(ports[1:], steps[1:], strict=True):
        line = _line(port) - step
        apart, mirrored = (np.sqrt(np.mean((line * sign - first) ** 2)) for sign in (1.0, np.array([1.0, -1.0, 1.0])))
        other = bool(mirrored < apart - OTHER_HAND_MM)
        hand = np.diag([1.0, -1.0 if other else 1.0, 1.0, 1.0])
        back = np.eye(4)
        back[:3, 3] = -step
        matrix = ports[0].frame @ hand @ back @ np.linalg.inv(port.frame)
        fits.append(Alignment("none", matrix, hand, 0.0, 1.0, np.zeros(3), np.zeros((6, 6)), other))
    return fits


def _line(port: Port) -> FloatArray:
    """Return the middles (ROWS, 3) of a port's sections in its own source's frame."""
    first, last = port.centreline.stations[[0, -1]]
    sections = sections_at(port, np.linspace(first, last, ROWS))
    return port.to_source(np.array([s.in_space(centroid_of(s)[None])[0] for s in sections]))


def _gasket_shifts(
    ports: Sequence[Port], mirrored: Sequence[bool], gasket: FloatArray, end: End, layout: Layout
) -> FloatArray:
    """Return how far each opening's centroid sits from the gasket hole's (k, 2), left and up in its own frame.

    Raises GeometryError for a mesh in a frame that the drawing has no place in.
    """
    if layout.one_frame:
        return _shifts_in_one_frame(ports, gasket, end, layout)
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


def _shifts_in_one_frame(ports: Sequence[Port], gasket: FloatArray, end: End, layout: Layout) -> FloatArray:
    """Return the same of runners in the manifold's own frame: the first one's hole, stepped on by the spacing."""
    hole = moments(gasket).centroid
    shifts = []
    for k, (port, step) in enumerate(zip(ports, layout.steps(len(ports)), strict=True), start=1):
        section = sections_at(port, port.centreline.stations[[0 if end == "entry" else -1]])[0]
        if abs(port.direction_to_source(section.frame[0])[0]) < np.cos(SQUARE):
            raise GeometryError(
                f"the {end} of runner {k} does not lie square to the x of the one frame, so the drawing has no place "
                "on it",
                hint="Turn the scans so that the face with the gasket is square to x, y left, z to the roof",
            )
        middle = port.to_source(section.in_space(measure_section(section).centroid[None]))[0]
        shifts.append((middle - step)[1:] - hole)
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


def _few_rows(ports: Sequence[Port], stations: FloatArray, share_u: FloatArray, tells: float) -> tuple[Notice, ...]:
    """Return between which rows of sheets the areas are known least, where that hides how the runners differ.

    share_u (k, n) : of the areas at stations (n,) from the entry.
    """
    if tells <= EVEN or not all(port.readings for port in ports):
        return ()
    k, at = divmod(int(np.argmax(share_u)), share_u.shape[1])
    rows = ports[k].rows - ports[k].rows[0]
    after = int(np.clip(np.searchsorted(rows, stations[at]), 1, len(rows) - 1))
    first = float(ports[k].rows[0])
    return (Notice("set_few_rows", share=tells, start=first + rows[after - 1], end=first + rows[after]),)
