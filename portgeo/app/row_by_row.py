"""Many pieces of work, each a row of one table: on this machine's cores, or on those of a Dask cluster.

Names of files and what to do with each come in; a table that is whole after every row goes out, so that a run that was
stopped goes on where it was. A row is the same bytes wherever it was worked out.
"""

from __future__ import annotations

import argparse
import csv
import os
from collections.abc import Callable, Generator, Mapping, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from portgeo.app.commands.common import progress_bar
from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.interrupts import as_they_come, workers

ENDED = "the system ended the process that worked on this file, as it does when memory runs out"
ENDED_MEND = "Close other programs, or make the file smaller, and run the same command again: it goes on from here"
WORKER = "`dask worker ADDRESS --nthreads 1 --nworkers -1`"
CONNECT_S = 10.0  # an address at which nothing answers in this time is wrong

# (path, options) to the cells of a row but its first, the name, and its last, what is wrong with the file.
Work = Callable[[str, argparse.Namespace], Sequence[str]]


@dataclass(frozen=True)
class Rows:
    """A table with a row for each file.

    header : its columns; the first is the name, the second what the file's contents are kept by, the last what is wrong
        with the file.
    work : makes the cells between the first and the last; a function of a module.
    contents : a hash of what a row hangs on.
    title : what is done, in a word.
    things : what the files are, in a word.
    """

    header: Sequence[str]
    work: Work
    contents: Callable[[str], str]
    title: str
    things: str


def add_many(parser: argparse.ArgumentParser) -> None:
    """Add where many files are worked on."""
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="with several files: work on a Dask cluster, such as tcp://10.0.0.5:8786"
    )


def fill(table: Rows, names: Sequence[str], args: argparse.Namespace) -> None:
    """Fill the table that --csv names, and print how many rows it has. Raises InputError at the end for bad files.

    A table that is there already is gone on with: rows of files that have not changed since are kept. --force begins
    it anew, as is needed where the options are others.
    """
    from portgeo.files.disk import check_free, write_table_csv

    if not args.csv:
        raise InputError("there are several files and nowhere to put the table", hint="Pass --csv FILE")
    check_free([args.csv], True)
    there = _rows_there(args.csv, table.header)
    if there is not None:
        names = [name for name in names if not _same(name, args.csv)]  # the table itself, by a pattern
    elif os.path.lexists(args.csv):
        check_free([args.csv], True, names)
        if not args.force:
            raise OutputError(
                f"this file is there already and is no table of {table.things}",
                file=args.csv,
                hint="Pass --force to replace it, or choose another name",
            )
    done = {} if args.force or there is None else there
    rows = {name: row for name in names if (row := done.get(name)) and _stands(row, table, name)}
    left = [name for name in dict.fromkeys(names) if name not in rows]
    with (
        progress_bar(table.title, quiet=args.quiet) as progress,
        closing(_cluster(table, left, args) if args.cluster else _here(table, left, args)) as made,
    ):
        for number, (name, row) in enumerate(made, 1):
            rows[name] = row
            # Whole after every file: whatever stops the run, no row that was worked out is lost.
            write_table_csv(args.csv, table.header, [rows[name] for name in names if name in rows], force=True)
            progress(f"{number} of {len(left)} files", number / len(left))
    bad = [name for name in dict.fromkeys(names) if rows[name][-1]]
    if not args.quiet:
        print(f"{args.csv}: {len(rows)} {table.things}, {len(rows) - len(left)} of them from an earlier run")
    if bad:
        shown = "; ".join(rows[name][-1].rstrip(".") for name in bad[:5])
        what = f"{len(bad)} of {len(rows)} files {'has' if len(bad) == 1 else 'have'} an error: {shown}"
        raise InputError(what, file=args.csv, hint="The others are in the table")


def _stands(row: Sequence[str], table: Rows, name: str) -> bool:
    """Return whether a row of an earlier run is still that of its file."""
    try:
        return not row[-1] and row[1] == table.contents(name)
    except PortgeoError:
        return False


