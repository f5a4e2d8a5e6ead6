"""Lofts and surveys against mensuration, Pappus, published fits, Open CASCADE and the GUM."""

from dataclasses import replace

import igl
import manifold3d
import numpy as np
import pytest
import pyvista
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from OCP.Approx import Approx_IsoParametric
from OCP.BRep import BRep_Tool
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepOffsetAPI import BRepOffsetAPI_MakePipe, BRepOffsetAPI_ThruSections
from OCP.collections import HArray1_double, HArray1_gp_Pnt
from OCP.GC import GC_MakeArcOfCircle
from OCP.GeomAbs import GeomAbs_C1
from OCP.GeomAPI import GeomAPI_Interpolate
from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_FACE
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from scipy.special import ellipe

from portgeo.core.centreline import at
from portgeo.core.correspond import quarters
from portgeo.core.plane import fit_circle, moments
from portgeo.core.port import port_from_readings, sections_at
from portgeo.core.section import Reading, area_of, outline_of
from portgeo.core.surface import surface_from_readings
from portgeo.core.triangles import Triangles, volume
from portgeo.core.units import MM_PER_INCH
from portgeo.files.sheets.sheet import read_sheet
from portgeo.measuring import survey
from portgeo.measuring.sheet_uncertainty import from_readings
from tests.conftest import DEMO, elbow_readings

WITHIN = 5e-4  # volume and every area of the closed-form shapes
HANDBOOK, PAPPUS = "handbook mensuration", "Pappus's centroid theorem"


def test_frustum_by_mensuration(check):
    """Handbook mensuration: V = pi h / 12 (D^2 + D d + d^2)."""
    readings = (
        Reading(2, 0.0, shape="round", height=50.0, width=50.0),
        Reading(3, 80.0, shape="round", height=30.0, width=30.0),
    )
    s = survey(port_from_readings(readings))
    exact = np.pi * 80.0 / 12.0 * (2500 + 1500 + 900)
    check("frustum: volume, mm3", HANDBOOK, s.volume, exact, rel=WITHIN)
    diameter = 50.0 - 20.0 * s.stations / 80.0
    check("frustum: area at every station, mm2", HANDBOOK, s.area, np.pi * diameter**2 / 4.0, rel=WITHIN)
    check("frustum: taper, tan of half the cone angle", HANDBOOK, np.tan(s.cone_angle / 2.0), -0.125, rel=WITHIN)
    check("frustum: station of the least area, mm", HANDBOOK, s.least_station, 80.0, abs=0.01)
    assert s.short_side is None


def test_rounded_rectangle_elbow_by_pappus(rect_elbow_survey, check):
    """Pappus's centroid theorem: V = A R t for the turn, A L for the legs; short side R - h / 2."""
    area = 44.0 * 32.0 - (4.0 - np.pi) * 81.0
    turn = np.radians(75.0)
    s = rect_elbow_survey
    what = "rounded-rectangle elbow: "
    check(what + "volume, mm3", PAPPUS, s.volume, area * (58.0 + 22.0 + 40.0 * turn), rel=WITHIN)
    check(what + "area at every station, mm2", HANDBOOK, s.area, area, rel=WITHIN)
    closed = "R - h / 2, R + h / 2"
    check(what + "short side radius, mm", closed, s.short_side.radius, 18.0, rel=0.01)
    check(what + "least short side radius, mm", closed, s.short_side.least_radius, 18.0, rel=0.01)
    check(what + "long side radius, mm", closed, s.long_side.radius, 62.0, rel=0.01)
    check(what + "turn, degrees", "as made", np.degrees(s.short_side.turn), 75.0, abs=0.1)
    # 5 % to 95 % of the change of heading is the middle nine tenths of the arc.
    arc = 40.0 * turn
    found = (s.short_side.station_from, s.short_side.station_to)
    check(what + "ends of the turn, mm", "5 % and 95 % of an arc", found, 58.0 + arc * np.array([0.05, 0.95]), abs=0.4)


