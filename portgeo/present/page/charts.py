"""The report's charts: which lines each has, out of the records.

Results come in; figures go out, or None where the job has nothing for one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.core.section import WALLS, wall_at, wall_name
from portgeo.core.units import PA_PER, Display
from portgeo.present.page.contents import PLANNED_STATE, run_names, speeds_of, surveys_of
from portgeo.present.page.markup import Element
from portgeo.present.pictures.line_chart import STYLES, Reading, Series, Span, line_chart
from portgeo.results.kinds import kind_of

PLANNED, WANTED = 2, 3  # styles kept for the planned port and for what is wanted
SOLID = 1  # the one unbroken line, which stands out
STATION_LABEL = "station from the entry, {}"
THROUGH_LABEL = "station from the port’s entry (below 0: in the runner), {}"


def styles_of(results: Mapping[str, Any]) -> dict[str, tuple[int, bool]]:
    """Return each state's style, the same in every chart, and whether its points are marked too.

    Where there are more states than styles, marks tell the later ones from the earlier.
    """
    free = [style for style in range(STYLES) if style not in (PLANNED, WANTED)]
    found = {state["name"]: (free[k % len(free)], k >= len(free)) for k, state in enumerate(results["states"])}
    if results["plan"]:
        found[PLANNED_STATE] = (PLANNED, False)
    return found


def _reading(of: str, x: str, y: str, d: Display) -> Reading:
    """Return how a chart of two kinds of number is read."""
    kinds = kind_of(x, d), kind_of(y, d)
    return Reading(of, (kinds[0].unit, kinds[1].unit), (kinds[0].decimals, kinds[1].decimals))


def _column(rows: Sequence[Mapping[str, Any]], key: str, per: float = 1.0) -> FloatArray:
    return np.array([np.nan if row[key] is None else row[key] for row in rows], dtype=float) / per


def schedule_chart(results: Mapping[str, Any], part: str, d: Display) -> Element | None:
    """Return the area schedules of all states of a part, with what is wanted."""
    surveys = [(state, record) for which, state, record in surveys_of(results) if which == part]
    if not surveys:
        return None
    length, area, styles = 1.0 / d.of_length(1.0), 1.0 / d.of_area(1.0), styles_of(results)
    series: list[Series] = []
    for state, record in surveys:
        rows = record["stations"]
        band = 2.0 * _column(rows, "area_u_mm2", area)
        x, y = _column(rows, "station_mm", length), _column(rows, "area_mm2", area)
        alike = [k for k, other in enumerate(series) if np.array_equal(other.x, x) and np.array_equal(other.y, y)]
        if alike:  # one line, of one sheet: it has both names
            series[alike[0]] = replace(series[alike[0]], name=f"{series[alike[0]].name} and {state}")
        else:
            series.append(Series(state, x, y, band if band.any() else None, *styles[state]))
    spans = []
    if part == "port":
        if results["plan"]:
            wanted = results["plan"]["record"]["areas"]
            if wanted:
                x, y = _column(wanted, "station_mm", length), _column(wanted, "wanted_mm2", area)
                series.append(Series("wanted", x, y, None, WANTED, points=True, line=False))
        side = results["states"][-1]["port"]["short_side"]
        if side:
            low, high = d.of_length(side["station_from_mm"]), d.of_length(side["station_to_mm"])
            spans.append(Span(f"short side, {results['states'][-1]['name']}", low, high))
    names = ", ".join(state for state, _ in surveys)
    return line_chart(
        f"All stages of the {part}. Band: 19 times in 20 the true area lies in it.",
        f"Area against station of the {part}: {names}. The figures are in the tables below.",
        STATION_LABEL.format(d.unit),
        f"area, {d.area_unit}",
        series,
        _reading("station", "length", "area", d),
        spans,
    )


def side_speed_chart(results: Mapping[str, Any], d: Display) -> Element | None:
    """Return the speed along the short side over the mean, of all states."""
    length, styles = 1.0 / d.of_length(1.0), styles_of(results)
    series: list[Series] = []
    for state, record in speeds_of(results):
        rows = record["stations"]
        x, y = _column(rows, "station_mm", length), _column(rows, "short_side_over_mean")
        if np.isfinite(y).any():
            series.append(Series(state, x, y, None, *styles[state]))
    if not series:
        return None
    return line_chart(
        "Air speed on the short side’s wall, over the mean speed there",
        "Speed on the short side over mean speed, against station. The figures are in the tables below.",
        (THROUGH_LABEL if min(s.x.min() for s in series) < 0.0 else STATION_LABEL).format(d.unit),
        "speed over mean",
        series,
        _reading("station", "length", "ratio", d),
    )


def probe_chart(record: Mapping[str, Any], d: Display) -> Element:
    """Return measured over computed speed by station, a series a wall, from the record of a ProbedAir."""
    places = [place for place in record["places"] if place["ratio"] is not None and not place["in_layer"]]
    length = 1.0 / d.of_length(1.0)
    series: list[Series] = []
    for k, wall in enumerate(WALLS):
        here = [place for place in places if wall_at(place["clock"]) == wall]
        if here:
            x, y = _column(here, "station_mm", length), _column(here, "ratio")
            series.append(Series(f"off the {wall_name(wall)}", x, y, None, k, points=True, line=False))
    return line_chart(
        "What the probe read over what is computed",
        "Measured over computed speed by station, of each reading that counts. The figures are in the table below.",
        STATION_LABEL.format(d.unit),
        "measured over computed",
        series,
        _reading("station", "length", "ratio", d),
        from_zero=True,
    )


def loss_chart(record: Mapping[str, Any], d: Display) -> Element:
    """Return pressure lost by station from the entry on, a series a port, from the record of a PressureLost."""
    length = 1.0 / d.of_length(1.0)
    series = [
        Series(
            state["name"], _column(state["stations"], "station_mm", length),
            _column(state["stations"], "lost_pa", PA_PER["in_h2o"]), None, k % STYLES,
        )
        for k, state in enumerate(record["states"])
    ]  # fmt: skip
    return line_chart(
        "Where the pressure is lost",
        "Pressure lost from the entry on, against station. The figures are in the table below.",
        STATION_LABEL.format(d.unit),
        "lost from the entry on, inH2O",
        series,
        _reading("station", "length", "ratio", d),
    )


def calm_chart(record: Mapping[str, Any], d: Display) -> Element:
    """Return what metal buys: the fastest air on the wall against the metal taken, from the record of a CalmedAir."""
    speed, choices = kind_of("speed", d), record["choices"]
    metal = np.array([0.0, *(each["metal_cc"] for each in choices)])
    peak = np.array([record["today"]["peak_m_s"], *(each["peak_m_s"] for each in choices)]) / speed.per
    band = np.array([0.0, *(2.0 * each["gain_u_m_s"] for each in choices)]) / speed.per
    series = [Series("fastest air on the wall, ± of its drop", metal, peak, band, 0, points=True)]
    if record["knee"] is not None:
        knee = slice(record["knee"] + 1, record["knee"] + 2)
        series.append(Series("the knee", metal[knee], peak[knee], None, WANTED, points=True, line=False))
    return line_chart(
        f"What each further cc buys, at {record['flow']['cfm']:.1f} cfm",
        "The fastest air on the wall against the metal taken. The figures are in the table below.",
        "metal to come out, cc",
        f"fastest air on the wall, {speed.unit}",
        series,
        _reading("metal", "volume", "speed", d),
    )


def flow_chart(results: Mapping[str, Any], d: Display) -> Element | None:
    """Return flow against lift, all runs at one depression."""
    runs = results["bench"]
    if not runs:
        return None
    styles, length = styles_of(results), 1.0 / d.of_length(1.0)
    own = [styles.get(run["state"], (-1, False))[0] for run in runs]
    if -1 in own or len(set(own)) < len(own):  # two runs of one state, with different set-ups, differ in style
        own = [k % STYLES for k in range(len(runs))]
    series = [
        Series(name, np.array(run["lift_mm"]) / length, np.array(run["flow_cfm"]), None, style, points=True)
        for name, run, style in zip(run_names(runs), runs, own, strict=True)
    ]
    return line_chart(
        f"Flow against lift at {runs[0]['depression_in_h2o']:g} inH2O",
        "Flow against valve lift, a line a run. The figures are in the table below.",
        f"lift, {d.unit}",
        "flow, cfm",
        series,
        _reading("lift", "length", "flow", d),
        from_zero=True,
    )


def balance_chart(results: Mapping[str, Any], d: Display) -> Element | None:
    """Return the area schedules of a set of runners."""
    record = results["balance"]
    if not record:
        return None
    # Past the rounded mouths, beside which the differences further in would not be seen.
    mouth = past_mouths(record)
    rows = [row for row in record["stations"] if row["station_mm"] >= mouth]
    x = _column(rows, "station_mm", 1.0 / d.of_length(1.0))
    areas = np.array([row["area_mm2"] for row in rows], dtype=float) * d.of_area(1.0)
    odd, count = record["odd_one_out"], areas.shape[1]
    # The odd one has the solid line, which stands out; the others go by the rest.
    rest = iter(style for style in range(count + 1) if not odd or style != SOLID)
    styles = [SOLID if k + 1 == odd else next(rest) for k in range(count)]
    series = [
        Series(
            f"runner {k + 1}{', the odd one out' if k + 1 == odd else ''}",
            x,
            areas[:, k],
            None,
            styles[k] % STYLES,
            styles[k] >= STYLES,
        )
        for k in range(count)
    ]
    return line_chart(
        "Area along each runner of the set",
        "Area against station, a line a runner. The figures are in the tables below.",
        STATION_LABEL.format(d.unit),
        f"area, {d.area_unit}",
        series,
        _reading("station", "length", "area", d),
    )


def past_mouths(record: Mapping[str, Any]) -> float:
    """Return the station, mm, from which on a set's runners are told apart: no entry is rounded there any more."""
    return float(record["choices"][0]["station_mm"][0])


