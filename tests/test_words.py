"""The words: each code that is made has its sentence, each sentence its code, and no sentence stands anywhere else."""

import ast
import re
import string
from pathlib import Path

import numpy as np
import pytest

import portgeo
from portgeo.core.notices import KINDS, Notice, unique
from portgeo.core.units import Display
from portgeo.words import SENTENCES, sentences_of
from scripts.sentences import example, texts_in

PACKAGE = Path(portgeo.__file__).parent
INCHES, MM = Display("in"), Display("mm")


def constants(node):
    return {n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)}


def set_to(name, function):
    """What a name is set to in a function, or runs over."""
    for node in ast.walk(function):
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.For) and any(
            isinstance(part, ast.Name) and part.id == name for target in targets for part in ast.walk(target)
        ):
            yield node.iter if isinstance(node, ast.For) else node.value


def makings():
    """Every call of Notice in the package: where, the codes and the cases it may make, the names of its values."""
    for module in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(module.read_text(encoding="utf-8"))
        functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
        for call in ast.walk(tree):
            if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "Notice"):
                continue
            around = [f for f in functions if f.lineno <= call.lineno <= f.end_lineno]

            def strings(node, around=around):
                """The strings that an expression may be; of a name, those of what it is set to in its function."""
                if isinstance(node, ast.Name):
                    return set().union(*(constants(each) for each in set_to(node.id, around[-1])))
                if isinstance(node, ast.IfExp):
                    return strings(node.body) | strings(node.orelse)
                return constants(node)

            codes = strings(call.args[0]) & SENTENCES.keys() or strings(call.args[0])
            values = {word.arg: word.value for word in call.keywords}
            cases = strings(values["case"]) if "case" in values else {""}
            yield f"{module.relative_to(PACKAGE)}:{call.lineno}", call, codes, cases, values.keys()


MAKINGS = list(makings())


def fields_of(sentence):
    return {name: spec for _, name, spec, _ in string.Formatter().parse(sentence) if name is not None}


def test_every_code_that_is_made_has_words_and_every_sentence_is_made_somewhere():
    made = {(code, case) for _, _, codes, cases, _ in MAKINGS for code in codes for case in cases}
    assert {code for code, _ in made} == SENTENCES.keys()
    wanted = {(code, case) for code in SENTENCES for case in sentences_of(code)}
    assert wanted <= made


def test_a_sentence_names_no_value_that_its_notice_does_not_give_and_no_value_is_given_for_nothing():
    for where, _, codes, cases, given in MAKINGS:
        assert None not in given, f"{where}: values of a notice are written out, not spread"
        for code in codes:
            meant = {case: fields_of(text) for case, text in sentences_of(code).items() if case in cases}
            assert meant, f"{where}: {code} has no sentence for {cases}"
            for case, fields in meant.items():
                assert fields.keys() <= given, f"{where}: {code} {case} names {fields.keys() - given}"
        named = set().union(*(fields_of(text) for code in codes for text in sentences_of(code).values()))
        assert given - named <= {"case"}, f"{where}: {given - named} of {codes} are in no sentence"


def test_no_notice_is_made_with_words_of_its_own():
    for where, call, *_ in MAKINGS:
        spaced = [text for text in constants(call) if " " in text]
        assert not spaced and not any(isinstance(n, ast.JoinedStr) for n in ast.walk(call)), f"{where}: {spaced}"


def test_a_value_is_of_one_kind_in_all_sentences_of_its_code():
    for code in SENTENCES:
        kinds = {}
        for text in sentences_of(code).values():
            for name, spec in fields_of(text).items():
                kinds.setdefault(name, set()).add(spec.removeprefix("plain_"))
        assert all(len(specs) == 1 for specs in kinds.values()), f"{code}: {kinds}"


@pytest.mark.parametrize("code", SENTENCES)
def test_a_sentence_is_whole_in_both_units_and_begins_and_ends_as_the_others(code):
    for case in sentences_of(code):
        for display in (INCHES, MM):
            said = example(code, case).message(display)
            assert "{" not in said and not said.endswith(".") and said == said.strip()
            assert said[0].islower() or said[0].isdigit() or said.split()[0] in ("AFTER", "Mach")


