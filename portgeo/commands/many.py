"""Many ports measured at once, one row of a table each: what `measure` does with more than one file.

File names come in; a table that grows row by row goes out, so that a run that was stopped goes on.
"""

from __future__ import annotations

import argparse
import csv
import glob
import math
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

from portgeo.commands.common import load_port, naming, progress_bar
from portgeo.errors import InputError, PortgeoError

HEADER = [
    *("file", "sha256", "volume_cc", "volume_u_cc", "length_mm", "least_area_mm2", "least_area_u_mm2"),
    *("least_area_station_mm", "entry_mm2", "exit_mm2", "short_side_mm", "short_side_u_mm", "turn_deg"),
    *("look_at", "refused"),
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
    from portgeo.io.files import sha256_of, write_table_csv

    if not args.csv:
        raise InputError("there are several files and nowhere to put the table", mend="Pass --csv FILE")
    if args.json or args.picture or args.chart:
        raise InputError("--json, --picture and --chart are of one port", mend="Name one file, or leave them out")
    done = {} if args.force else _rows_there(args.csv)
    rows: dict[str, list[str]] = {}
    for name in names:
        row = done.get(name)
        if row is not None and not row[-1] and os.path.exists(name) and row[1] == sha256_of(name):
            rows[name] = row
    left = [name for name in dict.fromkeys(names) if name not in rows]
    quiet = argparse.Namespace(**{**vars(args), "quiet": True})
    workers = max(min(os.cpu_count() or 1, len(left)), 1)
    with (
        progress_bar("measure", quiet=args.quiet) as progress,
        ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool,
    ):
        waiting = {pool.submit(measure_one, name, quiet): name for name in left}
        for count, future in enumerate(as_completed(waiting), 1):
            rows[waiting[future]] = future.result()
            # Whole after every file: whatever stops the run, no row that was measured is lost.
            write_table_csv(args.csv, HEADER, [rows[name] for name in names if name in rows], force=True)
            progress(f"{count} of {len(left)} files", count / len(left))
    refused = [name for name in dict.fromkeys(names) if rows[name][-1]]
    if not args.quiet:
        print(f"{args.csv}: {len(rows)} ports, {len(rows) - len(left)} of them measured before")
    if refused:
        told = "; ".join(rows[name][-1].rstrip(".") for name in refused[:5])
        what = f"{len(refused)} of {len(rows)} files were refused: {told}"
        raise InputError(what, file=args.csv, mend="The others are in the table")


def measure_one(name: str, args: argparse.Namespace) -> list[str]:
    """Return the row of one file, as text; a refusal is in its last column."""
    from portgeo.survey import survey

    try:
        loaded = load_port(name, args)
        with naming(name):
            found = survey(loaded.port)
    except PortgeoError as refusal:
        return [name, *[""] * (len(HEADER) - 2), str(refusal)]
    side = found.short_side
    numbers = [
        *(found.volume / 1e3, found.volume_u / 1e3, found.length, found.least_area, found.least_area_u),
        *(found.least_station, found.area[0], found.area[-1]),
    ]
    short = [side.radius, side.radius_u, math.degrees(side.turn)] if side else []
    texts = [f"{value:.9g}" for value in (*numbers, *short)] + [""] * (3 - len(short))
    codes = [n.code for n in (*loaded.warnings, *found.warnings) if not n.code.endswith("_rule")]
    return [name, loaded.source["sha256"], *texts, " ".join(dict.fromkeys(codes)), ""]


def _rows_there(path: str) -> dict[str, list[str]]:
    """Return the rows of a table of an earlier run by file; refuse a file that is none."""
    if not Path(path).exists():
        return {}
    with open(path, newline="", encoding="utf-8", errors="replace") as stream:
        rows = list(csv.reader(stream))
    if not rows or rows[0] != HEADER:
        raise InputError(
            "this file is there already and is no table of ports", file=path, mend="Pass --force to replace it"
        )
    return {row[0]: row for row in rows[1:] if len(row) == len(HEADER)}
