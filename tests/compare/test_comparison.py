"""Known cuts come back: how much, how deep and where, on clean meshes and on noisy ones in any pose."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portgeo.comparing.comparison import Comparison, compare_ports
from portgeo.comparing.depth_map import Spot
from portgeo.comparing.solids import faulty, removed_mesh
from portgeo.comparing.tube import places, walled
from portgeo.comparing.wedges import arrays_of, wedges
from portgeo.core.errors import GeometryError
from portgeo.core.port import Port, port_from_readings
from portgeo.core.triangles import Triangles, volume
from portgeo.core.units import Display
from portgeo.results.changed import Changed
from tests.conftest import elbow_readings

from .shapes import (
    IN,
    gaussian_floor,
    heavy_floor,
    invented_readings,
    meshed,
    noisy,
    posed,
    pushed,
    smooth,
    solid,
    straight_readings,
)


@pytest.fixture(scope="module")
def before() -> Port:
    return meshed(invented_readings(), 1.2)


@pytest.fixture(scope="module")
def after() -> Port:
    return meshed(invented_readings(), 1.1, 0.4)


@pytest.fixture(scope="module")
def dug(before) -> Comparison:
    """A hollow in the floor, in one frame, on clean meshes."""
    return compare_ports(before, pushed(before, gaussian_floor), "none")


@pytest.mark.parametrize("cut", [gaussian_floor, heavy_floor])
def test_deepest_of_two_clean_meshes_is_within_its_uncertainty(before, after, cut):
    """Another mesh of the same wall, whose points stand over the flats of the first."""
    found = compare_ports(before, pushed(after, cut), "none")
    assert abs(found.depth.deepest - 2.5) < 2.0 * found.depth_u < 0.05


@pytest.mark.parametrize(("off", "words"), [((0, 200, 0), "apart on average"), ((500, 0, 0), "nothing to compare")])
def test_two_that_lie_apart_are_refused(before, after, off, words):
    frame = after.frame.copy()
    frame[:3, 3] += off
    with pytest.raises(GeometryError, match=words):
        compare_ports(before, replace(after, frame=frame), "none")


def true_volume(port: Port, cut) -> float:
    """Removed volume, mm3, of a cut on the mesh it was made on: manifold3d's."""
    return solid(pushed(port, cut)).volume() - solid(port).volume()


@pytest.mark.parametrize("cut", [gaussian_floor, heavy_floor])
def test_clean_cut_in_one_frame(before, cut):
    found = compare_ports(before, pushed(before, cut), "none")
    true = true_volume(before, cut)
    assert found.removed == pytest.approx(true, rel=0.005, abs=20.0)
    assert found.net == pytest.approx(true, abs=1e-6 * found.before_volume)
    assert found.added == pytest.approx(0.0, abs=1.0)
    assert found.depth.deepest == pytest.approx(2.5, abs=0.02)


@pytest.mark.parametrize("cut", [gaussian_floor, heavy_floor])
def test_noisy_cut_in_any_pose(before, after, cut):
    ported, _ = posed(noisy(pushed(after, cut), 0.03, 1), seed=9)
    found = compare_ports(noisy(before, 0.03, 2), ported)
    true = true_volume(after, cut)
    assert abs(found.removed - true) < max(0.02 * true, 50.0)
    assert abs(found.depth.deepest - 2.5) < min(0.1, 2.5 * found.depth_u)
    assert abs(found.added) < 50.0


def test_volumes_are_those_of_the_solids(before, after):
    """manifold3d's volumes of the two meshes and of what is in one and not in the other are the second opinion."""
    ported, back = posed(pushed(after, lambda w: gaussian_floor(w) - 0.5 * smooth((w.up - 15.0) / 5.0)), seed=1)
    found = compare_ports(noisy(before, 0.03, 5), noisy(ported, 0.03, 4))
    one = solid(before)
    other = solid(replace(ported, mesh=Triangles(ported.vertices @ back[:3, :3].T + back[:3, 3], ported.faces)))
    assert abs(found.net - (other.volume() - one.volume())) < 2.5 * found.net_u
    removed, added = (other - one).volume(), (one - other).volume()
    assert found.removed == pytest.approx(removed, abs=max(0.02 * removed, 30.0))
    assert found.added == pytest.approx(added, abs=max(0.02 * added, 30.0))
    told = Changed.of(found, 2.68).to_dict()
    assert told["removed_cc"] - told["added_cc"] + told["below_noise_cc"] == pytest.approx(told["net_cc"], abs=2e-8)
    for side, made in (("before", one), ("after", other)):
        assert told["volume"][f"{side}_cc"] == pytest.approx(made.volume() / 1000.0, rel=5e-4)


