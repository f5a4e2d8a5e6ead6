"""Many ports in one table: past a bad one, and on from where it was stopped."""

import argparse
import csv
import json

import pytest

import portgeo.app.commands.many as many
from portgeo.app import row_by_row
from portgeo.app.cli import main
from portgeo.core.errors import InputError
from portgeo.files.meshes.mesh import write_mesh
from tests import dying
from tests.scan import make, odd_molds


def rows(path, name="file"):
    with open(path, newline="", encoding="utf-8") as stream:
        return {row[name]: row for row in csv.DictReader(stream)}


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
    assert "1 of 3 files has an error" in message and "c.csv" in message
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
    assert "1 of them from an earlier run" in capsys.readouterr().out
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
    assert "this file is an input" in capsys.readouterr().err
    assert (sheets / "a.csv").read_text() == sheet


def test_several_files_need_a_table(sheets, capsys):
    assert main(["measure", "a.csv", "b.csv"]) == 2
    assert "--csv" in capsys.readouterr().err


def test_patterns_are_spread_in_order(sheets):
    assert many.spread(["*.csv"]) == ["a.csv", "b.csv", "c.csv"]
    assert many.spread(["nothing*.stl", "a.csv"]) == ["nothing*.stl", "a.csv"]  # refused by that name


@pytest.mark.nightly
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


def test_targets_of_one_port_have_a_row_each(sheets, capsys):
    """What a plan says by itself stands in its row; it is kept by all files that it hangs on."""
    (sheets / "limits.csv").write_text("station_mm,clock,thickness_mm\n25,6,6\n")
    for name, area in (("one.toml", 1290), ("two.toml", 1310), ("none.toml", "'wide'")):
        (sheets / name).write_text(
            f'units = "mm"\ngreatest_depth = 2\n[limits]\nwall_readings = "limits.csv"\n'
            f"[[area]]\nstation = 25\narea = {area}\n"
        )
    words = ["reshape", "a.csv", "one.toml", "two.toml", "none.toml", "--csv", "plans.csv"]
    assert main(words) == 2
    message = capsys.readouterr().err
    assert "1 of 3 files has an error" in message and "none.toml" in message
    found = rows("plans.csv", "target")
    assert main(["reshape", "a.csv", "two.toml", "--json", "two.json"]) == 0
    alone = json.loads((sheets / "two.json").read_text())
    assert float(found["two.toml"]["removed_cc"]) == pytest.approx(alone["removed_cc"], rel=1e-8)
    assert float(found["two.toml"]["least_wall_left_mm"]) == pytest.approx(alone["walls_left"][0]["left_mm"], rel=1e-8)
    assert float(found["one.toml"]["removed_cc"]) < float(found["two.toml"]["removed_cc"])
    contents = many.Contents("a.csv")
    assert contents("two.toml") == found["two.toml"]["sha256"] != found["one.toml"]["sha256"]
    (sheets / "limits.csv").write_text("station_mm,clock,thickness_mm\n25,6,5\n")
    assert contents("two.toml") != found["two.toml"]["sha256"]


def test_what_ends_a_worker_is_tried_again_and_then_named(sheets, capsys):
    """Two files end their process once, one does always: it has an error, the others have their rows."""
    table = row_by_row.Rows(("file", "kept_by", "what", "refused"), dying.dies, dying.same, "work", "files")
    args = argparse.Namespace(csv="out.csv", force=False, quiet=True, cluster=None)
    with pytest.raises(InputError, match=r"1 of 3 files has an error: b\.csv: the system ended the process"):
        row_by_row.fill(table, ["a.csv", "b.csv", "c.csv"], args)
    found = rows("out.csv")
    assert [found[name]["what"] for name in ("a.csv", "b.csv", "c.csv")] == ["done", "", "done"]


@pytest.fixture
def cluster():
    """Two workers of a Dask cluster, each a process with one thread."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as two:
        yield two.scheduler_address


@pytest.mark.nightly
def test_a_cluster_fills_the_same_table_though_its_workers_die(sheets, cluster):
    """Its bytes are those of this machine's own, and a file that ended one worker is given to another."""
    for name, where in (("here.csv", []), ("there.csv", ["--cluster", cluster])):
        assert main(["measure", "a.csv", "b.csv", "c.csv", "--csv", name, *where]) == 2
    assert (sheets / "here.csv").read_bytes() == (sheets / "there.csv").read_bytes()
    table = row_by_row.Rows(("file", "kept_by", "what", "refused"), dying.dies, dying.same, "work", "files")
    row_by_row.fill(table, ["a.csv", "c.csv"], argparse.Namespace(csv="o", force=False, quiet=True, cluster=cluster))
    assert [row["what"] for row in rows("o").values()] == ["done", "done"]


def test_where_no_cluster_answers_it_says_how_to_begin_one(sheets, capsys, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(row_by_row, "CONNECT_S", 0.5)
    assert main(["measure", "a.csv", "b.csv", "--csv", "all.csv", "--cluster", "tcp://127.0.0.1:9"]) == 2
    message = capsys.readouterr().err
    assert "no cluster answers" in message and "dask worker" in message
