"""Copying a runner, a gasket's line and the check of work half done, from files to what is printed.

Every truth is known because it was made: sheets that differ by a stated cut, and scans of one shape
with stated dents in its wall, each with its own noise and in its own pose.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from portgeo.app.cli import main
from portgeo.files.meshes.mesh import read_mesh
from tests.scan import make

NOISE_MM = 0.03
SHAPE = make.Shape()
DENT_MM = 7.0  # length over which a dent fades: depth e^-(distance / this)^2
MM_SHEET = "station_mm,height_mm,width_mm,corner_mm,turn_deg,rise_mm\n"


def _sheet(path, rows):
    path.write_text(MM_SHEET + "".join(",".join(map(str, row)) + "\n" for row in rows), encoding="utf-8")


def _straight(height, width=30.0, corner=6.0):
    """Return rows of a straight port 80 mm long whose roof is at 20 mm; height and width by station."""
    rows = []
    for s in range(0, 81, 10):
        h, w = (value(s) if callable(value) else value for value in (height, width))
        rows.append((s, h, w, corner, 0, 20.0 - h / 2.0))
    return rows


def _lowered(depth, end=80):
    """Return the height of a port 40 mm high whose floor was lowered, most at 40 mm, up to a station."""
    return lambda s: 40.0 + (depth * np.sin(np.pi * s / 80.0) ** 2 if s <= end else 0.0)


def _dented(scan, dents):
    """Return a scan with dents (station, up, depth) in roof (up 1) and floor (up -1) of its entry leg."""
    points = scan.vertices.copy()
    for station, up, depth in dents:
        facing = up * points[:, 2] > 15.0
        fades = np.exp(-((points[:, 0] - station) ** 2 + points[:, 1] ** 2) / DENT_MM**2)
        points[:, 2] += np.where(facing, up * depth * fades, 0.0)
    return replace(scan, vertices=points)


def _dent_cc(depth):
    """Return the volume of a dent: the integral of depth e^-(r / w)^2 over the plane is pi w^2 depth."""
    return np.pi * DENT_MM**2 * depth / 1000.0


def _scanned(path, scan, seed):
    rng = np.random.default_rng(seed)
    found = make.posed(make.roughened(scan, NOISE_MM, rng), make.random_pose(rng))
    trimesh.Trimesh(found.vertices, found.faces, process=False).export(path)


def _run(*words):
    assert main([str(word) for word in words]) == 0


def _record(path):
    return json.loads(path.read_text(encoding="utf-8"))


def _at(record, station):
    return min(record["stations"], key=lambda row: abs(row["station_mm"] - station))


def test_another_runner_is_copied_from_its_sheet(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    _sheet(tmp_path / "port.csv", _straight(40.0))
    _sheet(tmp_path / "good.csv", _straight(_lowered(1.2)))
    (tmp_path / "like.toml").write_text('units = "mm"\n[copy]\nport = "good.csv"\n', encoding="utf-8")
    _run("reshape", "port.csv", "like.toml", "--json", "plan.json", "-q")
    for sheet in ("port", "good"):
        _run("measure", f"{sheet}.csv", "--json", f"{sheet}.json", "-q")
    plan = _record(tmp_path / "plan.json")
    row = _at(plan, 40.0)
    assert row["take_mm"][6] == pytest.approx(1.2, abs=0.01) and abs(row["take_mm"][0]) < 0.005
    assert row["height_after_mm"] == pytest.approx(41.2, abs=0.01)
    made = _record(tmp_path / "good.json")["volume_cc"] - _record(tmp_path / "port.json")["volume_cc"]
    assert plan["removed_cc"] == pytest.approx(made, rel=0.01)
    # The other way about there is nothing to take, and it is said.
    (tmp_path / "back.toml").write_text('units = "mm"\n[copy]\nport = "port.csv"\n', encoding="utf-8")
    _run("reshape", "good.csv", "back.toml", "--json", "back.json", "-q")
    back = _record(tmp_path / "back.json")
    assert back["removed_cc"] < 0.005
    assert any(w["code"] == "smaller_than_today" for w in back["warnings"])


def test_a_sheet_of_work_half_done_tells_what_is_left_missed_and_too_deep(tmp_path, monkeypatch, capsys):
    # Planned: the floor lowered by 1.2 mm. Done: its first half; by mistake 0.6 mm too much at both sides at 20 mm.
    monkeypatch.chdir(tmp_path)
    _sheet(tmp_path / "port.csv", _straight(40.0))
    _sheet(tmp_path / "good.csv", _straight(_lowered(1.2)))
    _sheet(tmp_path / "floor.csv", _straight(_lowered(1.2, end=30)))
    _sheet(tmp_path / "now.csv", _straight(_lowered(1.2, end=30), lambda s: 31.2 if s == 20 else 30.0))
    (tmp_path / "like.toml").write_text('units = "mm"\n[copy]\nport = "good.csv"\n', encoding="utf-8")
    _run("reshape", "port.csv", "like.toml", "--check", "now.csv", "--json", "left.json")
    said = capsys.readouterr().out.splitlines()
    assert said[1].startswith("  left") and said[2].startswith("  do next     floor")
    left = _record(tmp_path / "left.json")
    for sheet in ("good", "floor"):
        _run("measure", f"{sheet}.csv", "--json", f"{sheet}.json", "-q")
    truth = _record(tmp_path / "good.json")["volume_cc"] - _record(tmp_path / "floor.json")["volume_cc"]
    assert left["left_cc"] == pytest.approx(truth, rel=0.05)
    assert left["most_left_mm"] == pytest.approx(1.2, abs=0.02)
    # Both sides, deepest at mid height; nothing else is too deep, and the roof was never to be cut.
    deep = left["too_deep"]
    assert {round(spot["clock_hours"]) % 12 for spot in deep} <= {2, 3, 4, 8, 9, 10} and deep
    assert deep[0]["depth_mm"] == pytest.approx(0.6, abs=0.02)
    assert deep[0]["station_mm"] == pytest.approx(20.0, abs=2.0)
    assert [round(spot["clock_hours"]) for spot in left["missed"]] == [6]
    assert left["missed"][0]["station_mm"] > 36.0
    assert any(abs(row["station_mm"] - 20.0) < 2.0 for row in left["stations"])


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    """Scans of one port before, of one like it that is dented, and of the first half done."""
    folder = tmp_path_factory.mktemp("scans")
    clean = make.tube(SHAPE, 1.5)
    roof, floor, gouge = (22.0, 1, 1.2), (22.0, -1, 1.0), (40.0, 1, 0.7)
    _scanned(folder / "before.stl", clean, 1)
    _scanned(folder / "good.stl", _dented(clean, [roof, floor]), 2)
    _scanned(folder / "half.stl", _dented(clean, [roof, gouge]), 3)
    (folder / "like.toml").write_text('units = "mm"\ngreatest_depth = 3\n[copy]\nport = "good.stl"\n', encoding="utf-8")
    return folder


@pytest.mark.nightly
def test_another_runner_is_copied_from_scans_in_any_pose_and_the_work_checked(scans, monkeypatch):
    monkeypatch.chdir(scans)
    words = ("reshape", "before.stl", "like.toml", "--units-in", "mm", "-q")
    _run(*words, "--json", "plan.json")
    plan = _record(scans / "plan.json")
    # Two scans' noise together, averaged over a few facets, is some 0.02 mm; 0.05 is what two poses leave too.
    assert plan["deepest"]["depth_mm"] == pytest.approx(1.2, abs=0.05)
    assert plan["deepest"]["station_mm"] == pytest.approx(22.0, abs=1.5)
    assert plan["removed_cc"] == pytest.approx(_dent_cc(1.2) + _dent_cc(1.0), rel=0.08)
    for row in plan["stations"]:
        if row["station_mm"] > 50.0:
            assert max(row["take_mm"]) == 0.0  # no cut is planned on noise
    _run(*words, "--check", "half.stl", "--json", "left.json")
    left = _record(scans / "left.json")
    assert left["left_cc"] == pytest.approx(_dent_cc(1.0), rel=0.12)
    assert left["most_left_mm"] == pytest.approx(1.0, abs=0.06)
    missed, deep = left["missed"], left["too_deep"]
    assert len(missed) == 1 and missed[0]["clock_hours"] == pytest.approx(6.0, abs=0.4)
    assert missed[0]["station_mm"] == pytest.approx(22.0, abs=2.0)
    assert len(deep) == 1 and deep[0]["depth_mm"] == pytest.approx(0.7, abs=0.06)
    assert deep[0]["station_mm"] == pytest.approx(40.0, abs=2.0)
    assert min(deep[0]["clock_hours"], 12.0 - deep[0]["clock_hours"]) < 0.4


@pytest.mark.nightly
def test_work_that_is_all_done_has_nothing_left_though_both_are_scans(scans, monkeypatch):
    monkeypatch.chdir(scans)
    clean = make.tube(SHAPE, 1.5)
    _scanned(scans / "done.stl", _dented(clean, [(22.0, 1, 1.2), (22.0, -1, 1.0)]), 9)
    _run("reshape", "before.stl", "like.toml", "--units-in", "mm", "--check", "done.stl", "--json", "done.json", "-q")
    done = _record(scans / "done.json")
    assert done["left_cc"] < 0.01 and not done["missed"] and not done["too_deep"]


def test_a_scans_roughness_is_no_short_side(scans, monkeypatch):
    # The inside of the shape's turn is some 18 mm in radius, between stations 50 and 100. Every bump of a rough
    # wall is tighter than 20 mm: none of them may be cut as a short side, or keep its arc from the turn.
    monkeypatch.chdir(scans)
    text = 'units = "mm"\n[short_side]\nradius = 20\nfrom = 40\nto = 112\n'
    (scans / "round.toml").write_text(text, encoding="utf-8")
    _run("reshape", "before.stl", "round.toml", "--units-in", "mm", "--out", "round", "-q")
    plan = _record(scans / "round" / "plan.json")
    assert plan["short_side"]["radius_mm"] == 20.0
    assert 42.0 < plan["short_side"]["station_from_mm"] < 60.0
    assert 90.0 < plan["short_side"]["station_to_mm"] < 110.0
    assert not any(w["code"] in ("short_side_missed", "boss_kept", "boss_left_out") for w in plan["warnings"])
    found = _record(scans / "round" / "target-survey.json")["short_side"]
    assert found["radius_mm"] == pytest.approx(20.0, abs=max(0.4, 2.0 * found["radius_u_mm"]))
    assert all(max(row["take_mm"]) < 0.05 for row in plan["stations"] if not 40.0 < row["station_mm"] < 112.0)


GASKET = "-15.5,-21.2\n15.5,-21.2\n15.5,21.2\n-15.5,21.2\n-15.5,-21.2\n"
GASKET_TARGET = """units = "mm"
greatest_depth = 4
[[area]]
station = 0
area = 1500
[limits]
gasket = "gasket.csv"
"""


def _entry(path):
    """Return the width and height of a mesh's entry, of the points within 0.2 mm of x = 0."""
    points = read_mesh(path, unit="mm").vertices
    return np.ptp(points[np.abs(points[:, 0]) < 0.2][:, 1:], axis=0)


