"""Work on files that the system ends, as it does when memory runs out: for workers, which load it by its name."""

import os
from pathlib import Path


def dies(path, args):
    """End this process at the first try; always for a file named 'b'."""
    mark = Path(path).with_suffix(".died")
    if not mark.exists() or Path(path).stem == "b":
        mark.touch()
        os._exit(9)
    return ["kept", "done"]


def same(path):
    """A hash of contents that never change."""
    return "kept"
