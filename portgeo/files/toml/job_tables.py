"""The tables of a job file as pydantic models.

What a TOML reader made of the file comes in, with its unit as context; frozen models with lengths in
millimetres go out, or pydantic's errors, which `job_words` puts into words for the person.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from portgeo.core.errors import InputError
from portgeo.core.units import MM_PER, LengthUnit
from portgeo.files.toml.tables import number_of, shown

NAME_LETTERS, NOTE_LETTERS = 80, 4000
MOST_STATES, MOST_RUNNERS, MOST_TEMPLATES = 24, 24, 60  # of one port; more is a slip, and hours of work
STEM_MM = (1.0, 20.0)
Name = Annotated[str, Field(min_length=1, max_length=NAME_LETTERS)]
Note = Annotated[str, Field(max_length=NOTE_LETTERS)]
Point = tuple[float, float, float]
# Tables that must name their state where there are several: the wall gets thinner from state to state, so
# that readings of another one than the cut starts from would have it go too deep.
STATE_TOLD = {"target": "which state its cut starts from", "walls": "in which state its readings were taken"}


def refuse(what: str, mend: str, key: str | None = None) -> PydanticCustomError:
    """Return an error with its own words. key : where it is, in the table that is being checked."""
    # Words of the user's own must not be read as fields of pydantic's template.
    return PydanticCustomError("refused", "{what}", {"what": what, "mend": mend, "key": key})


class Table(BaseModel):
    """A table: no key is unknown, no text is taken for a number, lengths may name their own unit."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)
    lengths: ClassVar[Mapping[str, tuple[float, float]]] = {}  # key: least and most, mm

    @model_validator(mode="before")
    @classmethod
    def _in_mm(cls, data: Any, info: ValidationInfo) -> Any:
        """Return the table with each of its lengths, `key`, `key_in` or `key_mm`, as `key` in mm."""
        if not isinstance(data, dict) or not cls.lengths:
            return data
        unit: LengthUnit = (info.context or {}).get("unit", "mm")
        found = dict(data)
        for key, (least, most) in cls.lengths.items():
            scales = {key: MM_PER[unit], f"{key}_in": MM_PER["in"], f"{key}_mm": 1.0}
            given = [name for name in scales if name in found]
            if len(given) > 1:
                raise refuse(f"{key} is given twice", "Leave one of the two", given[1])
            for name in given:
                value, scale = found.pop(name), scales[name]
                values = value if isinstance(value, list) else [value]
                of = unit if name == key else name[-2:]
                scaled = [_scaled(each, of, scale, (least, most), name) for each in values]
                found[key] = scaled if isinstance(value, list) else scaled[0]
        return found

    @field_validator("*", mode="before")
    @classmethod
    def _of_a_size(cls, value: Any) -> Any:
        """Refuse a whole number of more digits than a float holds."""
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, int):
                _number(each, "", None)
        return value

    @field_validator("*", mode="after")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        """Refuse text that no person typed: control characters in a name or a note."""
        if isinstance(value, str) and any((ord(c) < 32 and c not in "\n\t\r") or 0x7F <= ord(c) < 0xA0 for c in value):
            raise refuse("there are control characters in the text", "Type it again")
        return value


def _scaled(value: object, unit: str, scale: float, limits: tuple[float, float], key: str) -> float:
    """Return a length of the table in mm. scale : mm in its unit. limits : the least and the most, mm."""
    found = _number(value, unit, key)
    if found is None:
        raise refuse(f"{shown(value)} is not a number", "Write a number such as 1.25, without quotes", key)
    least, most = limits
    if not least <= found * scale <= most:
        between = f"{least / scale:.4g} and {most / scale:.4g}"
        raise refuse(f"{shown(value)} is not between {between}", "Check the number and its unit", key)
    return found * scale


def _number(value: object, unit: str, key: str | None) -> float | None:
    try:
        return number_of(value, unit)
    except InputError as refusal:
        raise refuse(refusal.what, refusal.mend, key) from None


