"""What the steps of a job make, as it is kept from run to run: plain frozen records of arrays and words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from portgeo.core.plane import FloatArray
    from portgeo.core.port import Port
    from portgeo.core.split import SplitPort
    from portgeo.front.skins import Skin
    from portgeo.present.pictures.model import Model
    from portgeo.results.air import AirThrough
    from portgeo.results.planned import Planned
    from portgeo.results.split import MeasuredSplit
    from portgeo.results.split_air import AirThroughSplit


@dataclass(frozen=True)
class StepInputs:
    """What a step is made of: its settings, the paths and names of its files and earlier results, by role.

    kept : the folder of what a report keeps. on : what it is worked out on. progress : told how far it is.
    """

    settings: Mapping[str, Any]
    paths: Mapping[str, Path]
    names: Mapping[str, str]
    needs: Mapping[str, Any]
    kept: Path
    on: Mapping[str, Any] = field(default_factory=dict)
    progress: Callable[[str, float], None] = lambda what, share: None


@dataclass(frozen=True)
class LeftOut:
    """A step that the job has no data for, and why."""

    why: str


@dataclass(frozen=True)
class Split:
    """A port that splits as it measures, and the skins of its passages by their names, the trunk's first.

    All skins lie in the frame of the passage that is worked on, which is `leg`. A scan's junction is a skin too.
    """

    measured: MeasuredSplit
    leg: str
    skins: tuple[tuple[str, Skin], ...]


@dataclass(frozen=True)
class Part:
    """A port or runner as read, with its skin. split : of a port that splits, of which `port` is one passage."""

    port: Port
    skin: Skin
    split: Split | None = None

    @property
    def whole(self) -> SplitPort | None:
        """The port that splits, None of one passage."""
        return None if self.split is None else self.split.measured.computed.port


@dataclass(frozen=True)
class Compared:
    """A comparison's record; matrix (4, 4) takes AFTER into BEFORE's frame; depth (n,) on AFTER's skin.

    whole : of a port that splits the record of all of it, and depths (n,) on the skins of AFTER's passages by name.
    """

    record: dict[str, Any]
    matrix: FloatArray
    depth: FloatArray
    whole: dict[str, Any] | None = None
    depths: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def removed_cc(self) -> float:
        """Metal that came out, of all of the port."""
        return float((self.whole or self.record)["removed_cc"])


@dataclass(frozen=True)
class Recorded:
    """A record, and a chart of it as PNG where it has one."""

    record: Any
    chart: bytes | None = None


@dataclass(frozen=True)
class LegsFlow:
    """The leg that a job works on, and the air of the whole port, which says the leg's share of the flow."""

    leg: str
    whole: AirThroughSplit

    @property
    def share(self) -> float:
        """The leg's part of the flow."""
        return self.whole.share_of(self.leg)

    @property
    def cfm(self) -> float:
        """What goes through the leg."""
        return self.share * self.whole.flow.cfm


@dataclass(frozen=True)
class StateAir:
    """An air speed, which flow it is of, and speed over mean on the skins. of_leg : what a leg takes of the flow."""

    air: AirThrough
    note: str
    port: FloatArray
    runner: FloatArray | None
    of_leg: LegsFlow | None = None

    @property
    def record(self) -> dict[str, Any]:
        """The air speed as its JSON has it."""
        return self.air.to_dict()


@dataclass(frozen=True)
class Cut:
    """A plan, its text for the bench, and the planned port with its mesh file."""

    planned: Planned
    text: str
    part: Part
    mesh: bytes

    @property
    def record(self) -> dict[str, Any]:
        """The plan as its JSON has it."""
        return self.planned.to_dict()


@dataclass(frozen=True)
class Calm:
    """Cuts that calm the air: the record, a chart of what metal buys, the one chosen (None where there is none).

    speed, area (n,) : speed over mean and section area on the skin of the port that the chosen one leaves.
    """

    record: dict[str, Any]
    cut: Cut | None = None
    chart: bytes | None = None
    speed: FloatArray | None = None
    area: FloatArray | None = None


@dataclass(frozen=True)
class PortsLost:
    """Pressure lost in ports side by side: the record, and pictures: file name, what it shows, PNG."""

    record: dict[str, Any]
    pictures: tuple[tuple[str, str, bytes], ...]


@dataclass(frozen=True)
class BurrReach:
    """A reach's record, and on the skin (n,) from which end it is reached (0 neither ... 3 both)."""

    record: dict[str, Any]
    classes: FloatArray


@dataclass(frozen=True)
class Sheets:
    """Templates as PDF, and how many gauges on how many pages."""

    pdf: bytes
    gauges: int
    pages: int


@dataclass(frozen=True)
class Models:
    """The models of the page."""

    models: tuple[Model, ...]


@dataclass(frozen=True)
class Pictures:
    """Pictures as PNG, by file name."""

    files: tuple[tuple[str, bytes], ...]
