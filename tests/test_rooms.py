"""The house: a room of the package imports only from itself and from those that stand before it."""

import ast
from pathlib import Path

import portgeo

PACKAGE = Path(portgeo.__file__).parent
ROOMS = (
    "words",
    "core",
    "measuring",
    "scan",
    "comparing",
    "reshape",
    "flow",
    "results",
    "files",
    "planning",
    "front",
    "present",
    "app",
)


def imported_rooms(module):
    """The rooms, other than none, that a module imports from anywhere in it."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("portgeo."):
            yield node.module.split(".")[1]


def test_a_room_imports_only_from_those_before_it():
    seen = set()
    for module in PACKAGE.rglob("*.py"):
        room = module.relative_to(PACKAGE).with_suffix("").parts[0]
        if room not in ROOMS:
            continue  # the package's own two doors, __init__ and __main__
        seen.add(room)
        later = [other for other in imported_rooms(module) if ROOMS.index(other) > ROOMS.index(room)]
        assert not later, f"{module.relative_to(PACKAGE)} imports from {later}"
    assert seen == set(ROOMS)
