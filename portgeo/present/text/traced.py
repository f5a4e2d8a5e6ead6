"""Traced slices and molds as text for the bench. A TracedSlices or a TracedMoldSheet comes in."""

from __future__ import annotations

import math

from portgeo.present.text.notices import notices_lines
from portgeo.results.traced import TracedSlices
from portgeo.results.traced_mold import TracedMoldSheet


def traced_text(traced: TracedSlices, folder: str) -> str:
    """Return what was traced, each outline with its ±, and what to look at."""
    d = traced.display
    count = len(traced.outlines)
    lines = [f"{folder}: {count} outline{'' if count == 1 else 's'} in true size"]
    for outline in traced.outlines:
        size = f"{d.length(outline.width_mm, label=False)} wide, {d.length(outline.height_mm)} high"
        lines.append(
            f"  {outline.file:<20} {d.area(outline.area_mm2, label=False)} ± {d.area(2.0 * outline.area_u_mm2)}; {size}"
        )
    lines.append(
        f"  camera      {d.length(traced.camera_height_mm)} over the frame, tilted {traced.outlines[0].tilt_deg:.0f}°, "
        f"{d.length(traced.outlines[0].mm_per_pixel)} a pixel"
    )
    lines.append("")
    lines += notices_lines(traced.computed_notices, d)
    lines.append("Look at the pictures: the line must run round each slice. ± holds 19 times in 20.")
    return "\n".join(lines)


def traced_mold_text(traced: TracedMoldSheet, file: str) -> str:
    """Return what was traced of a mold, its sections, and what to do next."""
    d = traced.display
    lines = [f"{file}: {len(traced.sections)} sections, {d.length(traced.length_mm)} along the middle"]
    lines.append(f"  {'station':>9}{'height':>9}{'width':>9}{'turn':>8}")
    for section in traced.sections:
        sizes = "".join(
            f"{d.length(mm, label=False):>9}" for mm in (section.station_mm, section.height_mm, section.width_mm)
        )
        lines.append(f"  {sizes}{section.turn_deg:>7.1f}°")
    u = max(math.hypot(section.reading_error_mm, section.zero_error_mm) for section in traced.sections)
    lines.append(f"  heights and widths are good to ± {d.length(2.0 * u)}, 19 times in 20, most of it alike in all")
    lines.append("")
    lines += notices_lines(traced.computed_notices, d)
    lines.append("Look at both pictures: the line must run round the mold, the sections square across it.")
    return "\n".join(lines)
