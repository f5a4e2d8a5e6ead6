"""Maker of round tubes of several bends, one after the other and in different planes: closed form throughout.

The inner wall of a bend of a round tube is an arc of radius R - d / 2, whatever plane it turns in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Turn:
    """A bend: radius of its centreline, its angle, and the way it goes, 0 to the floor, 90 to the left, degrees."""

    radius: float
    degrees: float
    towards: float = 0.0


@dataclass(frozen=True)
class Chain:
    """A round tube: straight lengths and turns by turns, a straight one first and last."""

    straights: tuple[float, ...]
    turns: tuple[Turn, ...]
    diameter: float = 34.0

    @property
    def width(self) -> tuple[float, float]:
        """At entry and exit."""
        return self.diameter, self.diameter

    height = width

    @property
    def length(self) -> float:
        """Of the centreline."""
        return sum(self.straights) + sum(t.radius * np.radians(t.degrees) for t in self.turns)

    @property
    def volume(self) -> float:
        """Pappus."""
        return np.pi / 4.0 * self.diameter**2 * self.length

    @property
    def inner_radii(self) -> list[float]:
        """Of the inner wall of each bend."""
        return [t.radius - self.diameter / 2.0 for t in self.turns]

    def spine(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Points, headings and ups at stations (n,), the frame not twisted along the line."""
        s = np.asarray(s, dtype=float)
        points, headings, ups = (np.zeros((len(s), 3)) for _ in range(3))
        point, frame, begin = np.zeros(3), np.eye(3), 0.0  # rows: ahead, left, up
        for k, straight in enumerate(self.straights):
            on = s >= begin
            points[on] = point + (s[on] - begin)[:, None] * frame[0]
            headings[on], ups[on] = frame[0], frame[2]
            point, begin = point + straight * frame[0], begin + straight
            if k == len(self.turns):
                break
            turn = self.turns[k]
            way = np.radians(turn.towards)
            inward = -np.cos(way) * frame[2] + np.sin(way) * frame[1]
            axis = np.cross(frame[0], inward)
            on = s >= begin
            angle = np.clip((s[on] - begin) / turn.radius, 0.0, np.radians(turn.degrees))
            arc = np.sin(angle)[:, None] * frame[0] + (1.0 - np.cos(angle))[:, None] * inward
            points[on] = point + turn.radius * arc
            headings[on] = np.cos(angle)[:, None] * frame[0] + np.sin(angle)[:, None] * inward
            ups[on] = [_turned(frame[2], axis, a) for a in angle]
            last = np.radians(turn.degrees)
            point = point + turn.radius * (np.sin(last) * frame[0] + (1.0 - np.cos(last)) * inward)
            frame = np.array([_turned(row, axis, last) for row in frame])
            begin += turn.radius * last
        return points, headings, ups

    def rings(self, s: FloatArray, around: int) -> FloatArray:
        """Points (n, around, 3) on the wall at stations."""
        points, headings, ups = self.spine(s)
        left = np.cross(ups, headings)
        turn = np.arange(around) / around * 2.0 * np.pi
        round_it = np.cos(turn)[:, None] * left[:, None] + np.sin(turn)[:, None] * ups[:, None]
        return points[:, None] + self.diameter / 2.0 * round_it


def _turned(vector: FloatArray, axis: FloatArray, angle: float) -> FloatArray:
    """Rodrigues's rotation."""
    along = (vector @ axis) * axis
    return along + np.cos(angle) * (vector - along) + np.sin(angle) * np.cross(axis, vector)


S_BEND = Chain((40.0, 15.0, 30.0), (Turn(40.0, 60.0), Turn(36.0, 50.0, 180.0)))
TWO_BENDS = Chain((35.0, 30.0, 30.0), (Turn(48.0, 45.0), Turn(34.0, 50.0)))
SIDEWAYS_AND_DOWN = Chain((35.0, 25.0, 30.0), (Turn(45.0, 50.0, 90.0), Turn(36.0, 65.0)))
