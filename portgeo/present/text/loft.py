"""A lofted port as text for the bench. A Port comes in."""

from __future__ import annotations

from portgeo.core.port import Port
from portgeo.core.triangles import volume


def loft_text(port: Port, file: str) -> str:
    """Return what a mesh's file holds, and what is to be said of its sheet."""
    d = port.display
    lines = [
        f"{file}: {len(port.faces):,} triangles through {len(port.readings)} measured sections, "
        f"{d.length(port.centreline.length)} long, {d.volume(volume(port.vertices, port.faces))}"
    ]
    return "\n".join([*lines, *(f"  - {notice.message(d)}" for notice in port.warnings)])
