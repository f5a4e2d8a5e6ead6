"""Bench sense: what a good porter would remark on in a port's shape.

The close area schedule and the floor line come in; notices with station, size and limit go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port
from portgeo.core.section import Section
from portgeo.measuring.bends import BendPlane, inner_wall
from portgeo.measuring.sides import Bend
from portgeo.measuring.throat import passage_ends, told_place

REVERSAL = 0.01  # of the area: smaller swings are within what hand work and readings do
CONE_LIMIT = np.radians(7.0)  # half-angle: common practice for a diffuser that holds on to its walls
SWAPPED = 0.1  # of height and width together: a row off by less than this is not asked about
STATIONS_AGREE = 0.02  # of the length: hand-laid stations and places differ by less
GROWN_ERRORS = 4.0  # of two readings: more is a cut
DAM_MM = 0.5  # a hump that a finger feels
DAM_SLOPE = 1.0 / 40.0  # of its length: a long gentle rise is no dam


def bench_sense(
    port: Port, stations: FloatArray, area: FloatArray, bends: Sequence[Bend], meant: BendPlane | None
) -> tuple[Notice, ...]:
    """Return the notices for a port: its area at close stations (n,), its bends and the one next to the valve."""
    dams = [notice for bend in bends for notice in _dams(bend)]
    first, last = passage_ends(port)
    own = (stations >= first) & (stations <= last)
    stations, area = stations[own], area[own]
    shape = (*_reversals(port, stations, area), *_sudden(stations, area), *dams)
    return (*contradictions(port), *shape, *turned_away(port, meant))


def contradictions(port: Port) -> tuple[Notice, ...]:
    """Return a notice for each row of a sheet whose readings do not go with those beside it."""
    return (*_swapped(port), *_along_the_roof(port))


def _swapped(port: Port) -> list[Notice]:
    """Return a notice for each row whose height fits its neighbours' widths, and width their heights.

    The row that fits worst is put right before the others are looked at, since it makes its neighbours look wrong.
    """
    rows = port.readings
    sizes = np.array([(r.height, r.width) for r in rows])
    notices: dict[int, Notice] = {}
    while len(rows) >= 3:
        beside = np.array([_between_others(port.rows, sizes, k) for k in range(len(rows))])
        misfit = np.abs(sizes - beside).sum(axis=1)
        other_way = np.abs(sizes - beside[:, ::-1]).sum(axis=1)
        wrong = (misfit > SWAPPED * beside.sum(axis=1)) & (other_way < misfit / 3.0)
        wrong &= [k not in notices and r.shape in ("rect", "oval") for k, r in enumerate(rows)]
        if not wrong.any():
            break
        k = int(np.argmax(np.where(wrong, misfit, -np.inf)))
        notices[k] = Notice(
            "swapped",
            row=rows[k].row,
            station=rows[k].station,
            height=sizes[k, 0],
            width=sizes[k, 1],
            beside_height=beside[k, 0],
            beside_width=beside[k, 1],
        )
        sizes[k] = sizes[k, ::-1].copy()
    return [notices[k] for k in sorted(notices)]


def _between_others(stations: FloatArray, sizes: FloatArray, k: int) -> FloatArray:
    """Return height and width (2,) of a row as the two rows nearest to it make them, on a straight line."""
    a, b = (k - 1, k + 1) if 0 < k < len(sizes) - 1 else (1, 2) if k == 0 else (k - 1, k - 2)
    share = (stations[k] - stations[a]) / (stations[b] - stations[a])
    return np.asarray(sizes[a] + share * (sizes[b] - sizes[a]))


def _along_the_roof(port: Port) -> list[Notice]:
    """Return a notice where places are given and the stations are as long as the roof, not as the middle."""
    rows = port.readings
    if len(rows) < 2 or any(r.place is None for r in rows):
        return []
    middle = float(port.rows[-1] - port.rows[0])
    turned = [np.hypot(b.turn - a.turn, b.swing - a.swing) for a, b in pairwise(rows)]
    roof = middle + sum(t * (a.height + b.height) / 4.0 for t, (a, b) in zip(turned, pairwise(rows), strict=True))
    read = rows[-1].station - rows[0].station
    if abs(read - middle) < STATIONS_AGREE * middle or abs(read - roof) > abs(read - middle) / 2.0:
        return []
    return [Notice("along_the_roof", last=read, roof=roof, middle=middle)]


def rise_left(before: Port, after: Port) -> tuple[Notice, ...]:
    """Return a notice where rows of two sheets grew in height and none of them changed its rise.

    A floor cut by so much makes the rise half of it less; left as it was, half the cut is booked to the roof.
    """
    earlier = {round(r.station, 3): r for r in before.readings}
    pairs = [(earlier[round(r.station, 3)], r) for r in after.readings if round(r.station, 3) in earlier]
    grown = [(a, b) for a, b in pairs if b.height - a.height > GROWN_ERRORS * np.hypot(a.error, b.error)]
    if not grown or any(abs(a.rise - b.rise) > 0.0 for a, b in grown):
        return ()
    most = max(grown, key=lambda pair: pair[1].height - pair[0].height)
    by = most[1].height - most[0].height
    return (Notice("rise_left", rows=len(grown), grown=by, station=most[1].station),)


def exchanged(before: Port, after: Port) -> tuple[Notice, ...]:
    """Return a notice where the heights of one sheet are the widths of another of the same port, all along."""
    if min(len(before.readings), len(after.readings)) < 2:
        return ()
    sizes, stations = np.array([(r.height, r.width) for r in before.readings]), before.rows
    there = np.array([(r.height, r.width) for r in after.readings])
    along = np.column_stack([np.interp(stations, after.rows, each) for each in there.T])
    if not _goes_other_way(sizes, along):
        return ()
    k = int(np.argmax(np.abs(sizes - along).sum(axis=1)))
    return (
        Notice(
            "exchanged",
            case="sheets",
            station=stations[k],
            height=sizes[k, 0],
            width=sizes[k, 1],
            other_height=along[k, 0],
            other_width=along[k, 1],
        ),
    )


def exchanged_at(section: Section, hole: FloatArray, end: str) -> tuple[Notice, ...]:
    """Return a notice where a port's opening is as high as its gasket's hole (k, 2) is wide, and as wide as that high.

    end : entry or exit.
    """
    sizes, there = (np.ptp(outline, axis=0)[::-1] for outline in (section.outline, hole))
    if not _goes_other_way(sizes, there):
        return ()
    (height, width), (other_height, other_width) = sizes, there
    return (
        Notice(
            "exchanged",
            case="gasket",
            end=end,
            height=height,
            width=width,
            other_height=other_height,
            other_width=other_width,
        ),
    )


def _goes_other_way(sizes: FloatArray, others: FloatArray) -> bool:
    """Return whether heights and widths (..., 2) go with others only where those are exchanged."""
    as_read, other_way = (float(np.abs(sizes - each).sum()) for each in (others, others[..., ::-1]))
    return as_read > SWAPPED * float(sizes.sum()) and other_way < as_read / 3.0


def turned_away(port: Port, bend: BendPlane | None) -> tuple[Notice, ...]:
    """Return a notice where a sheet's port turns to another wall than the floor: the short side is there."""
    wall = inner_wall(bend)
    if wall == "floor" or not port.readings:
        return ()
    return (Notice("turns_to_roof" if wall == "roof" else "turns_to_side", wall=wall),)


