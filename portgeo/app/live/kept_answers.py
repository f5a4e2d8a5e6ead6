"""The last answer of each kind, on the disk: there again after a reload, with what has changed since it was made.

An answer and what it was asked about come in; the same, and the names of what is no longer as it was, go out.
"""

from __future__ import annotations

import json
import threading
import zlib
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from portgeo import __version__
from portgeo.app.live.answer_parts import Asked, of_stages
from portgeo.app.live.answers import LABELS, PASSING
from portgeo.app.live.asking import asked_of
from portgeo.app.live.desk import Desk
from portgeo.app.live.made_from import WHOLE
from portgeo.app.live.on_disk import stamp_of
from portgeo.core.errors import OutputError, PortgeoError
from portgeo.files.disk import atomic_write, make_folder

HEAD = ("kind", "said", "when", "made_from")  # of a kept answer: all but what it says


class KeptAnswers:
    """The answers of what is on a desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk, self._lock = desk, threading.Lock()
        self._heads: dict[Path, tuple[Any, dict[str, Any] | None]] = {}

    def keep(self, asked: Asked, result: Mapping[str, Any], model: Any) -> str:
        """Keep an answer in place of the last of its kind, and return when it was made.

        It is not kept where the disk will not have it: it is shown all the same.
        """
        when = datetime.now(UTC).isoformat(timespec="seconds")
        if asked.kind in PASSING:
            return when
        kept = {"portgeo": __version__, "kind": asked.kind, "said": dict(asked.said), "when": when}
        kept |= {"made_from": dict(asked.made_from), "of": of_stages(asked), "result": result, "model": model}
        data = zlib.compress(json.dumps(kept, ensure_ascii=False).encode(), 6)
        with self._lock:
            try:
                make_folder(self._path(asked.kind).parent)
                if asked.kind in WHOLE:
                    self._drop_rewritten(asked)
                atomic_write(self._path(asked.kind), data, force=True)
            except OutputError:
                pass
        return when

    def _drop_rewritten(self, asked: Asked) -> None:
        """Let go of an answer whose files have just been written anew, and from other readings."""
        for kind in WHOLE:
            head = self._head(kind)
            if head is not None and head["made_from"] != asked.made_from:
                self._path(kind).unlink(missing_ok=True)

    def all(self) -> list[dict[str, Any]]:
        """Return every answer that is kept, the oldest first, each with what has changed since."""
        with self._lock:
            found = [kept for kind in LABELS if (kept := _read(self._path(kind), kind)) is not None]
        found.sort(key=lambda kept: str(kept["when"]))
        return [kept | {"label": LABELS[kept["kind"]], "changed": self._changed(kept)} for kept in found]

    def changed(self) -> dict[str, list[str]]:
        """Return, of every answer that is kept, the names of what has changed since it was made."""
        with self._lock:
            heads = [head for kind in LABELS if (head := self._head(kind)) is not None]
        return {head["kind"]: self._changed(head) for head in heads}

    def _changed(self, kept: Mapping[str, Any]) -> list[str]:
        before: Mapping[str, str] = kept["made_from"]
        try:
            now = asked_of(self._desk, kept["said"]).made_from
        except PortgeoError:
            return list(before)  # what it was asked about is gone
        return [name for name in dict.fromkeys((*before, *now)) if before.get(name) != now.get(name)]

    def _path(self, kind: str) -> Path:
        versions = self._desk.versions
        return versions.folder / f"{versions.log.stem}.answers" / f"{kind}.z"

    def _head(self, kind: str) -> dict[str, Any] | None:
        """Return a kept answer without what it says, read once as long as its file stays as it is."""
        path = self._path(kind)
        stamp = stamp_of(path)
        if path not in self._heads or self._heads[path][0] != stamp:
            kept = _read(path, kind)
            self._heads[path] = stamp, None if kept is None else {key: kept[key] for key in HEAD}
        return self._heads[path][1]


def _read(path: Path, kind: str) -> dict[str, Any] | None:
    """Return a kept answer; None of one that is not there, cannot be read or was made by another portgeo."""
    try:
        kept = json.loads(zlib.decompress(path.read_bytes()))
    except (OSError, ValueError, zlib.error):
        return None
    good = isinstance(kept, dict) and kept.get("portgeo") == __version__ and kept.get("kind") == kind
    return kept if good and kept.keys() >= {*HEAD, "of", "result", "model"} else None