def test_walls_share_the_removed_metal(before, dug):
    """The hollow is in the floor's middle and within it: manifold3d's boolean tells what came off."""
    found = dug
    gone = solid(replace(dug.before, mesh=Triangles(dug.vertices, dug.faces))) - solid(before)
    assert found.walls["floor"].removed == pytest.approx(gone.volume(), rel=0.01)
    assert found.walls["roof"].removed < 0.001 * gone.volume()
    assert found.walls["roof"].deepest < 0.01
    assert 5.5 < found.depth.deepest_clock < 6.5
    assert found.depth.deepest_station == pytest.approx(60.0, abs=1.5)


def test_floor_dropped_a_tenth_of_an_inch_reads_so(before, after):
    """A large but ordinary cut: common practice, no source."""

    def patch(where):
        along = smooth((20.0 - np.abs(where.station - 55.0)) / 4.0)
        return 0.100 * IN * along * smooth((11.0 - np.abs(where.left)) / 3.0) * (where.up < 0)

    ported, _ = posed(noisy(pushed(after, patch), 0.03, 6), seed=2)
    found = compare_ports(noisy(before, 0.03, 7), ported, stations=24)
    inside = np.abs(found.rows.stations - 55.0) < 14.0
    assert inside.sum() >= 4
    assert np.abs(found.rows.floor[inside] / IN - 0.100).max() < 0.002
    assert np.abs(found.rows.roof[inside] / IN).max() < 0.002


def test_missed_spot_and_step_are_seen(before):
    def island(where):
        left_out = smooth((np.hypot(where.station - 60.0, where.left) - 3.0) / 1.5)
        return 1.5 * smooth((25.0 - np.abs(where.station - 60.0)) / 8.0) * left_out * (where.up < 0)

    found = compare_ports(before, pushed(before, island), "none")
    missed = [spot for spot in found.spots if spot.kind == "missed"]
    assert len(missed) == 1
    assert missed[0].station == pytest.approx(60.0, abs=2.0)
    assert 5.5 < missed[0].clock < 6.5

    def abrupt(where):
        return 1.5 * smooth((where.station - 60.0) / 0.5) * smooth((13.0 - np.abs(where.left)) / 5.0) * (where.up < 0)

    steps = [s for s in compare_ports(before, pushed(before, abrupt), "none").spots if s.kind == "step"]
    assert steps
    assert min(abs(spot.station - 60.0) for spot in steps) < 3.0
    assert isinstance(steps[0], Spot)


def test_blended_cut_has_no_steps(dug):
    assert dug.spots == ()


def test_longer_after_is_not_counted():
    one = meshed(straight_readings(50.0, 30.0, 100.0, 6.0), 1.5)
    longer = meshed(straight_readings(50.0, 30.0, 105.0, 6.0), 1.5)
    found = compare_ports(one, longer, "none")
    assert found.removed == pytest.approx(0.0, abs=1.0)
    assert found.net == pytest.approx(0.0, abs=1.0)
    assert found.after_beyond == pytest.approx(5.0 * (50.0 * 30.0 - (4 - np.pi) * 36.0), rel=1e-3)
    assert "ends_differ" in [notice.code for notice in found.warnings]
    _, faces = removed_mesh(found)
    assert len(faces) == 0


def test_smaller_after_is_said(before):
    found = compare_ports(pushed(before, gaussian_floor), before, "none")
    assert "smaller_after" in [notice.code for notice in found.warnings]
    assert found.removed < 10.0 < found.added


def test_open_mesh_is_refused(before):
    torn = replace(before, mesh=Triangles(before.vertices, before.faces[:-40]))
    with pytest.raises(GeometryError, match=r"AFTER is not closed"):
        compare_ports(before, torn, "none")


def test_the_short_side_of_a_sheet_that_turns_to_its_roof_is_on_the_roof():
    stock = [replace(r, turn=-r.turn) for r in elbow_readings(16.0, 14.0, 4.0, (4.0, 4.0), 14.0, 60.0)]
    ported = [stock[0], *(replace(r, height=17.0, rise=0.5) for r in stock[1:3]), stock[3]]
    walls = compare_ports(*map(port_from_readings, (stock, ported)), "none", stations=3).walls
    assert walls["short_side"].deepest == pytest.approx(1.0, abs=0.01)
    assert walls["floor"].deepest < 0.01


def test_sheets_compare_directly():
    stock = port_from_readings(invented_readings())
    ported = port_from_readings(invented_readings({1: 2.54, 2: 2.54, 3: 2.54}))
    found = compare_ports(stock, ported)
    assert found.rows.floor[np.abs(found.rows.stations - 50.8) < 1e-6][0] == pytest.approx(2.54, abs=0.02)
    assert np.abs(found.rows.roof).max() < 0.02
    # Three heights and widths, 25.4 mm apart, were read anew to 0.025 mm, before and after.
    sizes = [np.hypot(r.height, r.width) for r in (*stock.readings[1:4], *ported.readings[1:4])]
    assert found.removed_u == pytest.approx(0.025 * 25.4 * np.sqrt(np.sum(np.square(sizes))), rel=0.02)
    assert found.net_u == pytest.approx(found.removed_u, rel=0.02)


