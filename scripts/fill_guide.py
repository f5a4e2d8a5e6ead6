"""Fill the guide's tables from the code, run its examples and the README's, and write what they print into the pages.

Run from the top of the repository: ``python scripts/fill_guide.py [PAGE.md ...]``. Look at what changed before it
goes in.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.guide import ROOT, folder_of, pages, printed, shown_anew, tables


def main(names: list[str]) -> int:
    status, home = 0, Path.cwd()
    for path in sorted((ROOT / "docs").glob("*.md")):
        if not names or path.name in names:
            path.write_text(tables().filled(path.read_text("utf-8")), "utf-8", newline="\n")
    for path in pages():
        if names and path.name not in names:
            continue
        page = path.read_text("utf-8")
        made = page
        with tempfile.TemporaryDirectory() as folder:
            os.chdir(folder_of(path, Path(folder)))
            for example, got in reversed(list(printed(page))):
                if example.shown is None:
                    continue
                start, end = example.place
                try:
                    made = made[:start] + shown_anew(example.shown, got) + made[end:]
                except LookupError as lost:
                    print(f"{path.name}: $ {example.typed}\n  {lost}\n{got}")
                    status = 1
            os.chdir(home)
        path.write_text(made, "utf-8", newline="\n")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
