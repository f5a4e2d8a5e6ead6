"""What two sheets of one port leave uncertain in the change between them: what they share cancels.

Two surveys of sheets come in; standard uncertainties of changes go out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from portgeo.core.angle_readings import ANGLES
from portgeo.core.headings import AngleFit
from portgeo.core.plane import FloatArray
from portgeo.core.section import Reading, row_key
from portgeo.measuring.schedule import Survey
from portgeo.measuring.sheet_errors import SEED, STATION, Errors, errors_by_source, errors_of_readings, reading_normals
from portgeo.measuring.sheet_model import Model, model_of
from portgeo.measuring.sheet_uncertainty import bends_in, figures

READ = 1  # tells the draws of readings from all others


@dataclass(frozen=True)
class ChangeUncertainty:
    """Standard uncertainties of what changed from one sheet to another: mm3, mm2, mm.

    radius, least_radius : of the short side of the bends meant, None where one of the two has none.
    """

    volume: float
    least_area: float
    radius: float | None
    least_radius: float | None


def change_u(before: Survey, after: Survey) -> ChangeUncertainty | None:
    """Return how sure the changes between two sheets of one port are, None where one of the two is no sheet.

    The zero of a tool that both were read with is one zero. A row that both have alike is one reading, a
    station that both have is laid off once, and between two rows that a measure is alike at the port does the same.
    The same headings at the same stations are one curve. All else is independent (JCGM 100, 5.2, by trials as
    JCGM 101 has them).
    """
    if not before.port.readings or not after.port.readings:
        return None
    was, now = model_of(before.port.readings), model_of(after.port.readings)
    earlier, later = errors_by_source(was), errors_by_source(now, set_up=1)
    earlier["readings"], later["readings"] = _readings(was, now)
    later["headings"] = _with_same_angles(was, now, earlier["headings"], later["headings"])
    between = _between_rows(was, now, earlier["between_rows"], later["between_rows"])
    later["between_rows"] = _with_same_angles(was, now, earlier["between_rows"], between)
    variance = np.zeros(4)
    for source in earlier:
        change = _off(after, now, later[source]) - _off(before, was, earlier[source])
        variance += np.mean(change**2, axis=0)
    u = np.sqrt(variance)
    both = before.bend is not None and after.bend is not None
    return ChangeUncertainty(float(u[0]), float(u[1]), float(u[2]) if both else None, float(u[3]) if both else None)


def _off(survey: Survey, model: Model, errors: Errors) -> FloatArray:
    """Return how far volume, least area, radius and tightest radius of a sheet are off under errors (count, 4)."""
    bends = () if survey.bend is None else bends_in(model, (survey.bend,))
    off = figures(model, bends, None, errors)
    radii = off.radii[:, 0, 0] if len(bends) else np.zeros((len(off.areas), 2))
    return np.column_stack([off.of["volume"], off.of["least_area"], radii])


def _key(reading: Reading) -> tuple[object, ...]:
    """Return what makes two rows one reading: with another tool the same row was read again."""
    return (reading.tool, row_key(reading))


def _keys(model: Model, name: str) -> list[tuple[object, ...]]:
    """Return what makes one measure at a row the same (n)."""
    values = zip(model.readings, model.rows, model.values[name], strict=True)
    # A row that lacks the measure lacks it in both: no number is what is not like itself.
    return [(float(s), r.shape, str(v), None if r.outline is None else r.outline.tobytes()) for r, s, v in values]


def _same_rows(before: Model, after: Model) -> list[tuple[int, int]]:
    """Return the places of the rows that both have alike, in one and the other."""
    known = {_key(reading): k for k, reading in enumerate(before.readings)}
    return [(known[_key(r)], k) for k, r in enumerate(after.readings) if _key(r) in known]


def _readings(before: Model, after: Model) -> tuple[Errors, Errors]:
    """Return what the readings of two sheets are off by: rows alike, and stations alike, are read once."""
    earlier, later = (
        reading_normals(model, np.random.default_rng([SEED, READ, k])) for k, model in enumerate((before, after))
    )
    for was, now in _same_rows(before, after):
        for name in set(before.names) & set(after.names):
            later[name][:, now] = earlier[name][:, was]
    laid = {float(s): k for k, s in enumerate(before.rows)}
    for now, station in enumerate(after.rows):
        if float(station) in laid:
            later[STATION][:, now] = earlier[STATION][:, laid[float(station)]]
    return errors_of_readings(before, earlier), errors_of_readings(after, later)


def _between_rows(before: Model, after: Model, earlier: Errors, later: Errors) -> Errors:
    """Return what the other port may be off by between its rows: as the one where a measure is alike on both sides."""
    moves = later.moves.copy()
    for k, name in enumerate(after.names):
        if name not in before.names:
            continue
        known = {key: row for row, key in enumerate(_keys(before, name))}
        same = [known.get(key, -1) for key in _keys(after, name)]
        carried = _carried(before, after, earlier.moves[:, :, before.names.index(name)])
        for row, (was, following) in enumerate(pairwise(same)):
            if was >= 0 and following == was + 1:
                gap = (after.stations >= after.rows[row]) & (after.stations <= after.rows[row + 1])
                moves[:, gap, k] = carried[:, gap]
    return replace(later, moves=moves)


def _with_same_angles(before: Model, after: Model, earlier: Errors, later: Errors) -> Errors:
    """Return errors with those of an angle that both sheets read alike being the same."""
    same = {
        name: _carried(before, after, getattr(earlier, name))
        for name in ANGLES
        if name in before.fits and name in after.fits and _alike(before.fits[name], after.fits[name])
    }
    return replace(later, **same)


def _alike(earlier: AngleFit, later: AngleFit) -> bool:
    return all(
        np.array_equal(getattr(earlier.readings, name), getattr(later.readings, name))
        for name in ("stations", "angles", "effects")
    )


def _carried(before: Model, after: Model, errors: FloatArray) -> FloatArray:
    """Return errors (count, p) at one model's stations at the other's."""
    return np.array([np.interp(after.stations, before.stations, row) for row in errors])
