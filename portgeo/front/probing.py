"""A pitot probe's readings beside the air that was worked out.

An AirThrough and a probe sheet come in; a ProbedAir goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from portgeo.core.errors import InputError
from portgeo.files.disk import read_bounded
from portgeo.files.probe import FILE_LIMIT, probe_from
from portgeo.files.sheets.tables import Source
from portgeo.flow.bench import Run, flow_through
from portgeo.flow.probe import probed
from portgeo.results.air import AirThrough
from portgeo.results.benched import Benched
from portgeo.results.probed import ProbedAir


def probe(
    air: AirThrough,
    readings: str | Path | Sequence[Mapping[str, Any]],
    *,
    bench: Benched | None = None,
    run: str | Run | None = None,
    name: str | None = None,
) -> ProbedAir:
    """Return what a pitot probe read beside the ideal flow, place by place.

    A ratio far from one tells where the ideal flow is not the port's flow: most likely past the short side.

    Parameters
    ----------
    air : from `air_speed`.
    readings : a probe sheet (csv, xlsx, xls, ods): station, clock, distance off the wall, speed or pressure; flow or
        lift, and depression, where it was not that of `air`; or its rows, with the columns' names.
    bench, run : whose flow a reading's lift means.
    name : of the sheet in records and refusals, where it is not its path.

    Raises
    ------
    InputError : what is wrong, in which file, where in it, and what to do.

    Examples
    --------
    >>> import portgeo as pg
    >>> bore = [{"station": s, "shape": "round", "diameter": 40} for s in (0, 50, 100)]
    >>> air = pg.air_speed(pg.port_from_rows(bore), cfm=100, unknowns=2000)
    >>> places = [{"station_mm": s, "clock": 3, "off_wall_mm": 10, "speed_m_s": 37} for s in (20, 60)]
    >>> pg.probe(air, places).places.ratio.round(2)
    array([0.98, 0.98])
    """
    if isinstance(run, str) and bench is None:
        raise InputError(f"the run '{run[:40]}' has no bench sheet to be in", hint="Give bench, from pg.bench")
    found = air.computed
    port = found.path.ports[-1]
    pulled = run if isinstance(run, Run) or bench is None else bench.run(run)

    def flow_at(lift: float, depression: float | None) -> float:
        assert isinstance(pulled, Run)
        return flow_through(pulled, lift, depression or found.depression, port.display)

    source: Source
    if isinstance(readings, str | Path):
        file, source = name or str(readings), read_bounded(readings, FILE_LIMIT)
    else:
        file, source = name or "readings", readings
    rows = probe_from(source, file, port, None if pulled is None else flow_at)
    return ProbedAir.of(probed(found, rows), port.display, {"file": file})
