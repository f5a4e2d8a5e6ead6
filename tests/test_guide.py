"""The guide and the README: what they say to type runs, and prints what they show; their tables lack no key."""

import json
import re

import pytest

from portgeo.core.errors import InputError
from portgeo.files.toml.target import read_target
from tests.guide import ROOT, examples, folder_of, pages, printed, same, tables

PAGES = sorted((ROOT / "docs").glob("*.md"))


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_examples_print_what_the_page_shows(page, tmp_path, monkeypatch):
    monkeypatch.chdir(folder_of(page, tmp_path))
    for example, got in printed(page.read_text("utf-8")):
        if example.shown is not None:
            assert same(example.shown, got), f"python scripts/fill_guide.py\n{example.typed}\nprints\n{got}"
    for result in tmp_path.glob("*.json"):
        record = json.loads(result.read_text("utf-8"))
        assert not set(keys_in(record)) - keys_told(record["schema"]), result.name


def keys_in(value):
    """Yield every key of a result, at any depth; but those of a warning's values, which are its own."""
    if isinstance(value, dict):
        yield from value
    for item in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        if not (isinstance(value, dict) and item is value.get("values")):
            yield from keys_in(item)


def keys_told(schema):
    """Return the keys that the page of JSON's fields tells under a schema's heading, and of all results."""
    opening, *parts = re.split(r"(?m)^## (.+)\n", (ROOT / "docs" / "json.md").read_text("utf-8"))
    heading = schema.removeprefix("portgeo.").partition("/")[0].replace("-set", " --set")
    text = opening + dict(zip(parts[::2], parts[1::2], strict=True))[heading]
    cells = [cell for line in text.splitlines() if line.startswith("|") for cell in re.findall(r"`([^`]+)`", line)]
    return {key for cell in cells for key in re.split(r"[.\[\]]+", cell)}


def test_a_key_that_the_page_does_not_tell_is_seen():
    assert "volume_cc" in keys_told("portgeo.measure/2") and "removed_g" not in keys_told("portgeo.measure/2")
    assert set(keys_in({"a": [{"b": {"c": 1}}, 2]})) == {"a", "b", "c"}


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
def test_tables_are_filled_with_what_the_code_has(page):
    """Every column, key, option and figure that the code declares stands in its page's table, and no other."""
    text = (ROOT / "docs" / page).read_text("utf-8")
    assert tables().filled(text) == text, f"python scripts/fill_guide.py {page}"


def test_a_table_is_filled_from_the_code_and_its_last_column():
    page = (ROOT / "docs" / "files.md").read_text("utf-8")
    row = next(line for line in page.splitlines() if line.startswith("| `height` |"))
    assert "`_in` or `_mm`" in row
    bare = page.replace(row, f"| `height` | {row.split('|')[-2].strip()} |")
    assert bare != page and tables().filled(bare) == page
    below = "<!-- of the code: words mark -->\n\n| m | |\n|---|---|\n| `throat` | a |\n| `seat` | b |\n"
    below += "| `guide` | c |\n| `joint` | d |\n\n```text\nnot of the code\n```\n"
    assert tables().filled(below).endswith("| `joint` | d |\n\n```text\nnot of the code\n```\n")


def test_a_page_that_lacks_a_key_is_refused():
    module = tables()
    page = (ROOT / "docs" / "files.md").read_text("utf-8")
    assert "| `rise` |" in page
    with pytest.raises(module.StalePage, match="rise"):
        module.filled(re.sub(r"(?m)^\| `rise` \|.*\n", "", page))
    with pytest.raises(module.StalePage, match="roundness"):
        module.filled(page.replace("| `rise` |", "| `roundness` | |\n| `rise` |"))


def test_every_record_every_table_of_a_job_and_every_command_has_its_place():
    from portgeo.app.cli import COMMANDS
    from portgeo.files.toml.job_words import TABLES

    module = tables()
    named = {name for page in PAGES for name in module.names_in(page.read_text("utf-8"))}
    assert {f"job {table}" for table in TABLES} <= named | {"job scan", "job runner_scan"}
    assert {f"options {command}" for command in COMMANDS} <= named
    assert set(module.records()) <= named


def test_links_and_pictures_lead_somewhere():
    for page in (*PAGES, ROOT / "README.md"):
        for target in re.findall(r"(?:\]\(|<img src=\")([^)#\s\"]+)", page.read_text("utf-8")):
            assert target.startswith("http") or (page.parent / target).exists(), (page.name, target)


def target_keys():
    """Return the keys of a target that the guide tells, with the table that each is under."""
    text = (ROOT / "docs" / "files.md").read_text("utf-8").partition("## Target file")[2]
    return re.findall(r"(?m)^\| `([\w.]+)` \|", text.partition("### The blank target")[0])


def test_the_keys_of_a_target_are_those_of_the_blank_one():
    from portgeo.app.job.blanks import blank_target

    table, blank = "", set()
    for line in blank_target("in").splitlines():
        heading, key = re.match(r"# \[+(\w+)\]", line), re.match(r"(?:# )?(\w+) = ", line)
        table = f"{heading[1]}." if heading else table
        blank |= {table + key[1]} if key else set()
    assert blank <= set(target_keys())
    assert set(target_keys()) - blank == {"taper.percent_from", "taper.percent_to"}  # told beside area_from


@pytest.mark.parametrize("key", [*target_keys(), "short_side.colour"])
def test_a_target_takes_every_key_that_is_told(key, tmp_path):
    """Given something that no key takes, each is refused for that, and only one that there is not as no such key."""
    table, _, name = key.rpartition(".")
    others = {"": "", "taper": "from = 1.0\nto = 2.0\n", "short_side": "radius = 0.5\n"}.get(table, "")
    heading = f"[[{table}]]\n" if table in ("area", "taper", "keep") else f"[{table}]\n" if table else ""
    path = tmp_path / "wanted.toml"
    units = "" if key == "units" else 'units = "in"\n'
    others = re.sub(rf"(?m)^{name} = .*\n", "", others)
    path.write_text(f"{units}{heading}{others}{name} = 1979-05-27\n", "utf-8")
    with pytest.raises(InputError) as refused:
        read_target(path)
    assert ("no such key" in str(refused.value)) == (key == "short_side.colour")
