"""The table of a job file on the runners of a manifold, as a pydantic model.

What a TOML reader made of the file comes in; frozen models with lengths in millimetres go out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import PurePosixPath
from typing import Any, ClassVar, Literal

from pydantic import Field, ValidationInfo, field_validator

from portgeo.files.disk import named_twice
from portgeo.files.toml.checked_table import Length, Limits, Table, refuse
from portgeo.files.toml.scan_table import Point, Scan, point_of
from portgeo.files.toml.tables import shown

MOST_RUNNERS = 24  # of one manifold; more is a slip, and hours of work


class RunnerSet(Table):
    """The runners of a manifold: their flows, the gasket that core shift is told from, where they stand, their edges.

    spacing : from each to the next, or one for all. plenum : a point in it, in the scans' own coordinates: what opens
    nearer to it is an entry. entry_radii : of each entry's edge, or four of each.
    """

    lengths: ClassVar[Limits] = {"spacing": (1.0, 2000.0), "entry_radii": (0.0, 200.0)}
    files: tuple[str, ...] = Field(min_length=2, max_length=MOST_RUNNERS)
    flows: tuple[float, ...] | None = None
    gasket: str | None = None
    gasket_at: Literal["entry", "exit"] = "entry"
    spacing: tuple[float, ...] | None = None
    one_frame: bool = False
    plenum: Point | None = None
    entry_radii: tuple[float, ...] | None = None
    scan: Scan | None = None

    @field_validator("files", "flows", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        return tuple(value) if isinstance(value, list) else value

    @field_validator("files")
    @classmethod
    def _each_its_own(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        twice = named_twice([PurePosixPath(name) for name in value])
        if twice is not None:
            what = f"runners {twice[0] + 1} and {twice[1] + 1} are one file, {shown(value[twice[1]])}"
            raise refuse(what, "Name each runner's own file")
        return value

    @field_validator("plenum", mode="before")
    @classmethod
    def _place(cls, value: Any) -> Any:
        return point_of(value)

    @field_validator("spacing", "entry_radii", mode="before")
    @classmethod
    def _one_listed(cls, value: Any) -> Any:
        """Return one length, which is meant for all, as a list of it."""
        one = isinstance(value, Length) and not isinstance(value.value, list)
        return replace(value, value=[value.value]) if one else value

    @field_validator("spacing", "entry_radii")
    @classmethod
    def _as_many(cls, value: tuple[float, ...] | None, info: ValidationInfo) -> tuple[float, ...] | None:
        files = info.data.get("files")
        if value is None or files is None:
            return value
        count = len(files)
        if info.field_name == "spacing" and len(value) not in (1, count - 1):
            said = f"{len(value)} spacings for {count} runners"
            raise refuse(said, "Give one for all, or one from each runner to the next")
        if info.field_name == "entry_radii" and len(value) not in (count, 4 * count):
            said = f"{len(value)} radii for {count} runners"
            raise refuse(said, "Give one for each runner, or four for each: at 12, 3, 6 and 9 o'clock")
        return value

    @field_validator("flows")
    @classmethod
    def _alike(cls, value: tuple[float, ...] | None, info: ValidationInfo) -> tuple[float, ...] | None:
        files = info.data.get("files")
        if value is not None and files is not None and len(value) != len(files):
            told = f"{len(value)} flows for {len(files)} files"
            raise refuse(told, "Give one flow for each file, in the same order")
        return value
