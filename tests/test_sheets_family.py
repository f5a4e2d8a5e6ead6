"""A sheet's ± against ports whose truth is not ours: see sheets_family."""

from __future__ import annotations

import numpy as np
import pytest

from scripts.coverage_sheets import QUANTITIES, measured_case
from tests.sheets_family import arc_port
from tests.sheets_occt import solid_port


def shares_within(cases, times):
    """Share of each quantity's errors within so many standard uncertainties."""
    of = {name: np.concatenate([case[name] for case in cases if name in case]) for name in QUANTITIES}
    return {name: float(np.mean(np.abs(pairs[:, 0]) < times * pairs[:, 1])) for name, pairs in of.items()}


def test_what_is_told_of_smooth_ports_holds_their_truth():
    """Four ports: of so few one may lie outside; areas are 100."""
    within = shares_within([measured_case(seed)[1] for seed in range(4)], 2.0)
    assert within["areas"] >= 0.9
    assert all(within[name] >= 3.0 / 4.0 for name in QUANTITIES)


def test_a_loft_of_open_cascade_is_held_too():
    """One solid, read by lines and planes that meet it: its volume is that of its own areas, and ours holds it."""
    true = solid_port(np.random.default_rng(3))
    assert true.volume == pytest.approx(np.trapezoid(true.area, true.station), rel=1e-3)
    _, case, _ = measured_case(3, port=lambda _: true)
    assert all(np.mean(np.abs(case[name][:, 0]) < 2.0 * case[name][:, 1]) >= 0.9 for name in QUANTITIES)


def test_ports_of_one_arc_are_held_too():
    within = shares_within([measured_case(seed, port=arc_port)[1] for seed in range(3)], 3.0)
    assert all(share >= 0.99 for share in within.values())


def test_more_rows_make_a_volume_surer():
    few, full = (measured_case(3, rows)[1]["volume"][0, 1] for rows in (5, 18))
    assert full < 0.7 * few
    assert 2.0 * full < 0.006


@pytest.mark.nightly
def test_200_smooth_ports():
    cases = [measured_case(seed)[1] for seed in range(200)]
    within, near = shares_within(cases, 2.0), shares_within(cases, 1.0)
    assert all(within[name] >= 0.93 for name in QUANTITIES), within
    assert all(near[name] >= 0.5 for name in QUANTITIES), near
