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
    "calming",
    "viscous",
    "photos",
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


# What the app may use: the front door, what it gives, what shows it, units, refusals and words. Files a command knows
# by name alone; a job also reads and writes them. Types hold what the front gave.
OF_COMMANDS = (
    "portgeo.app", "portgeo.front", "portgeo.results", "portgeo.present", "portgeo.core.errors", "portgeo.core.units",
    "portgeo.core.interrupts", "portgeo.files.disk", "portgeo.files.own_folder", "portgeo.files.sheets.numbers",
)  # fmt: skip
OF_JOBS = (*OF_COMMANDS, "portgeo.files", "portgeo.core.notices", "portgeo.words")
BY_NAME = {"is_sheet", "SHEET_TYPES", "write_mesh", "Port", "JobFile", "read_job"}  # which files they are
TYPES = {"Port", "SplitPort", "FloatArray", "IntArray", "__version__"}
COMPUTES = {"load_port", "port_from_sheet", "meant"}  # of files: what the front reads ports with


def imports(module):
    """Yield the module and the names of every import of the package's own in a module."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "portgeo":
            yield node.module, {alias.name for alias in node.names}


def test_a_command_uses_the_front_door_and_nothing_beneath_it():
    for module in (PACKAGE / "app/commands").glob("*.py"):
        for source, names in imports(module):
            assert source.startswith(OF_COMMANDS) or not names - BY_NAME, f"{module.name}: {source} {names}"


def test_a_job_uses_the_front_door_and_nothing_beneath_it():
    for module in (PACKAGE / "app/job").glob("*.py"):
        for source, names in imports(module):
            assert source.startswith(OF_JOBS) or not names - TYPES, f"{module.name}: {source} {names}"
            assert not names & COMPUTES, f"{module.name}: {source} {names}"


BENEATH = tuple(f"portgeo.{room}" for room in ("measuring", "scan", "comparing", "reshape", "flow"))


def test_the_page_to_type_into_takes_its_figures_by_the_front_door():
    for module in (PACKAGE / "app/live").glob("*.py"):
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith(BENEATH), f"{module.name}: {node.module}"
