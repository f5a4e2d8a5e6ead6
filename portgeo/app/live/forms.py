"""All that a job file can say besides its sheets, as forms: each key with a label, its unit and how it is typed.

A job file's bytes come in; plain values for JSON go out. Which keys there are, what each may be and the limits are
those of the job's own tables; only the words are here.
"""

from __future__ import annotations

import re
import types
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from portgeo.app.live.job_text import raw_texts
from portgeo.core.errors import PortgeoError, Problem
from portgeo.files.sheets.tables import decoded
from portgeo.files.toml.checked_table import Table
from portgeo.files.toml.job import job_from
from portgeo.files.toml.job_tables import Job
from portgeo.files.toml.scan_table import Scan

Kind = Literal["number", "text", "choice", "list", "date"]
SCANS = ("port_scan", "runner_scan", "scan")

TITLES = {
    "": "Job", "engine": "Engine", "metal": "Metal", "state": "Stage", "bench": "Bench", "target": "Next cut",
    "calm": "Calm the air",
    "loss": "Pressure lost",
    "gasket": "Gasket", "set": "Set of runners", "tool": "Burr", "walls": "Walls",
    "probe": "Probe", "templates": "Templates", "quote": "Quotation",
}  # fmt: skip

# What each key is called, and what belongs there; of a length the unit is the job's, or the key's own.
WORDS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "": {
        "title": ("Title", "Heads every page"),
        "units": ("Units", "Of every length here and of all that is printed"),
        "customer": ("To the customer", "A word printed on the customer's pages"),
    },
    "engine": {
        "name": ("Engine", "What it is called"),
        "port": ("Port", "An exhaust's station 0 is at the valve"),
        "cylinders": ("Cylinders", "For an estimate of power"),
        "bore": ("Bore", "Bore, stroke, rpm and valve give what the engine asks of a port"),
        "stroke": ("Stroke", ""),
        "rod": ("Connecting rod", "Center to center"),
        "rpm": ("Engine speed", "At which it should pull, revolutions a minute"),
        "valve": ("Valve head", "Diameter"),
        "throat": ("Throat", "Diameter just under the seat; a row marked throat counts before it"),
        "stem": ("Valve stem", "Diameter"),
        "seat_width": ("Seat width", "Measured radially"),
        "seat_angle_deg": ("Seat angle", ""),
        "valves": ("Valves a cylinder", "Of this kind"),
        "max_lift": ("Highest lift", "Of the valve"),
    },
    "metal": {
        "alloy": ("Alloy", "The mass of what was cut is worked out from a usual density"),
        "density_g_cc": ("Density", "g/cc, in place of the alloy"),
    },
    "state": {
        "name": ("Name", "As the bench sheet calls it too"),
        "date": ("Date", "Such as 2026-01-31"),
        "note": ("Note", ""),
        "port": ("Port", "Its section sheet or scan"),
        "runner": ("Runner", "The manifold's runner before it: a sheet or a scan, plenum to flange"),
        "leg": ("Leg", "Of a port that splits: the one that is cut, flowed and solved; the first without it"),
        "bench_run": ("Bench run", "Its run in the bench sheet, where that is called otherwise"),
        "hours": ("Hours", "How long the cut took; the next cut's time is reckoned from it"),
        "align": ("Lined up with the stage before", "none: as measured (sheets); auto: by the wall (scans)"),
    },
    "bench": {
        "file": ("Bench sheet", "Lift, flow and depression, a run for each stage"),
        "flow_cfm": ("Flow", "cfm, for a stage without a run, or in place of the sheet"),
        "depression_in_h2o": ("Test pressure", "inH2O; all runs are brought to it"),
        "lift": ("Lift", "Air speed at the flow of this lift; without it at the best flow"),
    },
    "target": {
        "file": ("Target", "The file that says what is wanted"),
        "state": ("From stage", "The stage that the cut starts from"),
    },
    "calm": {
        "state": ("Of stage", "Whose air is too fast; the report then looks for the cut that slows it: half a minute"),
        "limits": ("Limits", "A target's file, for how deep and where it may go; the next cut's without it"),
        "metal_cc": (
            "Metal",
            "cc, of the cut to choose; left empty: the knee, past which more metal buys little",
        ),
        "hold_throat": ("Hold the throat", "true: it keeps its area"),
    },
    "loss": {
        "flow_cfm": ("Flow", "cfm, through every port alike; the bench's of the first stage without it"),
        "flow_lps": ("Flow", "liters a second, in place of cfm"),
        "grid": ("Grids", "quick: two rough ones; usual: three; fine: three that take four times as long"),
        "roughness": ("Roughness", "Of the wall, as the height of even sand grains; 0 is smooth"),
        "cores": ("Cores", "That solve it together"),
        "states": (
            "Stages",
            "With commas between, also planned and calm cut; the first, the last and these without it",
        ),
    },
    "gasket": {
        "file": ("Outline", "Of the gasket's opening: dxf, svg or csv"),
        "units": ("Units", "Of a drawing that does not say"),
        "leave": ("Margin", "Left to its line on purpose"),
        "as_drawn": ("As drawn", "true: the drawing's zero is the joint's middle; false: its own middle is put there"),
    },
    "set": {
        "files": ("Runners", "Their sheets or scans, with commas between"),
        "flows": ("Flows", "Of each on the bench, all at one depression, with commas between"),
        "gasket": (
            "Gasket",
            "Drawing of its hole, from the line that the sheets are measured from: core shift is measured from it",
        ),
        "gasket_at": ("It lies at", "The end of the runners that is bolted to it"),
        "spacing": ("Spacing", "From each runner to the next on its right, looking in from the plenum, or one for all"),
        "one_frame": ("One frame", "true: the files' own coordinates are the manifold's, as of scans of one casting"),
        "plenum": ("In the plenum", "A point x, y, z in it: what opens nearer to it is a runner's entry"),
        "entry_radii": ("Entry radii", "By gauge, one for each runner, or four for each: at 12, 3, 6 and 9 o'clock"),
    },
    "tool": {
        "head": ("Head", "Diameter"),
        "head_length": ("Head length", "Along the shank; a ball without it"),
        "shank": ("Shank", "Diameter"),
        "collet": ("Collet", "Diameter"),
        "length": ("Length", "Of the whole burr"),
        "grip": ("Grip", "Of it held in the collet"),
        "state": ("In stage", "In which its reach is tried; the last without it"),
    },
    "walls": {
        "file": ("Wall sheet", "The sonic tester's readings"),
        "state": ("Taken in stage", "The wall gets thinner from stage to stage"),
    },
    "probe": {
        "file": ("Probe sheet", "A pitot tube's readings in the port: the report sets them beside the computed air"),
        "state": ("Taken in stage", "The air changes from stage to stage"),
    },
    "quote": {
        "per_hour": ("Price of an hour", "Your own; the customer's pages then say what the work took and should take"),
    },
    "templates": {
        "at": ("Stations", "Of the printed sections, with commas between; the measured ones without them"),
        "paper": ("Paper", ""),
    },
}
SCAN_WORDS: Mapping[str, tuple[str, str]] = {
    "units": ("scan: units", "Of the scan's numbers, where its file does not say"),
    "scale": ("scan: scale", "Its lengths are multiplied by this"),
    "shrink_percent": ("scan: shrinkage", "Percent that the mold shrank, in place of a scale"),
    "scale_error_percent": ("scan: scale ±", "Percent, one standard deviation: how sure the scale is"),
    "entry": ("scan: entry", "x, y, z of a point on it, in the scan's own coordinates"),
    "exit": ("scan: exit", "x, y, z of a point on it"),
    "up": ("scan: roof", "x, y, z towards the roof, where the port is straight"),
    "with_stem": ("scan: stem", "Diameter of a valve stem that the mold lacks"),
}
UNITS = {
    "seat_angle_deg": "deg", "density_g_cc": "g/cc", "flow_cfm": "cfm", "depression_in_h2o": "inH2O", "rpm": "rpm",
    "metal_cc": "cc",
}  # fmt: skip


