"""Before and after of ports that split: all of it, the divider between the legs, and each passage.

Truth is closed form (prisms), and of scans the volume of manifold3d's solids, which share no code with it.
"""

import json

import numpy as np
import pytest
import trimesh

import portgeo as pg
from portgeo.app.cli import main
from portgeo.comparing.split import compare_splits, whole_of
from portgeo.core.split import SplitPort, split_port
from portgeo.scan import ScanOptions, read_scan
from tests.scan import make, molds
from tests.scan.dividers import Divided
from tests.test_divider import port_of
from tests.test_split import box, rounded


def straight(split=30.0, widths=(26.0, 26.0)) -> SplitPort:
    """A prism of 60 by 40 that parts into two straight prisms, up to 80 mm."""
    trunk = [box(2, 0.0, 60.0, corner=6.0), box(3, split, 60.0, corner=6.0)]
    legs = {
        name: [box(4, split, width, corner=6.0, shift=side * 14.0), box(5, 80.0, width, corner=6.0)]
        for name, side, width in (("left", 1.0, widths[0]), ("right", -1.0, widths[1]))
    }
    return split_port(trunk, legs)


def test_a_divider_set_back_and_a_leg_widened_come_to_the_difference_of_the_volumes():
    """Prisms: what the divider held between 30 and 35 mm, and a right leg that is 1 mm wider from there on."""
    before, after = straight(), straight(35.0, (26.0, 27.0))
    found = compare_splits(before, after, "none")
    left, right, trunk = rounded(26.0, 40.0, 6.0), rounded(27.0, 40.0, 6.0), rounded(60.0, 40.0, 6.0)
    divider, widened = 5.0 * (trunk - 2.0 * left), 45.0 * (right - left)
    assert found.removed == pytest.approx(divider + widened, rel=1e-3)
    assert found.added == pytest.approx(0.0, abs=0.5)
    assert found.net == pytest.approx(after.mesh.volume - before.mesh.volume, rel=1e-3)
    assert found.net == pytest.approx(found.removed - found.added + found.below_noise, abs=1e-9)
    (change,) = found.dividers
    assert change.set_back == pytest.approx(5.0, abs=1e-6)
    by_name = dict(zip(found.names, found.passages, strict=True))
    assert by_name["right"].removed == pytest.approx(widened, rel=2e-3)
    assert by_name["left"].removed == by_name["trunk"].removed == pytest.approx(0.0, abs=0.1)
    assert found.between == pytest.approx(divider, rel=1e-3)


def test_the_whole_has_its_openings_and_no_other_flat_face_is_one():
    """The nose's flat face lies in the trunk's last plane, and it is wall."""
    whole = whole_of(straight())
    corners = whole.port.vertices[whole.port.faces[~whole.is_wall]]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2.0
    assert areas.sum() == pytest.approx(rounded(60.0, 40.0, 6.0) + 2.0 * rounded(26.0, 40.0, 6.0), rel=1e-3)
    assert [list(np.round(point[:1], 6)) for point, _ in whole.openings] == [[0.0], [80.0], [80.0]]


@pytest.mark.nightly
def test_another_pose_is_laid_back_and_an_unmoved_divider_stays():
    """One scan twice, the second in another pose: nothing is removed, and the nose is where it was."""
    pose = make.random_pose(np.random.default_rng(5))
    before, after = port_of(Divided()), port_of(Divided(), pose)
    found = compare_splits(before, after, "auto")
    assert found.alignment.to_source @ pose == pytest.approx(np.eye(4), abs=2e-3)
    assert found.dividers[0].set_back == pytest.approx(0.0, abs=0.01)


