"""A job of a manifold's runners alone: one report of all of them, from closed form to the page's headline."""

import json

import numpy as np
import pytest

from portgeo.app.cli import main
from portgeo.files.toml.job import job_from

JOB = """title = "Three runners"
units = "mm"
[set]
files = ["1.csv", "2.csv", "3.csv"]
flows = [238.0, 236.5, 229.4]
gasket = "hole.csv"
spacing = 56.0
entry_radii = [6.0, 5.0, 6.0]
"""


def bore_sheet(diameter: float, shift: float = 0.0) -> str:
    rows = "".join(f"{s},round,{diameter},{shift}\n" for s in (0, 40, 80, 120))
    return "station_mm,shape,diameter_mm,shift_mm\n" + rows


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("manifold")
    for name, text in (("1.csv", bore_sheet(40.0)), ("2.csv", bore_sheet(40.0, 0.8)), ("3.csv", bore_sheet(38.0))):
        (folder / name).write_text(text, encoding="utf-8")
    ring = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    points = "\n".join(f"{20.0 * np.cos(a):.4f},{20.0 * np.sin(a):.4f}" for a in ring)
    (folder / "hole.csv").write_text(f"x_mm,y_mm\n{points}\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    assert main(["report", str(folder / "job.toml"), "--out", str(folder / "out"), "-q"]) == 0
    return folder / "out"


def test_a_manifolds_runners_are_told_apart(made):
    found = json.loads((made / "results.json").read_text(encoding="utf-8"))
    assert found["states"] == []
    balance = found["balance"]
    assert balance["odd_one_out"] == 3
    off = balance["runners"][2]["off_others"]
    assert off["volume_cc"] == pytest.approx(np.pi * (19.0**2 - 20.0**2) * 0.12, rel=1e-3)
    assert abs(off["volume_cc"]) > 4.0 * off["volume_u_cc"]
    assert [one["edge_mm"] for one in balance["dividers"]] == pytest.approx([15.2, 17.8], abs=0.01)
    assert balance["runners"][1]["entry_edge"]["least_mm"] == 5.0
    assert balance["runners"][1]["gasket"]["left_mm"] == pytest.approx(0.8, abs=1e-3)
    cut = balance["choices"][balance["advised"]]["runners"][2]
    assert cut["removed_cc"] == pytest.approx(np.pi * (20.0**2 - 19.0**2) * 0.12, rel=0.02)


def test_the_page_begins_with_the_odd_one_and_what_to_cut(made):
    page = (made / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    answer = page.partition('id="answer"')[2].partition("</section>")[0]
    assert "runner 3 is the odd one out" in answer
    assert "To bring them together: take 14.7" in answer
    assert "runner 2 sits farthest off its gasket hole, 0.80 ± 0.05 mm" in answer
    for table in ("balance-against", "balance-edges", "balance-core-shift", "balance-dividers", "balance-cut"):
        assert f'data-table="{table}"' in page
    assert "Sound the wall before you cut" in page
    assert not (made / "customer.pdf").exists()
    assert (made / "tables" / "balance-dividers.csv").is_file()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (JOB[JOB.index("[set]") :], "", "stage is missing"),
        ("spacing = 56.0", "spacing = [56.0, 56.0, 56.0]", "3 spacings for 3 runners"),
        ("entry_radii = [6.0, 5.0, 6.0]", "entry_radii = [6.0, 5.0]", "2 radii for 3 runners"),
        ("[set]", "[bench]\nflow_cfm = 200.0\n[set]", "[bench] is of a port"),
    ],
)
def test_a_job_of_nothing_and_lists_that_do_not_fit_are_refused(made, old, new, says):
    with pytest.raises(Exception, match=says.replace("[", r"\[")) as caught:
        job_from(JOB.replace(old, new).encode(), made.parent / "job.toml")
    assert says in str(caught.value)
