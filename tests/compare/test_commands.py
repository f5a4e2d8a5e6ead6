"""The commands compare and match: the answer first, files whole, bad input refused in plain words."""

import argparse
import json
import re

import pytest

from portgeo.app.commands import compare, match
from portgeo.core.errors import InputError, OutputError

HEAD = "station_in,height_in,width_in,corner_in,turn_deg,rise_in\n"
ROWS = [(0, 2.05, 1.20, 0.3, 0), (1.5, 1.95, 1.20, 0.3, 0), (3.0, 1.90, 1.30, 0.3, 25)]


@pytest.fixture
def sheets(tmp_path):
    """An invented port as it was, and with its floor dropped a tenth of an inch in the middle."""
    for name, drop in (("stock.csv", 0.0), ("ported.csv", 0.1)):
        lines = []
        for k, (station, height, *rest) in enumerate(ROWS):
            own = drop if k == 1 else 0.0
            lines.append(",".join(str(v) for v in (station, height + own, *rest, -own / 2)))
        (tmp_path / name).write_text(HEAD + "\n".join(lines) + "\n")
    return tmp_path


def run(command, *words):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    command.run(parser.parse_args([str(word) for word in words]))


def test_compare_answers_first_and_writes_whole_files(sheets, capsys):
    paths = {name: sheets / name for name in ("cut.json", "cut.csv", "cut.ply", "removed.stl", "chart.png")}
    run(
        compare, sheets / "stock.csv", sheets / "ported.csv", "--alloy", "iron", "--json", paths["cut.json"],
        "--csv", paths["cut.csv"], "--depth-mesh", paths["cut.ply"], "--removed-mesh", paths["removed.stl"],
        "--chart", paths["chart.png"], "--stations", "7",
    )  # fmt: skip
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].strip().startswith("metal removed")
    assert "g of iron at 7.15 g/cc (estimate)" in lines[1]
    assert "deepest cut" in lines[2] and any(f"{t} o'clock" in lines[2] for t in ("5:30", " 6", "6:30"))
    assert "min area" in lines[3] and "short side" in lines[4]
    assert any(line.startswith("Between the rows of a sheet the wall is a curve") for line in lines[-3:])
    result = json.loads(paths["cut.json"].read_text())
    assert result["schema"] == "portgeo.compare/2"
    assert result["density_g_cc"] == 7.15
    identity = result["removed_cc"] - result["added_cc"] + result["below_noise_cc"]
    assert identity == pytest.approx(result["net_cc"], abs=1e-7)
    assert result["source"]["before"]["sha256"] != result["source"]["after"]["sha256"]
    assert all(path.stat().st_size > 0 for path in paths.values())
    assert len(paths["cut.csv"].read_text().splitlines()) == 8


def test_match_prints_the_lip(sheets, capsys):
    run(match, sheets / "ported.csv", sheets / "stock.csv", "--leave", "0.5mm", "--json", sheets / "m.json")
    assert "lip facing the flow" in capsys.readouterr().out.splitlines()[1]
    result = json.loads((sheets / "m.json").read_text())
    assert result["schema"] == "portgeo.match/1"
    assert result["leave_mm"] == 0.5


def test_refusals_before_any_work(sheets):
    with pytest.raises(InputError, match="two files are needed"):
        run(compare, sheets / "stock.csv")
    for option in ("--depth-mesh", "--removed-mesh"):
        with pytest.raises(OutputError, match="cannot be written to such a file"):
            run(compare, sheets / "stock.csv", sheets / "ported.csv", option, sheets / "x.txt")
    with pytest.raises(InputError, match="the runners of a set"):
        run(compare, sheets / "stock.csv", sheets / "ported.csv", "--gasket", sheets / "x.csv")
    with pytest.raises(InputError, match="before --set"):
        run(compare, sheets / "stock.csv", "--set", sheets / "ported.csv")


def test_what_is_below_its_own_error_is_not_told_as_metal(sheets, capsys):
    """Read the other way round, a cut is metal added and nothing removed; neither is ever less than nothing."""
    before, after = sheets / "stock.csv", sheets / "ported.csv"
    for one, other in ((before, after), (after, before)):
        run(compare, one, other)
        text = capsys.readouterr().out
        told = {line[2:16].strip(): line[17:] for line in text.splitlines() if line.startswith("  metal")}
        assert set(told) == {"metal removed", "metal added"} and not any(each.startswith("-") for each in told.values())
        assert ("none detected" in told["metal added"]) == (one is before)
        assert "change " in next(line for line in text.splitlines() if line.startswith("  short side"))


def test_the_change_of_a_sheet_s_short_side_has_its_own_doubt(sheets, capsys):
    """What both sheets share cancels: the change is surer than two independent sheets' radii would leave it."""
    run(compare, sheets / "stock.csv", sheets / "ported.csv", "--units", "mm")
    line = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("  short side"))
    assert re.search(r"change [+-]?[0-9.]+ ± [0-9.]+ mm", line)
