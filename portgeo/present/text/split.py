"""A survey of a port that splits as text for the bench: the whole first, then each passage, then the stations.

A MeasuredSplit comes in; lines of text go out, in the user's unit, no wider than a terminal.
"""

from __future__ import annotations

from collections.abc import Iterator

from portgeo.core.units import Display
from portgeo.present.text.bench import STATIONS_NOTE, side_text, table_lines, throat_text
from portgeo.present.text.notices import notices_lines
from portgeo.results.split import LegsApart, MeasuredSplit, PassageMeasured


def split_text(measured: MeasuredSplit, title: str) -> str:
    """Return a survey of a port that splits as text. Each ± is twice the standard uncertainty."""
    s, d = measured.computed, measured.computed.port.display
    parts = ", ".join(f"{part.name} {part.volume_cc:.2f}" for part in measured.passages)
    if measured.junction_cc is not None:
        parts += f", junction {measured.junction_cc:.2f}"
    where = "the legs together" if measured.least_area.in_legs else "the trunk"
    lines = [
        title,
        f"  volume      {measured.volume_cc:.2f} ± {max(2.0 * measured.volume_u_cc, 0.01):.2f} cc:",
        f"{'':<14}{parts};",
        f"{'':<14}stem and guide not counted",
        f"  min area    {d.area(s.least_area)} at station {d.length(s.least_station)}, {where}",
        f"  split       at station {d.length(s.split_station)}: trunk {d.area(s.trunk_area)}, legs together",
        f"{'':<14}{_past_it(measured, d)}",
    ]
    for part in measured.passages:
        lines += ["", *_passage_lines(part, d, leg=part is not measured.passages[0])]
    if measured.legs_apart is not None:
        lines += ["", *_legs_lines(measured, measured.legs_apart, d)]
    lines.append("")
    lines += notices_lines(s.port.warnings, d)
    for part in measured.passages:
        lines += ["", part.name, *table_lines(part.measured)]
    lines += ["", STATIONS_NOTE]
    return "\n".join(lines)


def _past_it(measured: MeasuredSplit, d: Display) -> str:
    """Return what the legs' areas come to past the split, and what the divider's flat nose or the junction is."""
    s = measured.computed
    if measured.junction_cc is None:
        return f"{d.area(s.legs_area)}; {d.area(s.trunk_area - s.legs_area)} of wall faces the air there"
    return f"{d.area(s.legs_area)} from station {d.length(float(s.stations[0]))} on; between is the junction"


def _passage_lines(part: PassageMeasured, d: Display, *, leg: bool) -> Iterator[str]:
    survey = part.measured.computed
    yield part.name
    doubt = max(2.0 * part.volume_u_cc, 0.01)
    yield f"  volume      {part.volume_cc:.2f} ± {doubt:.2f} cc, {d.length(survey.length)} long"
    yield (
        f"  min area    {d.area(survey.least_area, label=False)} ± {d.area(2.0 * survey.least_area_u)} "
        f"at station {d.length(survey.least_station)}"
    )
    if leg or survey.short_side is not None:
        yield f"  short side  {side_text(survey.short_side, d, survey.bend)}"
    if leg:
        yield f"  throat      {throat_text(survey, d)}"


def _legs_lines(measured: MeasuredSplit, apart: LegsApart, d: Display) -> Iterator[str]:
    """Yield how the second of two legs differs from the first."""
    one, other = measured.legs
    yield f"{other.name} against {one.name}"
    change, u = apart.volume_cc, 2.0 * apart.volume_u_cc
    surely = "" if abs(change) > u else ", within what the readings can show"
    yield f"  volume      {change:+.2f} ± {u:.2f} cc{surely}"
    yield f"  min area    {apart.least_area_percent:+.1f}%"
    if one.short_side and other.short_side:
        radii = (d.length(leg.short_side.headline.mm) for leg in (other, one))
        yield f"  short side  {' against '.join(radii)}"
