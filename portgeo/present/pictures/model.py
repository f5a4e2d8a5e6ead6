"""What the report's page paints in 3D: one state of a port or a runner, and numbers on its skin.

A decimated mesh with stations, clock positions and painted values comes in from whoever measured it;
the page and its pictures read it. All states of a report share one frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from portgeo.core.plane import FloatArray, IntArray

Quantity = Literal["length", "area", "ratio", "class"]
Part = Literal["port", "runner", "whole"]


@dataclass(frozen=True)
class Paint:
    """Numbers on a model's vertices that a person can look at.

    Parameters
    ----------
    name : str
        Which paint it is, the same in every state: depth, speed, wall left, reach, area.
    label : str
        What it is for a person, without its unit: "depth of cut", "speed over mean".
    values : FloatArray
        (n,) at the model's vertices, mm or mm2 where `quantity` is a length or an area; nan: not known.
    quantity : Quantity
        What kind of number it is; a "class" holds 0..k-1, named by `classes`.
    centred : bool
        Whether zero means "neither way", so that the colours part there.
    classes : tuple[str, ...]
        Names of the classes, by value.
    """

    name: str
    label: str
    values: FloatArray
    quantity: Quantity
    centred: bool
    classes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Model:
    """One state's mesh for the page: few enough triangles for a phone, the full mesh lies beside it.

    Parameters
    ----------
    state : str
        Name of the state, as the person gave it.
    part : Part
        The head's port or the manifold's runner; all passages of a port that splits, of which the port is one.
    vertices, faces : FloatArray, IntArray
        (n, 3) mm in the port frame, the same for all states of a part, and (m, 3).
    stations, clocks : FloatArray
        (n,) mm from the entry, and hours 0..12 as seen looking into it.
    paints : tuple[Paint, ...]
        What can be painted on it.
    computed : bool
        Whether nobody measured it: the port that a cut leads to.
    """

    state: str
    part: Part
    vertices: FloatArray
    faces: IntArray
    stations: FloatArray
    clocks: FloatArray
    paints: tuple[Paint, ...]
    computed: bool = False