@pytest.mark.parametrize("unit", [1.0, MM_PER_INCH])
def test_round_elbow_by_pappus_in_either_unit(unit, check):
    """A 38 mm bore on a 60 mm radius, and one of 1.5 in on 2.25 in."""
    bore, radius, legs = (
        (38.0, 60.0, (40.0, 100.0)) if unit == 1.0 else (1.5 * unit, 2.25 * unit, (1.0 * unit, 2.0 * unit))
    )
    s = survey(port_from_readings(elbow_readings(bore, bore, 0.0, legs, radius, 90.0, "round")))
    area = np.pi * bore**2 / 4.0
    what = f"round elbow, {'38 mm' if unit == 1.0 else '1.5 in'} bore: "
    check(what + "volume, mm3", PAPPUS, s.volume, area * (sum(legs) + radius * np.pi / 2.0), rel=WITHIN)
    check(what + "area at every station, mm2", HANDBOOK, s.area, area, rel=WITHIN)
    check(what + "short side radius, mm", "R - h / 2, R + h / 2", s.short_side.radius, radius - bore / 2.0, rel=0.01)
    wall = np.pi * bore * (sum(legs) + radius * np.pi / 2.0)  # Pappus's first theorem
    check(what + "wetted area, mm2", PAPPUS, s.wetted_area, wall, rel=1e-3)


def test_prismoidal_rule_holds_between_two_rectangles(check):
    """Mensuration: h / 6 (A1 + 4 Am + A2), the middle section's sides being the means (no area stands in between)."""
    readings = (Reading(2, 0.0, height=50.0, width=30.0), Reading(3, 60.0, height=40.0, width=28.0))
    port = port_from_readings(readings)
    exact = 60.0 / 6.0 * (1500.0 + 4.0 * 45.0 * 29.0 + 1120.0)
    check("two rectangles: volume, mm3", "prismoidal rule", volume(port.vertices, port.faces), exact, rel=1e-6)


def test_perimeter_of_an_ellipse(check):
    """4 a E(e^2), by scipy.special.ellipe."""
    rows = [Reading(k + 2, s, shape="oval", height=50.0, width=30.0) for k, s in enumerate((0.0, 40.0))]
    s = survey(port_from_readings(rows))
    exact = 4.0 * 25.0 * ellipe(1.0 - 0.36)
    check("oval 50 x 30: perimeter, mm", "scipy.special.ellipe", s.perimeter, exact, rel=WITHIN)
    check("oval 50 x 30: hydraulic diameter, mm", "4 A / P", s.hydraulic_diameter, 1500.0 * np.pi / exact, rel=WITHIN)


def test_circle_fit_is_the_published_one(check):
    """W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994)."""
    fit = fit_circle(np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=float))
    source = "Gander, Golub, Strebel, BIT 34 (1994)"
    check("least-squares circle: center", source, fit.centre, [4.7398, 2.9835], abs=5e-5)
    check("least-squares circle: radius", source, fit.radius, 4.7142, abs=5e-5)


def test_other_libraries_measure_the_same_mesh_alike(rect_elbow, check):
    """trimesh, pyvista (VTK) and manifold3d on the port's own mesh; igl's distance of a section's points from it."""
    v, f = rect_elbow.vertices, rect_elbow.faces
    own = volume(v, f)
    what = "a port's mesh: "
    check(what + "volume, mm3", "trimesh", own, trimesh.Trimesh(v, f, process=False).volume, rel=1e-9)
    vtk = pyvista.PolyData.from_regular_faces(v, f)
    check(what + "volume, mm3", "pyvista", own, vtk.volume, rel=1e-6)
    solid = manifold3d.Manifold(manifold3d.Mesh64(v, f.astype(np.uint64)))
    check(what + "volume, mm3", "manifold3d", own, solid.volume(), rel=1e-9)
    stations = np.linspace(*rect_elbow.centreline.stations[[0, -1]], 9)[1:-1]
    cuts = sections_at(replace(rect_elbow, mesh=Triangles(v, f)), stations)
    theirs = [vtk.slice(normal=c.frame[0], origin=c.origin).strip().extract_surface(algorithm=None) for c in cuts]
    loops = [loop.points[loop.lines[1:]] for loop in theirs]
    areas = [abs(moments((p[:-1] - c.origin) @ c.frame[1:].T).area) for p, c in zip(loops, cuts, strict=True)]
    check(what + "area of seven slices, mm2", "pyvista", [area_of(c) for c in cuts], areas, rel=1e-6)
    points = np.concatenate([c.origin + c.outline @ c.frame[1:] for c in cuts])
    square, _, _ = igl.point_mesh_squared_distance(points, v, f.astype(np.int64))
    check(what + "sections' points off the mesh, mm", "libigl", np.sqrt(square), 0.0, abs=1e-6)


