"""Traced slices as text for the bench. A TracedSlices comes in."""

from __future__ import annotations

from portgeo.present.text.notices import notices_lines
from portgeo.results.traced import TracedSlices


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
