"""The passage past poppet valves, all alike: its area at any lift, and which of three passages limits there.

A valve's dimensions and lifts come in, areas go out; millimetres and radians.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.measuring.throat import Throat

MOST_VALVES = 5  # a cylinder's valves of one kind: none has had more
PASSAGES = ("seat, square to its face", "seat, edge to edge", "throat less stem")


@dataclass(frozen=True)
class Valve:
    """A poppet valve on its seat, or several alike that open together.

    head : its diameter at the seat's outer edge. seat_angle : of the face from the plane of the
    head. seat_width : measured radially. throat, stem : diameters. count : how many; areas are of all.
    """

    head: float
    throat: float
    stem: float
    seat_angle: float = np.pi / 4.0
    seat_width: float = 1.5
    count: int = 1


def with_port_throat(valve: Valve, throat: Throat) -> Valve | None:
    """Return a valve over the throat that a port was measured to have, None where that cannot be the valve's.

    It cannot where several valves share the port, where it is wider than the head (the port was not measured as
    far as its throat) or where the stem fills it.
    """
    if valve.count != 1 or not valve.stem < throat.diameter <= valve.head:
        return None
    return replace(valve, throat=throat.diameter)


def check_valve(valve: Valve) -> None:
    """Raise InputError where a valve's dimensions contradict each other."""
    for name, value in (("head", valve.head), ("throat", valve.throat)):
        if not np.isfinite(value) or value <= 0.0:
            raise InputError(f"the valve's {name} diameter is not more than zero", hint="Give its diameter")
    if not 0.0 <= valve.stem < valve.throat:
        raise InputError("the valve's stem does not fit through its throat", hint="Check the stem and throat diameters")
    if valve.throat > valve.head:
        raise InputError(
            f"the throat ({valve.throat:.2f} mm) is larger than the valve ({valve.head:.2f} mm)",
            hint="Check the valve and throat diameters",
        )
    if not 1 <= valve.count <= MOST_VALVES:
        raise InputError(
            f"{valve.count} valves are not possible for one cylinder",
            hint=f"Give how many of them open together, 1 to {MOST_VALVES}",
        )
    if not 0.0 < valve.seat_width < valve.head / 4.0:
        raise InputError(
            f"a seat {valve.seat_width:.2f} mm wide does not go with a valve of {valve.head:.2f} mm",
            hint="Give the width of the seat, measured radially",
        )
    if not np.radians(5.0) <= valve.seat_angle <= np.radians(80.0):
        raise InputError(
            "the seat angle is not between 5 and 80 degrees", hint="Give it from the plane of the head, usually 45"
        )


def passage(valve: Valve, lift: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the least area (n,) of all valves at lifts (n,), and which of PASSAGES (n,) it is.

    Seat to valve the passage is a frustum of a cone. At low lift its side stands square to the face,
    from the seat's inner edge, of length L cos b; when its foot reaches the head's outer edge, at
    L = w / (sin b cos b), it runs from edge to edge; at last the throat less the stem is smaller.
    (Heywood, Internal Combustion Engine Fundamentals, section 6.3, from memory and re-derived.)
    """
    lift = np.asarray(lift, dtype=float)
    width, sine, cosine = valve.seat_width, np.sin(valve.seat_angle), np.cos(valve.seat_angle)
    inner = valve.head - 2.0 * width
    square = np.pi * lift * cosine * (inner + lift * sine * cosine)
    edges = np.pi * (valve.head - width) * np.hypot(lift - width * sine / cosine, width)
    past_edge = lift > width / (sine * cosine)
    seat = np.where(past_edge, edges, square)
    throat = np.pi / 4.0 * (valve.throat**2 - valve.stem**2)
    limits = np.where(seat >= throat, 2, past_edge.astype(np.int64))
    return valve.count * np.minimum(seat, throat), limits


def curtain_area(valve: Valve, lift: FloatArray) -> FloatArray:
    """Return the curtain area (n,) of all valves, head circumference times lift."""
    return valve.count * np.pi * valve.head * np.asarray(lift, dtype=float)


def throat_area(valve: Valve) -> float:
    """Return the area of all throats less their stems'."""
    return float(valve.count * np.pi / 4.0 * (valve.throat**2 - valve.stem**2))