def _reversals(port: Port, stations: FloatArray, area: FloatArray) -> list[Notice]:
    """Return a notice for each inner least or greatest area that stands out by REVERSAL on both sides."""
    extremes = _swings(area)
    notices = []
    for before, k, after in zip(extremes[:-2], extremes[1:-1], extremes[2:], strict=True):
        pinched = area[k] < area[before]
        beside = min(area[before], area[after]) if pinched else max(area[before], area[after])
        share = abs(area[k] / beside - 1.0)
        code = "pinch" if pinched else "taper_reverses"
        station = stations[told_place(port, stations, area, k)]
        notices.append(Notice(code, station=station, area=area[k], share=share, limit=REVERSAL))
    return notices


def _swings(area: FloatArray) -> list[int]:
    """Return the places of alternate least and greatest values, swings under REVERSAL left out."""
    extremes: list[int] = []
    low = high = best = 0
    direction = 0
    for k in range(1, len(area)):
        if direction == 0:
            low = k if area[k] < area[low] else low
            high = k if area[k] > area[high] else high
            if area[high] - area[low] > REVERSAL * area[high]:
                direction = 1 if high > low else -1
                extremes, best = [min(low, high)], k
        elif direction * (area[k] - area[best]) >= 0:
            best = k
        elif abs(area[k] - area[best]) > REVERSAL * max(area[k], area[best]):
            extremes.append(best)
            direction, best = -direction, k
    return [*extremes, best]


