"""The guide and the README: what they say to type runs, and prints what they show; their tables lack no key."""

import importlib.util
import re

import pytest

from tests.guide import ROOT, examples, folder_of, pages, printed, same

PAGES = sorted((ROOT / "docs").glob("*.md"))


def load_tables():
    """Return docs/tables.py, which is no part of a package."""
    spec = importlib.util.spec_from_file_location("guide_tables", ROOT / "docs" / "tables.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_examples_print_what_the_page_shows(page, tmp_path, monkeypatch):
    monkeypatch.chdir(folder_of(page, tmp_path))
    for example, got in printed(page.read_text("utf-8")):
        if example.shown is not None:
            assert same(example.shown, got), f"python scripts/fill_guide.py\n{example.typed}\nprints\n{got}"


def test_what_is_shown_must_be_what_is_printed():
    assert same("a 1.234 in\n...\nend 5 %\n", "a 1.235 in\nmore\nmore\nend 5 %\n")
    assert same("volume 118.89\n", "volume  118.90\n\n")
    assert not same("a 1.234 in\n...\nend 5 %\n", "a 1.250 in\nmore\nend 5 %\n")
    assert not same("a 1.234 in\n", "a 1.234 in\nmore\n")
    assert not same("a 1.234 in\n...\nend\n", "a 1.234 in\nend\nmore\n")


def test_an_example_in_two_lines_is_two():
    page = "```console\n$ portgeo one\nout\n$ portgeo two\n```\n\n```python\nprint(1)\n```\n\n```text\n1\n```\n"
    assert [(e.typed, e.shown) for e in examples(page)] == [
        ("portgeo one", "out\n"), ("portgeo two", ""), ("print(1)\n", "1\n")]  # fmt: skip


@pytest.mark.parametrize("page", [page.name for page in PAGES])
def test_tables_have_every_key(page):
    """Every column, key and figure that the code declares stands in its page's table, and no other."""
    tables = load_tables()
    assert "StalePage" not in tables.filled((ROOT / "docs" / page).read_text("utf-8"))


def test_a_page_that_lacks_a_key_is_refused():
    tables = load_tables()
    page = (ROOT / "docs" / "files.md").read_text("utf-8")
    assert "| `rise` |" in page
    with pytest.raises(tables.StalePage, match="rise"):
        tables.filled(re.sub(r"(?m)^\| `rise` \|.*\n", "", page))
    with pytest.raises(tables.StalePage, match="roundness"):
        tables.filled(page.replace("| `rise` |", "| `roundness` | |\n| `rise` |"))


def test_every_record_and_every_table_of_a_job_has_its_place():
    from portgeo.files.toml.job_words import TABLES

    tables = load_tables()
    named = {name for page in PAGES for name in tables.names_in(page.read_text("utf-8"))}
    assert {f"job {table}" for table in TABLES} <= named | {"job scan", "job runner_scan"}
    assert set(tables.records()) <= named


def test_links_between_pages_lead_somewhere():
    for page in (*PAGES, ROOT / "README.md", ROOT / "CHANGELOG.md"):
        for target in re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8")):
            assert target.startswith("http") or (page.parent / target).exists(), (page.name, target)
