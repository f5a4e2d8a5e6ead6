"""Job and target files, hurt in every way: each is read or refused with its place and hint, never a traceback."""

import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from portgeo.app.cli import main
from portgeo.core.errors import PortgeoError
from portgeo.files.toml.job import read_job
from portgeo.files.toml.target import read_target
from tests.conftest import DEMO
from tests.torture import judge, mutate

CALM = settings(suppress_health_check=list(HealthCheck), deadline=None, print_blob=True)
VALUES = (
    "0",
    "-1",
    "1e400",
    "nan",
    "inf",
    "true",
    '""',
    "[]",
    "{}",
    "[[1]]",
    "1979-05-27",
    '"NaN"',
    "9" * 400,
    "9" * 5000,
    "[1, 'a']",
)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """The job that `new` writes, with all that it has commented out put in; and the demo's target."""
    folder = tmp_path_factory.mktemp("job")
    assert main(["new", str(folder / "port")]) == 0
    job = next((folder / "port").glob("*.toml"))
    target = folder / "target.toml"
    target.write_bytes((DEMO / "demo-target.toml").read_bytes())
    return {"job": job, "target": target}


def other_value(data, rng, amount):
    """A key has a value of another kind."""
    lines = data.decode("utf-8", "replace").splitlines()
    keyed = [k for k, line in enumerate(lines) if "=" in line]
    if keyed:
        k = keyed[int(rng.integers(len(keyed)))]
        lines[k] = f"{lines[k].lstrip('# ').split('=')[0]}= {VALUES[int(rng.integers(len(VALUES)))]}"
    return "\n".join(lines).encode()


def lines_about(data, rng, amount):
    """Lines are lost, come twice, or are no longer comments."""
    lines = data.decode("utf-8", "replace").splitlines()
    for k in rng.integers(0, max(len(lines), 1), 1 + int(6 * amount)):
        if k < len(lines):
            lines[k] = str(rng.choice(["", f"{lines[k]}\n{lines[k]}", lines[k].lstrip("# ")]))
    return "\n".join(lines).encode()


KINDS = {**mutate.BYTE_KINDS, "other_value": other_value, "lines_about": lines_about}
hurts = {
    "which": st.sampled_from(["job", "target"]),
    "damage": st.lists(st.tuples(st.sampled_from(sorted(KINDS)), st.floats(0.0, 1.0)), min_size=1, max_size=3),
    "seed": st.integers(0, 2**32 - 1),
}


def check(files, which, damage, seed):
    data = files[which].read_bytes()
    rng = np.random.default_rng(seed)
    for kind, amount in damage:
        data = KINDS[kind](data, rng, amount) if data else data
    path = Path(files[which]).with_name("hurt.toml")
    path.write_bytes(data)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            (read_job if which == "job" else read_target)(path)
            event("read")
        except PortgeoError as refusal:
            event("refused")
            assert str(path) in str(refusal) and refusal.hint
            judge.check_told(f"portgeo: {refusal}\n")


@settings(CALM, max_examples=60)
@given(**hurts)
def test_a_hurt_job_is_read_or_refused(files, which, damage, seed):
    check(files, which, damage, seed)


@pytest.mark.nightly
@settings(CALM, max_examples=1000, derandomize=False)
@given(**hurts)
def test_a_hurt_job_many_times(files, which, damage, seed):
    check(files, which, damage, seed)
