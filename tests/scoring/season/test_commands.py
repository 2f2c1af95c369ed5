import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from scoring.documents import InvalidDocument
from scoring.season import commands

ROOT = Path(__file__).parents[3]
SCHEME = {
    "format": "scheme/1", "id": "means", "title": "Means", "unit": "pair",
    "require": [{"count": "scores", "at_least": 3}], "value": {"aggregate": "mean"},
}  # fmt: skip
LEDGER = "score_id,pair,level,percentage,date\ns1,P1,novice,66.5,2027-01-01\ns2,P1,medium,60,2027-02-01\n"


@pytest.fixture
def files(tmp_path):
    scheme, scores = tmp_path / "scheme.json", tmp_path / "scores.csv"
    scheme.write_text(json.dumps(SCHEME), encoding="utf-8")
    scores.write_text(LEDGER, encoding="utf-8")
    return str(scheme), str(scores)


def run(capsys, *arguments):
    code = commands.run(arguments[0], arguments[1:])
    out, err = capsys.readouterr()
    return code, out, err


def test_standings_are_written_as_one_document(capsys, files):
    code, out, err = run(capsys, "standings", "--scheme", files[0], files[1])
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert (document["format"], document["as_of"]) == ("standings/1", "2027-02-01")
    assert document["groups"][0]["rows"][0]["value"] == "63.250"


def test_as_of_leaves_later_rides_out(capsys, files):
    _, out, _ = run(capsys, "standings", "--scheme", files[0], "--as-of", "2027-01-31", files[1])
    assert json.loads(out)["groups"][0]["rows"][0]["counted"] == ["s1"]


def test_scores_come_from_standard_input_unless_a_file_is_named(capsys, files, monkeypatch):
    monkeypatch.setattr(
        sys, "stdin", io.TextIOWrapper(io.BytesIO(b'{"score_id": "s1", "pair": "P1", "percentage": 60}'))
    )
    code, out, _ = run(capsys, "standings", "--scheme", files[0])
    assert code == 0
    assert json.loads(out)["groups"][0]["rows"][0]["value"] == "60.000"


def test_an_outlook_is_one_document_or_a_list_of_them(capsys, files, tmp_path):
    code, out, _ = run(capsys, "outlook", "--scheme", files[0], "--unit", "P1", files[1])
    assert (code, json.loads(out)["scores_needed"]) == (0, 1)
    grouped = tmp_path / "grouped.json"
    grouped.write_text(json.dumps({**SCHEME, "group_by": ["level"]}), encoding="utf-8")
    code, out, _ = run(capsys, "outlook", "--scheme", str(grouped), "--unit", "P1", files[1])
    assert [one["group"]["level"] for one in json.loads(out)] == ["medium", "novice"]
    code, out, err = run(capsys, "outlook", "--scheme", str(grouped), "--unit", "P9", files[1])
    assert (code, out) == (2, "")
    assert json.loads(err)["errors"][0]["path"] == "unit"


def test_refused_input_writes_every_problem_of_both_files_and_nothing_else(capsys, files, tmp_path):
    bad_scheme, bad_scores = tmp_path / "bad.json", tmp_path / "bad.csv"
    bad_scheme.write_text(json.dumps({**SCHEME, "mode": "rnk", "colour": "red"}), encoding="utf-8")
    bad_scores.write_text("score_id,percentage\ns1,65;5\ns1,200\n", encoding="utf-8")
    code, out, err = run(capsys, "standings", "--scheme", str(bad_scheme), "--as-of", "tomorrow", str(bad_scores))
    assert (code, out) == (2, "")
    assert [error["path"] for error in json.loads(err)["errors"]] == [
        "mode", "colour", "row 2.percentage", "row 3.percentage", "as-of",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "arguments", [[], ["--scheme"], ["--scheme", "no-such-file.json", "no-such-file.csv"], ["--colour", "red"]]
)
def test_a_command_line_that_cannot_be_used_is_refused_in_the_same_shape(capsys, arguments):
    code, out, err = run(capsys, "standings", *arguments)
    assert (code, out) == (2, "")
    errors = json.loads(err)["errors"]
    assert errors
    assert all(error["message"].endswith(".") for error in errors)


def test_check_says_what_a_document_is_or_every_problem():
    assert commands.check_document(SCHEME) == (
        'This is a good scheme/1 document: means "Means", for each pair, mode rank.'
    )
    assert commands.check_scores(LEDGER.encode()) == (
        "This is a good scores/1 ledger with 2 scores from 2027-01-01 to 2027-02-01."
    )
    with pytest.raises(InvalidDocument, match="colour"):
        commands.check_document({**SCHEME, "colour": "red"})
    with pytest.raises(InvalidDocument, match="format"):
        commands.check_document({"format": "stables/1"})
    with pytest.raises(InvalidDocument, match="row 2"):
        commands.check_scores(b"score_id,percentage\ns1,x\n")


def test_the_module_runs_from_the_command_line(files):
    command = [sys.executable, "-m", "scoring", "standings", "--scheme", files[0], files[1]]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True, timeout=60)
    assert json.loads(done.stdout)["scheme"] == "means"