def test_an_elbow_is_open_cascade_s_pipe(check):
    """Open CASCADE MakePipe: a round face swept along line, arc and line; GProp gives volume and surface."""
    bore, radius, legs = 38.0, 60.0, (40.0, 30.0)
    s = survey(port_from_readings(elbow_readings(bore, bore, 0.0, legs, radius, 90.0, "round")))
    ends = [gp_Pnt(*p) for p in ((0, 0, 0), (legs[0], 0, 0), (legs[0] + radius, 0, -radius))]
    middle = gp_Pnt(legs[0] + radius * np.sin(np.pi / 4), 0, radius * (np.cos(np.pi / 4) - 1))
    last = gp_Pnt(legs[0] + radius, 0, -radius - legs[1])
    wire = BRepBuilderAPI_MakeWire()
    for edge in (
        BRepBuilderAPI_MakeEdge(ends[0], ends[1]),
        BRepBuilderAPI_MakeEdge(GC_MakeArcOfCircle(ends[1], middle, ends[2]).Value()),
        BRepBuilderAPI_MakeEdge(ends[2], last),
    ):
        wire.Add(edge.Edge())
    ring = BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(ends[0], gp_Dir(1, 0, 0)), bore / 2.0)).Edge()
    face = BRepBuilderAPI_MakeFace(BRepBuilderAPI_MakeWire(ring).Wire()).Face()
    pipe = BRepOffsetAPI_MakePipe(wire.Wire(), face).Shape()
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(pipe, properties)
    check("round elbow: volume, mm3", "Open CASCADE, MakePipe", s.volume, abs(properties.Mass()), rel=WITHIN)
    BRepGProp.SurfaceProperties_s(pipe, properties)
    wall = properties.Mass() - np.pi * bore**2 / 2.0
    check("round elbow: wetted area, mm2", "Open CASCADE, MakePipe", s.wetted_area, wall, rel=1e-3)


@settings(max_examples=12, deadline=None)
@given(st.floats(20, 60), st.floats(20, 60), st.floats(2, 9), st.floats(0.01, 0.1))
def test_area_uncertainty_is_the_guide_s(height, width, corner, error):
    """JCGM 100 (first order) against JCGM 101 (Monte Carlo) for A = w h - (4 - pi) corner^2."""
    readings = [
        Reading(k + 2, s, height=height, width=width, corner_roof=corner, corner_floor=corner, error=error)
        for k, s in enumerate((0.0, 40.0))
    ]
    u = from_readings(readings, np.array([0.0, 40.0]))
    # About 100 trials: 7 % each, one in 10^4 past this.
    assert u.area == pytest.approx(np.full(2, first_order(height, width, corner, error)), rel=0.28)


def first_order(height, width, corner, error, zero=0.02):
    """Height and width with errors of their own and one zero, all corners by one template to half of 1/32 in."""
    template = 25.4 / 32.0 / 2.0 / np.sqrt(3.0)
    by_corner = 2.0 * (4.0 - np.pi) * corner * template
    return np.sqrt(error**2 * (height**2 + width**2) + (zero * (height + width)) ** 2 + by_corner**2)