@dataclass(frozen=True)
class Key:
    """A key of a table: how it is typed, its choices; power : 1 of a length, 2 of an area, 0 of what is neither."""

    name: str
    kind: Kind
    choices: tuple[str, ...]
    power: int
    label: str
    says: str


def keys_of(table: str) -> Iterator[Key]:
    """Yield every key that a table of a job may have; those of a scan with the scan's name before them."""
    model = Job if not table else _model(Job.model_fields[table].annotation)
    assert model is not None
    for name, field in model.model_fields.items():
        inner = _model(field.annotation)
        if inner is Scan:
            which = {"port_scan": "Port ", "runner_scan": "Runner "}.get(name, "")
            for part, scanned in Scan.model_fields.items():
                label, says = SCAN_WORDS[part]
                yield _key(f"{name}.{part}", scanned.annotation, part in Scan.lengths, (which + label, says))
        elif inner is None:
            yield _key(name, field.annotation, name in model.lengths, WORDS[table][name])


def _key(name: str, annotation: Any, length: bool, words: tuple[str, str]) -> Key:
    plain = [each for each in _alternatives(annotation) if each is not type(None)]
    choices = tuple(str(value) for each in plain if get_origin(each) is Literal for value in get_args(each))
    if bool in plain:
        choices = ("true", "false")
    kind: Kind = "choice" if choices else "text"
    if any(get_origin(each) is tuple for each in plain):
        kind = "list"
    elif {int, float} & set(plain):
        kind = "number"
    elif name == "date":
        kind = "date"
    return Key(name, kind, choices, int(length), *words)


