"""Removed metal and depth of cut against sources outside the project.

Formulas are those of any handbook of mensuration; B-rep figures are Open CASCADE's (GProp on
booleans of exact solids), mesh figures manifold3d's and trimesh's, computed here and not stored.
"""

import manifold3d
import numpy as np
import pytest
import trimesh
from compare.shapes import meshed, pushed, solid, straight_readings, with_solid
from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps

from portgeo.compare.comparison import compare_ports
from portgeo.compare.distance import signed_distance, wall_from
from portgeo.compare.joint import match
from portgeo.port import Port, port_from_readings
from portgeo.section import Reading

LENGTH, RADIUS = 100.0, 20.0
BALL, REACH = 8.0, 6.0  # a ball of this radius stands out of the floor by this much


def round_tube(edge: float) -> Port:
    rows = [
        Reading(row=k, station=s, shape="round", height=2 * RADIUS, width=2 * RADIUS)
        for k, s in enumerate((0.0, LENGTH))
    ]
    return meshed(rows, edge)


@pytest.fixture(scope="module")
def dug() -> tuple[Port, Port]:
    """A round tube, and the same with a ball-shaped hollow in its floor."""
    before = round_tube(1.2)
    ball = manifold3d.Manifold.sphere(BALL, 96).translate([LENGTH / 2, 0.0, -(RADIUS + REACH - BALL)])
    return before, with_solid(before, solid(before) + ball)


def test_hollow_of_a_ball_against_open_cascade(dug):
    """Sphere less cylinder: Open CASCADE's boolean and its exact volume."""
    axis = gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0))
    tube = BRepPrimAPI_MakeCylinder(axis, RADIUS, LENGTH).Shape()
    ball = BRepPrimAPI_MakeSphere(gp_Pnt(LENGTH / 2, 0, -(RADIUS + REACH - BALL)), BALL).Shape()
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(BRepAlgoAPI_Cut(ball, tube).Shape(), properties)
    found = compare_ports(*dug, "none")
    assert found.removed == pytest.approx(properties.Mass(), rel=0.005, abs=20.0)
    assert found.depth.deepest == pytest.approx(REACH, abs=0.02)
    assert found.depth.deepest_clock == pytest.approx(6.0, abs=0.1)
    assert found.depth.deepest_station == pytest.approx(LENGTH / 2, abs=0.5)


def test_hollow_of_a_ball_against_manifold(dug):
    before, after = dug
    found = compare_ports(before, after, "none")
    removed = solid(after) - solid(before)
    assert found.removed == pytest.approx(removed.volume(), rel=0.005)
    assert found.net == pytest.approx(solid(after).volume() - solid(before).volume(), abs=1e-3)


def test_wall_moved_out_against_mensuration():
    """Rounded rectangle: w h - (4 - pi) r^2. One wall is moved out by 2 mm from end to end."""
    before = meshed(straight_readings(50.0, 30.0, LENGTH, 6.0), 1.2)
    wider = [
        Reading(row=k, station=s, height=50.0, width=32.0, corner_roof=6.0, corner_floor=6.0, shift=1.0)
        for k, s in enumerate((0.0, LENGTH))
    ]
    # Both are measured from one line, so the one source frame has them in place.
    found = compare_ports(before, meshed(wider, 1.2), "none")
    assert found.removed == pytest.approx(2.0 * 50.0 * LENGTH, rel=0.005)
    assert found.depth.deepest == pytest.approx(2.0, abs=0.02)
    middle = found.rows.left[1:-1]
    assert middle == pytest.approx(2.0, abs=0.01)
    assert found.rows.right[1:-1] == pytest.approx(0.0, abs=0.01)
    assert found.rows.change == pytest.approx(100.0, rel=0.005)


def test_gaussian_floor_drop_against_its_integral():
    """The integral of h exp(-(x/a)^2 - (y/b)^2) over the plane is pi h a b."""
    before = meshed(straight_readings(50.0, 30.0, LENGTH, 6.0), 0.8)
    high, along, across = 2.5, 12.0, 3.0  # the flat floor is 18 mm wide: 0.002 % lies past it

    def hollow(where):
        shape = np.exp(-(((where.station - 50.0) / along) ** 2) - (where.left / across) ** 2)
        return high * shape * (where.up < 0)

    found = compare_ports(before, pushed(before, hollow), "none")
    assert found.removed == pytest.approx(np.pi * high * along * across, rel=0.005, abs=20.0)
    assert found.depth.deepest == pytest.approx(high, abs=0.02)


def test_distance_against_trimesh(dug):
    before, after = dug
    points = after.vertices[:: max(len(after.vertices) // 400, 1)] + 0.3
    wall = wall_from(before.vertices, before.faces)
    mesh = trimesh.Trimesh(before.vertices, before.faces, process=False)
    assert signed_distance(wall, points) == pytest.approx(-trimesh.proximity.signed_distance(mesh, points), abs=1e-9)


def test_joint_of_two_round_openings_against_the_lune():
    """Two equal circles of radius r, centres d apart: each lune is pi r^2 less the lens
    2 r^2 acos(d / 2r) - d sqrt(4 r^2 - d^2) / 2 (any handbook of mensuration)."""
    apart = 1.5

    def part(shift: float) -> Port:
        rows = [
            Reading(row=k, station=s, shape="round", height=2 * RADIUS, width=2 * RADIUS, shift=shift)
            for k, s in enumerate((0.0, LENGTH))
        ]
        return port_from_readings(rows)

    found = match(part(0.0), part(apart))
    lens = 2 * RADIUS**2 * np.arccos(apart / (2 * RADIUS)) - apart / 2 * np.sqrt(4 * RADIUS**2 - apart**2)
    assert found.lip.area == pytest.approx(np.pi * RADIUS**2 - lens, rel=0.005)
    assert found.step.area == pytest.approx(found.lip.area, rel=1e-6)
    assert found.lip.height == pytest.approx(apart, abs=0.01)
    assert found.lip.clock == pytest.approx(3.0, abs=0.1)
