"""Port geometry from measured sections: loft, slice, survey, compare and plan."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from portgeo.front import air_speed, compare, match, port_from_rows, reach, read, survey, write

__all__ = ["air_speed", "compare", "match", "port_from_rows", "reach", "read", "survey", "write"]
__version__ = "0.2.0"


def __getattr__(name: str) -> Any:
    """Return what the front door has: loaded when it is first asked for, so that the import itself is quick."""
    if name in __all__:
        return getattr(import_module("portgeo.front"), name)
    raise AttributeError(f"module 'portgeo' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
