"""Port geometry from measured sections: loft, slice, survey, compare and plan."""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # as type checkers take it; `typing` itself would be most of the time of this import
if TYPE_CHECKING:
    from typing import Any

    from portgeo.front.air import air_speed, bench, beside, demand, engine, valve
    from portgeo.front.calming import calm
    from portgeo.front.cuts import check, gauges, plan, reach
    from portgeo.front.losing import loss
    from portgeo.front.photos import trace, trace_mold
    from portgeo.front.ports import loft, port_from_rows, read, read_split, write
    from portgeo.front.probing import probe
    from portgeo.front.states import balance, compare, match, survey

__all__ = [
    "air_speed", "balance", "bench", "beside", "calm", "check", "compare", "demand", "engine", "gauges", "loft",
    "loss", "match", "plan", "port_from_rows", "probe", "reach", "read", "read_split", "survey", "trace", "trace_mold",
    "valve", "write",
]  # fmt: skip
__version__ = "0.2.0"

_WHERE = {
    "air": ("air_speed", "bench", "beside", "demand", "engine", "valve"),
    "calming": ("calm",),
    "cuts": ("check", "gauges", "plan", "reach"),
    "losing": ("loss",),
    "photos": ("trace", "trace_mold"),
    "ports": ("loft", "port_from_rows", "read", "read_split", "write"),
    "probing": ("probe",),
    "states": ("balance", "compare", "match", "survey"),
}


def __getattr__(name: str) -> Any:
    """Return what the front door has: loaded when it is first asked for, so that the import itself is quick."""
    for module, names in _WHERE.items():
        if name in names:
            return getattr(import_module(f"portgeo.front.{module}"), name)
    raise AttributeError(f"module 'portgeo' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
