"""Files are written whole or not at all, and results come back as they were."""

import csv
import hashlib
import json
import math

import numpy as np
import openpyxl
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portgeo.app.cli import main
from portgeo.core.errors import InputError, OutputError
from portgeo.files.disk import atomic_write, check_free, read_bounded, sha256_of, write_json, write_table_csv
from portgeo.files.own_folder import is_own, note_own
from portgeo.files.sheets.workbooks import workbook_of
from tests.conftest import DEMO


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_file_is_written_whole(tmp_path):
    atomic_write(tmp_path / "a.bin", b"one", force=False)
    atomic_write(tmp_path / "b.bin", b"two" * 20_000_000, force=False)  # more than goes to the disk at once
    assert (tmp_path / "a.bin").read_bytes() == b"one"
    assert (tmp_path / "b.bin").read_bytes() == b"two" * 20_000_000
    assert names(tmp_path) == ["a.bin", "b.bin"]


def test_a_file_that_is_there_stays_unless_forced(tmp_path):
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")
    with pytest.raises(OutputError, match="--force"):
        atomic_write(path, b"new", force=False)
    assert path.read_bytes() == b"old"
    atomic_write(path, b"new", force=True)
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError, OSError])
def test_an_interrupted_write_leaves_the_old_file_and_nothing_else(tmp_path, stop, monkeypatch):
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")

    def half(_):
        raise stop("stopped")

    monkeypatch.setattr("os.fsync", half)
    with pytest.raises(OutputError if stop is OSError else stop):
        atomic_write(path, b"ha", force=True)
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["a.bin"]


def test_a_missing_folder_a_folder_and_a_doubled_name_are_refused(tmp_path):
    for paths in ([tmp_path / "no" / "a.csv"], [tmp_path], [tmp_path / "a.csv", tmp_path / "." / "a.csv"]):
        with pytest.raises(OutputError):
            check_free(paths, force=True)
    with pytest.raises(OutputError):
        check_free([tmp_path / "a\0b"], force=False)
    check_free([tmp_path / "a.csv", tmp_path / "b.csv"], force=False)


def test_the_sum_is_that_of_the_bytes(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"abc")
    # FIPS 180-2, appendix B.1: the SHA-256 of "abc".
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(read_bounded(path, 10)).hexdigest() == sha256_of(path)


def test_reading_is_bounded(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"x" * 11)
    (tmp_path / "empty").write_bytes(b"")
    for bad, limit in (
        (path, 10),
        (tmp_path / "no", 10),
        (tmp_path, 10),
        (tmp_path / "empty", 10),
        ("a\0b", 10),
    ):
        with pytest.raises(InputError):
            read_bounded(bad, limit)


def test_json_keeps_order_and_rounds_to_nine_digits(tmp_path):
    path = tmp_path / "r.json"
    result = {
        "schema": "portgeo.measure/2",
        "b": np.float64(1.0 / 3.0),
        "a": np.array([[1.0, np.nan], [np.inf, -0.0]]),
        "n": np.int32(7),
        "ok": np.bool_(True),
        "none": None,
        "text": 'é "quoted"',
        "list": ({"x": 1},),
        "empty": {},
    }
    write_json(path, result, force=False)
    text = path.read_bytes()
    assert text.endswith(b"}\n") and b"\r" not in text and b"-0" not in text
    back = json.loads(text)
    assert list(back) == list(result)
    assert back["b"] == 0.333333333
    assert back["a"] == [[1.0, None], [None, 0.0]]
    assert back["n"] == 7 and back["ok"] is True and back["text"] == 'é "quoted"' and back["list"] == [{"x": 1}]


WORDS = st.text(st.characters(exclude_categories=["Cs"]))  # a lone surrogate is no text
PLAIN = st.none() | st.booleans() | st.integers(-(2**53), 2**53) | WORDS
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


@given(
    st.recursive(
        PLAIN | NUMBERS,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
        max_leaves=20,
    )
)
def test_any_result_is_read_back(tmp_path_factory, value):
    path = tmp_path_factory.mktemp("json") / "r.json"
    write_json(path, {"value": value}, force=True)
    assert alike(json.loads(path.read_text("utf-8"))["value"], value)


