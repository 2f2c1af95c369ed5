"""What the season's command line refuses: exit code 2, every problem with its path and a sentence, no traceback.

Source: the contract, "Errors" and "Command line" (a full sentence: what is wrong, which value, what to do).
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from scoring.__main__ import main

ROOT = Path(__file__).parents[3]
SCHEME = {"format": "scheme/1", "id": "means", "unit": "pair", "value": {"aggregate": "mean"}}
GOOD = b"score_id,pair,percentage,date\ns1,P1,60,2027-01-01\n"

LEDGERS = {
    "empty": (b"", "row 1", "empty"),
    "only blank lines": (b"\n  \n", "row 1", "empty"),
    "no ledger at all": (b"good morning\n", "row 1.good morning", "not known"),
    "a bare list": (b'[{"score_id": "s1"}]', "row 1", "JSON lines"),
    "a bare list over lines": (b'\n[\n{"score_id": "s1"}\n]', "row 1", "JSON lines"),
    "no JSON": (b'{"score_id": "s1"', "row 1", "not JSON"),
    "a list among the lines": (b'{"score_id": "s1"}\n[1]\n', "row 2", "a list"),
    "a key twice": (b'{"score_id": "s1", "score_id": "s2"}', "row 1", '"score_id" stands twice'),
    "a number that is none": (b'{"score_id": "s1", "percentage": NaN}', "row 1", "NaN"),
    "a decimal for a name": (b'{"score_id": "s1", "pair": 2.5}', "row 1.pair", "2.5"),
    "a list for a name": (b'{"score_id": "s1", "pair": ["P1"]}', "row 1.pair", "a list"),
    "an object for a name": (b'{"score_id": "s1", "pair": {}}', "row 1.pair", "an empty object"),
    "true for a number": (b'{"score_id": "s1", "percentage": true}', "row 1.percentage", "true"),
    "a word for true": (b'{"score_id": "s1", "member": "yes"}', "row 1.member", "true or false"),
    "a field of no ledger": (b'{"score_id": "s1", "colour": "bay"}', "row 1.colour", "colour"),
    "a column of no ledger": (b"score_id,colour\ns1,bay\n", "row 1.colour", "colour"),
    "a column twice": (b"score_id,pair,pair\ns1,P1,P2\n", "row 1.pair", "twice"),
    "no score_id": (b"pair\nP1\n", "row 1.score_id", "missing"),
    "a score twice": (b"score_id\ns1\ns1\n", "row 3.score_id", "row 2"),
    "a day that is none": (b"score_id,date\ns1,2026-02-30\n", "row 2.date", "There is no such day"),
    "a day as people write it": (b"score_id,date\ns1,28.02.2026\n", "row 2.date", "2027-03-01"),
    "a decimal comma": (b'score_id,percentage\ns1,"60,5"\n', "row 2.percentage", "60,5"),
    "more than all": (b"score_id,percentage\ns1,100.001\n", "row 2.percentage", "0 to 100"),
    "too many cells": (b"score_id\ns1,P1\n", "row 2", "2 cells"),
    "an open quote": (b'score_id\n"s1\n', "row 2", "quotes"),
    "semicolons": (b"score_id;pair\ns1;P1\n", "row 1", "semicolons"),
    "tabs": (b"score_id\tpair\ns1\tP1\n", "row 1", "tabs"),
    "another encoding": ("score_id,pair\ns1,Jörg\n".encode("latin-1"), "scores", "UTF-8"),
    "a zero byte": (b"score_id,pair\ns1,P\x001\n", "scores", "zero byte"),
}
SCHEMES = {
    "empty": (b"", "scheme", "not JSON"),
    "no JSON": (b"the best three", "scheme", "not JSON"),
    "a list": (b"[]", "scheme", "an empty list"),
    "null": (b"null", "scheme", "null"),
    "a key twice": (b'{"id": "a", "id": "b"}', "scheme", '"id" stands twice'),
    "a number that is none": (b'{"decimals": NaN}', "scheme", "NaN"),
    "another encoding": (b'{"title": "\xf6"}', "scheme", "UTF-8"),
    "another version": (json.dumps({**SCHEME, "format": "scheme/2"}).encode(), "format", "scheme/1"),
    "a key of no scheme": (json.dumps({**SCHEME, "colour": "bay"}).encode(), "colour", "colour"),
    "half a score": (json.dumps({**SCHEME, "value": {"aggregate": "mean", "take": {"best": 2.5}}}).encode(),
                     "value.take.best", "is 2.5. Give a whole number"),
    "a day that is none": (json.dumps({**SCHEME, "season": {"from": "2026-02-30"}}).encode(),
                           "season.from", "There is no such day"),
}  # fmt: skip


def refused(capfd, *arguments):
    code = main([str(argument) for argument in arguments])
    out, err = capfd.readouterr()
    errors = json.loads(err)["errors"]
    assert (code, out) == (2, "")
    assert errors
    assert all(error["message"][0].isupper() or error["message"][0] == '"' for error in errors)
    assert all(error["message"].endswith(".") and "Error" not in error["message"] for error in errors)
    return [(error["path"], error["message"]) for error in errors]


@pytest.fixture
def files(tmp_path):
    scheme, scores = tmp_path / "scheme.json", tmp_path / "scores.csv"
    scheme.write_text(json.dumps(SCHEME), encoding="utf-8")
    scores.write_bytes(GOOD)
    return scheme, scores


def assert_says(found, path, words):
    assert any(where == path and words in message for where, message in found), found


@pytest.mark.parametrize(("ledger", "path", "words"), LEDGERS.values(), ids=LEDGERS)
def test_a_ledger_that_cannot_be_used_is_refused_with_a_path_and_a_sentence(capfd, files, ledger, path, words):
    files[1].write_bytes(ledger)
    assert_says(refused(capfd, "standings", "--scheme", *files), path, words)


@pytest.mark.parametrize(("scheme", "path", "words"), SCHEMES.values(), ids=SCHEMES)
def test_a_scheme_that_cannot_be_used_is_refused_with_a_path_and_a_sentence(capfd, files, scheme, path, words):
    files[0].write_bytes(scheme)
    assert_says(refused(capfd, "standings", "--scheme", *files), path, words)


def test_what_cannot_be_read_says_which_of_the_two_it_is(capfd, tmp_path, files):
    found = refused(capfd, "standings", "--scheme", tmp_path / "none.json", tmp_path)
    assert [path for path, _ in found] == ["scheme", "scores"]
    found = refused(capfd, "standings", "--scheme", "-", "-")
    assert_says(found, "scheme", "standard input")


@pytest.mark.parametrize(
    ("arguments", "path", "words"),
    [
        (["--as-of", "2026-02-30"], "as-of", "There is no such day"),
        (["--as-of", ""], "as-of", "2027-03-01"),
        (["--as", "2027-01-01"], "", "--as "),
        (["--unit", " "], "unit", "empty"),
        (["--unit", "P9"], "unit", "P9"),
        (["--draws", "9"], "", "[--as-of DATE]"),
    ],
)
def test_arguments_that_cannot_be_used_are_named(capfd, files, arguments, path, words):
    files[0].write_text(json.dumps({**SCHEME, "group_by": ["level"]}), encoding="utf-8")
    unit = [] if "--unit" in arguments else ["--unit", "P1"]
    assert_says(refused(capfd, "outlook", "--scheme", files[0], *unit, *arguments, files[1]), path, words)


@pytest.mark.parametrize(
    "ledger",
    [
        b"\xef\xbb\xbf" + GOOD,
        GOOD.replace(b"\n", b"\r\n"),
        b'\xef\xbb\xbf{"score_id": "s1", "pair": "P1", "percentage": 60}\n',
        b'\n\n{"score_id": "s1", "pair": "P1", "percentage": "60.0"}\n',
    ],
)
def test_what_editors_and_spreadsheets_add_does_no_harm(capfd, files, ledger):
    files[0].write_bytes(b"\xef\xbb\xbf" + files[0].read_bytes())
    files[1].write_bytes(ledger)
    assert main(["standings", "--scheme", *map(str, files)]) == 0
    assert json.loads(capfd.readouterr().out)["groups"][0]["rows"][0]["value"] == "60.000"


@pytest.mark.parametrize("command", ["standings", "outlook"])
def test_names_are_written_as_utf_8_whatever_the_locale_says(files, command):
    files[1].write_text("score_id,pair,percentage\ns1,Zoë Łuk,60\n", encoding="utf-8")
    unit = ["--unit", "Zoë Łuk"] if command == "outlook" else []
    done = subprocess.run(
        [sys.executable, "-m", "scoring", command, "--scheme", *map(str, files), *unit],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert "Zoë Łuk" in done.stdout.decode("utf-8")
