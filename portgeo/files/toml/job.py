"""The job file: one port through its life, in TOML. Its tables, checked by pydantic.

A file comes in; a JobFile, its lengths in millimetres and its files sure to lie in its folder, goes
out, or a refusal with the key, its line and the hint.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from portgeo.core.errors import InputError, Problems, naming
from portgeo.files.disk import read_bounded
from portgeo.files.inside import kept_inside
from portgeo.files.sheets.tables import SHEET_TYPES, decoded
from portgeo.files.toml.job_tables import STATE_TOLD, Job, said_states
from portgeo.files.toml.job_words import mended
from portgeo.files.toml.slips import content_of, tell
from portgeo.files.toml.tables import LENGTH_UNITS, place_of

FILE_LIMIT = 1_000_000  # bytes
PORTS = (*SHEET_TYPES, ".stl", ".ply", ".obj", ".off", ".3mf", ".glb")
# Ports that are worked out, by what the report calls them: of which table, and what it is.
COMPUTED = (("planned", "target", "the target's own port"), ("calm cut", "calm", "the port that [calm] leads to"))
OF_A_TARGET = {"area", "taper", "short_side", "limits", "copy", "keep"}


@dataclass(frozen=True)
class JobFile:
    """A job, the file it is in and that file's folder. sha256 : of the file."""

    path: Path
    job: Job
    sha256: str
    text: str

    @property
    def folder(self) -> Path:
        """The folder that all its files lie in."""
        return self.path.parent

    def where(self, table: str, index: int = 0, key: str | None = None) -> str:
        """Return the place of a key, or of a table: line and name."""
        return place_of(self.text, table, index, key)[0]


def read_job(path: str | Path) -> JobFile:
    """Return the job in a TOML file. Raises InputError naming file, line, key and hint of all that is wrong.

    Every file it names must be there, in the job file's folder or below it.
    """
    if Path(path).suffix.lower() in PORTS:
        raise InputError(
            "this is a port, not a job",
            file=str(path),
            hint=f"`portgeo measure {path}` measures it; `portgeo new DIR` writes a job to name it in",
        )
    return job_from(read_bounded(path, FILE_LIMIT), Path(path))


def job_from(data: bytes, path: Path) -> JobFile:
    """Return the job in a TOML file's bytes. path : its own. Raises InputError as `read_job` does."""
    with naming(str(path)):
        text = decoded(data, str(path))
        content, slips = content_of(text)
        problems = Problems()
        job = None if content is None else _checked(content, text, path.parent, problems)
        tell(slips, problems)
        problems.refuse()
        assert job is not None
        return JobFile(path, job, hashlib.sha256(data).hexdigest(), text)


def _checked(content: dict[str, Any], text: str, folder: Path, problems: Problems) -> Job | None:
    """Return the job that a file's content is; None, and all that is wrong is told, where it is none."""
    if "state" not in content and OF_A_TARGET & content.keys():
        raise InputError(
            "this is a target, not a job",
            hint="Name it in a job, under [target], or use it alone: `portgeo reshape PORT TARGET`",
        )
    unit = content.get("units")
    job, wrong = None, set[tuple[str, int, str | None]]()
    try:
        job = Job.model_validate(content, context={"unit": unit if unit in LENGTH_UNITS else None})
    except ValidationError as errors:
        for error in _without_followers(errors.errors(include_url=False)):
            wrong.add(_tell(error, content, text, problems))

    def say(table: str, index: int, key: str | None, what: str, hint: str) -> None:
        if (table, index, key) not in wrong:
            where, line = place_of(text, table, index, key)
            problems.add(InputError(what, where=where, row=line, column=key, hint=hint))

    for table, index, key, name in named_files(content):
        try:
            kept_inside(folder, name)
        except InputError as refusal:
            say(table, index, key, refusal.what, refusal.hint)
    for slip in state_slips(content):
        say(*slip)
    return job


def _without_followers(errors: Sequence[Any]) -> list[Any]:
    """Return pydantic's errors without those that follow from another.

    A key is not missing where it is there misspelt, and a list is not short of what is wrong in it.
    """
    unknown = [error["loc"] for error in errors if error["type"] == "extra_forbidden"]

    def misspelt(loc: tuple[Any, ...]) -> bool:
        there = [str(other[-1]) for other in unknown if other[:-1] == loc[:-1]]
        return bool(difflib.get_close_matches(str(loc[-1]), there, 1))

    def wrong_within(loc: tuple[Any, ...]) -> bool:
        return any(len(other["loc"]) > len(loc) and other["loc"][: len(loc)] == loc for other in errors)

    follows = {"missing": misspelt, "too_short": wrong_within}
    return [error for error in errors if not (error["type"] in follows and follows[error["type"]](error["loc"]))]


