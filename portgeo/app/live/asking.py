"""What is asked of the geometry: which rows or which scan a stage is made of, and what a long answer is about.

A Desk comes in; what another process can be asked goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from portgeo.app.live.answer_parts import Asked, Scan
from portgeo.app.live.answers import LABELS, PASSING
from portgeo.app.live.desk import Desk
from portgeo.app.live.figures import Readings
from portgeo.app.live.made_from import made_from
from portgeo.app.live.on_disk import stamp_of
from portgeo.app.live.stages import Stage, leg_of, one_valve_mm, said_in, scan_settings
from portgeo.app.live.tables import Looked
from portgeo.core.errors import InputError
from portgeo.files.inside import kept_inside


def made_of(desk: Desk, stage: str | None, part: str = "port") -> Readings | Scan | None:
    """Return what a stage's port is made of, the last stage's where none is named; None where there is nothing."""
    with desk.lock:
        named = [each for each in desk.stages() if stage in (None, each.name)]
        return _made_of(desk, named[-1], part) if named else None


def made_of_before(desk: Desk, stage: str | None, part: str = "port") -> Readings | Scan | None:
    """Return what the port of the stage before is made of; None where there is none."""
    with desk.lock:
        stages = desk.stages()
        at = next((k for k in range(len(stages) - 1, -1, -1) if stage in (None, stages[k].name)), 0)
        return _made_of(desk, stages[at - 1], part) if at > 0 else None


def _made_of(desk: Desk, stage: Stage, part: str) -> Readings | Scan | None:
    draft = desk.now()
    name: str | None = getattr(stage, part) if part in ("port", "runner") else None
    if name is None:
        return None
    exhaust = said_in(draft.content(), "engine").get("port") == "exhaust"
    if name not in draft.kinds():
        try:
            path = kept_inside(desk.folder, name)
        except InputError:
            return None  # told where it is named
        settings = scan_settings(draft.content(), stage, part)
        leg = leg_of(draft.content(), stage.name)
        return Scan(stage.name, part, name, str(path), settings, desk.units(), exhaust, stamp_of(path), leg)
    looked = desk.looked(name)
    if not isinstance(looked, Looked):
        return None
    return Readings(
        stage=stage.name, part=part, file=name, rows=tuple(looked.readings()), missing=looked.missing,
        left_out=tuple(sorted(looked.bad_rows)), columns={m.column: m.written for m in looked.meanings if m.column},
        units=desk.units(), folder=str((desk.folder / name).parent), exhaust=exhaust,
        valve_mm=one_valve_mm(draft.content()), leg=leg_of(draft.content(), stage.name),
    )  # fmt: skip


def long_answer(desk: Desk, said: Mapping[str, Any]) -> Asked:
    """Return what a long answer is asked about; one about the whole job begins its file. Raises InputError."""
    with desk.lock:
        if said.get("kind") in ("report", "customer", "set") and not desk.first:
            desk.need_job()
        return asked_of(desk, said)


def asked_of(desk: Desk, said: Mapping[str, Any]) -> Asked:
    """Return what a long answer is asked about, as it stands now. Raises InputError where that is nothing."""
    with desk.lock:
        kind = str(said.get("kind"))
        if kind not in LABELS:
            raise InputError(f"there is no such answer as {kind[:40]!r}", hint="Load the page again")
        if desk.first:
            raise InputError("nothing is open yet", hint="Say first what is to be measured")
        if kind in PASSING:
            return Asked(kind, str(desk.folder), desk.job, desk.title(), desk.units(), (), None, None, dict(said))
        target = said_in(desk.now().content(), "target")
        names = [said.get(key) for key in ("before", "after")] if kind == "compare" else [said.get("stage")]
        if kind == "set":
            names = []  # it is about the runners that the job names
        if kind == "loss":
            names = _stages_lost(desk, target)
        if kind in ("plan", "calm") and names == [None]:
            names = [target.get("state")]
        stages = [made_of(desk, None if name is None else str(name)) for name in names]
        if any(each is None for each in stages):
            raise InputError("this stage has no port to look at yet", hint="Type its readings first")
        runner = made_of(desk, str(names[-1]) if names and names[-1] is not None else None, "runner")
        file = target.get("file")
        asked = Asked(
            kind, str(desk.folder), desk.job, desk.title(), desk.units(),
            tuple(each for each in stages if each is not None), runner if kind == "air" else None,
            file if isinstance(file, str) else None, dict(said),
        )  # fmt: skip
        return replace(asked, made_from=made_from(desk, asked))


def _stages_lost(desk: Desk, target: Mapping[str, Any]) -> list[Any]:
    """Return the stages whose pressure loss is asked for, and last the one that the next cut starts from."""
    there = [stage.name for stage in desk.stages()]
    said = said_in(desk.now().content(), "loss").get("states")
    folded = [str(name).strip().casefold() for name in said] if isinstance(said, list) else None
    asked = [name for name in there if folded is None or name.strip().casefold() in folded]
    if folded is None:
        asked = [*there[:1], *there[-1:]]
    if "file" in target:
        asked.append(str(target.get("state", there[-1])))
    return list(dict.fromkeys(asked)) or [None]
