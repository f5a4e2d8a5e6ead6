"""Many ports in one table: past a bad one, and on from where it was stopped."""

import csv

import pytest

import portgeo.app.commands.many as many
from portgeo.app.cli import main
from portgeo.files.meshes.mesh import write_mesh
from tests.scan import make, odd_molds


def rows(path):
    with open(path, newline="", encoding="utf-8") as stream:
        return {row["file"]: row for row in csv.DictReader(stream)}


@pytest.fixture
def sheets(tmp_path, monkeypatch):
    """Two plain sheets and one that is none, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    for name, size in (("a.csv", 40), ("b.csv", 38)):
        (tmp_path / name).write_text(f"station_mm,diameter_mm,shape\n0,{size},round\n50,{size},round\n")
    (tmp_path / "c.csv").write_text("station_mm\n0\n")
    return tmp_path


def test_each_port_has_a_row_and_a_bad_one_says_why(sheets, capsys):
    assert main(["measure", "a.csv", "b.csv", "c.csv", "--csv", "all.csv"]) == 2
    message = capsys.readouterr().err
    assert "1 of 3 files were refused" in message and "c.csv" in message
    found = rows("all.csv")
    assert float(found["a.csv"]["least_area_mm2"]) == pytest.approx(3.14159265 * 20**2, rel=1e-3)
    assert float(found["b.csv"]["volume_cc"]) == pytest.approx(3.14159265 * 19**2 * 0.05, rel=1e-3)
    assert found["c.csv"]["refused"] and not found["c.csv"]["volume_cc"]


def test_a_run_goes_on_where_it_was_stopped(sheets, capsys):
    assert main(["measure", "a.csv", "b.csv", "--csv", "all.csv"]) == 0
    before = rows("all.csv")
    (sheets / "b.csv").write_text("station_mm,diameter_mm,shape\n0,30,round\n50,30,round\n")
    capsys.readouterr()
    assert (
        main(["measure", "*.csv", "--csv", "all.csv"]) == 2
    )  # c.csv is no port; the table itself is none that is asked for
    assert "1 of them measured before" in capsys.readouterr().out
    after = rows("all.csv")
    assert "all.csv" not in after
    assert after["a.csv"] == before["a.csv"]
    assert float(after["b.csv"]["least_area_mm2"]) == pytest.approx(3.14159265 * 15**2, rel=1e-3)


def test_a_file_that_is_no_table_of_ports_is_left_alone(sheets, capsys):
    (sheets / "mine.csv").write_text("my,notes\n")
    assert main(["measure", "a.csv", "b.csv", "--csv", "mine.csv"]) == 2
    assert "is no table of ports" in capsys.readouterr().err
    assert (sheets / "mine.csv").read_text() == "my,notes\n"
    sheet = (sheets / "a.csv").read_text()
    assert main(["measure", "a.csv", "b.csv", "--csv", "a.csv", "--force"]) == 2
    assert "this file is read" in capsys.readouterr().err
    assert (sheets / "a.csv").read_text() == sheet


def test_several_files_need_a_table(sheets, capsys):
    assert main(["measure", "a.csv", "b.csv"]) == 2
    assert "--csv" in capsys.readouterr().err


def test_patterns_are_spread_in_order(sheets):
    assert many.spread(["*.csv"]) == ["a.csv", "b.csv", "c.csv"]
    assert many.spread(["nothing*.stl", "a.csv"]) == ["nothing*.stl", "a.csv"]  # refused by that name


def test_two_halves_of_one_mold_are_refused_with_what_to_do(tmp_path, capsys):
    """Neither is a port, and a table of the two would be two rows of nothing; two runners are no halves."""
    whole = make.tube(odd_molds.HEAD, 2.0)
    left, right = odd_molds.halves(whole, 2.0)
    names = [str(tmp_path / name) for name in ("left.stl", "right.stl", "runner.stl")]
    for name, scan in zip(names, (left, right, whole), strict=True):
        write_mesh(name, scan.vertices, scan.faces)
    assert main(["measure", *names[:2], "--csv", str(tmp_path / "all.csv")]) == 2
    message = " ".join(capsys.readouterr().err.split())
    assert "two halves of one mold" in message and "Join them into one mesh" in message
    assert not (tmp_path / "all.csv").exists()
    main(["measure", names[0], names[2], "--csv", str(tmp_path / "all.csv")])
    assert "two halves" not in capsys.readouterr().err
