"""Only this person's own browser is answered: hosts, origins, tokens, paths, sizes, and what may be framed."""

import http.client
import json
import os

import pytest

from tests.live.conftest import SHEET, TOKEN, served

CELL = {"op": "cells", "file": SHEET, "cells": [[1, "note", "x"]]}


def asked(browser, method, path, headers=(), body=None, host=None):
    """Ask as anything can ask: with the bytes of a path as they are given."""
    number = int(browser.address.split(":")[2].split("/")[0])
    connection = http.client.HTTPConnection("127.0.0.1", number, timeout=60)
    connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    connection.putheader("Host", host or f"127.0.0.1:{number}")
    for name, value in dict(headers).items():
        connection.putheader(name, value)
    if body is not None:
        connection.putheader("Content-Length", str(len(body)))
    connection.endheaders(body)
    answer = connection.getresponse()
    data = answer.read()
    connection.close()
    return answer, data


JSON = {"Content-Type": "application/json"}


def typed(browser):
    return json.dumps({"version": browser.version, "edits": [CELL]}).encode()


@pytest.mark.parametrize(
    "host", ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost.example.org:80", "[::1]:80", ""]
)
def test_another_host_is_refused(browser, host):
    answer, data = asked(browser, "GET", f"/{TOKEN}/state", host=host or " ")
    assert answer.status in (400, 403) and b"version" not in data


@pytest.mark.parametrize(
    "path", ["/", "/state", "/wrong/state", f"/{TOKEN}x/state", f"/{TOKEN}", "//", f"/%2e/{TOKEN}"]
)
def test_without_the_token_there_is_nothing(browser, path):
    answer, data = asked(browser, "GET", path)
    assert answer.status == 404 and not data


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://example.org"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"},
    ],
)
def test_another_page_types_nothing(browser, folder, headers):
    before = (folder / SHEET).read_bytes()
    answer, _ = asked(browser, "POST", f"/{TOKEN}/edit", JSON | headers, typed(browser))
    assert answer.status == 403
    assert (folder / SHEET).read_bytes() == before


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data"])
def test_a_form_of_another_page_types_nothing(browser, folder, kind):
    answer, _ = asked(browser, "POST", f"/{TOKEN}/edit", {"Content-Type": kind}, typed(browser))
    assert answer.status == 400


def test_every_answer_says_that_it_may_not_be_framed_kept_or_run(browser):
    for path in ("", "state", "assets/live.js", "nothing", "assets/nothing.js"):
        answer, _ = asked(browser, "GET", f"/{TOKEN}/{path}")
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers


LEADING_OUT = [
    "../x.csv",
    "..%2fx.csv",
    "%2e%2e/x.csv",
    "/etc/passwd",
    "printed/../job.toml",
    "report/..%2f..%2fx",
    "a\\b",
]


@pytest.mark.parametrize("name", LEADING_OUT)
def test_no_file_is_given_out_but_the_answers_own(browser, folder, name):
    (folder.parent / "x.csv").write_text("secret")
    for room in ("out", "assets"):
        answer, data = asked(browser, "GET", f"/{TOKEN}/{room}/{name}")
        assert answer.status == 404 and b"secret" not in data


