"""Many ports measured at once, one row of a table each: what `measure` does with more than one file.

File names come in; a table that grows row by row goes out, so that a run that was stopped goes on.
"""

from __future__ import annotations

import argparse
import csv
import glob
import os
from collections.abc import Sequence
from concurrent.futures.process import BrokenProcessPool

from portgeo.app.commands.common import load_port, progress_bar
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.interrupts import as_they_come, workers

HEADER = [
    *("file", "sha256", "volume_cc", "volume_u_cc", "length_mm", "least_area_mm2", "least_area_u_mm2"),
    *("least_area_station_mm", "entry_mm2", "exit_mm2", "short_side_mm", "short_side_u_mm", "turn_deg"),
    *("short_side_is", "look_at", "refused"),
]


def spread(names: Sequence[str]) -> list[str]:
    """Return file names with patterns such as ``*.stl`` spread out, where the shell has not done it."""
    found: list[str] = []
    for name in names:
        pattern = glob.has_magic(name) and not os.path.exists(name)
        found += (sorted(glob.glob(name)) if pattern else []) or [name]
    return found


def measure_many(args: argparse.Namespace, names: list[str]) -> None:
    """Measure many files on all cores into one table; raise InputError at the end if any was refused.

    A table that is there already is gone on with: files that it holds, unchanged since, are not
    measured again. --force begins it anew, as is needed where the options are others.
    """
    from portgeo.files.disk import check_free, sha256_of, write_table_csv

    if len(names) == 2:
        _refuse_halves(*names)
    if not args.csv:
        raise InputError("there are several files and nowhere to put the table", mend="Pass --csv FILE")
    if args.json or args.picture or args.chart:
        raise InputError("--json, --picture and --chart are of one port", mend="Name one file, or leave them out")
    check_free([args.csv], True)
    there = _rows_there(args.csv)
    if there is not None:
        names = [name for name in names if not _same(name, args.csv)]  # the table itself, by a pattern
    elif os.path.lexists(args.csv):
        check_free([args.csv], True, names)
        if not args.force:
            raise OutputError(
                "this file is there already and is no table of ports",
                file=args.csv,
                mend="Pass --force to replace it, or choose another name",
            )
    done = {} if args.force or there is None else there
    rows: dict[str, list[str]] = {}
    for name in names:
        row = done.get(name)
        if row is not None and not row[-1] and os.path.exists(name) and row[1] == sha256_of(name):
            rows[name] = row
    left = [name for name in dict.fromkeys(names) if name not in rows]
    quiet = argparse.Namespace(**{**vars(args), "quiet": True})
    count = max(min(os.cpu_count() or 1, len(left)), 1)
    try:
        with progress_bar("measure", quiet=args.quiet) as progress, workers(count) as submit:
            waiting = {submit(measure_one, name, quiet): name for name in left}
            for number, future in enumerate(as_they_come(waiting), 1):
                rows[waiting[future]] = future.result()
                # Whole after every file: whatever stops the run, no row that was measured is lost.
                write_table_csv(args.csv, HEADER, [rows[name] for name in names if name in rows], force=True)
                progress(f"{number} of {len(left)} files", number / len(left))
    except BrokenProcessPool as failure:
        raise OutputError(
            "the system ended one of the processes that measure, as it does when memory runs out",
            file=args.csv,
            mend="Close other programs, or measure fewer and smaller files at once; the same command goes on from here",
        ) from failure
    refused = [name for name in dict.fromkeys(names) if rows[name][-1]]
    if not args.quiet:
        print(f"{args.csv}: {len(rows)} ports, {len(rows) - len(left)} of them measured before")
    if refused:
        told = "; ".join(rows[name][-1].rstrip(".") for name in refused[:5])
        what = f"{len(refused)} of {len(rows)} files were refused: {told}"
        raise InputError(what, file=args.csv, mend="The others are in the table")


def _refuse_halves(one: str, other: str) -> None:
    """Refuse two files that are the halves of one mold: neither alone is a port."""
    from portgeo.front.ports import halves_of_one_mold

    if halves_of_one_mold(one, other):
        raise InputError(
            f"this and {other} look like the two halves of one mold, parted along its length",
            file=one,
            mend="Join them into one mesh in the scanner's software, without the faces along which they were parted, "
            "and measure that; to measure each by itself, give one file at a time",
        )


def measure_one(name: str, args: argparse.Namespace) -> list[str]:
    """Return the row of one file, as text; a refusal is in its last column."""
    from portgeo.front.states import survey

    try:
        port = load_port(name, args)
        measured = survey(port)
    except PortgeoError as refusal:
        return [name, *[""] * (len(HEADER) - 2), str(refusal)]
    side, least = measured.short_side, measured.least_area
    numbers = [
        *(measured.volume_cc, measured.volume_u_cc, measured.length_mm, least.area_mm2, least.area_u_mm2),
        *(least.station_mm, *(opening.area_mm2 for opening in measured.openings)),
    ]
    short = [side.headline.mm, side.headline.u_mm, side.turn_deg] if side else []
    texts = [f"{value:.9g}" for value in (*numbers, *short)] + [""] * (3 - len(short))
    texts.append(side.headline.name if side else "")
    codes = [notice.code for notice in measured.warnings if not notice.code.endswith("_rule")]
    return [name, port.source["sha256"], *texts, " ".join(dict.fromkeys(codes)), ""]


def _same(one: str, other: str) -> bool:
    return os.path.normcase(os.path.abspath(one)) == os.path.normcase(os.path.abspath(other))


def _rows_there(path: str) -> dict[str, list[str]] | None:
    """Return the rows of a table of an earlier run by file; None where there is none, or something else."""
    try:
        with open(path, newline="", encoding="utf-8", errors="replace") as stream:
            table = csv.reader(stream)
            if next(table, None) != HEADER:
                return None
            return {row[0]: row for row in table if len(row) == len(HEADER)}
    except (OSError, ValueError, csv.Error):
        return None
