"""Port geometry from measured sections: loft, slice, survey, compare and plan."""

from __future__ import annotations

from importlib import import_module as _import_module

TYPE_CHECKING = False  # as type checkers take it; `typing` itself would be most of the time of this import
if TYPE_CHECKING:
    from typing import Any

    from portgeo.core.errors import GeometryError, InputError, OutputError, PortgeoError
    from portgeo.core.port import Port
    from portgeo.core.section import Section
    from portgeo.core.split import SplitPort
    from portgeo.flow.demand import Engine
    from portgeo.flow.valve import Valve
    from portgeo.front.air import air_speed, bench, beside, demand, engine, valve
    from portgeo.front.calming import calm
    from portgeo.front.cuts import check, gauges, plan, reach
    from portgeo.front.losing import loss
    from portgeo.front.photos import trace, trace_mold
    from portgeo.front.ports import loft, port_from_rows, read, read_split, write
    from portgeo.front.probing import probe
    from portgeo.front.states import balance, compare, match, survey
    from portgeo.results.air import AirThrough, Beside
    from portgeo.results.balanced import Balanced
    from portgeo.results.benched import Benched
    from portgeo.results.calmed import CalmedAir
    from portgeo.results.changed import Changed
    from portgeo.results.changed_split import ChangedSplit
    from portgeo.results.checked import Checked
    from portgeo.results.demanded import Demanded
    from portgeo.results.gauged import Gauged
    from portgeo.results.joined import Joined
    from portgeo.results.lost import PressureLost
    from portgeo.results.measured import Measured
    from portgeo.results.planned import Planned
    from portgeo.results.probed import ProbedAir
    from portgeo.results.reached import Reached
    from portgeo.results.split import MeasuredSplit
    from portgeo.results.split_air import AirThroughSplit
    from portgeo.results.traced import TracedSlices
    from portgeo.results.traced_mold import TracedMoldSheet

__all__ = [
    "AirThrough", "AirThroughSplit", "Balanced", "Benched", "Beside", "CalmedAir", "Changed", "ChangedSplit",
    "Checked", "Demanded", "Engine", "Gauged", "GeometryError", "InputError", "Joined", "Measured", "MeasuredSplit",
    "OutputError", "Planned", "Port", "PortgeoError", "PressureLost", "ProbedAir", "Reached", "Section", "SplitPort",
    "TracedMoldSheet", "TracedSlices", "Valve", "air_speed", "balance", "bench", "beside", "calm", "check", "compare",
    "demand", "engine", "gauges", "loft", "loss", "match", "plan", "port_from_rows", "probe", "reach", "read",
    "read_split", "survey", "trace", "trace_mold", "valve", "write",
]  # fmt: skip
__version__ = "0.2.0"

_WHERE = {
    "core.errors": ("GeometryError", "InputError", "OutputError", "PortgeoError"),
    "core.port": ("Port",),
    "core.section": ("Section",),
    "core.split": ("SplitPort",),
    "flow.demand": ("Engine",),
    "flow.valve": ("Valve",),
    "front.air": ("air_speed", "bench", "beside", "demand", "engine", "valve"),
    "front.calming": ("calm",),
    "front.cuts": ("check", "gauges", "plan", "reach"),
    "front.losing": ("loss",),
    "front.photos": ("trace", "trace_mold"),
    "front.ports": ("loft", "port_from_rows", "read", "read_split", "write"),
    "front.probing": ("probe",),
    "front.states": ("balance", "compare", "match", "survey"),
    "results.air": ("AirThrough", "Beside"),
    "results.balanced": ("Balanced",),
    "results.benched": ("Benched",),
    "results.calmed": ("CalmedAir",),
    "results.changed": ("Changed",),
    "results.checked": ("Checked",),
    "results.demanded": ("Demanded",),
    "results.gauged": ("Gauged",),
    "results.joined": ("Joined",),
    "results.lost": ("PressureLost",),
    "results.measured": ("Measured",),
    "results.planned": ("Planned",),
    "results.probed": ("ProbedAir",),
    "results.reached": ("Reached",),
    "results.split": ("MeasuredSplit",),
    "results.split_air": ("AirThroughSplit",),
    "results.changed_split": ("ChangedSplit",),
    "results.traced": ("TracedSlices",),
    "results.traced_mold": ("TracedMoldSheet",),
}


def __getattr__(name: str) -> Any:
    """Return what the front door has: loaded when it is first asked for, so that the import itself is quick."""
    for module, names in _WHERE.items():
        if name in names:
            return getattr(_import_module(f"portgeo.{module}"), name)
    raise AttributeError(f"module 'portgeo' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*(name for name in globals() if name.startswith("__")), *__all__])