def test_a_kind_shows_a_value_in_the_user_s_unit():
    """25.4 mm is an inch by definition (NIST SP 811); a turn of pi/36 is 5 degrees."""
    assert KINDS["length"].show(25.4, INCHES) == "1.000 in"
    assert KINDS["area"].show(25.4**2, INCHES) == "1.000 sq in" and KINDS["area"].show(25.4**2, MM) == "645.2 mm²"
    assert KINDS["volume"].show(1640.0, INCHES) == "1.64 cc"
    assert KINDS["speed"].show(30.48, INCHES) == "100 ft/s" and KINDS["speed"].show(30.48, MM) == "30.5 m/s"
    assert [KINDS["angle"].show(np.radians(a), MM) for a in (5.0, 7.43, 12.4, 104.2)] == ["5°", "7.4°", "12°", "104°"]
    assert KINDS["clock"].show(6.0, MM) == "6 o'clock" and KINDS["clock"].show(None, MM) == "all round"
    assert KINDS["wall"].show("left", MM) == "left wall" and KINDS["wall"].show("floor", MM) == "floor"
    assert [KINDS["rows"].show(range(2, n), MM) for n in (3, 4, 5)] == ["row 2", "rows 2 and 3", "rows 2, 3 and 4"]
    assert KINDS["rows"].show(range(2, 22), MM).endswith(", 12, 13 and 8 more")


def test_a_notice_counts_as_a_person_does():
    one, three = (Notice("degenerate_dropped", count=n).message(MM) for n in (1, 1300))
    assert one.startswith("1 triangle with") and three.startswith("1,300 triangles with")


def test_a_notice_gives_its_values_with_their_unit_in_the_key():
    dam = Notice("dam", wall="floor", station=np.float64(24.5), height=1.7, length=9.6, limit=0.5)
    assert dam.values["station"] == 24.5 and type(dam.values["station"]) is float
    assert dam.record() == {"wall": "floor", "station_mm": 24.5, "height_mm": 1.7, "length_mm": 9.6, "limit_mm": 0.5}
    smaller = Notice("smaller_after", added=640.0, removed=20.0).record()
    assert smaller == {"added_cc": pytest.approx(0.64), "removed_cc": pytest.approx(0.02)}
    stop = Notice("stop", case="none", limit="wall", depth=0.0)
    missed = Notice("area_missed", case="one", station=1.0, clock=6.0, stop=stop, short=0.02, area=9.0, wanted=9.2)
    record = missed.record()
    assert record["stop"] == {"code": "stop", "values": {"case": "none", "limit": "wall", "depth_mm": 0.0}}
    assert record["short_percent"] == pytest.approx(2.0) and record["clock_hours"] == 6.0


def test_the_same_notice_is_said_once():
    pinch = [Notice("pinch", station=s, area=900.0, share=0.02, limit=0.01) for s in (10.0, 10.0, 20.0)]
    assert unique(pinch) == [pinch[0], pinch[2]]


def test_in_a_job_a_sentence_names_the_keys_of_its_file_and_not_a_command_s_options():
    notice = Notice("entry_unsure")
    assert notice.message(MM).endswith("pass --entry X,Y,Z if it is the other")
    assert notice.message(Display("mm", "key")).endswith("give entry = [X, Y, Z] if it is the other")


# As British English has them, and words of a court for a slip in a file.
NOT_PRINTED = re.compile(
    r"\b(\w*colour|grey|mould|\w*metre(s|d)?|centreline|aluminium|refus\w+|programme|whilst)\b", re.I
)


def test_what_is_printed_is_in_american_english():
    """Errors and hints, pages, paper, what commands print; not the code in their fields."""
    found = []
    for room in ("app/commands", "app/job", "present", "files", "front", "words.py"):
        for module in sorted((PACKAGE / room).rglob("*.py")) or [PACKAGE / room]:
            texts = texts_in(module.read_text(encoding="utf-8"))
            plain = ((line, re.sub(r"{[^}]*}", "", text)) for line, text in texts)
            found += [f"{module.name}:{line} {text}" for line, text in plain if NOT_PRINTED.search(text)]
    assert not found


def test_every_text_of_a_module_is_listed_with_its_fields():
    source = """def f(x):
    'A docstring is not read.'
    return f"take {x} off", g("and " f"leave {h('the rest of it')}")
"""
    assert [text for _, text in texts_in(source)] == [
        "take {x} off",
        "and leave {h('the rest of it')}",
        "the rest of it",
    ]