def _tell(error: Any, content: dict[str, Any], text: str, problems: Problems) -> tuple[str, int, str | None]:
    """Tell one of pydantic's errors with its place in the file; return its table, that table's number and its key."""
    place = list(error["loc"])
    own = error.get("ctx", {}).get("key")
    if own is not None:
        place = [*place[:-1], own] if place and isinstance(place[-1], str) else [*place, own]
    table = next((str(part) for part in place if isinstance(part, str)), "")
    index = next((part for part in place if isinstance(part, int)), 0)
    if not isinstance(content.get(table), dict | list) or len(place) == 1:
        table, index = ("", 0)
    keys = [part for part in place if isinstance(part, str)]
    what, hint = mended(error, keys[-1] if keys else "")
    if keys == ["units"]:
        hint = 'Write  units = "in"  or  units = "mm"'
    key = keys[-1] if keys and keys[-1] != table else None
    where, line = place_of(text, table, index, key)
    if key is not None and line is None:
        # The key is missing, or stands in an inline table: the table's own line is the nearest.
        named = " ".join(keys[1:] if table else keys)
        above, line = place_of(text, table, index, keys[1] if len(keys) > 2 else None)
        where = f"{above}, {named}" if above else named
    problems.add(InputError(what, where=where or None, row=line, column=key, hint=hint))
    return table, index, key


def named_files(content: dict[str, Any]) -> list[tuple[str, int, str, str]]:
    """Return every file a job's content names: its table, that table's number, the key and the name."""
    states = content.get("state")
    found = [
        ("state", k, key, state.get(key))
        for k, state in enumerate(states if isinstance(states, list) else ())
        for key in ("port", "runner")
        if isinstance(state, dict)
    ]
    for table in ("bench", "target", "gasket", "walls", "probe"):
        found.append((table, 0, "file", _table(content, table).get("file")))
    found.append(("calm", 0, "limits", _table(content, "calm").get("limits")))
    found.append(("set", 0, "gasket", _table(content, "set").get("gasket")))
    files = _table(content, "set").get("files")
    found += [("set", 0, "files", name) for name in (files if isinstance(files, list) else ())]
    return [(table, k, key, name) for table, k, key, name in found if isinstance(name, str)]


def _table(content: dict[str, Any], name: str) -> dict[str, Any]:
    table = content.get(name)
    return table if isinstance(table, dict) else {}


def state_slips(content: dict[str, Any]) -> Iterator[tuple[str, int, str | None, str, str]]:
    """Yield where a job's tables contradict each other about its states: table, number, key, what is wrong, hint.

    Of a job where a state has no name nothing is told: it may be the one that is meant.
    """
    states = content.get("state")
    given = [state.get("name") for state in states if isinstance(state, dict)] if isinstance(states, list) else []
    names = [name for name in given if isinstance(name, str) and name.strip()]
    if not isinstance(states, list) or not names or len(names) < len(states):
        return
    folded = [name.strip().casefold() for name in names]
    for k, name in enumerate(folded):
        if name in folded[:k]:
            yield "state", k, "name", f"two stages are named '{names[k]}'", "Give each its own name"
        for computed, table, of in COMPUTED:
            if name == computed and table in content:
                what = f"a stage is named '{computed}', which is what {of} is called"
                yield "state", k, "name", what, "Name it otherwise"
    for table in ("target", "calm", "tool", "walls", "probe"):
        state = _table(content, table).get("state")
        if isinstance(state, str) and state.strip() and state.strip().casefold() not in folded:
            what = f"[{table}] names the stage '{state}', and there is none"
            yield table, 0, "state", what, f"Name one of {', '.join(names)}"
    yield from _calm_slips(content, names)
    yield from _loss_slips(content, names)
    for table, of in STATE_TOLD.items():
        if _table(content, table) and "state" not in content[table] and len(names) > 1:
            what = f"[{table}] does not say {of}, and there are {len(names)} stages"
            yield table, 0, None, what, f"Write under [{table}] one of: {said_states(names)}"


def _loss_slips(content: dict[str, Any], names: Sequence[str]) -> Iterator[tuple[str, int, str | None, str, str]]:
    """Yield which ports of those whose loss is asked for there are not."""
    given = _table(content, "loss").get("states")
    asked = given if isinstance(given, list) else []
    there = [*names, *(computed for computed, table, _ in COMPUTED if table in content)]
    folded = [name.strip().casefold() for name in there]
    for k, name in enumerate(asked):
        if not isinstance(name, str):
            continue
        if name.strip().casefold() not in folded:
            yield "loss", 0, "states", f"[loss] names '{name}', and there is none", f"Name some of {', '.join(there)}"
        elif name.strip().casefold() in [str(other).strip().casefold() for other in asked[:k]]:
            yield "loss", 0, "states", f"[loss] names '{name}' twice", "Leave one of the two"


def _calm_slips(content: dict[str, Any], names: Sequence[str]) -> Iterator[tuple[str, int, str | None, str, str]]:
    """Yield that the limits of a cut that calms the air are of another state than the one that it starts from."""
    calm, target = _table(content, "calm"), _table(content, "target")
    start, limited = calm.get("state"), target.get("state", names[-1])
    if not isinstance(start, str) or not isinstance(limited, str) or not target or "limits" in calm:
        return
    if start.strip().casefold() != limited.strip().casefold():
        what = f"[calm] starts from '{start}', and what limits it, the target, is of '{limited}'"
        yield "calm", 0, "state", what, 'Name the target\'s stage, or give limits of its own: limits = "limits.toml"'