def alike(a, b):
    if isinstance(b, float):
        return math.isclose(a, b, rel_tol=1e-8)
    if isinstance(b, dict):
        return list(a) == list(b) and all(alike(a[k], b[k]) for k in b)
    if isinstance(b, list):
        return len(a) == len(b) and all(map(alike, a, b))
    return a == b


def test_tables_have_six_decimals_as_needed(tmp_path):
    path = tmp_path / "t.csv"
    rows = [
        [0.0, 1.5, "a, b"],
        [np.float64(123456.7891234), 1e-7 / 3, None],
        [np.int64(3), float("nan"), -0.0],
    ]
    write_table_csv(path, ["x", "y", "note"], rows, force=False)
    assert path.read_bytes().count(b"\r") == 0
    with open(path, newline="", encoding="utf-8") as stream:
        back = list(csv.reader(stream))
    assert back == [
        ["x", "y", "note"], ["0", "1.5", "a, b"], ["123456.789123", "0.0000000333333", ""], ["3", "", "0"],
    ]  # fmt: skip


def test_files_say_what_made_them_and_nobodys_name(tmp_path, monkeypatch):
    """Format by format: glTF 2.0 asset.generator, PDF /Creator, XLSX core properties, DXF $LASTSAVEDBY."""
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):
        monkeypatch.setenv(name, "a-persons-account")
    sheet = str(DEMO / "demo-as-cast.csv")
    assert main(["loft", sheet, "-o", str(tmp_path / "a.glb"), "-q"]) == 0
    for kind in ("pdf", "dxf"):
        assert main(["templates", sheet, "--at", "1in", "--out", str(tmp_path / f"a.{kind}"), "-q"]) == 0
    (tmp_path / "a.xlsx").write_bytes(workbook_of([("table", ["a"], [[1]])]))
    glb = (tmp_path / "a.glb").read_bytes()
    assert json.loads(glb[20 : 20 + int.from_bytes(glb[12:16], "little")])["asset"]["generator"] == "portgeo"
    assert pypdfium2.PdfDocument(tmp_path / "a.pdf").get_metadata_dict()["Creator"] == "portgeo"
    book = openpyxl.load_workbook(tmp_path / "a.xlsx").properties
    assert (book.creator, book.lastModifiedBy) == ("portgeo", None)
    drawings = sorted(tmp_path.glob("a*.dxf"))
    assert drawings and all(b"$LASTSAVEDBY\n  1\nportgeo\n" in path.read_bytes() for path in drawings)
    assert not any(b"a-persons-account" in path.read_bytes() for path in tmp_path.iterdir())


def test_a_folder_is_a_commands_own_while_every_file_in_it_is_as_it_wrote_it(tmp_path):
    names, port = ("sheet.pdf", "cut.csv"), tmp_path / "port.csv"
    assert not is_own(tmp_path, names, "reshape", port)
    (tmp_path / "sheet.pdf").write_bytes(b"what somebody keeps there")
    assert not is_own(tmp_path, names, "reshape", port)
    (tmp_path / "cut.csv").write_bytes(b"1,2\n")
    note_own(tmp_path, names, "reshape", port)
    assert is_own(tmp_path, names, "reshape", port)
    assert not is_own(tmp_path, names, "calm", port) and not is_own(tmp_path, names, "reshape", tmp_path / "b.csv")
    (tmp_path / "cut.csv").unlink()
    assert is_own(tmp_path, names, "reshape", port)
    (tmp_path / "cut.csv").mkdir()
    assert not is_own(tmp_path, names, "reshape", port)
    (tmp_path / "cut.csv").rmdir()
    (tmp_path / "sheet.pdf").write_bytes(b"a note added")
    assert not is_own(tmp_path, names, "reshape", port)
    (tmp_path / ".written.json").write_text("[]")
    assert not is_own(tmp_path, names, "reshape", port)
