"""A survey of a port that splits as text for the bench: the whole first, then each passage, then the stations.

A MeasuredSplit comes in; lines of text go out, in the user's unit, no wider than a terminal.
"""

from __future__ import annotations

from collections.abc import Iterator

from portgeo.core.units import Display
from portgeo.present.text.bench import STATIONS_NOTE, side_text, table_lines, throat_text
from portgeo.present.text.notices import notices_lines
from portgeo.results.split import DividerMeasured, LegsApart, MeasuredSplit, PassageMeasured

OUT_OF_ROUND = 0.1  # of its radius, that a nose may be off a circle
TURNS_ALIKE = 2.0  # degrees: what two headings read by hand are off by


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
    for divider in measured.dividers:
        lines += _divider_lines(divider, d, several=len(measured.dividers) > 1)
    for part in measured.passages:
        lines += ["", *_passage_lines(part, d, leg=part is not measured.passages[0])]
    if measured.legs_apart is not None:
        lines += ["", *_legs_lines(measured, measured.legs_apart, d)]
    lines.append("")
    of_all = set(map(str, s.port.warnings))
    own = ((part.name, n) for part in measured.passages for n in part.measured.computed.warnings)
    of_one = [f"{name}: {n.message(d)}" for name, n in own if str(n) not in of_all and not n.code.endswith("_rule")]
    lines += notices_lines(s.port.warnings, d, of_one)
    for part in measured.passages:
        lines += [part.name, *table_lines(part.measured), ""]
    return "\n".join([*lines, STATIONS_NOTE])


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


def _divider_lines(divider: DividerMeasured, d: Display, *, several: bool) -> Iterator[str]:
    """Yield a divider's edge, and how wide it is behind its nose."""
    name = f"between {' and '.join(divider.between)}, " if several else ""
    yield f"  divider     {name}{edge_text(divider, d)}"
    if divider.width_mm is not None:
        wide = with_doubt(divider.width_mm, divider.width_u_mm, d)
        yield f"{'':<14}{wide} wide {d.length(divider.width_behind_mm)} behind the nose"


def edge_text(divider: DividerMeasured, d: Display) -> str:
    """Return what the edge of a divider's nose is: its radius, or flat."""
    if divider.radius_mm is None or divider.radius_u_mm is None:
        return f"nose flat, {d.length(divider.nose_width_mm or 0.0)} wide"
    if divider.radius_mm < 2.0 * divider.radius_u_mm:
        return f"nose sharp: a radius under {d.length(2.0 * divider.radius_u_mm)}"
    told = f"nose radius {with_doubt(divider.radius_mm, divider.radius_u_mm, d)}"
    if divider.off_round_mm > OUT_OF_ROUND * divider.radius_mm:
        told += f", not round: a circle fits it within {d.length(divider.off_round_mm)} rms"
    return told


def with_doubt(length: float, u: float | None, d: Display) -> str:
    """Return a length with its ±, twice the standard uncertainty."""
    return f"{d.length(length, label=False)} ± {d.length(2.0 * (u or 0.0))}"


def _legs_lines(measured: MeasuredSplit, apart: LegsApart, d: Display) -> Iterator[str]:
    """Yield how the second of two legs differs from the first."""
    one, other = measured.legs
    yield f"{other.name} against {one.name}"
    change, u = apart.volume_cc, 2.0 * apart.volume_u_cc
    yield f"  volume      {change:+.2f} ± {u:.2f} cc{_alike('volume', apart)}"
    yield f"  min area    {_area(apart.least_area_mm2, apart.least_area_u_mm2, d)}{_alike('least_area', apart)}"
    yield f"  throat      {_area(apart.throat_mm2, apart.throat_u_mm2, d)}{_alike('throat', apart)}"
    if apart.short_side_mm is not None and apart.short_side_u_mm is not None:
        radii = " against ".join(d.length(leg.short_side.headline.mm) for leg in (other, one))
        yield f"  short side  {radii} ± {d.length(2.0 * apart.short_side_u_mm)}{_alike('short_side', apart)}"
    for k, bend in enumerate(apart.bends or ()):
        if len(apart.bends or ()) > 1 or abs(bend.turn_deg) > TURNS_ALIKE:
            radius = _plus(d.length(bend.radius_mm), bend.radius_mm)
            yield f"  bend {k + 1}      turns {bend.turn_deg:+.0f}°, radius {radius}"
    if apart.bends is None:
        yield "  bends       not as many in the one as in the other"


def _alike(name: str, apart: LegsApart) -> str:
    """Return what to say of a difference within its ±."""
    return "" if name in apart.differs else ", too small to detect"


def _area(change: float, u: float, d: Display) -> str:
    return f"{_plus(d.area(change, label=False), change)} ± {d.area(2.0 * u)}"


def _plus(text: str, value: float) -> str:
    return f"+{text}" if value > 0.0 else text