def test_sheet_read_anew_is_not_a_cut():
    """Two people read one port, each to 0.025 mm (a careful hand: common practice, no source)."""
    draws = np.random.default_rng(12).normal(0.0, 0.025, (2, 6, 2))
    first, second = (
        port_from_readings(
            [
                replace(r, height=r.height + d[0], width=r.width + d[1])
                for r, d in zip(invented_readings(), own, strict=True)
            ]
        )
        for own in draws
    )
    found = compare_ports(first, second)
    assert abs(found.removed) < 2.0 * found.removed_u
    assert found.depth.deepest < 0.1


def test_record_has_the_promised_keys(dug):
    found = dug
    record = Changed.of(found, 2.68).to_dict()
    assert record["schema"] == "portgeo.compare/2"
    promised = {"removed_cc", "added_cc", "below_noise_cc", "net_cc", "removed_g", "density_g_cc", "source"}
    assert promised | {"alignment", "depth", "stations", "walls", "warnings"} <= record.keys()
    assert {"method", "matrix", "rms_mm", "fixed_share"} <= record["alignment"].keys()
    assert {"noise_mm", "mean_mm", "p95_mm", "max_mm", "max_at_mm"} <= record["depth"].keys()
    row = {"station_mm", "before_mm2", "after_mm2", "change_mm2", "change_percent", "depth_roof_mm"}
    assert row | {"depth_floor_mm", "depth_left_mm", "depth_right_mm"} <= record["stations"][0].keys()
    assert {"roof", "floor", "left", "right", "short_side"} == record["walls"].keys()
    assert {"mean_mm", "max_mm", "removed_cc"} <= record["walls"]["roof"].keys()
    assert record["removed_g"] == pytest.approx(record["removed_cc"] * 2.68)
    head, rows = Changed.of(found, 2.68).stations.to_csv(Display("in"))
    assert head[0] == "station_in"
    assert len(rows) == len(record["stations"])
    assert len(rows[0]) == len(head)


def test_solids_agree_with_wedges(before, dug):
    """manifold3d's boolean of the two meshes is the second opinion."""
    made = solid(replace(dug.before, mesh=Triangles(dug.vertices, dug.faces))) - solid(before)
    assert made.volume() == pytest.approx(dug.removed, rel=0.005)


def test_removed_mesh_is_sound_as_a_file_holds_it(before, dug):
    vertices, faces = removed_mesh(dug)
    assert np.array_equal(vertices, vertices.astype(np.float32))
    assert not faulty(vertices, faces).any()
    assert volume(vertices, faces) == pytest.approx(dug.removed, rel=0.02)


def test_faults_of_a_skin_are_seen():
    """Two cubes that share an edge, a corner, or a part of their space; one turned inside out; one open."""
    cube = manifold3d.Manifold.cube((1.0, 1.0, 1.0))
    one, faces = arrays_of(cube)
    assert not faulty(one, faces).any()

    def two(*shift):
        return np.vstack([one, one + np.array(shift)]), np.vstack([faces, faces + len(one)])

    assert not faulty(*two(3.0, 0.0, 0.0)).any()
    assert faulty(*two(1.0, 1.0, 0.0)).any()
    assert faulty(*two(1.0, 1.0, 1.0)).any()
    assert faulty(*two(0.5, 0.4, 0.3)).any()
    assert faulty(one, faces[1:]).any()
    assert faulty(one, np.vstack([faces[:1, ::-1], faces[1:]])).any()


@settings(max_examples=15, deadline=None)
@given(
    low=st.floats(0.0, 40.0),
    high=st.floats(60.0, 100.0),
    height=st.floats(30.0, 60.0),
    width=st.floats(20.0, 40.0),
)
def test_wedges_fill_a_straight_tube_between_any_two_stations(low, high, height, width):
    port = port_from_readings(straight_readings(height, width, 100.0, 5.0))
    known = walled(port)
    part = wedges(known.tube, port.vertices, port.faces[known.is_wall], (low, high))
    area = height * width - (4.0 - np.pi) * 25.0  # rounded rectangle: any handbook of mensuration
    assert part.total == pytest.approx(area * (high - low), rel=1e-3)


def test_places_invert_the_surface():
    port = meshed(invented_readings(), 2.0)
    known = walled(port)
    where = places(known.tube, port.vertices)
    points = (
        where.feet
        + where.left[:, None] * _axis(known, where.station, 1)
        + where.up[:, None] * _axis(known, where.station, 2)
    )
    assert np.linalg.norm(points - port.vertices, axis=1).max() < 0.01


def _axis(known, station, row):
    from portgeo.core.centreline import at

    return at(known.port.centreline, station)[1][:, row]