class Engine(Table):
    """What is known of the engine. Lengths mm."""

    lengths = {
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


class Metal(Table):
    """The casting: a named alloy, or its density."""

    alloy: Literal["aluminium", "iron"] | None = None
    density_g_cc: float | None = Field(default=None, gt=0.0, lt=25.0)

    @model_validator(mode="after")
    def _one(self) -> Self:
        if self.alloy is not None and self.density_g_cc is not None:
            raise refuse("alloy and density_g_cc are both given", "Leave one of the two", "density_g_cc")
        return self


class Scan(Table):
    """What can be said of a mesh, as `portgeo measure` takes it."""

    lengths = {"with_stem": STEM_MM}
    units: LengthUnit | None = None
    scale: float | None = Field(default=None, gt=0.0, lt=1000.0)
    shrink_percent: float | None = Field(default=None, ge=-10.0, le=10.0)
    scale_error_percent: float | None = Field(default=None, ge=0.0, le=10.0)
    entry: Point | None = None
    exit: Point | None = None
    up: Point | None = None
    with_stem: float | None = None

    @field_validator("entry", "exit", "up", mode="before")
    @classmethod
    def _point(cls, value: Any) -> Any:
        if value is None:
            return None
        numbers = isinstance(value, list) and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
        if not numbers or len(value) != 3:
            raise refuse(f"{value!r} is not a point", "Write three numbers: [12.0, 0.0, -3.5]")
        return tuple(float(v) for v in value)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.scale is not None and self.shrink_percent is not None:
            raise refuse("scale and shrink_percent are both given", "Leave one of the two", "shrink_percent")
        if self.up is not None and not any(self.up):
            raise refuse("up has no direction", "Write one such as [0, 0, 1]", "up")
        return self


class State(Table):
    """The port, and the runner before it, at one time."""

    name: Name
    date: str | None = None
    note: Note = ""
    port: str
    runner: str | None = None
    port_scan: Scan | None = None
    runner_scan: Scan | None = None
    bench_run: Name | None = None
    align: Literal["none", "auto"] | None = None

    @field_validator("date", mode="before")
    @classmethod
    def _as_text(cls, value: Any) -> Any:
        return value.isoformat() if isinstance(value, datetime.date) else value


class Bench(Table):
    """What the bench gave: a sheet, or one flow."""

    lengths = {"lift": (0.0, 50.0)}
    file: str | None = None
    flow_cfm: float | None = Field(default=None, gt=0.0, lt=5000.0)
    depression_in_h2o: float = Field(default=28.0, ge=1.0, le=100.0)
    lift: float | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.file is None and self.flow_cfm is None:
            raise refuse("there is neither a bench sheet nor a flow", "Give file, or flow_cfm")
        return self


class Planned(Table):
    """The target file, and the state that the cut starts from."""

    file: str
    state: Name | None = None


class Gasket(Table):
    """The gasket's opening at the joint, and the margin that is left to it on purpose."""

    lengths = {"leave": (0.0, 20.0)}
    file: str
    units: LengthUnit | None = None
    leave: float = 0.0
    as_drawn: bool = False


class RunnerSet(Table):
    """The runners to be told apart."""

    files: tuple[str, ...] = Field(min_length=2, max_length=MOST_RUNNERS)
    flows: tuple[float, ...] | None = None
    scan: Scan | None = None

    @field_validator("files", "flows", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        return tuple(value) if isinstance(value, list) else value

    @model_validator(mode="after")
    def _alike(self) -> Self:
        if self.flows is not None and len(self.flows) != len(self.files):
            told = f"{len(self.flows)} flows for {len(self.files)} files"
            raise refuse(told, "Give one flow for each file, in the same order", "flows")
        return self


class Tool(Table):
    """A straight burr in a collet, and the state in which its reach is asked for."""

    lengths = {
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


class Walls(Table):
    """A tester's readings of the wall, and the state in which they were taken."""

    file: str
    state: Name | None = None


class Templates(Table):
    """Where the printed sections stand, mm, and on which paper."""

    lengths = {"at": (0.0, 5000.0)}
    at: tuple[float, ...] | None = None
    paper: Literal["A4", "Letter"] | None = None

    @field_validator("at", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        if not isinstance(value, list) or not 1 <= len(value) <= MOST_TEMPLATES:
            raise refuse(f"{value!r} is not a list of stations", "Write for example [0.5, 1.0, 2.25]")
        return tuple(value)


class Job(Table):
    """A whole job."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    units: LengthUnit
    customer: Note = ""
    engine: Engine | None = None
    metal: Metal = Metal()
    state: tuple[State, ...] = Field(min_length=1, max_length=MOST_STATES)
    bench: Bench | None = None
    target: Planned | None = None
    gasket: Gasket | None = None
    set: RunnerSet | None = None
    tool: Tool | None = None
    walls: Walls | None = None
    templates: Templates = Templates()

    @field_validator("state", mode="before")
    @classmethod
    def _listed(cls, value: Any) -> Any:
        if not isinstance(value, list):
            raise refuse("state is not a list of tables", "Write each state under a line [[state]]")
        return tuple(value)

    @model_validator(mode="after")
    def _names(self) -> Self:
        names = [state.name.strip().casefold() for state in self.state]
        for k, name in enumerate(names):
            if name in names[:k]:
                raise refuse(f"two states are named '{self.state[k].name}'", "Give each its own name", "state")
        if self.target is not None and "planned" in names:
            raise refuse(
                "a state is named 'planned', which is what the target's own port is called",
                "Name it otherwise",
                "state",
            )
        for table in ("target", "tool", "walls"):
            content = getattr(self, table)
            if content is not None and content.state is not None and content.state.strip().casefold() not in names:
                told = ", ".join(state.name for state in self.state)
                raise refuse(
                    f"[{table}] names the state '{content.state}', and there is none", f"Name one of {told}", table
                )
        for table, of in STATE_TOLD.items():
            content = getattr(self, table)
            if content is not None and content.state is None and len(names) > 1:
                what = f"[{table}] does not say {of}, and there are {len(names)} states"
                raise refuse(what, f"Write under [{table}] one of: {self.said_states}", table)
        return self

    @property
    def said_states(self) -> str:
        """Every state as a table names it: state = "as cast", state = "first cut"."""
        return ", ".join(f'state = "{state.name}"' for state in self.state)

    def index(self, name: str | None) -> int:
        """Return the number of a state by its name; the last without one."""
        if name is None:
            return len(self.state) - 1
        return [state.name.strip().casefold() for state in self.state].index(name.strip().casefold())
