"""What a plan may say of how small it is. Truth: scipy's SLSQP on a bore whose cut is the same all round."""

import numpy as np
import pytest
from scipy.optimize import minimize

import portgeo as pg
from portgeo.results.work import optimum_text

BORE, LENGTH, WANTED = 36.0, 160.0, 1150.0


def bending(depth, step):
    return float((np.diff(depth, 2) ** 2).sum() / step**3)


@pytest.mark.nightly
def test_a_cut_as_smooth_may_take_less_metal_so_none_is_told_to_be_the_least():
    rows = [{"station": s, "shape": "round", "diameter": BORE} for s in (0.0, LENGTH)]
    wanted = {"units": "mm", "blend": 12.0, "area": [{"station": LENGTH / 2, "area": WANTED}]}
    plan = pg.plan(pg.port_from_rows(rows, units="mm"), wanted)
    x, step = np.linspace(0.0, LENGTH, 65, retstep=True)
    grid = plan.computed.grid
    ours = np.interp(x, grid.stations, plan.computed.depth.mean(axis=1))
    smooth, deep = bending(ours, step), ours[32]
    assert np.pi * (BORE / 2.0 + deep) ** 2 == pytest.approx(WANTED, rel=2e-3)
    found = minimize(
        lambda d: d.sum() / ours.sum(), ours, jac=lambda d: np.full(len(d), 1.0 / ours.sum()), method="SLSQP",
        bounds=[(deep, deep) if k == 32 else (0.0, None) for k in range(len(x))], options={"maxiter": 200},
        constraints={"type": "ineq", "fun": lambda d: 1.0 - bending(d, step) / smooth},
    )  # fmt: skip
    assert bending(found.x, step) <= smooth * 1.001
    less = 1.0 - found.fun
    print(f"{less:.1%} less metal, as smooth")
    assert 0.01 < less < 0.15
    assert "least metal" not in plan.optimum.says and "shallower and smoother" in plan.optimum.says


@pytest.mark.nightly
def test_beside_a_short_side_no_cut_is_told_to_be_the_smallest():
    turn = np.pi / 2.0 * 60.0
    rows = [{"station": s, "turn_deg": 0.0} for s in (0.0, 20.0, 40.0)]
    rows += [{"station": 40.0 + share * turn, "turn_deg": 90.0 * share} for share in (0.25, 0.5, 0.75, 1.0)]
    port = pg.port_from_rows([row | {"height": 40.0, "width": 30.0, "corner": 6.0} for row in rows], units="mm")
    wanted = {"units": "mm", "area": [{"station": 75.0, "area": 1330.0}], "short_side": {"radius": 44.0}}
    plan = pg.plan(port, wanted)
    assert plan.short_side.radius_mm > 43.0
    assert "may be smaller" in plan.optimum.says and "no cut" not in plan.optimum.says


def test_only_what_is_solved_as_one_is_told_to_be_smallest():
    alone, rounded = (optimum_text(2, 1e-7, rounds=rounds) for rounds in (False, True))
    assert "no cut" in alone and "no cut" not in rounded and "may be smaller" in rounded
    assert "2.0% less" in optimum_text(2, 0.02, rounds=False)
