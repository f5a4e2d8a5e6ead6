"""The models for the page: every state's skin in one frame, painted with all that is known of it.

Skins and results of earlier steps come in; Models with area, depth of cut, speed, wall left and reach
go out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from portgeo.app.job.results import BurrReach, Calm, Compared, Cut, LeftOut, Models, Part, Split, StateAir, StepInputs
from portgeo.core.plane import FloatArray
from portgeo.front.skins import WallReadings, depth_outside, runner_in_port, runners_laid_out, skin_of
from portgeo.present.page.contents import CALM_STATE, PLANNED_STATE
from portgeo.present.pictures.model import Model, Paint
from portgeo.present.pictures.whole import whole_model
from portgeo.results.measured import Measured

ALL_RUNNERS = "all runners"
MOST_AT_ONCE = 3.0  # times the triangles of one port, of all runners together
REACH_NAMES = ("neither end", "the entry", "the exit", "both ends")


@dataclass(frozen=True)
class _Placed:
    """A part with the (4, 4) that takes its port frame into the first state's."""

    part: Part
    pose: FloatArray

    @property
    def points(self) -> FloatArray:
        return moved(self.pose, self.part.skin.vertices)


def moved(pose: FloatArray, points: FloatArray) -> FloatArray:
    """Return points (n, 3) moved by a (4, 4)."""
    return points @ pose[:3, :3].T + pose[:3, 3]


def painted(given: StepInputs) -> Models:
    """Return the models of every state, and of the planned port."""
    settings, needs = given.settings, given.needs
    states = settings["states"]
    ports = _placed(needs, "port", len(states))
    runners = _placed(needs, "runner", len(states))
    cut: Cut | None = needs.get("plan")
    walls = _Walls(given, ports) if settings["walls"] is not None else None
    found = []
    for k, placed in ports.items():
        paints = [_area(needs[f"survey port {k}"], placed.part)]
        paints += _depth(needs, "port", k)
        paints += _speed(needs.get(f"speed {k}"), "port")
        paints += walls.left(placed) if walls else []
        if settings["tool"] == k:
            reached: BurrReach = needs["reach"]
            paints.append(Paint("reach", "reached by the burr from", reached.classes, "class", False, REACH_NAMES))
        found.append(_model(states[k], "port", placed, paints))
        if placed.part.split is not None:
            found.append(_whole(states[k], placed, placed.part.split, _compared_with(needs, "port", k)))
        if k in runners:
            runner = _before(runners, ports, k)
            paints = [_area(needs[f"survey runner {k}"], runner.part)]
            paints += _depth(needs, "runner", k) + _speed(needs.get(f"speed {k}"), "runner")
            found.append(_model(states[k], "runner", runner, paints))
    if cut is not None:
        start = ports[settings["planned"]]
        placed = _Placed(cut.part, start.pose)
        paints = [_area(needs["planned survey"], cut.part), _planned_depth(start, cut)]
        paints += _speed(needs.get("planned speed"), "port")
        paints += walls.left(placed) if walls else []
        found.append(_model(PLANNED_STATE, "port", placed, paints, computed=True))
    calm: Calm | LeftOut | None = needs.get("calm")
    if isinstance(calm, Calm) and calm.cut is not None:
        found.append(_calm(calm, calm.cut, ports[settings["calmed"]], walls))
    return Models(tuple(found))


def _whole(state: str, placed: _Placed, split: Split, compared: Compared | None) -> Model:
    """Return all passages of a port that splits as one model."""
    surveys = {passage.name: passage.measured.computed for passage in split.measured.passages}
    skins = [(name, replace(skin, vertices=moved(placed.pose, skin.vertices))) for name, skin in split.skins]
    return whole_model(state, skins, surveys, "whole", compared.depths if compared else {})