def split_chart(state: str, record: Mapping[str, Any], d: Display) -> Element:
    """Return the areas of a port that splits: its trunk, each leg, and the legs together."""
    length, area = 1.0 / d.of_length(1.0), 1.0 / d.of_area(1.0)
    series = []
    for k, name in enumerate(("", *(leg["name"] for leg in record["legs"]))):
        rows = [row for row in record["stations"] if row["leg"] == name]
        x, y = _column(rows, "station_mm", length), _column(rows, "area_mm2", area)
        series.append(Series(name or "trunk", x, y, None, k % STYLES, k >= STYLES))
    rows = record["legs_together"]
    x, y = _column(rows, "station_mm", length), _column(rows, "area_mm2", area)
    series.append(Series("legs together", x, y, None, len(series) % STYLES, len(series) >= STYLES))
    return line_chart(
        f"Area of every passage, {state}",
        "Area against station: the trunk, each leg, the legs together. The figures are in the tables below.",
        STATION_LABEL.format(d.unit),
        f"area, {d.area_unit}",
        series,
        _reading("station", "length", "area", d),
    )


def joint_chart(one: Mapping[str, Any], d: Display) -> Element:
    """Return one area schedule through runner and port."""
    record = one["record"]
    length = 1.0 / d.of_length(1.0)
    x = _column(record["stations"], "station_mm", length)
    y = _column(record["stations"], "area_mm2", 1.0 / d.of_area(1.0))
    # The joint stands in the schedule twice: the runner's exit, then the port's entry.
    port = int(np.argmin(np.abs(x - record["joint_station_mm"] / length))) + 1
    series = [Series("runner", x[:port], y[:port], None, 0), Series("port", x[port:], y[port:], None, 1)]
    return line_chart(
        f"Area through runner and port, {one['state']}",
        "Area against station through both parts. The figures are in the table below.",
        f"station from the runner’s entry, {d.unit}",
        f"area, {d.area_unit}",
        series,
        _reading("station", "length", "area", d),
    )
