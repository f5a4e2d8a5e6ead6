"""Pressure lost on the page: begun by hand, kept, marked when readings changed, refused in plain words."""

import pytest

from portgeo.app.live import losing
from portgeo.app.live.asking import asked_of
from portgeo.app.live.serve import desk_of
from portgeo.core.errors import InputError
from portgeo.front import losing as solving
from tests.live.test_answers import job  # noqa: F401
from tests.viscous.pipes import needs_solver


def said(folder, more=""):
    path = folder / "job.toml"
    path.write_text(path.read_text("utf-8") + f'[loss]\nflow_cfm = 1.3\ngrid = "quick"\n{more}', "utf-8")
    return asked_of(desk_of(str(folder)), {"kind": "loss"})


def test_it_is_about_the_first_stage_and_the_last_and_hangs_on_no_cores(job):  # noqa: F811
    one, other = said(job), None
    assert [of.stage for of in one.stages] == ["as cast", "first cut"]
    text = (job / "job.toml").read_text("utf-8")
    (job / "job.toml").write_text(text + "cores = 2\n", "utf-8")
    other = asked_of(desk_of(str(job)), {"kind": "loss"})
    assert other.made_from == one.made_from and len(one.made_from) == 3
    (job / "job.toml").write_text(text.replace("1.3", "1.4"), "utf-8")
    assert asked_of(desk_of(str(job)), {"kind": "loss"}).made_from != one.made_from


def test_without_a_solver_it_says_what_to_install_and_run(job, monkeypatch):  # noqa: F811
    monkeypatch.setattr(solving, "find_solver", lambda: None)
    with pytest.raises(InputError, match="OpenFOAM is not on this machine") as refused:
        losing.loss_answer(said(job, 'states = ["first cut"]\n'), lambda what, share: None)
    assert "apt install openfoam" in refused.value.hint and "simpleFoam -case" in refused.value.hint
    assert (job / "report/.kept/loss/first cut/laminar-4/system/controlDict").is_file()
    assert not (job / "report/.kept/loss/as cast").exists()


@needs_solver
@pytest.mark.nightly
def test_its_answer_has_every_stage_with_its_doubt_and_a_model_of_the_drag(job):  # noqa: F811
    told = []
    found = losing.loss_answer(said(job), lambda what, share: told.append(share))
    assert any(line.startswith("first cut: loses") for line in found["lines"])
    (table,) = found["tables"]
    assert [row[0] for row in table["rows"]] == ["as cast", "first cut"] and len(found["files"]) == 4
    assert "drag" in [paint["name"] for paint in found["model"]["paints"]]
    shares = [share for share in told if share is not None]
    assert shares == sorted(shares) and shares[-1] > 0.5
