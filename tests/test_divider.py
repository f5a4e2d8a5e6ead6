"""The divider between two legs: where its nose stands, its edge's radius, its width.

Truth is closed form: a wedge with a cylinder for a nose that manifold3d takes out of the air, or the widths and shifts
that a sheet was written with.
"""

from dataclasses import replace

import numpy as np
import pytest

import portgeo as pg
from portgeo.core.split import Junction, Leg, SplitPort
from portgeo.core.triangles import Triangles
from portgeo.measuring.divider import BEHIND_MM, divider_in, dividers_of, views_of
from portgeo.measuring.edge import fit_edge
from portgeo.present.text.split import split_text
from portgeo.scan import ScanOptions, read_scan
from tests.scan import make, molds
from tests.scan.dividers import Divided
from tests.test_split import SHEET, box, split_port


def rounded_wedge(radius, half, far, step):
    """Points over a rounded wedge along x whose tip is at zero: an arc, and flanks that touch it."""
    turned = np.linspace(np.pi / 2.0 + half, 1.5 * np.pi - half, max(round(3.0 * radius / step), 2))
    arc = np.column_stack([radius + radius * np.cos(turned), radius * np.sin(turned)])
    along = np.arange(far, 0.0, -step)
    flank = np.outer(along, (np.cos(half), np.sin(half)))
    return np.vstack([arc[0] + flank, arc, arc[-1] + flank[::-1] * (1.0, -1.0)])


@pytest.mark.parametrize(("radius", "half"), [(0.8, 0.1), (2.0, 0.3), (5.0, 0.0)])
def test_a_rounded_wedge_is_found_in_any_turn(radius, half):
    points = rounded_wedge(radius, half, 12.0, 0.2)
    turn = 0.3
    turned = points @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + (3.0, -1.0)
    fit = fit_edge(turned, int(np.argmin(turned[:, 0])), 16.0)
    assert fit.radius == pytest.approx(radius, rel=1e-3)
    assert fit.half_angle == pytest.approx(half, abs=2e-3)
    assert fit.tip == pytest.approx([3.0, -1.0], abs=2e-3)


def test_a_sharp_edge_has_no_radius():
    points = rounded_wedge(1e-6, 0.3, 12.0, 0.2)
    fit = fit_edge(points, int(np.argmin(points[:, 0])), 16.0)
    assert fit.radius < 0.05


def port_of(shape: Divided, pose=None, noise=0.0, seed=0) -> SplitPort:
    """A port that splits as a scan's: trunk and legs are plain tubes to look from, the mesh is the divided solid's."""
    pose = np.eye(4) if pose is None else pose
    scan = shape.scan(3.0)
    points = scan.vertices
    if noise:
        points = molds.scanned(scan, noise, np.random.default_rng(seed)).vertices
    whole = Triangles(points @ pose[:3, :3].T + pose[:3, 3], scan.faces)
    split = shape.nose - shape.start
    trunk = [box(2, 0.0, 64.0, 36.0, 17.9), box(3, split, 64.0, 36.0, 17.9)]
    legs = {
        name: [
            box(4, split, 20.0, 24.0, 5.0, shift=side * 17.0),
            box(5, split + 30.0, 20.0, 24.0, 5.0, swing=-side * shape.angle),
        ]
        for name, side in (("left", 1.0), ("right", -1.0))
    }
    made = split_port(trunk, legs)
    back = np.eye(4)
    back[0, 3] = -shape.start
    to_sheet = back @ np.linalg.inv(pose)

    def scanned(port):
        mesh = Triangles(port.vertices, port.faces)
        return replace(port, mesh=mesh, readings=(), frame=port.frame @ to_sheet, noise=noise)

    junction = Junction(whole, np.zeros(3))
    own = made.each(scanned)
    return SplitPort(own.trunk, tuple(Leg(leg.name, leg.port) for leg in own.legs), {}, junction=junction, whole=whole)


@pytest.mark.parametrize("shape", [Divided(), Divided(radius=4.0, rake=0.25)])
def test_a_scans_edge_is_the_cylinder_that_it_was_made_of(shape):
    """Radius and width of the wedge are closed form; raked, the edge stands farther on with every height."""
    (divider,) = dividers_of(port_of(shape))
    assert divider.radius == pytest.approx(shape.radius, abs=0.01)
    assert divider.width == pytest.approx(shape.width(BEHIND_MM), abs=0.02)
    # Turned about the nose's own level, the edge stands farther on by the tangent of its rake.
    ahead = shape.nose + divider.nose[2] * np.tan(shape.rake)
    assert divider.nose[0] == pytest.approx(ahead, abs=0.01)
    assert divider.nose[1] == pytest.approx(0.0, abs=0.01)


