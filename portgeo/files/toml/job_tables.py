"""The tables of a job file as pydantic models.

What a TOML reader made of the file comes in, with its unit as context; frozen models with lengths in
millimetres go out, or pydantic's errors, which `job_words` puts into words for the person.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from portgeo.core.units import LengthUnit
from portgeo.files.toml.checked_table import Length, Limits, Table, refuse
from portgeo.files.toml.scan_table import Scan
from portgeo.files.toml.set_table import RunnerSet
from portgeo.files.toml.tables import shown

NAME_LETTERS, NOTE_LETTERS = 80, 4000
MOST_STATES, MOST_TEMPLATES = 24, 60  # of one port; more is a slip, and hours of work
MOST_CORES = 4096
Name = Annotated[str, Field(min_length=1, max_length=NAME_LETTERS)]
Note = Annotated[str, Field(max_length=NOTE_LETTERS)]
# Tables that must name their state where there are several: the wall gets thinner from state to state, so
# that readings of another one than the cut starts from would have it go too deep.
STATE_TOLD = {
    "target": "which stage its cut starts from",
    "walls": "in which stage its readings were taken",
    "probe": "in which stage its readings were taken",
}

# Tables that say nothing of a manifold by itself.
OF_A_STATE = ("bench", "target", "calm", "loss", "gasket", "tool", "walls", "probe")


class Engine(Table):
    """What is known of the engine. Lengths mm."""

    lengths: ClassVar[Limits] = {
        "bore": (10.0, 1000.0), "stroke": (10.0, 1500.0), "rod": (20.0, 3000.0), "valve": (3.0, 300.0),
        "throat": (3.0, 300.0), "stem": (0.5, 60.0), "seat_width": (0.1, 30.0), "max_lift": (0.5, 50.0),
    }  # fmt: skip
    name: Name | None = None
    port: Literal["intake", "exhaust"] = "intake"
    cylinders: int | None = Field(default=None, ge=1, le=64)
    bore: float | None = None
    stroke: float | None = None
    rod: float | None = None
    rpm: float | None = Field(default=None, ge=10.0, le=30000.0)
    valve: float | None = None
    throat: float | None = None
    stem: float = 0.0
    seat_width: float = 1.5
    seat_angle_deg: float = Field(default=45.0, ge=5.0, le=80.0)
    valves: int = Field(default=1, ge=1, le=5)
    max_lift: float | None = None


class Quote(Table):
    """What the shop asks for its time, for the customer's pages."""

    per_hour: float | None = Field(default=None, gt=0.0, le=10000.0)


