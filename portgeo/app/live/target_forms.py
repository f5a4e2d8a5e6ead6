"""What a target can say of the next cut, as forms.

The target's file comes in; plain values for JSON go out. A form's name is the file's table after "target.".
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from portgeo.app.live.forms import Forms, Key
from portgeo.app.live.forms import Kind as Typed
from portgeo.core.section import WALLS

UNITS, MESH_UNITS, ENDS = ("in", "mm"), ("in", "mm", "cm", "m"), ("entry", "exit")
BEFORE = "target."
MANY = ("area", "taper", "keep")  # of which there may be several
TITLES = {
    "": "What may be cut", "area": "Area wanted", "taper": "Taper wanted", "short_side": "Short side wanted",
    "limits": "What limits the cut", "keep": "Kept as it is", "copy": "Copied from another port",
}  # fmt: skip


def _of(
    name: str, label: str, says: str = "", kind: Typed | Literal["length", "area"] = "length", *choices: str
) -> Key:
    power = {"length": 1, "area": 2}.get(kind, 0)
    typed: Typed = "choice" if choices else "number" if kind in ("length", "area") else kind  # type: ignore[assignment]
    return Key(name, typed, choices, power, label, says)


KEYS: Mapping[str, tuple[Key, ...]] = {
    "": (
        _of("units", "Units", "Of every length here; areas are in its square", "choice", *UNITS),
        _of("greatest_depth", "Maximum depth", "No cut anywhere deeper, square to the wall"),
        _of("blend", "Blend", "A cut fades out over about this length"),
        _of("symmetric", "Left and right alike", "", "choice", "true", "false"),
        _of("walls", "Walls that may be cut", f"{', '.join(WALLS)}, with commas between; all without it", "list"),
        _of("cut_from", "Cut from station", "The whole port without it"),
        _of("cut_to", "Cut to station", ""),
        _of("epoxy", "Epoxy", "Metal may be put back where a smaller area is wanted", "choice", "true", "false"),
        _of("epoxy_depth", "Epoxy, no thicker than", ""),
        _of("throat_area", "Throat area", "What percentages are of; without it what it is now, at the mark", "area"),
        _of("throat_diameter", "Throat diameter", "In place of its area"),
    ),
    "area": (
        _of("station", "Station", "Along the centerline, from the entry"),
        _of("area", "Area", "At least; or percent", "area"),
        _of("percent", "Percent of the throat", "In place of the area", "number"),
    ),
    "taper": (
        _of("from", "From station"),
        _of("to", "To station"),
        _of("area_from", "Area there", "Or percent", "area"),
        _of("area_to", "Area at its end", "Or percent", "area"),
        _of("percent_from", "Percent there", "Of the throat", "number"),
        _of("percent_to", "Percent at its end", "Of the throat", "number"),
    ),
    "short_side": (
        _of("radius", "Radius", "At least"),
        _of("from", "From station", "Between which its arc begins and ends; anywhere without them"),
        _of("to", "To station"),
    ),
    "limits": (
        _of("least_wall", "Minimum wall", "Metal to leave"),
        _of("wall_readings", "Wall sheet", "The sonic tester's readings, of the port before this cut", "text"),
        _of("outer_mesh", "What lies outside", "Meshes of water jacket and pushrod passage, commas between", "list"),
        _of("outer_mesh_units", "Their units", "Of meshes that do not say", "choice", *MESH_UNITS),
        _of("beside", "Passages beside it", "Meshes of other legs or runners that are cut too, commas between", "list"),
        _of("least_between", "Minimum metal to them", "To leave when both are cut; the minimum wall without it"),
        _of("beside_percent", "This port's share", "Percent of the metal over that; half without it", "number"),
        _of("gasket", "Gasket", "Its opening, drawn: the port stays inside it", "text"),
        _of("gasket_units", "Its units", "Of a drawing that does not say", "choice", *UNITS),
        _of("gasket_at", "It lies at", "", "choice", *ENDS),
        _of("gasket_shift", "Its middle, to the left", "Of the port opening's, looking in"),
        _of("gasket_rise", "Its middle, above", ""),
    ),
    "keep": (
        _of("name", "Name", "Such as valve seat", "text"),
        _of("from", "From station"),
        _of("to", "To station"),
        _of("clock_from", "From clock", "All round without it", "number"),
        _of("clock_to", "To clock", "", "number"),
    ),
    "copy": (_of("port", "Port", "A sheet or a mesh, placed alike, to be cut into this one", "text"),),
}  # fmt: skip


def target_forms(data: bytes, path: Path, content: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return every form of a target. data : the file's bytes. content : what it says. path : its own."""
    from portgeo.files.toml.target import target_from

    made = Forms(data, content, content.get("units"), lambda: target_from(data, path.name, path.parent), tuple(TITLES))
    found = []
    for table, title in TITLES.items():
        said: Any = content.get(table) if table else content
        several = said if isinstance(said, list) and said else [None if isinstance(said, list) else said]
        for index, one in enumerate(several):
            name = f"{BEFORE}{table}" if table else f"{BEFORE}cut"
            found.append(made.form(name, table, index, title, KEYS[table], one, many=table in MANY))
    return found


def table_of(form: str) -> str:
    """Return the target's table that a form is of."""
    name = form.removeprefix(BEFORE)
    return "" if name == "cut" else name
