"""Removed metal and depth of cut against sources outside the project.

Formulas are those of any handbook of mensuration; B-rep figures are Open CASCADE's (GProp on
booleans of exact solids), mesh figures manifold3d's and trimesh's, computed here and not stored.
"""

import manifold3d
import numpy as np
import pytest
import trimesh
from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeSphere
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps

from portgeo.comparing.comparison import Comparison, compare_ports
from portgeo.comparing.distance import signed_distance, wall_from
from portgeo.comparing.joint import match
from portgeo.core.port import Port, port_from_readings
from portgeo.core.section import Reading
from tests.compare.shapes import meshed, pushed, solid, straight_readings, with_solid

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


@pytest.fixture(scope="module")
def hollow_compared(dug) -> Comparison:
    return compare_ports(*dug, "none")


def test_hollow_of_a_ball_against_open_cascade(hollow_compared, check):
    """Sphere less cylinder: Open CASCADE's boolean and its exact volume."""
    axis = gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0))
    tube = BRepPrimAPI_MakeCylinder(axis, RADIUS, LENGTH).Shape()
    ball = BRepPrimAPI_MakeSphere(gp_Pnt(LENGTH / 2, 0, -(RADIUS + REACH - BALL)), BALL).Shape()
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(BRepAlgoAPI_Cut(ball, tube).Shape(), properties)
    found = hollow_compared
    what = "ball-shaped hollow in a tube's floor: "
    check(what + "removed, mm3", "Open CASCADE, boolean", found.removed, properties.Mass(), rel=0.005)
    check(what + "deepest, mm", "as made", found.depth.deepest, REACH, abs=0.02)
    check(what + "clock position of the deepest", "as made", found.depth.deepest_clock, 6.0, abs=0.1)
    check(what + "station of the deepest, mm", "as made", found.depth.deepest_station, LENGTH / 2, abs=0.5)


def test_hollow_of_a_ball_against_manifold(dug, hollow_compared, check):
    before, after = dug
    found = hollow_compared
    removed = solid(after) - solid(before)
    what = "ball-shaped hollow in a tube's floor: "
    check(what + "removed, mm3", "manifold3d, boolean", found.removed, removed.volume(), rel=0.005)
    net = solid(after).volume() - solid(before).volume()
    check(what + "net, mm3", "manifold3d, difference of volumes", found.net, net, abs=1e-3)


def test_wall_moved_out_against_mensuration(check):
    """Rounded rectangle: w h - (4 - pi) r^2. One wall is moved out by 2 mm from end to end."""
    # Edges of 1.2 mm would cut 0.03 mm off a corner, in each mesh at other places: half a percent of the removed.
    before = meshed(straight_readings(50.0, 30.0, LENGTH, 6.0), 0.6)
    wider = [
        Reading(row=k, station=s, height=50.0, width=32.0, corner_roof=6.0, corner_floor=6.0, shift=1.0)
        for k, s in enumerate((0.0, LENGTH))
    ]
    # Both are measured from one line, so the one source frame has them in place.
    found = compare_ports(before, meshed(wider, 0.6), "none")
    what, handbook = "left wall moved out by 2 mm: ", "handbook mensuration"
    check(what + "removed, mm3", handbook, found.removed, 2.0 * 50.0 * LENGTH, rel=0.005)
    check(what + "deepest, mm", handbook, found.depth.deepest, 2.0, abs=0.02)
    check(what + "depth on the left wall by station, mm", handbook, found.rows.left[1:-1], 2.0, abs=0.01)
    check(what + "depth on the right wall by station, mm", handbook, found.rows.right[1:-1], 0.0, abs=0.01)
    check(what + "change of area by station, mm2", handbook, found.rows.change, 100.0, rel=0.005)


def test_gaussian_floor_drop_against_its_integral(check):
    """The integral of h exp(-(x/a)^2 - (y/b)^2) over the plane is pi h a b."""
    before = meshed(straight_readings(50.0, 30.0, LENGTH, 6.0), 0.8)
    high, along, across = 2.5, 12.0, 3.0  # the flat floor is 18 mm wide: 0.002 % lies past it

    def hollow(where):
        shape = np.exp(-(((where.station - 50.0) / along) ** 2) - (where.left / across) ** 2)
        return high * shape * (where.up < 0)

    found = compare_ports(before, pushed(before, hollow), "none")
    what, exact = "Gaussian floor drop: ", np.pi * high * along * across
    check(what + "removed, mm3", "integral, pi h a b", found.removed, exact, abs=20.0)
    check(what + "deepest, mm", "as made", found.depth.deepest, high, abs=0.02)


def test_distance_against_trimesh(dug, check):
    before, after = dug
    points = after.vertices[:: max(len(after.vertices) // 400, 1)] + 0.3
    wall = wall_from(before.vertices, before.faces)
    mesh = trimesh.Trimesh(before.vertices, before.faces, process=False)
    own, theirs = signed_distance(wall, points), -trimesh.proximity.signed_distance(mesh, points)
    check("signed distance of points from a wall, mm", "trimesh", own, theirs, abs=1e-9)


def test_joint_of_two_round_openings_against_the_lune(check):
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
    what, lune = "joint of two round openings 1.5 mm apart: ", np.pi * RADIUS**2 - lens
    check(what + "lip, mm2", "handbook mensuration, lune", found.lip.area, lune, rel=0.005)
    check(what + "step away, mm2", "handbook mensuration, lune", found.step.area, lune, rel=0.005)
    check(what + "height of the lip, mm", "as made", found.lip.height, apart, abs=0.01)
    check(what + "clock position of the lip", "as made", found.lip.clock, 3.0, abs=0.1)
