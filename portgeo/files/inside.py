"""Names of files that may not lead out of a folder.

A folder and a name from a file come in; a path inside the folder goes out, or a refusal.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

from portgeo.core.errors import InputError

LONGEST, SHOWN = 1000, 60  # letters of a name with its folders, and of one that is longer as it is told


def kept_inside(folder: Path, name: str) -> Path:
    """Return the path of an ordinary file named from a folder.

    Names are written alike on every system: with / between folders. Raises InputError for an
    absolute name, one with .. in it, a link that leads out of the folder, and for no such file.
    """
    if len(name) > LONGEST:
        raise InputError(f"'{name[:SHOWN]}...' is too long for a file's name", hint="Give the file a shorter name")
    windows = PureWindowsPath(name)
    if not name.strip() or any(ord(letter) < 32 for letter in name):
        raise InputError(f"{name!r} is not the name of a file", hint="Write the file's name, such as port.csv")
    if windows.drive or windows.root or PurePosixPath(name).is_absolute():
        raise InputError(f"'{name}' is not relative to this file's folder", hint="Copy the file there and name it")
    if ".." in windows.parts:
        raise InputError(f"'{name}' leads out of this file's folder", hint="Copy the file there and name it")
    if "\\" in name:
        raise InputError(f"'{name}' has a \\ in it", hint="Write / between a folder and a file")
    path = folder / name
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            raise InputError(f"'{name}' is a link out of this file's folder", hint="Copy the file itself there")
        there, ordinary = path.exists(), path.is_file()
    except (OSError, ValueError, RuntimeError):
        raise InputError(f"'{name}' cannot be opened", hint="Check the name, and that you may read it") from None
    if not there:
        raise InputError(f"there is no file '{name}' beside this one", hint="Check the name and the folder")
    if not ordinary:
        raise InputError(f"'{name}' is not an ordinary file", hint="Name a file")
    return path
