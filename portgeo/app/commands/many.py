"""Many ports measured, or many targets planned for one port: a row of a table each.

File names come in; what a row holds goes to `row_by_row`, which fills the table.
"""

from __future__ import annotations

import argparse
import glob
import hashlib
import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from portgeo.app.commands.common import load_port, load_within
from portgeo.app.row_by_row import Rows, fill
from portgeo.core.errors import InputError

if TYPE_CHECKING:
    from portgeo.results.notices import Remark

MEASURED = (
    *("file", "sha256", "volume_cc", "volume_u_cc", "length_mm", "least_area_mm2", "least_area_u_mm2"),
    *("least_area_station_mm", "entry_mm2", "exit_mm2", "short_side_mm", "short_side_u_mm", "turn_deg"),
    *("short_side_is", "look_at", "refused"),
)
PLANNED = (
    *("target", "sha256", "removed_cc", "volume_after_cc", "deepest_mm", "deepest_station_mm", "deepest_clock_hours"),
    *("least_area_after_mm2", "most_missed_percent", "short_side_mm", "short_side_wanted_mm", "least_wall_left_mm"),
    *("held_by", "look_at", "refused"),
)


def spread(names: Sequence[str]) -> list[str]:
    """Return file names with patterns such as ``*.stl`` spread out, where the shell has not done it."""
    found: list[str] = []
    for name in names:
        pattern = glob.has_magic(name) and not os.path.exists(name)
        found += (sorted(glob.glob(name)) if pattern else []) or [name]
    return found


def measure_many(args: argparse.Namespace, names: list[str]) -> None:
    """Measure many files into one table. Raises InputError at the end for bad files."""
    from portgeo.files.disk import sha256_of

    if len(names) == 2:
        _refuse_halves(*names)
    if args.json or args.picture or args.chart:
        raise InputError("--json, --picture and --chart are for one port", hint="Name one file, or leave them out")
    fill(Rows(MEASURED, measured_row, sha256_of, "measure", "ports"), names, args)


def _refuse_halves(one: str, other: str) -> None:
    """Refuse two files that are the halves of one mold: neither alone is a port."""
    from portgeo.front.ports import halves_of_one_mold

    if halves_of_one_mold(one, other):
        raise InputError(
            f"this and {other} look like the two halves of one mold, parted along its length",
            file=one,
            hint="Join them into one mesh in the scanner's software, without the faces along which they were parted, "
            "and measure that; to measure each by itself, give one file at a time",
        )


def measured_row(path: str, args: argparse.Namespace) -> list[str]:
    """Return the cells of one port's row, as text."""
    from portgeo.front.states import survey

    port = load_port(path, args)
    measured = survey(port)
    side, least = measured.short_side, measured.least_area
    numbers = [
        *(measured.volume_cc, measured.volume_u_cc, measured.length_mm, least.area_mm2, least.area_u_mm2),
        *(least.station_mm, *(opening.area_mm2 for opening in measured.openings)),
    ]
    short = [side.headline.mm, side.headline.u_mm, side.turn_deg] if side else [None] * 3
    name = side.headline.name if side else ""
    return [port.source["sha256"], *_texts(*numbers, *short), name, _codes(measured.warnings)]


def plan_many(args: argparse.Namespace, names: list[str]) -> None:
    """Plan a cut of one port to each of many targets into one table. Raises InputError at the end for bad files."""
    if args.json or args.out or args.check:
        raise InputError("--json, --out and --check are for one target", hint="Name one target, or leave them out")
    args.port = os.path.abspath(args.port)  # the workers stand elsewhere
    load_port(args.port, args)  # an error of the port's is said once, not in every row
    fill(Rows(PLANNED, planned_row, Contents(args.port), "reshape", "targets"), names, args)


class Contents:
    """A hash of all files that the plan to a target hangs on: the port's, the target's and those that it names."""

    def __init__(self, port: str) -> None:
        self.port = port

    def __call__(self, target: str) -> str:
        from portgeo.files.disk import sha256_of
        from portgeo.front.limits import check_target

        files = [self.port, target, *map(str, check_target(target))]
        return hashlib.sha256(" ".join(sha256_of(file) for file in files).encode()).hexdigest()


def planned_row(path: str, args: argparse.Namespace) -> list[str]:
    """Return the cells of one target's row, as text."""
    from portgeo.front.cuts import plan

    contents = Contents(args.port)(path)
    port, whole = load_within(args.port, args)
    cut = plan(
        port, path, alloy=args.alloy, density_g_cc=args.density, load=lambda other: load_port(other, args), within=whole
    )
    side = cut.short_side
    numbers = [
        *(cut.removed_cc, cut.volume_after_cc, cut.deepest.depth_mm, cut.deepest.station_mm, cut.deepest.clock_hours),
        float(cut.stations.area_after_mm2.min()),
        max((area.missed_percent for area in cut.areas), default=None),
        *((side.radius_mm, side.wanted_radius_mm) if side else (None, None)),
        min((wall.left_mm for wall in cut.walls_left), default=None),
    ]
    held_by = "; ".join(dict.fromkeys(limit.name for limit in cut.limits))
    return [contents, *_texts(*numbers), held_by, _codes(cut.warnings)]


def _texts(*numbers: float | None) -> list[str]:
    return ["" if number is None else f"{number:.9g}" for number in numbers]


def _codes(warnings: Sequence[Remark]) -> str:
    codes = [remark.code for remark in warnings if not remark.code.endswith("_rule")]
    return " ".join(dict.fromkeys(codes))