def test_area_uncertainty_of_a_known_section(check):
    """The same on one section, for the table."""
    readings = [
        Reading(k + 2, s, height=44.0, width=32.0, corner_roof=9.0, corner_floor=9.0, error=0.025)
        for k, s in enumerate((0.0, 40.0))
    ]
    u = from_readings(readings, np.array([0.0, 40.0]))
    source = "JCGM 100, first order (ours: JCGM 101)"
    check("rounded rectangle: uncertainty of area, mm2", source, u.area, first_order(44.0, 32.0, 9.0, 0.025), rel=0.28)


def evenly(arc, count=60):
    """Points at equal steps along a polyline: B-splines through them keep to its straight stretches."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(arc, axis=0), axis=1))])
    return np.column_stack([np.interp(np.linspace(0.0, length[-1], count), length, arc[:, k]) for k in range(2)])


def occ_port(readings):
    """The same outlines by Open CASCADE's smooth ThruSections: each quarter one B-spline, one parameter.

    Cubic and once continuous: with more asked of it ThruSections approximates, and misses the
    sections themselves by millimetres.
    """
    surface = surface_from_readings(readings)
    points, frames = at(surface.centreline, surface.stations)
    maker = BRepOffsetAPI_ThruSections(True, False, 1e-6)
    maker.SetContinuity(GeomAbs_C1)
    maker.SetMaxDegree(3)
    maker.SetParType(Approx_IsoParametric)
    for reading, origin, frame in zip(readings, points, frames, strict=True):
        wire = BRepBuilderAPI_MakeWire()
        for arc in quarters(outline_of(reading) + np.array([reading.shift, reading.rise]), reading.row):
            space = origin + evenly(arc) @ frame[1:]
            row, parameter = HArray1_gp_Pnt(1, len(space)), HArray1_double(1, len(space))
            for k, p in enumerate(space):
                row.SetValue(k + 1, gp_Pnt(*map(float, p)))
                parameter.SetValue(k + 1, k / (len(space) - 1.0))
            curve = GeomAPI_Interpolate(row, parameter, False, 1e-6)
            curve.Perform()
            wire.Add(BRepBuilderAPI_MakeEdge(curve.Curve()).Edge())
        maker.AddWire(wire.Wire())
    maker.Build()
    return maker.Shape()


def occ_mesh(shape):
    """A solid's own tessellation by Open CASCADE, 0.003 mm off it at most."""
    BRepMesh_IncrementalMesh(shape, 0.003, False, 0.1, False)
    vertices, faces = [], []
    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        part = BRep_Tool.Triangulation_s(TopoDS.Face(explorer.Current()), TopLoc_Location())
        faces += [[len(vertices) + k - 1 for k in part.Triangle(i + 1).Get()] for i in range(part.NbTriangles())]
        vertices += [(p.X(), p.Y(), p.Z()) for p in (part.Node(i + 1) for i in range(part.NbNodes()))]
        explorer.Next()
    return trimesh.Trimesh(vertices, faces)


@pytest.mark.parametrize("state", ["as-cast", "first-cut"])
def test_the_demo_s_loft_agrees_with_open_cascade(state, check):
    """Open CASCADE ThruSections (smooth), GProp and plane sections of the same outlines, within 0.3 %."""
    readings = read_sheet(DEMO / f"demo-{state}.csv").readings
    port = port_from_readings(readings)
    solid = occ_port(readings)
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, properties)
    what, source = f"demo {state.replace('-', ' ')}: ", "Open CASCADE, ThruSections (smooth)"
    check(what + "volume, mm3", source, volume(port.vertices, port.faces), abs(properties.Mass()), rel=3e-3)
    stations = np.linspace(*port.centreline.stations[[0, -1]], 12)[1:-1]
    points, frames = at(surface_from_readings(readings).centreline, stations)
    mesh = occ_mesh(solid)
    cuts = [mesh.section(plane_origin=p, plane_normal=f[0]).to_2D()[0] for p, f in zip(points, frames, strict=True)]
    theirs = [sum(polygon.area for polygon in cut.polygons_full) for cut in cuts]
    own = [area_of(s) for s in sections_at(port, stations)]
    check(what + "area at ten stations, mm2", source, own, theirs, rel=3e-3)
