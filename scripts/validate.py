"""Print the validation table: every check against a source outside the project, and how far out each is.

Run from the top of the repository: ``python scripts/validate.py [--write]``. --write puts the table into
docs/validation.md; the tests fail where that page no longer agrees with what they find.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.validation import ROWS, Row, publish, table

ROOT = Path(__file__).resolve().parent.parent
NOTE = [
    "Made by `python scripts/validate.py --write` from the tests in `tests/reference/`; the tests fail where this",
    "page no longer agrees with them. Where a check is made at many places the worst of them stands here. An error",
    "and its limit are in the quantity's own unit, or in % of what was expected.",
]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true", help="write docs/validation.md")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rows_file = Path(folder) / "rows.json"
        command = [sys.executable, "-m", "pytest", "tests/reference", "-m", "", "--rows", str(rows_file)]
        done = subprocess.run(command, cwd=ROOT, check=False)
        if done.returncode:
            return done.returncode
        rows = [Row(**row) for row in json.loads(rows_file.read_text(encoding="utf-8"))]
    publish(ROWS, table(rows), args.write, above=[*NOTE, ""])
    if args.write:
        print(f"written: docs/validation.md, {len(rows)} rows")
    return 0


if __name__ == "__main__":
    sys.exit(main())
