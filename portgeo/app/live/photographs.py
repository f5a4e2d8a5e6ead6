"""Photographs of slices that are dropped on the page: traced, the line put right by hand, and taken into a row.

Photographs wait, and what was traced in them is kept, in a folder of their own beside the versions; an outline's file,
a picture with its line and the row that names it go into the job, as an edit like every other.
"""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import length_of
from portgeo.app.live.answer_parts import Asked, Progress
from portgeo.app.live.outline import begin_trace, named_columns, outline_stem
from portgeo.app.live.versions import FOLDER
from portgeo.core.errors import InputError, PortgeoError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.disk import atomic_write, make_folder

if TYPE_CHECKING:
    from portgeo.app.live.draft import Draft

PHOTOGRAPHS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif")  # the last are told of
LARGEST = 80_000_000  # bytes of one, as their reader has it
MOST = 24  # at a time: the slices of a long port
MOST_KEPT = 12  # tracings: past it the oldest go, which can be made anew
NAME = re.compile(r"[0-9a-f]{16}")
PICTURE = re.compile(r"\d{1,3}-\d{1,3}\.jpg")
SLICES = "slices.json"
DIGITS = {"in": 4, "mm": 3}  # of an outline's points: about a hundredth of what they may be off by
PAGE_WORDS = {"pass --bar-mm": "type what they read", "pass --thick": "type it"}
DOING = {"marks": "finding the marks", "outlines": "following the outlines"}


def tracing_folder(folder: Path, name: Any) -> Path:
    """Return where photographs of one tracing wait. Raises InputError for what names none."""
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise InputError("the photographs cannot be found", hint="Drop them again")
    return folder / FOLDER / "traced" / name


def waiting_place(folder: Path, name: Any) -> Path:
    """Return the folder that photographs of one tracing are taken into, laid out; the oldest of others go."""
    place = tracing_folder(folder, name)
    if not place.exists():
        make_folder(place)
        others = sorted(
            (each for each in place.parent.iterdir() if NAME.fullmatch(each.name) and each != place),
            key=lambda each: each.stat().st_mtime,
        )
        for old in others[: max(0, len(others) + 1 - MOST_KEPT)]:
            shutil.rmtree(old, ignore_errors=True)
    return place


def picture_path(folder: Path, name: str, picture: str) -> Path | None:
    """Return the path of a picture of what was traced; None of every other."""
    if not NAME.fullmatch(name) or not PICTURE.fullmatch(picture):
        return None
    path = tracing_folder(folder, name) / picture
    return path if path.is_file() else None


# Tracing, in a process of its own


def photographs_answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Trace photographs: each by itself, or all as one thing. Raises PortgeoError where none of them can be."""
    place = tracing_folder(Path(asked.folder), asked.said.get("trace"))
    paths = _photographs(place, asked.said.get("photos"))
    groups = [paths] if asked.said.get("joined") else [[path] for path in paths]
    slices: list[dict[str, Any]] = []
    refusals: list[PortgeoError] = []
    try:
        thick, bars = _thickness(asked.said, asked.units), _bars(asked.said)
        for number, group in enumerate(groups):

            def told(what: str, share: float, number: int = number, group: list[Path] = group) -> None:
                name = f"{group[0].name}: " if len(groups) > 1 else ""
                progress(name + DOING.get(what, what), (number + share) / len(groups))

            progress(f"reading {group[0].name}", number / len(groups))
            try:
                slices += _traced(group, thick, bars, asked.units, told, place, len(slices))
            except PortgeoError as refusal:
                refusals.append(_plainly(refusal))
        if not slices:
            raise refusals[0]
        atomic_write(place / SLICES, json.dumps(slices).encode(), force=True)
    finally:
        for path in paths:
            path.unlink(missing_ok=True)
    return {
        "lines": [], "tables": [], "files": [], "trace": asked.said["trace"], "slices": slices,
        "refused": [{"what": f"{one.file}: {one.what}", "hint": one.hint} for one in refusals],
    }  # fmt: skip


def _photographs(place: Path, names: Any) -> list[Path]:
    if not isinstance(names, list) or not 1 <= len(names) <= MOST:
        raise InputError("there are no photographs, or too many", hint=f"Drop up to {MOST} at a time")
    paths = [place / str(name) for name in names]
    if any(path.parent != place or not path.is_file() for path in paths):
        raise InputError("the photographs cannot be found", hint="Drop them again")
    return paths


def _thickness(said: Mapping[str, Any], unit: LengthUnit) -> float:
    text = str(said.get("thick") or "").strip()
    if not text:
        raise InputError(
            "how thick the slices are is not typed",
            hint="Measure one with a caliper: its upper face is nearer to the camera than the paper",
        )
    try:
        return length_of(text, unit, "")
    except InputError as refusal:
        raise InputError(f"the thickness: {refusal.what}", hint=refusal.hint) from None


def _bars(said: Mapping[str, Any]) -> tuple[float, float] | None:
    texts = [str(text or "").strip() for text in (said.get("bar_across"), said.get("bar_up"))]
    if not any(texts):
        return None
    if not all(texts):
        raise InputError("one bar of the print is typed and the other is not", hint="Measure both, or type neither")
    try:
        across, up = (length_of(text, "mm", "") for text in texts)
    except InputError as refusal:
        raise InputError(f"the print's bars: {refusal.what}", hint=refusal.hint) from None
    return across, up


def _plainly(refusal: PortgeoError) -> PortgeoError:
    """Return a refusal by the photograph's own name, without where it waits."""
    name = None if refusal.file is None else Path(refusal.file).name
    return InputError(refusal.what, hint=refusal.hint, file=name)