def test_a_link_out_of_the_folder_is_not_followed(browser, folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside")
    (outside / "secret.txt").write_text("secret")
    (folder / "printed").mkdir()
    try:
        os.symlink(outside / "secret.txt", folder / "printed" / "a.txt")
        os.symlink(outside, folder / "report")
    except OSError:
        pytest.skip("this system makes no links here")
    for name in ("printed/a.txt", "report/secret.txt"):
        assert asked(browser, "GET", f"/{TOKEN}/out/{name}")[0].status == 404


@pytest.mark.parametrize("name", ["../out.csv", "/tmp/out.csv", "C:\\out.csv", "a/../../out.csv", "link.csv"])
def test_a_job_that_names_a_file_outside_reads_and_writes_none(browser, folder, tmp_path_factory, name):
    outside = tmp_path_factory.mktemp("outside") / "out.csv"
    outside.write_text("station_in,height_in\n")
    (folder.parent / "out.csv").write_text("station_in,height_in\n")
    if name == "link.csv":
        try:
            os.symlink(outside, folder / name)
        except OSError:
            pytest.skip("this system makes no links here")
    answer = browser.edit({"op": "key", "table": "bench", "key": "file", "text": name})
    assert answer.status_code == 200
    state = browser.get("state").json()
    assert set(state["tables"]) == {SHEET, "demo-bowl-as-cast.csv"}  # the second is named in the first
    assert browser.edit({"op": "cells", "file": name, "cells": [[1, "note", "x"]]}).status_code == 400
    assert browser.edit({"op": "stage", "name": "next", "file": name}).status_code == 400
    assert outside.read_text() == (folder.parent / "out.csv").read_text() == "station_in,height_in\n"


@pytest.mark.parametrize(
    "name",
    [
        "../a.stl",
        "a/b.stl",
        "/a.stl",
        ".hidden.stl",
        "a.exe",
        "a.toml",
        "job.html",
        "con.csv",
        "a\nb.csv",
        "",
        "x" * 300 + ".csv",
    ],
)
def test_an_upload_goes_nowhere_else(browser, folder, name):
    before = sorted(path.name for path in folder.parent.rglob("*"))
    answer = browser.http.post("upload", params={"name": name}, content=b"solid")
    assert answer.status_code == 400
    assert sorted(path.name for path in folder.parent.rglob("*")) == before


def test_an_upload_is_never_put_over_another_file_and_is_bounded(browser, folder, monkeypatch):
    first, second = (
        browser.http.post("upload", params={"name": "mold.stl"}, content=data) for data in (b"one", b"two")
    )
    assert (first.json()["file"], second.json()["file"]) == ("mold.stl", "mold-2.stl")
    assert (folder / "mold.stl").read_bytes() == b"one" and (folder / "mold-2.stl").read_bytes() == b"two"
    monkeypatch.setattr("portgeo.app.live.folder.LARGEST", 1000)
    assert browser.http.post("upload", params={"name": "big.stl"}, content=b"x" * 1001).status_code == 400
    assert not [
        path for path in folder.iterdir() if "big" in path.name or (path.suffix == ".stl" and path.name[0] == ".")
    ]


UNSAID = [
    b"", b"[]", b"null", b"{", b"{}", b"[" * 100_000, b"\xff\xfe",
    *(b'{"version": 1%s}' % more for more in (b"", b', "edits": []', b', "edits": [1]', b', "edits": {}')),
    b'{"version": "1", "edits": []}',
    *(b'{"version": 1, "edits": [%s]}' % edit for edit in (
        b'{"op": "cells"}', b'{"op": "cells", "file": 1, "cells": 1}', b'{"op": "__class__"}',
        b'{"op": "insert", "file": "demo-as-cast.csv", "at": 1, "count": 100000000}',
        b'{"op": "remove", "file": "demo-as-cast.csv", "rows": [0]}',
        b'{"op": "cells", "file": "demo-as-cast.csv", "cells": [[1, "note", "a\\u0007b"]]}',
        b'{"op": "cells", "file": "demo-as-cast.csv", "cells": [[1, "station_in", "# 1"]]}',
        b'{"op": "key", "table": "", "index": -5, "key": "nothing", "text": "x"}',
        b'{"op": "key", "table": "state", "index": 7, "key": "name", "text": "x"}',
        b'{"op": "key", "table": "target.nothing", "key": "x", "text": "x"}',
        b'{"op": "stage", "name": "", "part": "port"}', b'{"op": "stage", "name": "x", "part": "roof"}',
        b'{"op": "begin", "what": "port"}', b'{"op": "table", "table": "../x"}',
        b'{"op": "column", "file": "demo-as-cast.csv", "name": "a\\u0000b"}',
    )),
]  # fmt: skip


@pytest.mark.parametrize("body", UNSAID)
def test_what_no_page_says_is_refused_with_words_and_changes_nothing(browser, folder, body):
    before = (folder / SHEET).read_bytes()
    answer, data = asked(browser, "POST", f"/{TOKEN}/edit", JSON, body)
    assert answer.status == 400 and json.loads(data)["what"] and json.loads(data)["hint"]
    assert (folder / SHEET).read_bytes() == before
    assert not (folder / "job.toml").exists()


def test_too_large_a_body_is_refused(browser):
    body = b'{"version": 1, "edits": [{"op": "x", "text": "' + b"x" * 5_000_000 + b'"}]}'
    try:
        answer, _ = asked(browser, "POST", f"/{TOKEN}/edit", JSON, body)
    except OSError:
        return  # it hung up in the middle, which is an answer too
    assert answer.status == 400


def test_the_server_listens_on_this_machine_alone(folder):
    from portgeo.app.live.serve import listening

    with listening(None) as at:
        assert at.getsockname()[0] == "127.0.0.1"
    with served(folder) as browser:
        assert browser.get("state").status_code == 200