def _sudden(stations: FloatArray, area: FloatArray) -> list[Notice]:
    """Return a notice for each stretch whose equivalent cone opens or closes too fast."""
    half_angle = np.arctan(np.gradient(np.sqrt(area / np.pi), stations))
    notices = []
    for sign, case in ((1, "opens"), (-1, "closes")):
        steep = np.flatnonzero(sign * half_angle > CONE_LIMIT)
        for run in np.split(steep, np.flatnonzero(np.diff(steep) > 1) + 1):
            if len(run) < 2:
                continue  # a step at one plane is the row's own doing
            worst = run[np.argmax(np.abs(half_angle[run]))]
            start, end = stations[run[[0, -1]]]
            steepest = abs(half_angle[worst])
            notices.append(
                Notice("sudden_change", case=case, start=start, end=end, half_angle=steepest, limit=CONE_LIMIT)
            )
    return notices


def _dams(bend: Bend) -> list[Notice]:
    """Return a notice for each dam on a bend's inner line between where that begins and the middle of the turn.

    A string pulled
    taut along the floor leaves it over a hollow and meets it again on the dam. The
    dam's height is over the line that the floor held before, drawn through the foot of the hollow;
    its length runs from that foot to its top.
    """
    short, plane = bend.short, bend.plane
    ahead = short.line_stations <= short.apex_station
    line, at = short.line[ahead] @ np.column_stack([plane.ahead, plane.aside]), short.line_stations[ahead]
    if len(line) < 3:
        return []
    run = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    inward = np.array([-run[1], run[0]])  # into the metal
    flat = np.column_stack([(line - line[0]) @ run, -(line - line[0]) @ inward])
    touching = _upper_hull(flat)
    notices: list[Notice] = []
    base: tuple[FloatArray, FloatArray] | None = None  # the floor's own line: a point and a direction
    for a, b in pairwise(touching):
        chord = flat[b] - flat[a]
        arm = flat[a : b + 1] - flat[a]
        hollow = (chord[1] * arm[:, 0] - chord[0] * arm[:, 1]) / np.linalg.norm(chord)
        foot = a + int(np.argmax(hollow))
        if foot == a:
            continue
        if not notices:  # past a dam the line from the string's start would run down the dam's back
            # The dip itself is no line of the floor's: what leads to it is less steep.
            ways = [flat[foot] - flat[a], flat[(a + foot + 1) // 2] - flat[a]]
            ways += [flat[a] - flat[max(2 * a - foot, 0)]] if a > 0 else []
            approach = max(ways, key=lambda way: float(way[1] / way[0]))
            base = flat[foot], approach / np.linalg.norm(approach)
        assert base is not None
        over = flat[[foot, b]] - base[0]
        at_foot, height = base[1][0] * over[:, 1] - base[1][1] * over[:, 0]
        if notices and at_foot > DAM_MM / 2.0:
            continue  # a dent in the crown of the dam before
        length = float(np.linalg.norm(flat[b] - flat[foot]))
        if height > max(DAM_MM, DAM_SLOPE * length):
            notices.append(Notice("dam", wall=plane.wall, station=at[b], height=height, length=length, limit=DAM_MM))
    return notices


def _upper_hull(points: FloatArray) -> list[int]:
    """Return the places in points (n, 2), in order along a line, where a string over it touches."""
    hull: list[int] = []
    for k in range(len(points)):
        while len(hull) >= 2:
            a, b = points[hull[-1]] - points[hull[-2]], points[k] - points[hull[-2]]
            if a[0] * b[1] - a[1] * b[0] < 0:
                break
            hull.pop()
        hull.append(k)
    return hull
