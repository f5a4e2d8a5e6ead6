"""Section sheets, right and wrong in every way: each is lofted into a sound mesh or refused at its row."""

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from tests.torture import judge, mutate
from tests.workbooks import WRITE

CALM = settings(suppress_health_check=list(HealthCheck), deadline=None, print_blob=True)
COLUMNS = ("height_mm", "width_mm", "corner_mm", "turn_deg", "swing_deg", "rise_mm", "shift_mm", "shape", "note")

sizes = st.one_of(st.floats(8.0, 80.0), st.floats(-10.0, 2000.0), st.floats())
angles = st.one_of(st.just(0.0), st.floats(0.0, 90.0), st.floats(-400.0, 400.0))
small = st.one_of(st.just(0.0), st.floats(-8.0, 8.0), st.floats())
words = st.text(max_size=8)
cells = {
    "height_mm": sizes,
    "width_mm": sizes,
    "corner_mm": st.one_of(st.just(0.0), st.floats(0.0, 12.0), st.floats()),
    "turn_deg": angles,
    "swing_deg": st.one_of(st.just(0.0), st.floats(-60.0, 60.0)),
    "rise_mm": small,
    "shift_mm": small,
    "shape": st.sampled_from(["rect", "rect", "oval", "round", "outline", "", "square"]),
    "note": words,
}
odd = st.one_of(
    words, st.sampled_from(["", "1 5/8", '1.5"', "12,5", "5/8", "NaN", "inf", "-", "1e400", "=A1", "3-Mar"])
)


@st.composite
def sheets(draw):
    """Draw the text of a sheet of two to four rows; most cells are such as a person reads, some are not."""
    count = draw(st.integers(2, 4))
    gaps = [draw(st.one_of(st.floats(5.0, 40.0), st.floats(-5.0, 400.0))) for _ in range(count - 1)]
    stations = np.concatenate([[0.0], np.cumsum(gaps)])
    columns = draw(st.lists(st.sampled_from(COLUMNS), min_size=1, max_size=6, unique=True))
    if draw(st.integers(0, 5)):  # most sheets have what is needed
        columns = list(dict.fromkeys([*columns, "height_mm", "width_mm"]))
    plain = draw(st.booleans())
    rows = [["station_mm", *columns]]
    for s in stations:
        row = [f"{s:.4g}"]
        for column in columns:
            if plain and column.endswith("_mm"):
                value = (
                    draw(st.floats(20.0, 50.0)) if column in ("height_mm", "width_mm") else draw(st.floats(0.0, 5.0))
                )
            else:
                value = draw(odd) if draw(st.integers(0, 15)) == 0 else draw(cells[column])
            row.append(f"{value:.6g}" if isinstance(value, float) else value)
        rows.append(row)
    return "\n".join(draw(st.sampled_from([",", ",", ";"])).join(row) for row in rows) + "\n"


def lofted(data, suffix=".csv"):
    """Loft a sheet; check that the mesh is sound, or that the refusal names the sheet."""
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        sheet = folder / f"sheet{suffix}"
        sheet.write_bytes(data)
        done = judge.run(["loft", str(sheet), "-o", str(folder / "port.stl"), "-q"], folder, str(sheet), {"port.stl"})
        event(f"exit {done.status}")
        assert sheet.read_bytes() == data
        if done.status == 0:
            mesh = trimesh.load_mesh(folder / "port.stl")
            assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0.0
            assert math.isfinite(mesh.volume)


def workbook(text, suffix):
    """Return a sheet's text as a workbook."""
    return WRITE[suffix]([line.split(",") for line in text.splitlines()])


SOUND = "# a port\nstation_mm,height_mm,width_mm,corner_mm,turn_deg\n0,44,32,8,0\n30,40,33,9,0\n60,36,34,10,30\n"
byte_damage = st.lists(
    st.tuples(st.sampled_from(sorted(mutate.BYTE_KINDS)), st.floats(0.0, 1.0)), min_size=1, max_size=2
)


def hurt(suffix, damage, seed):
    data = SOUND.encode() if suffix == ".csv" else workbook(SOUND, suffix)
    rng = np.random.default_rng(seed)
    for kind, amount in damage:
        data = mutate.BYTE_KINDS[kind](data, rng, amount) if data else data
    lofted(data, suffix)


hurt_files = {
    "suffix": st.sampled_from([".csv", *WRITE]), "damage": byte_damage, "seed": st.integers(0, 2**32 - 1),
}  # fmt: skip


@settings(CALM, max_examples=50)
@given(sheets())
def test_any_sheet_is_lofted_or_refused(text):
    lofted(text.encode("utf-8", "replace"))


@settings(CALM, max_examples=60)
@given(**hurt_files)
def test_a_hurt_sheet_is_lofted_or_refused(suffix, damage, seed):
    hurt(suffix, damage, seed)


@pytest.mark.nightly
@settings(CALM, max_examples=400, derandomize=False)
@given(sheets())
def test_any_sheet_many_times(text):
    lofted(text.encode("utf-8", "replace"))


@pytest.mark.nightly
@settings(CALM, max_examples=300, derandomize=False)
@given(**hurt_files)
def test_a_hurt_sheet_many_times(suffix, damage, seed):
    hurt(suffix, damage, seed)