def _here(table: Rows, names: Sequence[str], args: argparse.Namespace) -> Generator[tuple[str, list[str]], None, None]:
    """Yield each name and its row as they are done, from this machine's cores.

    When the system ends a worker the rest is tried again by half as many; what ends a lone one twice is a bad file.
    """
    left, count, folder, ended = list(names), os.cpu_count() or 1, os.getcwd(), ""
    while left:
        count = max(min(count, len(left)), 1)
        try:
            with workers(count) as submit:
                waiting = {submit(row_of, table, name, folder, args): name for name in left}
                for future in as_they_come(waiting):
                    row = future.result()
                    left.remove(waiting[future])
                    yield waiting[future], row
        except BrokenProcessPool:
            if count == 1 and left[0] == ended:  # one worker takes them in their order
                yield ended, _bad(table, left.pop(0), str(InputError(ENDED, file=ended, hint=ENDED_MEND)))
            elif count == 1:
                ended = left[0]
            count //= 2


def _cluster(
    table: Rows, names: Sequence[str], args: argparse.Namespace
) -> Generator[tuple[str, list[str]], None, None]:
    """Yield each name and its row as they are done, from a Dask cluster; it gives a dead worker's files to another."""
    try:
        from distributed import Client, KilledWorker, as_completed
    except ImportError:
        hint = 'Install what it needs: python -m pip install "portgeo[cluster]"'
        raise InputError("a cluster needs a library that is not installed", where="--cluster", hint=hint) from None
    try:
        client = Client(args.cluster, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"no cluster answers at '{args.cluster[:80]}'",
            where="--cluster",
            hint=f"Begin one with `dask scheduler` and, on each machine, {WORKER}",
        ) from error
    with client:
        if names:
            _check_workers(client.run(_sees, os.path.abspath(names[0])), names[0])
        folder = os.getcwd()
        waiting = {client.submit(row_of, table, name, folder, args, pure=False): name for name in names}
        for future in as_completed(waiting, loop=client.loop):
            name = waiting[future]
            failure = future.exception()
            if isinstance(failure, KilledWorker):
                yield name, _bad(table, name, str(InputError(ENDED, file=name, hint=ENDED_MEND)))
            elif failure is not None:
                raise failure
            else:
                yield name, future.result()


def _sees(path: str) -> tuple[str, bool]:
    """Return a worker's version of portgeo, and whether it sees a file."""
    from portgeo import __version__

    return __version__, os.path.exists(path)


def _check_workers(seen: Mapping[str, tuple[str, bool]], name: str) -> None:
    """Refuse a cluster whose workers cannot do this machine's work. Raises InputError."""
    if not seen:
        raise InputError("the cluster has no worker", where="--cluster", hint=f"Begin one on each machine: {WORKER}")
    own = _sees(name)
    for worker, (version, sees) in seen.items():
        if version != own[0]:
            what = f"the worker at {worker} has portgeo {version}, and this machine has {own[0]}"
            raise InputError(what, where="--cluster", hint="Install the same one on all of them")
        if own[1] and not sees:
            what = f"the worker at {worker} does not see {os.path.abspath(name)}"
            hint = "Keep the files in a folder that all machines share, under the same name on each"
            raise InputError(what, where="--cluster", hint=hint)


def row_of(table: Rows, name: str, folder: str, args: argparse.Namespace) -> list[str]:
    """Return the row of one file, which is named as seen from a folder; an error is in its last column."""
    quiet = argparse.Namespace(**{**vars(args), "quiet": True})
    try:
        with _one_thread(bool(args.cluster)):
            return [name, *table.work(os.path.join(folder, name), quiet), ""]
    except PortgeoError as refusal:
        return _bad(table, name, str(refusal).replace(os.path.join(folder, ""), ""))


def _one_thread(cluster: bool) -> Any:
    """Give each sum of matrices to one thread, as the command line does: how many share it changes its last bits."""
    if cluster:
        from threadpoolctl import threadpool_limits

        return threadpool_limits(1)
    from contextlib import nullcontext

    return nullcontext()


def _bad(table: Rows, name: str, what: str) -> list[str]:
    return [name, *[""] * (len(table.header) - 2), what]


def _same(one: str, other: str) -> bool:
    return os.path.normcase(os.path.abspath(one)) == os.path.normcase(os.path.abspath(other))


def _rows_there(path: str, header: Sequence[str]) -> dict[str, list[str]] | None:
    """Return the rows of a table of an earlier run by file; None where there is none, or something else."""
    try:
        with open(path, newline="", encoding="utf-8", errors="replace") as stream:
            table = csv.reader(stream)
            if next(table, None) != list(header):
                return None
            return {row[0]: row for row in table if len(row) == len(header)}
    except (OSError, ValueError, csv.Error):
        return None
