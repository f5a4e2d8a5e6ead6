"""Print what share of the stated uncertainties holds the truth, by quantity, on known shapes.

Each kind of trial has a file of its own beside this one; a share of 0.95 within two standard uncertainties is
what is promised. The mean of error/u is the bias. Scans are in coverage_scan.py.

Run from the top of the repository: ``python scripts/coverage.py [--cases 100] [--write]``.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from coverage_sheets import measured_case

from portgeo.errors import PortgeoError
from tests.trial_errors import Case, Errors, rows
from tests.validation import publish

HEADING = "## Stated uncertainties"


def sheet_case(seed: int) -> Case:
    """One smooth port measured as a person does, against its own truth."""
    _, case, _ = measured_case(seed)
    return {f"sheet: {name}": Errors(pairs[:, 0], pairs[:, 1]) for name, pairs in case.items()}


CASES = {
    "sheet": sheet_case,
}


def tried(job: tuple[str, int]) -> Case | str:
    """One case by the name of its kind, or why it was refused."""
    kind, seed = job
    try:
        return CASES[kind](seed)
    except PortgeoError as refusal:
        return f"{kind} {seed}: {refusal}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=100, help="of each kind")
    parser.add_argument("--kinds", nargs="*", choices=sorted(CASES), default=list(CASES))
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    parser.add_argument("--write", action="store_true", help="write the table into docs/validation.md")
    args = parser.parse_args()
    with ProcessPoolExecutor(args.cores) as pool:
        found = list(pool.map(tried, [(kind, seed) for kind in args.kinds for seed in range(args.cases)]))
    refused = [case for case in found if isinstance(case, str)]
    lines = [
        f"Made by `python scripts/coverage.py --cases {args.cases} --write`: known shapes, random errors, and how",
        "many of the stated uncertainties hold the truth. Areas count every station of every case.",
        "",
        *rows([case for case in found if not isinstance(case, str)]),
        "",
        *([f"Refused: {len(refused)}.", "", *(f"- {text}" for text in refused)] if refused else ["None was refused."]),
    ]
    publish(HEADING, lines, args.write)


if __name__ == "__main__":
    main()
