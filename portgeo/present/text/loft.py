"""A lofted port as text for the bench. A Port, or one that splits, comes in."""

from __future__ import annotations

from portgeo.core.port import Port
from portgeo.core.split import SplitPort


def loft_text(port: Port | SplitPort, file: str) -> str:
    """Return what a mesh's file holds, and what is to be said of its sheet."""
    d = port.display
    if isinstance(port, SplitPort):
        sections = sum(len(passage.port.readings) for passage in port.passages)
        size = f"a trunk and {len(port.legs)} legs"
    else:
        sections, size = len(port.readings), f"{d.length(port.centreline.length)} long"
    lines = [
        f"{file}: {port.mesh.face_count:,} triangles through {sections} measured sections, {size}, "
        f"{d.volume(port.mesh.volume)}"
    ]
    return "\n".join([*lines, *(f"  - {notice.message(d)}" for notice in port.warnings)])