SHEET = """station_mm,leg,height_mm,width_mm,corner_mm,shift_mm,nose_radius_mm
0,,40,60,6,0,
30,,40,60,6,0,1
30,left,40,26,6,14,
80,left,40,26,6,0,
30,right,40,26,6,-14,
80,right,40,26,6,0,
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "before.csv").write_text(SHEET)
    (tmp_path / "after.csv").write_text(SHEET.replace("30,", "34,").replace("6,0,1\n", "6,0,2.5\n"))
    return tmp_path


def test_compare_says_the_whole_the_divider_and_each_leg(folder, capsys):
    arguments = ["compare", "before.csv", "after.csv", "--stations", "3", "--json", "cut.json", "--csv", "cut.csv"]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert "set back 4.00 ± 0.71 mm" in out
    assert "nose radius 1.00 ± 0.46 mm -> nose radius 2.50 ± 0.46 mm" in out
    result = json.loads((folder / "cut.json").read_text())
    assert result["schema"] == "portgeo.compare/2"
    assert [leg["name"] for leg in result["legs"]] == ["left", "right"]
    (change,) = result["dividers"]
    assert (change["before"]["radius_mm"], change["after"]["radius_mm"]) == (1.0, 2.5)
    assert result["net_cc"] == pytest.approx(result["volume_cc"]["after"] - result["volume_cc"]["before"], abs=1e-6)
    assert (folder / "cut.csv").read_text().startswith("leg,station_mm,")


def test_the_depth_of_all_passages_is_painted_on_one_mesh_and_charted(folder):
    """Of a right leg 1 mm wider on both sides its two walls are purple, and of its corners a part; nothing else is."""
    wide = SHEET.replace("26,6,-14", "28,6,-14").replace("80,right,40,26", "80,right,40,28")
    (folder / "wide.csv").write_text(wide.replace("6,0,1\n", "6,0,\n"))
    words = ["compare", "before.csv", "wide.csv", "--depth-mesh", "d.ply", "--chart", "c.png", "-q"]
    assert main(words) == 0
    mesh = trimesh.load(folder / "d.ply")
    assert mesh.volume == pytest.approx(pg.read_split("wide.csv").mesh.volume, rel=1e-6)
    shade = mesh.visual.vertex_colors[:, :3].astype(int)
    purple = shade[:, 2] - shade[:, 1] > 60  # PuOr's dark end
    assert (mesh.vertices[purple, 1] < 0.1).all() and (mesh.vertices[purple, 0] > 29.9).all()
    painted = mesh.area_faces[purple[mesh.faces].all(axis=1)].sum()
    assert 50.0 * 2.0 * 28.0 < painted < 50.0 * (2.0 * 28.0 + 2.0 * np.pi * 6.0)  # both walls; and the corners
    assert (folder / "c.png").stat().st_size > 0


def test_what_cannot_be_compared_is_one_clear_message(folder, capsys):
    (folder / "named.csv").write_text(SHEET.replace("left", "front").replace("right", "rear"))
    (folder / "single.csv").write_text("station_mm,height_mm,width_mm,corner_mm\n0,40,60,6\n80,40,60,6\n")
    for files, says in (
        (["before.csv", "named.csv"], "BEFORE's legs are left, right, and AFTER's are front, rear"),
        (["before.csv", "single.csv"], "this port splits, and the other is one passage"),
        (["before.csv", "after.csv", "--removed-mesh", "x.stl"], "this is for one passage"),
    ):
        assert main(["compare", *files]) == 2
        assert says in " ".join(capsys.readouterr().err.split())
    with pytest.raises(pg.InputError, match="one of the two splits"):
        pg.compare(pg.read_split("before.csv"), pg.read("single.csv"))


@pytest.mark.nightly
@pytest.mark.parametrize("seed", range(4))
def test_scans_in_any_pose_tell_the_divider_and_the_metal(seed):
    """Set back and rounded between two noisy scans; the truth is of manifold3d's solids and closed form."""
    rng = np.random.default_rng(seed)
    back, radii = rng.uniform(2.0, 6.0), rng.uniform(2.0, 3.5, 2)
    shapes = Divided(radius=radii[0]), Divided(radius=radii[1], nose=4.0 + back)
    ports = []
    for shape in shapes:
        scan = make.posed(molds.scanned(shape.scan(1.6), 0.03, rng), make.random_pose(rng))
        ports.append(read_scan(scan.vertices, scan.faces, ScanOptions()))
    found = compare_splits(*ports, "auto")
    truth = shapes[1].solid().volume() - shapes[0].solid().volume()
    (change,) = found.dividers
    print(
        f"set back {change.set_back:.3f} ± {2 * change.set_back_u:.3f}, true {back:.3f}; net {found.net:.0f} ± "
        f"{2 * found.net_u:.0f}, true {truth:.0f}; removed {found.removed:.0f} ± {2 * found.removed_u:.0f}"
    )
    assert abs(change.set_back - back) < 2.0 * change.set_back_u + 0.02
    assert change.after.radius == pytest.approx(radii[1], abs=3.0 * change.after.radius_u + 0.02)
    assert abs(found.net - truth) < 3.0 * found.net_u
