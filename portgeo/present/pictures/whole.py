"""All passages of a port that splits as one model: painted by section area, and by which passage it is.

Their skins and surveys come in; one Model goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Protocol

import numpy as np

from portgeo.core.plane import FloatArray, IntArray
from portgeo.present.pictures.model import Model, Paint, Part


class Net(Protocol):
    """A wall as a net: vertices (n, 3), faces (m, 3), stations and clock hours (n,)."""

    @property
    def vertices(self) -> FloatArray: ...
    @property
    def faces(self) -> IntArray: ...
    @property
    def stations(self) -> FloatArray: ...
    @property
    def clocks(self) -> FloatArray: ...


def whole_model(
    stage: str,
    nets: Sequence[tuple[str, Net]],
    surveys: Mapping[str, Any],
    part: Part,
    depths: Mapping[str, FloatArray] = MappingProxyType({}),
) -> Model:
    """Return passages, by their names and in one frame, as one model. surveys : of those that have sections.

    depths : of the cut (n,) on the nets, where the port was compared with what it was.
    """
    areas: list[FloatArray] = []
    for name, net in nets:
        survey = surveys.get(name)  # a scan's junction has none
        none = np.full(len(net.vertices), np.nan)
        areas.append(none if survey is None else np.interp(net.stations, survey.fine_stations, survey.fine_area))
    counts = [len(net.vertices) for _, net in nets]
    which = np.repeat(np.arange(len(nets), dtype=float), counts)
    label = "section area of each passage" + ("; gray: junction" if len(surveys) < len(nets) else "")
    paints: tuple[Paint, ...] = (
        Paint("area", label, np.concatenate(areas), "area", False),
        Paint("passage", "passage", which, "class", False, tuple(name for name, _ in nets)),
    )
    if depths:
        depth = [depths.get(name, np.full(len(net.vertices), np.nan)) for name, net in nets]
        paints = (Paint("depth", "depth of cut", np.concatenate(depth), "length", True), *paints)
    firsts = np.cumsum([0, *counts[:-1]])
    faces = np.concatenate([net.faces + first for (_, net), first in zip(nets, firsts, strict=True)])
    vertices, stations, clocks = (
        np.concatenate([getattr(net, name) for _, net in nets]) for name in ("vertices", "stations", "clocks")
    )
    return Model(stage, part, vertices, faces, stations, clocks, paints)
