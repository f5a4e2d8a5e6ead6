"""What a job file says, as it stands, also where a key of it is wrong: its stages and the files it names.

The file's bytes come in; plain values go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import PurePosixPath
from typing import Any, Literal

from portgeo.core.errors import PortgeoError
from portgeo.core.units import MM_PER
from portgeo.files.sheets.tables import SHEET_TYPES, decoded
from portgeo.files.toml.job import named_files
from portgeo.files.toml.slips import content_of
from portgeo.files.toml.tables import number_of

JOB = "job.toml"
FileKind = Literal["sections", "bench", "walls", "target", "points"]


@dataclass(frozen=True)
class Named:
    """A file that a job names: the table, its number, the key, the name; kind : None of what is not typed into."""

    table: str
    index: int
    key: str
    file: str
    kind: FileKind | None


@dataclass(frozen=True)
class Stage:
    """The port, and the runner before it, at one time."""

    name: str
    port: str | None
    runner: str | None
    date: str
    note: str

    def record(self) -> dict[str, Any]:
        """Return the stage for JSON. scan : its port is a mesh."""
        scan = self.port is not None and PurePosixPath(self.port).suffix.lower() not in SHEET_TYPES
        return asdict(self) | {"scan": scan}


@lru_cache(maxsize=8)
def job_content(data: bytes) -> dict[str, Any]:
    """Return what a job file says; nothing where it cannot be made out."""
    try:
        content, _ = content_of(decoded(data, JOB))
    except PortgeoError:
        return {}
    return content or {}


def named_in(content: dict[str, Any]) -> list[Named]:
    """Return every file that a job names."""
    return [Named(table, k, key, name, _kind(table, key, name)) for table, k, key, name in named_files(content)]


def _kind(table: str, key: str, name: str) -> FileKind | None:
    sheet = PurePosixPath(name).suffix.lower() in SHEET_TYPES
    if (table, key) == ("set", "gasket"):
        return None
    if table in ("state", "set"):
        return "sections" if sheet else None
    if table in ("bench", "walls"):
        return ("bench" if table == "bench" else "walls") if sheet else None
    return "target" if table == "target" else None


def stages_of(content: dict[str, Any]) -> list[Stage]:
    """Return the stages that a job has, in their order."""
    states = content.get("state")
    return [
        _stage(state, k)
        for k, state in enumerate(states if isinstance(states, list) else ())
        if isinstance(state, dict)
    ]


def said_in(content: Mapping[str, Any], table: str) -> Mapping[str, Any]:
    """Return what a job says in one of its tables; nothing where it has none."""
    found = content.get(table)
    return found if isinstance(found, dict) else {}


def one_valve_mm(content: Mapping[str, Any]) -> float | None:
    """Return the diameter of the engine's one valve; None where it is not said, or the port has several."""
    engine = said_in(content, "engine")
    units = {"valve": str(content.get("units")), "valve_in": "in", "valve_mm": "mm"}
    name = next((name for name in units if name in engine), None)
    if name is None or engine.get("valves", 1) != 1 or units[name] not in MM_PER:
        return None
    try:
        value = number_of(engine[name], units[name])
    except PortgeoError:
        return None  # told where it stands
    return None if value is None or value <= 0.0 else value * MM_PER[units[name]]


def leg_of(content: Mapping[str, Any], stage: str) -> str | None:
    """Return the leg that a stage of a port that splits names; None where it names none."""
    stages = content.get("state")
    for one in stages if isinstance(stages, list) else ():
        if isinstance(one, dict) and one.get("name") == stage and isinstance(one.get("leg"), str):
            return str(one["leg"])
    return None


def scan_settings(content: Mapping[str, Any], stage: Stage, part: str) -> tuple[tuple[str, Any], ...]:
    """Return what a job says of a stage's scan, as `read` takes it."""
    states = [state for state in content.get("state", ()) if isinstance(state, dict)]
    said = next((state.get(f"{part}_scan") for state in states if state.get("name") == stage.name), None)
    found: dict[str, Any] = {}
    for key, value in said.items() if isinstance(said, dict) else ():
        if key == "units":
            found["units_in"] = value
        elif key.startswith("with_stem") and isinstance(value, int | float):
            unit = key[-2:] if key.endswith(("_in", "_mm")) else content.get("units")
            found["with_stem_mm"] = float(value) * MM_PER.get(str(unit), 1.0)
        else:
            found[key] = tuple(value) if isinstance(value, list) else value
    return tuple(found.items())


def _stage(state: dict[str, Any], k: int) -> Stage:
    return Stage(
        name=_text(state.get("name")) or f"stage {k + 1}",
        port=_text(state.get("port")) or None,
        runner=_text(state.get("runner")) or None,
        date=_text(state.get("date")),
        note=_text(state.get("note")),
    )


def _text(value: Any) -> str:
    return "" if value is None or isinstance(value, dict | list) else str(value)
