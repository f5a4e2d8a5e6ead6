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


# What a command may use: the front door, what it gives, what shows it, files by name, units and refusals.
OF_COMMANDS = (
    "portgeo.app", "portgeo.front", "portgeo.results", "portgeo.present", "portgeo.core.errors", "portgeo.core.units",
    "portgeo.core.interrupts", "portgeo.files.disk", "portgeo.files.sheets.numbers",
)  # fmt: skip
BY_NAME = {"is_sheet", "SHEET_TYPES", "write_mesh", "Port", "JobFile", "read_job"}  # which files they are


def test_a_command_uses_the_front_door_and_nothing_beneath_it():
    for module in (PACKAGE / "app/commands").glob("*.py"):
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("portgeo."):
                others = {alias.name for alias in node.names} - BY_NAME
                assert node.module.startswith(OF_COMMANDS) or not others, f"{module.name}: {node.module} {others}"