def _traced(
    group: list[Path], thick: float, bars: tuple[float, float] | None, unit: LengthUnit,
    told: Callable[[str, float], None], place: Path, first: int,
) -> list[dict[str, Any]]:  # fmt: skip
    """Trace photographs of one thing, keep their pictures, and return its slices for the page."""
    from portgeo.front.photos import HAND_MM, faces, line_of, trace

    traced = trace(group, thick_mm=thick, bar_mm=bars, units=unit, progress=told)
    messages = [one.message for one in traced.warnings]
    for words, plain in PAGE_WORDS.items():
        messages = [message.replace(words, plain) for message in messages]
    found = []
    for k, (outline, face) in enumerate(zip(traced.outlines, faces(traced), strict=True), start=first):
        pictures = []
        for j, (photo, data) in enumerate(face.pictures):
            atomic_write(place / f"{k}-{j}.jpg", data, force=True)
            pictures.append({"photo": photo, "name": f"{k}-{j}.jpg"})
        line = line_of(outline.points_mm)
        found.append(
            {
                "pictures": pictures, "low": face.low.tolist(), "high": face.high.tolist(), "thick_mm": thick,
                "points": line.points.round(5).tolist(), "handles": line.handles.tolist(),
                "reaches": line.reaches.round(4).tolist(), "hand_mm": HAND_MM, "area_u_mm2": outline.area_u_mm2,
                "tilt_deg": outline.tilt_deg, "notices": messages,
            }
        )  # fmt: skip
    return found


# Into a row


def take_traced(draft: Draft, edit: Mapping[str, Any]) -> str:
    """Write a traced outline, as it was put right, into the job's folder, and name it in a row with its ±."""
    import numpy as np

    from portgeo.front.photos import Line, area_error, corrected, line_picture, polygon_area, size_error

    place = tracing_folder(draft.folder, edit["trace"])
    number, file, row = int(edit["slice"]), str(edit["file"]), int(edit["row"])
    try:
        piece = json.loads((place / SLICES).read_bytes())[number]
        picture = (place / f"{number}-0.jpg").read_bytes()
    except (OSError, ValueError, IndexError):
        raise InputError("what was traced is no longer kept", hint="Drop the photograph again") from None
    line = Line(np.array(piece["points"]), np.array(piece["handles"]))
    moves = {int(k): (float(dx), float(dy)) for k, dx, dy in edit.get("moves") or []}
    if any(not 0 <= k < len(line.handles) or not all(map(math.isfinite, move)) for k, move in moves.items()):
        raise ValueError("no such point of the line")
    points, area_u = corrected(line, moves), area_error(line, piece["area_u_mm2"], moves)
    sheet = draft.typed({"file": file})
    path = draft.free_name(str(PurePosixPath(file).parent / f"{outline_stem(sheet, row)}.csv"))
    photo = piece["pictures"][0]["photo"]
    remarks = [f"Traced from {photo}, a slice {piece['thick_mm']:g} mm thick"]
    if moves:
        far = max(math.hypot(*move) for move in moves.values())
        remarks.append(f"Corrected by hand at {len(moves)} of its points, by up to {far:.2f} mm")
    remarks.append(f"Area {polygon_area(points):.2f} mm2 +- {2.0 * area_u:.2f} mm2 (19 times in 20)")
    draft.add_file(path, _csv(points, draft.units, remarks))
    draft.add_file(
        draft.free_name(str(PurePosixPath(path).with_suffix("")) + "-traced.jpg"),
        line_picture(picture, np.array(piece["low"]), np.array(piece["high"]), points),
    )
    name = PurePosixPath(path).name
    begin_trace(draft, {"file": file, "row": row, "name": name})
    _say_error(draft, file, row, size_error(points, area_u))
    _say_note(draft, file, row, f"traced from {photo}{', corrected by hand' if moves else ''}")
    return f"row {row}: outline {name} from {photo}{', corrected by hand' if moves else ''}"


def _csv(points: Any, unit: LengthUnit, remarks: list[str]) -> bytes:
    digits = DIGITS[unit]
    closed = [*points.tolist(), points[0].tolist()]
    lines = [*(f"# {remark}" for remark in remarks), f"x_{unit},y_{unit}"]
    lines += [f"{x / MM_PER[unit]:.{digits}f},{y / MM_PER[unit]:.{digits}f}" for x, y in closed]
    return ("\n".join(lines) + "\n").encode()


def _say_error(draft: Draft, file: str, row: int, error_mm: float) -> None:
    """Write into a row what its sizes are off by, so that its area has the outline's ±."""
    named = named_columns(draft.typed({"file": file}).header)
    written = next((each for plain, each in named.items() if plain.startswith("reading_error")), None)
    if written is None:
        written = f"reading_error_{draft.units}"
        draft.column({"file": file, "name": written})
    unit: LengthUnit = (
        "mm" if written.lower().endswith("mm") else "in" if written.lower().endswith("in") else draft.units
    )
    draft.cells({"file": file, "cells": [[row, written, f"{error_mm / MM_PER[unit]:.{DIGITS[unit]}f}"]]})


def _say_note(draft: Draft, file: str, row: int, text: str) -> None:
    sheet = draft.typed({"file": file})
    written = named_columns(sheet.header).get("note")
    if written is not None and not sheet.rows[row - 1][sheet.header.index(written)]:
        draft.cells({"file": file, "cells": [[row, written, text]]})
