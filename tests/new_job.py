"""What `portgeo new` writes, filled in: every example in its comments typed in as if it were a person's own."""

import re

# Of the job and the target these lines; of the sheets all rows.
TYPED = {
    "job.toml": (
        r"name = \"hill", r"valve = ", r"throat = ", r"alloy = ", r"date = 2026-01", r"note = ", r"customer = ",
        r"\[bench\]", r"file = \"bench", r"depression_in_h2o = ", r"\[target\]", r"file = \"target", r"at = ",
    ),
    "target.toml": (
        r"greatest_depth = ", r"blend = ", r"\[short_side\]", r"radius = ", r"\[limits\]", r"least_wall = ",
        r"wall_readings = ",
    ),
}  # fmt: skip


def filled_in(files):
    """Return a new job's files {name: bytes} with their examples taken out of the comments."""
    return {name: _typed(name, data) for name, data in files.items()}


def _typed(name, data):
    if name.endswith(".csv"):
        lines = data.decode().splitlines()
        return "\n".join([*(line.removeprefix("# ") for line in lines[2:-1]), ""]).encode()
    text = data.decode() if name in TYPED else ""
    for line in TYPED.get(name, ()):
        text, count = re.subn(f"(?m)^# (?={line})", "", text)
        assert count == 1, (name, line)
    return text.encode() or data


def fill_in(folder):
    """Fill in a new job's folder."""
    files = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    for name, data in filled_in(files).items():
        (folder / name).write_bytes(data)
    return folder