def test_it_is_found_in_any_pose():
    pose = make.random_pose(np.random.default_rng(3))
    shape = Divided(radius=1.5)
    (divider,) = dividers_of(port_of(shape, pose))
    nose = np.linalg.inv(pose) @ [*divider.nose, 1.0]
    assert nose[:2] == pytest.approx([shape.nose, 0.0], abs=0.01)
    assert divider.radius == pytest.approx(1.5, abs=0.01)


@pytest.mark.nightly
def test_noise_is_within_twice_the_doubt():
    """Waves and white noise as scanners have them (tests/scan/molds.py); 20 scans, read from the mesh on."""
    off = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        shape = Divided(radius=rng.uniform(1.0, 4.0), rake=rng.uniform(-0.2, 0.2), half_angle=rng.uniform(0.05, 0.15))
        scan = molds.scanned(shape.scan(1.6), 0.03, rng)
        scan = make.posed(scan, make.random_pose(rng))
        (divider,) = dividers_of(read_scan(scan.vertices, scan.faces, ScanOptions()))
        off.append(
            [
                (divider.radius - shape.radius) / divider.radius_u,
                (divider.width - shape.width(BEHIND_MM)) / divider.width_u,
            ]
        )
    off = np.array(off)
    print("bias", off.mean(axis=0), "worst", np.abs(off).max(axis=0))
    assert (np.abs(off) < 2.0).mean() > 0.9
    assert np.abs(off).max() < 4.0


def test_a_divider_set_back_is_seen_from_where_it_stood():
    before, after = port_of(Divided(nose=4.0)), port_of(Divided(nose=7.5, radius=3.0))
    (view,) = views_of(before)
    one, other = divider_in(before, view), divider_in(after, view)
    assert other.along - one.along == pytest.approx(3.5, abs=0.01)


def write(tmp_path, text=SHEET):
    path = tmp_path / "twin.csv"
    path.write_text(text)
    return pg.read_split(path)


def test_a_sheets_nose_is_flat_as_it_comes(tmp_path):
    """Legs 26 wide whose middles are 14 off the trunk's: 2 x 14 - 26 = 2 mm of metal."""
    (divider,) = dividers_of(write(tmp_path))
    assert (divider.edge, divider.radius) == ("flat", None)
    assert divider.nose_width == pytest.approx(2.0, abs=0.01)
    assert divider.nose == pytest.approx([30.0, 0.0, 0.0], abs=1e-3)
    # Two shifts and two half widths of 0.025 each, and the micrometer's zero of 0.02.
    assert divider.width_u == pytest.approx(np.sqrt(2 * 0.025**2 + 2 * 0.0125**2 + 0.02**2), rel=1e-6)


NOSED = SHEET.replace("turn_deg\n", "turn_deg,nose_radius_mm\n").replace("30,,40,60,6,0,0", "30,,40,60,6,0,0,1.5")


def test_a_sheets_nose_has_the_radius_that_was_read(tmp_path):
    (divider,) = dividers_of(write(tmp_path, NOSED))
    assert (divider.edge, divider.radius) == ("read", 1.5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (NOSED.replace("0,,40,60,6,0,0\n", "0,,40,60,6,0,0,1\n", 1), "does not stand here"),
        (NOSED.replace(",1.5", ",31"), "as wide as the port"),
        (NOSED.replace(",1.5", ",-1"), "is negative"),
    ],
)
def test_a_bad_nose_is_one_clear_message(tmp_path, text, says):
    with pytest.raises(pg.PortgeoError, match=says):
        write(tmp_path, text)


def test_three_legs_have_two_dividers(tmp_path):
    trunk = [box(2, 0.0, 90.0), box(3, 30.0, 90.0)]
    legs = {
        name: [box(4, 30.0, 26.0, shift=shift), box(5, 70.0, 26.0)]
        for name, shift in (("b", 0.0), ("a", 30.0), ("c", -31.0))
    }
    dividers = dividers_of(split_port(trunk, legs))
    assert [divider.view.names for divider in dividers] == [("a", "b"), ("b", "c")]
    assert [divider.nose_width for divider in dividers] == pytest.approx([4.0, 5.0], abs=0.01)


def test_what_differs_between_legs_is_more_than_its_doubt(tmp_path):
    """The right leg is 1 mm narrower at its end, 38 high: the throat shows it, the bend that is alike does not."""
    measured = pg.survey(write(tmp_path, NOSED))
    apart = measured.legs_apart
    assert "throat" in apart.differs and "short_side" not in apart.differs
    assert apart.throat_mm2 == pytest.approx(-38.0, abs=0.5)
    assert measured.to_dict()["dividers"][0]["radius_mm"] == 1.5
    text = split_text(measured, "twin.csv")
    assert "nose radius 1.50 ± 0.46 mm" in text and "short side" in text