class Metal(Table):
    """The casting: a named alloy, or its density."""

    alloy: Literal["aluminum", "iron"] | None = None
    density_g_cc: float | None = Field(default=None, gt=0.0, lt=25.0)

    @field_validator("alloy", mode="before")
    @classmethod
    def _as_here(cls, value: Any) -> Any:
        return "aluminum" if value == "aluminium" else value

    @field_validator("density_g_cc")
    @classmethod
    def _one(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("alloy") is not None:
            raise refuse("alloy and density_g_cc are both given", "Leave one of the two")
        return value


class State(Table):
    """The port, and the runner before it, at one time. leg : of a port that splits, what takes one passage is of it."""

    name: Name
    date: str | None = None
    note: Note = ""
    port: str
    runner: str | None = None
    leg: Name | None = None
    port_scan: Scan | None = None
    runner_scan: Scan | None = None
    bench_run: Name | None = None
    hours: float | None = Field(default=None, gt=0.0, le=1000.0)
    align: Literal["none", "auto"] | None = None

    @field_validator("date", mode="before")
    @classmethod
    def _as_text(cls, value: Any) -> Any:
        return value.isoformat() if isinstance(value, datetime.date) else value


class Bench(Table):
    """What the bench gave: a sheet, or one flow."""

    lengths: ClassVar[Limits] = {"lift": (0.0, 50.0)}
    file: str | None = None
    flow_cfm: float | None = Field(default=None, gt=0.0, lt=5000.0)
    depression_in_h2o: float = Field(default=28.0, ge=1.0, le=100.0)
    lift: float | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.file is None and self.flow_cfm is None:
            raise refuse("there is neither a bench sheet nor a flow", "Give file, or flow_cfm")
        return self


class FileOfState(Table):
    """A file, and the state that it is of."""

    file: str
    state: Name | None = None


class Planned(FileOfState):
    """The target file, and the state that the cut starts from."""


class Calm(Table):
    """The cut that slows the air where it is fastest: that it is asked for, and what is said of it.

    limits : a target's file, for how deep and where it may go; without it the job's target, which is of the same state.
    """

    state: Name | None = None
    limits: str | None = None
    metal_cc: float | None = Field(default=None, gt=0.0, lt=1000.0)
    hold_throat: bool = False


class Loss(Table):
    """Pressure lost by a viscous solution: that it is asked for, at which flow, how fine, of which ports.

    states : of the job, "planned", "calm cut"; without them the first, the last and those that are computed.
    """

    lengths: ClassVar[Limits] = {"roughness": (0.0, 5.0)}
    flow_cfm: float | None = Field(default=None, gt=0.0, lt=5000.0)
    flow_lps: float | None = Field(default=None, gt=0.0, lt=2360.0)
    grid: Literal["quick", "usual", "fine"] = "usual"
    roughness: float = 0.0
    cores: int = Field(default=1, ge=1, le=MOST_CORES)
    states: tuple[Name, ...] | None = Field(default=None, min_length=1, max_length=MOST_STATES)

    @field_validator("states", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        return tuple(value) if isinstance(value, list) else value

    @field_validator("flow_lps")
    @classmethod
    def _one(cls, value: float | None, info: ValidationInfo) -> float | None:
        if value is not None and info.data.get("flow_cfm") is not None:
            raise refuse("flow_cfm and flow_lps are both given", "Leave one of the two")
        return value


class Gasket(Table):
    """The gasket's opening at the joint, and the margin that is left to it on purpose."""

    lengths: ClassVar[Limits] = {"leave": (0.0, 20.0)}
    file: str
    units: LengthUnit | None = None
    leave: float = 0.0
    as_drawn: bool = False


class Tool(Table):
    """A straight burr in a collet, and the state in which its reach is asked for."""

    lengths: ClassVar[Limits] = {
        "head": (0.5, 100.0), "head_length": (0.5, 200.0), "shank": (0.5, 50.0), "collet": (1.0, 100.0),
        "length": (5.0, 1000.0), "grip": (0.0, 500.0),
    }  # fmt: skip
    head: float
    head_length: float | None = None
    shank: float
    collet: float = 19.05
    length: float
    grip: float = 25.4
    state: Name | None = None

    @property
    def free_length(self) -> float:
        """From the collet's nose to the tip."""
        return self.length - self.grip

    @model_validator(mode="after")
    def _possible(self) -> Self:
        long = self.head if self.head_length is None else self.head_length
        if self.shank > self.head:
            raise refuse("the shank is thicker than the head", "Check head and shank", "shank")
        if long < self.head or self.free_length <= long:
            what = "the head is longer than the free length or shorter than it is thick"
            raise refuse(what, "Check head_length, length and grip", "head_length" if self.head_length else "length")
        return self


class Walls(FileOfState):
    """A tester's readings of the wall, and the state in which they were taken."""


class Probe(FileOfState):
    """A pitot tube's readings in the port, and the state in which they were taken."""


class Templates(Table):
    """Where the printed sections stand, mm, and on which paper."""

    lengths: ClassVar[Limits] = {"at": (0.0, 5000.0)}
    at: tuple[float, ...] | None = None
    paper: Literal["A4", "Letter"] | None = None

    @field_validator("at", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        """Refuse what is no list, before its lengths are looked at."""
        given = value.value if isinstance(value, Length) else value
        few = isinstance(given, list) and not 1 <= len(given) <= MOST_TEMPLATES
        if few or isinstance(given, int | float | dict):
            raise refuse(f"{shown(given)} is not a list of stations", "Write for example [0.5, 1.0, 2.25]")
        return value


class Job(Table):
    """A whole job."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    units: LengthUnit
    customer: Note = ""
    engine: Engine | None = None
    metal: Metal = Metal()
    state: tuple[State, ...] = Field(default=(), max_length=MOST_STATES)
    bench: Bench | None = None
    target: Planned | None = None
    calm: Calm | None = None
    loss: Loss | None = None
    gasket: Gasket | None = None
    set: RunnerSet | None = None
    tool: Tool | None = None
    walls: Walls | None = None
    probe: Probe | None = None
    templates: Templates = Templates()
    quote: Quote | None = None

    @field_validator("state", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        if not isinstance(value, list | tuple):
            raise refuse("stage is not a list of tables", "Write each stage under a line [[stage]]")
        return tuple(value)

    @model_validator(mode="after")
    def _of_something(self) -> Self:
        """Refuse a job of nothing: it is of a port in its states, of a manifold's runners, or of both."""
        if self.state:
            return self
        if self.set is None:
            raise refuse("stage is missing", "Add a line [[stage]] and its keys", "state")
        for table in OF_A_STATE:
            if getattr(self, table) is not None:
                said = f"[{table}] is of a port, and there is no [[stage]]"
                raise refuse(said, f"Add a [[stage]] with the port, or leave out [{table}]", table)
        return self

    @property
    def said_states(self) -> str:
        """Every state as a table names it: state = "as cast", state = "first cut"."""
        return said_states([state.name for state in self.state])

    def index(self, name: str | None) -> int:
        """Return the number of a state by its name; the last without one."""
        if name is None:
            return len(self.state) - 1
        return [state.name.strip().casefold() for state in self.state].index(name.strip().casefold())

    @property
    def other_ports(self) -> int | None:
        """How many more ports like this one the engine has, one a cylinder; None where its cylinders are not given."""
        return self.engine.cylinders - 1 if self.engine is not None and self.engine.cylinders else None

    @property
    def calmed_state(self) -> int:
        """The number of the state whose air is to be calmed: the one named, else the target's, else the last."""
        named = self.calm.state if self.calm is not None else None
        return self.index(named or (self.target.state if self.target is not None else None))


def said_states(names: Sequence[str]) -> str:
    """Return states as a table names them."""
    return ", ".join(f'stage = "{name}"' for name in names)
