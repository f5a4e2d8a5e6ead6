"""Long answers: asked for, told of while they are at work, ended when they are not wanted, and what they leave."""

import pytest

from tests.live.conftest import served, until

BEFORE, AFTER = "before.csv", "after.csv"
LENGTH, WIDTH, CUT = 100.0, 30.0, 1.0  # mm: a straight box whose floor is lowered by CUT from end to end


def box(height, rise=0.0):
    """The sheet of a straight box."""
    rows = [f"{s},{height},{WIDTH},{rise},2,2" for s in (0, 25, 50, 75, 100)]
    return "\n".join(["station_mm,height_mm,width_mm,rise_mm,corner_roof_mm,corner_floor_mm", *rows, ""])


@pytest.fixture
def job(tmp_path):
    """A job of two stages, whose floor alone was cut."""
    (tmp_path / BEFORE).write_text(box(40.0))
    (tmp_path / AFTER).write_text(box(40.0 + CUT, -CUT / 2.0))
    (tmp_path / "job.toml").write_text(
        f'title = "two stages"\nunits = "mm"\n[[state]]\nname = "as cast"\nport = "{BEFORE}"\n'
        f'[[state]]\nname = "first cut"\nport = "{AFTER}"\n'
    )
    return tmp_path


def answered(browser, events, **said):
    answer = browser.post("task", said)
    assert answer.status_code == 200, answer.text
    name = answer.json()["task"]
    return until(events, lambda e: e["type"] == "task" and e["id"] == name and e["done"])


def test_what_was_cut_is_told_with_the_stage_and_its_ghost_behind_it(job):
    with served(job) as browser, browser.events() as events:
        figures = until(events, lambda e: e["type"] == "figures")
        assert [(s["name"], s["ghost"]) for s in figures["chart"]["series"]] == [
            ("first cut", False),
            ("as cast", True),
        ]
        change = until(events, lambda e: e["type"] == "change")
    assert (change["stage"], change["against"]) == ("first cut", "as cast")
    removed = float(change["lines"][0].split()[2])
    assert removed == pytest.approx(LENGTH * WIDTH * CUT / 1000.0, abs=0.02)  # cc, of a box in closed form
    assert {wall["name"] for wall in change["walls"]} <= {"floor", "left wall", "right wall"}


def test_comparing_gives_the_answer_of_the_command_and_a_model_painted_by_depth(job):
    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="compare", before="as cast", after="first cut")
        model = until(events, lambda e: e["type"] == "model" and e.get("task") == done["id"])
    assert done["refusal"] is None
    (line,) = [line for line in done["result"]["lines"] if line.startswith("metal removed")]
    assert float(line.split()[2]) == pytest.approx(LENGTH * WIDTH * CUT / 1000.0, abs=0.02)
    assert "depth" in [paint["name"] for paint in model["data"]["paints"]]


def test_a_refused_answer_says_why_and_what_to_do(job):
    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="air", stage="as cast")
    assert "no flow" in done["refusal"]["what"] and done["refusal"]["mend"]
    assert done["result"] is None


def test_templates_are_printed_into_the_job_and_given_out_and_nothing_else_is(job):
    with served(job) as browser, browser.events() as events:
        done = answered(browser, events, kind="templates", stage="first cut")
        (file,) = done["result"]["files"]
        answer = browser.get("out/" + file["name"])
        assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
        for name in (
            BEFORE,
            "job.toml",
            "../job.toml",
            "printed/../job.toml",
            "printed/%2e%2e/job.toml",
            "printed",
            "",
        ):
            assert browser.get("out/" + name).status_code == 404, name


def test_an_answer_that_is_cancelled_ends_and_leaves_nothing_half_written(job):
    with served(job) as browser, browser.events() as events:
        name = browser.post("task", {"kind": "report"}).json()["task"]
        until(events, lambda e: e["type"] == "task" and e["id"] == name)
        assert browser.post(f"task/{name}/cancel", {}).status_code == 200
        done = until(events, lambda e: e["type"] == "task" and e["id"] == name and e["done"])
        assert done["refusal"]["what"] == "cancelled"
    assert not (job / "report" / "report.html").exists()
    assert not [path for path in job.rglob(".*") if path.is_file() and "versions" not in str(path.parent)]


def test_an_unknown_answer_is_refused(browser):
    assert browser.post("task", {"kind": "format c:"}).status_code == 400