def runners_painted(given: StepInputs) -> Models:
    """Return the runners of a manifold as one model, where they stand in it, painted by their areas."""
    set_of = given.settings
    record, count = given.needs["balance"].record, len(set_of["names"])
    runners = [given.needs[f"set {k}"].port for k in range(count)]
    poses, _ = runners_laid_out(runners, set_of["spacing"], set_of["one_frame"])
    skins = [skin_of(runner, share=min(1.0, MOST_AT_ONCE / count)) for runner in runners]
    stations = np.array([row["station_mm"] for row in record["stations"]])
    areas = np.array([row["area_mm2"] for row in record["stations"]], dtype=float)
    at = [skin.stations - skin.stations.min() for skin in skins]
    area = [np.interp(s, stations, areas[:, k]) for k, s in enumerate(at)]
    mean = [np.interp(s, stations, areas.mean(axis=1)) for s in at]
    firsts = np.cumsum([0, *(len(skin.vertices) for skin in skins)])
    paints = (
        Paint(
            "against the mean", "area over the set's mean", np.concatenate(area) / np.concatenate(mean), "ratio", False
        ),
        Paint("area", "section area", np.concatenate(area), "area", False),
    )
    whole = Model(
        ALL_RUNNERS, "runner", np.concatenate([moved(p, skin.vertices) for p, skin in zip(poses, skins, strict=True)]),
        np.concatenate([skin.faces + first for skin, first in zip(skins, firsts[:-1], strict=True)]),
        np.concatenate(at), np.concatenate([skin.clocks for skin in skins]), paints,
    )  # fmt: skip
    return Models((whole,))


def _calm(calm: Calm, cut: Cut, start: _Placed, walls: _Walls | None) -> Model:
    """Return the model of the port that a cut to calm the air leads to."""
    assert calm.speed is not None and calm.area is not None
    placed = _Placed(cut.part, start.pose)
    paints = [
        _planned_depth(start, cut),
        Paint("speed", "speed over mean", calm.speed, "ratio", False),
        Paint("area", "section area", calm.area, "area", False),
    ]
    return _model(CALM_STATE, "port", placed, paints + (walls.left(placed) if walls else []), computed=True)


def _placed(needs: Any, part: str, count: int) -> dict[int, _Placed]:
    """Return the parts of the states that have one, each laid on the first by the comparisons' alignments."""
    found: dict[int, _Placed] = {}
    pose, before = np.eye(4), None
    for k in range(count):
        this = needs.get(f"{part} {k}")
        if this is None:
            continue
        step: Compared | None = needs.get(f"compare {part} {before} {k}")
        pose = pose if step is None else pose @ step.matrix
        found[k], before = _Placed(this, pose), k
    return found


def _before(runners: dict[int, _Placed], ports: dict[int, _Placed], k: int) -> _Placed:
    """Return a runner where it stands before its port, in the first port's frame.

    Where it is bolted on is told by the first state that has it, so that it does not move from state
    to state with the port's own entry.
    """
    first = min(runners)
    joined = runner_in_port(runners[first].part.port, ports[first].part.port)
    return _Placed(runners[k].part, ports[first].pose @ joined @ runners[k].pose)


def _model(
    state: str, part: Literal["port", "runner"], placed: _Placed, paints: list[Paint], computed: bool = False
) -> Model:
    skin = placed.part.skin
    return Model(state, part, placed.points, skin.faces, skin.stations, skin.clocks, tuple(paints), computed)


def _area(measured: Measured, part: Part) -> Paint:
    survey = measured.computed
    values = np.interp(part.skin.stations, survey.fine_stations, survey.fine_area)
    return Paint("area", "section area", values, "area", False)


def _depth(needs: Any, part: str, k: int) -> list[Paint]:
    found = _compared_with(needs, part, k)
    return [] if found is None else [Paint("depth", "depth of cut", found.depth, "length", True)]


def _compared_with(needs: Any, part: str, k: int) -> Compared | None:
    """Return the comparison of a state with the one just before, which comes first: that with the first comes last."""
    names = (name for name in needs if name.startswith(f"compare {part} ") and name.endswith(f" {k}"))
    return next((needs[name] for name in names), None)


def _planned_depth(start: _Placed, cut: Cut) -> Paint:
    values = depth_outside(start.part.port, cut.part.skin.vertices)
    # Another paint than what was cut: its scale is its own, and a light cut ahead shows after a deep one.
    return Paint("depth to take", "depth to take", values, "length", True)


def _speed(speed: StateAir | LeftOut | None, part: str) -> list[Paint]:
    values = getattr(speed, part, None)
    return [] if values is None else [Paint("speed", "speed over mean", values, "ratio", False)]


class _Walls:
    """Wall readings, on the wall of the state in which they were taken."""

    def __init__(self, given: StepInputs, ports: dict[int, _Placed]) -> None:
        at = ports[given.settings["walls"]]
        self.readings = WallReadings(at.part.port, given.paths["walls"], given.names["walls"])
        self.into: FloatArray = np.linalg.inv(at.pose).astype(np.float64)

    def left(self, placed: _Placed) -> list[Paint]:
        """Return the metal left behind a state's wall, not known (nan) where no reading is near enough."""
        left = self.readings.left(moved(self.into, placed.points))
        return [Paint("wall left", "wall left near the readings; gray: not measured", left, "length", False)]
