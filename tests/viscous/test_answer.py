"""The ± of a loss and of a change, from figures made by hand: no solver."""

import numpy as np
import pytest

from portgeo.viscous.answer import Answer, change_between
from portgeo.viscous.loss import Lost
from portgeo.viscous.run import Trial

CELLS = {4: 2.25, 6: 1.5, 8: 1.0}


def trial(total, block, model="kOmegaSST", moved=0.0):
    lost = Lost(
        total=total, in_port=0.9 * total, friction=1.0, head=1.0, exit_area=1.0, throat_head=1.0,
        stations=np.zeros(2), lost=np.zeros(2), unfilled=0.0, swirl=0.0, tumble=0.0, back=None,
    )  # fmt: skip
    return Trial(model, block, 1, CELLS[block], 100, moved, 1.0, lost, None)


def answer(by_grid, other, moved=0.0):
    trials = [trial(total, block, moved=moved) for total, block in zip(by_grid, CELLS, strict=True)]
    return Answer(None, (*trials, trial(other, 6, "realizableKE")))


def test_what_grid_and_model_do_to_both_ports_is_no_doubt_of_their_change():
    """Errors of 1 h^2 parts of the loss on each grid, and of a tenth between models, in both ports alike."""
    shape = np.array([1.0 + 0.01 * h**2 for h in CELLS.values()])
    first, other = (answer(loss * shape, 1.1 * loss * shape[1]) for loss in (400.0, 360.0))
    assert first.grid_u == pytest.approx(1.25 * 0.01 * 400.0 / 2.0, rel=1e-6)  # I. B. Celik and others, 2008
    assert first.model_u == pytest.approx(0.1 * 400.0 * shape[1] / np.sqrt(2.0))
    change = change_between(first, other)
    assert change.share == pytest.approx(-0.1)
    assert change.u == pytest.approx(0.0, abs=1e-12)


def test_what_differs_between_the_ports_is_the_doubt_part_by_part():
    first = answer([400.0, 400.0, 400.0], 400.0)
    other = answer([360.0 + 4.0 * h**2 for h in CELLS.values()], 380.0, moved=8.0)
    change = change_between(first, other)
    assert change.grid_u == pytest.approx(1.25 * 0.01 / 2.0, rel=1e-6)
    assert change.model_u == pytest.approx(abs(360.0 + 9.0 - 380.0) / 400.0 / np.sqrt(2.0))
    assert change.rest_u == pytest.approx(4.0 / 400.0)  # half of what the last times span
    assert change.u == pytest.approx(np.sqrt(change.grid_u**2 + change.model_u**2 + change.rest_u**2))
    assert other.u == pytest.approx(np.sqrt(other.grid_u**2 + other.model_u**2 + 4.0**2))
