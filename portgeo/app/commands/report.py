"""report: the whole work of a job file, in one folder."""

from __future__ import annotations

import argparse
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from portgeo.files.toml.job import JobFile

HELP = "run a whole job file: one page, tables, meshes, pictures and templates"
EXAMPLE = """examples:
  portgeo new my-port
  portgeo report my-port/job.toml --out my-port/report
  portgeo report my-port/job.toml --out my-port/report --loss

What was made before is used again where nothing it was made of has changed. A run that was stopped
goes on from where it was."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of report."""
    parser.add_argument("job", metavar="JOB", help="job file (toml); `portgeo new DIR` writes one to fill in")
    parser.add_argument("--out", metavar="DIR", required=True, help="folder to write into (made if it is not there)")
    parser.add_argument(
        "--loss", action="store_true", help="solve what the ports lose too, as [loss] of the job asks: takes minutes"
    )
    parser.add_argument("-q", "--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--force", action="store_true", help="replace files that no earlier report wrote")


def run(args: argparse.Namespace) -> None:
    """Make the report and say what there is."""
    from portgeo.app.commands.common import progress_bar
    from portgeo.app.job.run import run_job
    from portgeo.files.toml.job import read_job

    job = read_job(args.job)
    out = Path(args.out)
    with progress_bar("report", quiet=args.quiet) as progress:
        done = run_job(job, out, progress, force=args.force, with_loss=args.loss)
    if not args.quiet:
        print(_said(done.results, len(done.files), done.made, done.kept, out))
        for named, other in _unread(job):
            print(f"not read: {other} ({named} is what {job.path.name} names)")


def _unread(job: JobFile) -> list[tuple[str, str]]:
    """Return sheets with the name of one that a state names and another ending: readings may stand in them."""
    from portgeo.files.ports import is_sheet
    from portgeo.files.sheets.tables import SHEET_TYPES

    names = [name for state in job.job.state for name in (state.port, state.runner) if name]
    sheets = [name for name in dict.fromkeys(names) if is_sheet(name)]
    others = [(name, str(PurePosixPath(name).with_suffix(suffix))) for name in sheets for suffix in SHEET_TYPES]
    return [(name, other) for name, other in others if other not in names and (job.folder / other).is_file()]


def _said(results: dict[str, Any], files: int, made: int, kept: int, out: Path) -> str:
    lines = [f"{out / 'report.html'}: {results['title']}", f"  {files} files in {out}; {_steps(made, kept)}"]
    if results["warnings"]:
        lines.append("look at")
        lines += [f"  - {warning['about']}: {warning['message']}" for warning in results["warnings"]]
    if results["skipped"]:
        lines.append("left out")
        lines += [f"  - {one['step']}: {one['why']}" for one in results["skipped"]]
    return "\n".join(lines)


def _steps(made: int, kept: int) -> str:
    if made == 0:
        return f"nothing had changed, all {kept} results were used again"
    return f"{made} results made, {kept} used again"