def test_a_gaskets_line_stops_the_cut_and_is_named(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    _sheet(tmp_path / "port.csv", _straight(40.0))
    (tmp_path / "gasket.csv").write_text(GASKET, encoding="utf-8")
    (tmp_path / "wanted.toml").write_text(GASKET_TARGET, encoding="utf-8")
    _run("reshape", "port.csv", "wanted.toml", "--out", "plan")
    assert "gasket line stops the cut" in " ".join(capsys.readouterr().out.split())
    # The gasket's opening is 31 by 42.4: 0.5 mm each side, 1.2 each at roof and floor. The middle of the port's
    # opening is its own, whatever its place in the frame.
    width, height = _entry(tmp_path / "plan" / "target.stl")
    assert width == pytest.approx(31.0, abs=0.01) and height == pytest.approx(42.4, abs=0.01)
    stop = _record(tmp_path / "plan" / "plan.json")["limits"][0]
    assert stop["name"] == "gasket line" and stop["station_mm"] == 0.0
    assert stop["costs_percent"] == pytest.approx(stop["area_missed_percent"], abs=0.5)


def test_a_gaskets_line_holds_on_a_scan_in_any_pose(tmp_path, monkeypatch):
    # The entry is 32 by 46; the gasket leaves 0.5 mm at each side and 0.6 at roof and floor.
    monkeypatch.chdir(tmp_path)
    _scanned(tmp_path / "port.stl", make.tube(SHAPE, 1.5), 4)
    text = "-16.5,-23.6\n16.5,-23.6\n16.5,23.6\n-16.5,23.6\n-16.5,-23.6\n"
    (tmp_path / "gasket.csv").write_text(text, encoding="utf-8")
    (tmp_path / "wanted.toml").write_text(GASKET_TARGET.replace("1500", "1800"), encoding="utf-8")
    _run("reshape", "port.stl", "wanted.toml", "--units-in", "mm", "--out", "plan", "-q")
    plan = _record(tmp_path / "plan" / "plan.json")
    row = _at(plan, 0.0)
    assert row["width_after_mm"] == pytest.approx(33.0, abs=0.02)
    assert row["height_after_mm"] == pytest.approx(47.2, abs=0.02)
    # What is taken there differs from 0.5 and 0.6 by the roughness of the scan.
    assert np.array(row["take_mm"])[[3, 9]] == pytest.approx(0.5, abs=4 * NOISE_MM)
    assert np.array(row["take_mm"])[[0, 6]] == pytest.approx(0.6, abs=4 * NOISE_MM)
    assert plan["limits"][0]["name"] == "gasket line"