def _alternatives(annotation: Any) -> list[Any]:
    """Return what a field may be, without what its limits add."""
    if get_origin(annotation) in (Union, types.UnionType):
        return [one for each in get_args(annotation) for one in _alternatives(each)]
    bare = getattr(annotation, "__origin__", None)
    return _alternatives(bare) if hasattr(annotation, "__metadata__") else [annotation]


def _model(annotation: Any) -> type[Table] | None:
    found = [each for each in _alternatives(annotation)]
    found += [inner for each in found if get_origin(each) is tuple for inner in get_args(each)]
    return next((each for each in found if isinstance(each, type) and issubclass(each, Table)), None)


def forms_of(data: bytes, path: Path, content: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return every form of a job. data : the file's bytes. content : what it says. path : its own."""
    stages = [str(state.get("name", "")) for state in content.get("state", []) if isinstance(state, dict)]
    made = Forms(data, content, content.get("units"), lambda: job_from(data, path), tuple(TITLES), stages)
    found = []
    for table, title in TITLES.items():
        said: Any = content.get(table) if table else content
        several = said if table == "state" and isinstance(said, list) else [said]
        for index, one in enumerate(several):
            form = made.form(table, table, index, title, tuple(keys_of(table)), one, many=table == "state")
            if table == "state":
                form["title"] = f"{title}: {form['entries'][0]['text'] or index + 1}"
            found.append(form)
    return found


class Forms:
    """What makes the forms of one file: its numbers as they are written, and what is wrong with its keys."""

    def __init__(
        self,
        data: bytes,
        content: Mapping[str, Any],
        units: Any,
        read: Callable[[], object],
        tables: Sequence[str],
        stages: Sequence[str] = (),
    ) -> None:
        """read : what refuses the file where something is wrong with it."""
        try:
            text = decoded(data, "")
        except PortgeoError:
            text = ""
        self._raw, self._units, self._stages = raw_texts(text), units, stages
        self._problems: list[tuple[str, int, dict[str, Any]]] = []
        try:
            read()
        except PortgeoError as refusal:
            several = {table for table in tables if isinstance(content.get(table), list)}
            self._problems = [_placed(problem, text, tables, several) for problem in refusal.problems]

    def form(
        self, name: str, table: str, index: int, title: str, keys: Sequence[Key], said: Any, *, many: bool
    ) -> dict[str, Any]:
        """Return one form. name : of it, for the page. table, index : of the file. said : what stands there."""
        given = isinstance(said, Mapping)
        return {
            "table": name,
            "index": index,
            "title": title,
            "many": many,
            "given": given,
            "entries": [self._entry(table, index, key, said if given else {}) for key in keys],
            "problems": [problem for of, k, problem in self._problems if (of, k) == (table, index)],
        }

    def _entry(self, table: str, index: int, key: Key, said: Mapping[str, Any]) -> dict[str, Any]:
        name = written_name(key, said)
        value: Any = said
        for part in name.split("."):
            value = value.get(part) if isinstance(value, Mapping) else None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        unit = UNITS.get(key.name, "")
        if key.power:
            ending = re.search("_(in|mm)2?$", name)
            of = ending[1] if ending else self._units if self._units in ("in", "mm") else ""
            unit = f"sq {of}" if key.power == 2 and of else str(of)
        choices = key.choices or (tuple(self._stages) if key.name in ("state", "bench_run") else ())
        return {
            "key": key.name,
            "label": key.label,
            "unit": unit,
            "kind": key.kind,
            "choices": list(choices) or None,
            "help": key.says,
            "text": (self._raw(table, index, name) if number else "") or _text(value),
        }


def written_name(key: Key, said: Mapping[str, Any]) -> str:
    """Return the name under which a table has a key: a length's or an area's may say its unit."""
    first, _, rest = key.name.partition(".")
    inner: Any = said.get(first) if rest else said
    endings = ("", "_in", "_mm") if key.power == 1 else ("", "_in2", "_mm2") if key.power else ("",)
    names = [key.name + ending for ending in endings]
    there = inner if isinstance(inner, Mapping) else {}
    return next((name for name in names if name.rpartition(".")[2] in there), key.name)


def _text(value: Any) -> str:
    if value is None or isinstance(value, Mapping):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(_text(each) for each in value)
    return str(value)


def _placed(
    problem: Problem, text: str, tables: Sequence[str], several: Collection[str]
) -> tuple[str, int, dict[str, Any]]:
    """Return the table and its number that a problem is of, and the problem."""
    found = re.search(r"\[(\w+)", problem.where or "")
    table = found[1] if found and found[1] in tables else ""
    headers = re.finditer(rf"^\s*\[\[?\s*{table}\s*\]\]?", text, re.MULTILINE) if table else ()
    lines = [text.count("\n", 0, header.end()) + 1 for header in headers]
    index = max(sum(line <= (problem.row or 0) for line in lines) - 1, 0)
    said = {"key": problem.column, "what": problem.what, "hint": problem.hint, "where": problem.where}
    return table, index if table in several else 0, said
