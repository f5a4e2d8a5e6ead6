"""A second family of ports, whose shape and truth are Open CASCADE's: a smooth loft of sections along a spline.

The spine is its interpolating B-spline; volume and section areas are of its solid, heights, widths and the inner
wall are where lines meet it. Nothing of portgeo is used. Measured by `sheets_family.as_measured`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
from OCP.BRepGProp import BRepGProp
from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
from OCP.collections import HArray1_gp_Pnt
from OCP.GC import GC_MakeArcOfCircle
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.GeomAdaptor import GeomAdaptor_Curve
from OCP.GeomAPI import GeomAPI_Interpolate
from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Lin, gp_Pln, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

from tests.sheets_family import LOOKED_OVER, tightest_of, usual_of

SECTIONS = 11  # that the solid is lofted through
FINE = 161  # stations at which it is read
AREAS = 41
REACH = 60.0  # mm: farther than any wall


@dataclass(frozen=True)
class SolidPort:
    """A port's truth, mm, mm2, mm3, radians, at `station` (FINE,); floor (FINE, 2) in the plane of the turn."""

    station: np.ndarray
    height: np.ndarray
    width: np.ndarray
    corner: np.ndarray
    heading: np.ndarray
    floor: np.ndarray
    area: np.ndarray
    volume: float

    def tightest(self) -> float:
        return tightest_of(self.floor)

    def usual(self) -> float:
        return usual_of(self.floor, LOOKED_OVER * float(self.height.mean()))


def solid_port(rng: np.random.Generator) -> SolidPort:
    """A random port that turns towards its floor by 40 to 75 degrees."""
    length, turn = rng.uniform(105.0, 140.0), np.radians(rng.uniform(40.0, 75.0))
    # Places along the spine: its turn begins and ends at once, and is fastest half way (Hermite's quintic).
    t = np.linspace(0.0, 1.0, 15)
    begins = rng.uniform(0.12, 0.3)
    x = np.clip((t - begins) / rng.uniform(0.5, 0.65), 0.0, 1.0)
    share = x**3 * (10.0 - 15.0 * x + 6.0 * x * x)
    way = turn * (share[1:] + share[:-1]) / 2.0
    step = length * np.diff(t)[:, None] * np.column_stack([np.cos(way), -np.sin(way)])
    corners = np.vstack([np.zeros(2), np.cumsum(step, axis=0)])
    spine = _spline(corners)
    whole = GCPnts_AbscissaPoint.Length_s(spine)
    s = np.linspace(0.0, whole, SECTIONS)
    change = s / whole
    smooth = change * change * (3.0 - 2.0 * change)
    height = (
        rng.uniform(42.0, 48.0)
        + (rng.uniform(35.0, 39.0) - 45.0) * smooth
        + rng.uniform(-0.8, 0.8) * np.sin(np.pi * change)
    )
    width = rng.uniform(28.0, 32.0) + rng.uniform(4.0, 7.0) * smooth
    corner = rng.uniform(5.0, 8.0) + rng.uniform(2.0, 6.0) * smooth
    loft = BRepOffsetAPI_ThruSections(True, False)
    loft.CheckCompatibility(False)
    for k, at in enumerate(s):
        loft.AddWire(_wire(*_frame(spine, at), height[k], width[k], corner[k]))
    loft.Build()
    solid = loft.Shape()
    return _read(solid, spine, whole, s, corner)


def _read(solid, spine, whole, s, corner) -> SolidPort:
    meet = IntCurvesFace_ShapeIntersector()
    meet.Load(solid, 1e-7)
    station = np.linspace(0.0, whole, FINE)
    height, width, heading, floor, area = [], [], [], [], []
    for k, at in enumerate(station):
        # The ends are read just inside: a line in the plane of an end meets all of it.
        point, ahead, up = _frame(spine, min(max(at, 1e-4), whole - 1e-4))
        low, high = _across(meet, point, up)
        right, left = _across(meet, point, np.array([0.0, 1.0, 0.0]))
        height.append(high - low)
        width.append(left - right)
        heading.append(np.arctan2(-ahead[2], ahead[0]))
        floor.append((point + low * up)[[0, 2]])
        if k % ((FINE - 1) // (AREAS - 1)) == 0:
            area.append(_area(solid, point, ahead))
    inside = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, inside)
    every = np.linspace(0.0, whole, AREAS)
    return SolidPort(
        station,
        np.array(height),
        np.array(width),
        np.interp(station, s, corner),
        np.unwrap(heading) - heading[0],
        np.array(floor),
        np.interp(station, every, area),
        abs(inside.Mass()),
    )


def _spline(corners: np.ndarray) -> GeomAdaptor_Curve:
    points = HArray1_gp_Pnt(1, len(corners))
    for k, (x, z) in enumerate(corners):
        points.SetValue(k + 1, gp_Pnt(float(x), 0.0, float(z)))
    fit = GeomAPI_Interpolate(points, False, 1e-6)
    fit.Perform()
    return GeomAdaptor_Curve(fit.Curve())


def _frame(spine: GeomAdaptor_Curve, at: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Place, heading and up at a length along the spine."""
    u = GCPnts_AbscissaPoint(spine, float(at), spine.FirstParameter()).Parameter()
    point, slope = gp_Pnt(), gp_Vec()
    spine.D1(u, point, slope)
    ahead = np.array([slope.X(), slope.Y(), slope.Z()]) / slope.Magnitude()
    return np.array([point.X(), point.Y(), point.Z()]), ahead, np.cross(ahead, [0.0, 1.0, 0.0])


def _wire(point, ahead, up, height, width, corner):
    """A rounded rectangle square to the spine."""
    left = np.array([0.0, 1.0, 0.0])

    def place(x, y):
        return gp_Pnt(*(float(v) for v in point + x * left + y * up))

    a, b, r = width / 2.0, height / 2.0, corner
    wire = BRepBuilderAPI_MakeWire()
    runs = [((a, b - r), (a, r - b)), ((a - r, -b), (r - a, -b)), ((-a, r - b), (-a, b - r)), ((r - a, b), (a - r, b))]
    middles = [(a - r, r - b), (r - a, r - b), (r - a, b - r), (a - r, b - r)]
    for k, (start, end) in enumerate(runs):
        wire.Add(BRepBuilderAPI_MakeEdge(place(*start), place(*end)).Edge())
        circle = gp_Circ(gp_Ax2(place(*middles[k]), gp_Dir(*(float(-v) for v in ahead))), float(r))
        arc = GC_MakeArcOfCircle(circle, place(*end), place(*runs[(k + 1) % 4][0]), True)
        wire.Add(BRepBuilderAPI_MakeEdge(arc.Value()).Edge())
    return wire.Wire()


def _across(meet, point, way) -> tuple[float, float]:
    """Where a line through a point in the stream first meets the wall on both sides."""
    line = gp_Lin(gp_Pnt(*(float(v) for v in point)), gp_Dir(*(float(v) for v in way)))
    meet.Perform(line, -REACH, REACH)
    found = np.array([meet.WParameter(k + 1) for k in range(meet.NbPnt())])
    return float(found[found < 0.0].max()), float(found[found > 0.0].min())


def _area(solid, point, ahead) -> float:
    plane = gp_Pln(gp_Pnt(*(float(v) for v in point)), gp_Dir(*(float(v) for v in ahead)))
    face = BRepBuilderAPI_MakeFace(plane, -REACH, REACH, -REACH, REACH).Face()
    common = GProp_GProps()
    BRepGProp.SurfaceProperties_s(BRepAlgoAPI_Common(solid, face).Shape(), common)
    return abs(common.Mass())
