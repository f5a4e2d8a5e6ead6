"""Two states of a port are laid together by the wall that nobody cut."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from portgeo.comparing.register import align
from portgeo.comparing.tube import walled
from portgeo.core.errors import GeometryError
from portgeo.core.port import Port
from portgeo.core.triangles import Triangles

from .shapes import (
    gaussian_floor,
    heavy_floor,
    invented_readings,
    meshed,
    mirrored,
    noisy,
    posed,
    pushed,
    smooth,
    straight_readings,
)


@pytest.fixture(scope="module")
def before() -> Port:
    return meshed(invented_readings(), 1.4)


@pytest.fixture(scope="module")
def after() -> Port:
    return meshed(invented_readings(), 1.3, 0.4)


def error_of(found: np.ndarray, true: np.ndarray, port: Port) -> tuple[float, float]:
    """How far the motion found is from the true one: mm at worst on the port, degrees."""
    slip = found @ np.linalg.inv(true)
    moved = port.vertices @ slip[:3, :3].T + slip[:3, 3] - port.vertices
    angle = np.degrees(np.linalg.norm(Rotation.from_matrix(slip[:3, :3]).as_rotvec()))
    return float(np.linalg.norm(moved, axis=1).max()), float(angle)


@pytest.mark.parametrize("cut", [gaussian_floor, heavy_floor])
@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_cut_surface_does_not_pull_the_fit(before, after, cut, noise):
    # heavy_floor takes 2.5 mm off about 40 % of the wall, all on one side
    ported, true = posed(pushed(after, cut), seed=7)
    stock = before
    if noise:
        ported, stock = noisy(ported, noise, 1), noisy(before, noise, 2)
    found = align(walled(stock), walled(ported))
    millimetres, degrees = error_of(found.matrix, true, before)
    assert millimetres < 0.02
    assert degrees < 0.05
    assert 0.5 < found.fixed_share < 1.0


@pytest.mark.parametrize("count", [2, pytest.param(12, marks=pytest.mark.nightly)])
def test_uncertainty_of_the_fit_covers_its_error(before, after, count):
    ratios = []
    for seed in range(count):
        ported, true = posed(pushed(after, gaussian_floor), seed=seed)
        found = align(walled(noisy(before, 0.03, 20 + seed)), walled(noisy(ported, 0.03, seed)))
        slip = found.matrix @ np.linalg.inv(true)
        step = np.concatenate(
            [
                Rotation.from_matrix(slip[:3, :3]).as_rotvec(),
                slip[:3, :3] @ found.centre + slip[:3, 3] - found.centre,
            ]
        )
        ratios += list(np.abs(step) / np.sqrt(np.diag(found.covariance)))
    assert np.sqrt(np.mean(np.square(ratios))) < 2.0  # 1 in expectation; six correlated draws a fit


def test_metal_added_is_laid_together_as_well(before, after):
    filled, true = posed(pushed(after, lambda where: -heavy_floor(where)), seed=3)
    found = align(walled(before), walled(filled))
    assert error_of(found.matrix, true, before)[0] < 0.02


def test_none_takes_both_in_their_one_source_frame(before):
    moved, true = posed(before, seed=5)
    same = replace(moved, frame=np.linalg.inv(true) @ before.frame)
    found = align(walled(before), walled(same), "none")
    assert np.allclose(found.matrix, true, atol=1e-9)
    assert np.allclose(found.to_source, np.eye(4))


def test_matrix_takes_after_source_into_before_source(before, after):
    ported, _ = posed(pushed(after, gaussian_floor), seed=11)
    found = align(walled(before), walled(ported))
    source = ported.to_source(ported.vertices)
    there = source @ found.to_source[:3, :3].T + found.to_source[:3, 3]
    assert np.allclose(there, before.to_source(found.moved(ported.vertices)), atol=1e-9)


@pytest.mark.nightly
def test_fixed_lines_up_by_a_box(before, after):
    ported, true = posed(pushed(after, heavy_floor), seed=2)
    source = before.to_source(before.vertices)
    roof = before.vertices[:, 2] > 0
    box = np.array([[source[roof].min(axis=0), source[roof].max(axis=0)]])
    found = align(walled(before), walled(ported), "fixed", boxes=box, faces=("entry",))
    assert error_of(found.matrix, true, before)[0] < 0.02
    with pytest.raises(GeometryError, match="no surface is named"):
        align(walled(before), walled(ported), "fixed")
    with pytest.raises(GeometryError, match="no wall lies inside"):
        align(walled(before), walled(ported), "fixed", boxes=box + 1000.0)


def test_openings_hold_a_straight_tube(before):
    straight = meshed(straight_readings(50.0, 30.0, 100.0, 6.0), 1.5)
    other, true = posed(meshed(straight_readings(50.0, 30.0, 100.0, 6.0), 1.4, 0.3), seed=4)
    found = align(walled(straight), walled(other))
    assert error_of(found.matrix, true, straight)[0] < 0.02
    assert "held_by_openings" in [notice.code for notice in found.warnings]


def test_a_port_with_roof_and_floor_exchanged_is_laid_together(before, after):
    """A sheet may turn towards its roof; a scan of the same port has its floor there."""
    turned = np.diag([1.0, -1.0, -1.0])
    spine = replace(after.centreline, points=after.centreline.points @ turned, frames=after.centreline.frames @ turned)
    rolled = replace(after, mesh=Triangles(after.vertices @ turned, after.faces), centreline=spine)
    found = align(walled(before), walled(rolled))
    assert found.fixed_share > 0.9
    assert found.matrix[:3, :3] == pytest.approx(turned, abs=1e-3)


def test_other_hand_is_recognised(before):
    swung = meshed([replace(r, swing=0.25 * r.station / 117.0) for r in invented_readings()], 2.4)
    with pytest.raises(GeometryError, match="other hand"):
        align(walled(swung), walled(mirrored(swung)))
    found = align(walled(swung), walled(mirrored(swung)), hands=(False, True))
    assert found.mirrored
    assert found.fixed_share > 0.9


def test_mirrored_by_mistake_is_told(before, after):
    """A port that is even but for one wall fits its mirror image well enough to be measured, and wrongly."""

    def one_wall(where):
        return 1.5 * smooth((0.22 - np.abs(where.round - 0.68)) / 0.1)

    uneven = pushed(before, one_wall)
    assert "other_hand" in [n.code for n in align(walled(uneven), walled(mirrored(uneven))).warnings]
    assert "other_hand" not in [n.code for n in align(walled(before), walled(pushed(after, one_wall))).warnings]


def test_unit_mistake_is_named(before):
    spine = before.centreline
    shrunk = replace(
        before,
        mesh=Triangles(before.vertices / 25.4, before.faces),
        centreline=replace(spine, stations=spine.stations / 25.4, points=spine.points / 25.4),
    )
    with pytest.raises(GeometryError, match="another unit"):
        align(walled(before), walled(shrunk))


@pytest.mark.nightly
def test_unlike_parts_are_refused():
    before = meshed(invented_readings(), 2.4)
    other = meshed(straight_readings(30.0, 30.0, 110.0, 15.0), 2.4)
    with pytest.raises(GeometryError, match="nothing in common"):
        align(walled(before), walled(other))
    short = meshed(straight_readings(50.0, 30.0, 40.0, 6.0), 2.4)
    with pytest.raises(GeometryError, match="not two stages of one port"):
        align(walled(before), walled(short))
