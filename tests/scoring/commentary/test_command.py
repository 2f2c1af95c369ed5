"""``python -m scoring align`` as another program sees it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

import scoring
from scoring import __main__

ROOT = Path(scoring.__file__).parent.parent
TEST = ROOT / "fixtures" / "tests" / "larkfield-novice-1.json"
VTT = b"WEBVTT\n\n01:01.500 --> 01:03.000\nStraight entry.\n\n01:20.000 --> 01:22.000\nOverall pleasing, thank you.\n"


def run(*arguments, data=b""):
    return subprocess.run(
        [sys.executable, "-m", "scoring", "align", *map(str, arguments)],
        input=data,
        capture_output=True,
        cwd=ROOT,
        check=False,
        timeout=60,
    )


def errors_of(done):
    assert done.returncode == 2
    assert done.stdout == b""
    return [(error["path"], error["message"]) for error in json.loads(done.stderr)["errors"]]


@pytest.mark.parametrize("named", [("--test", TEST), (f"--test={TEST}",), ("--test", TEST, "-"), ("-", "--test", TEST)])
def test_text_from_standard_input(named):
    done = run(*named, data=VTT)
    assert (done.returncode, done.stderr) == (0, b"")
    document = json.loads(done.stdout)
    assert document["format"] == "alignment/1"
    assert [(cue["index"], cue["start"], cue["end"], cue["item"]) for cue in document["cues"]] == [
        (0, "61.5", "63", "1"),
        (1, "80", "82", None),
    ]


def test_text_from_a_file(tmp_path):
    path = tmp_path / "spoken.txt"
    path.write_text("Straight entry.\nŁadny circle at B.\n", encoding="utf-8")
    cues = json.loads(run("--test", TEST, path).stdout.decode("utf-8"))["cues"]
    assert [(cue["start"], cue["item"], cue["text"]) for cue in cues] == [
        (None, "1", "Straight entry."),
        (None, "2", "Ładny circle at B."),
    ]


def test_the_problems_of_test_and_text_are_reported_together(tmp_path):
    path = tmp_path / "test.json"
    path.write_text('{"format": "test/1", "id": "t", "items": [{"id": "1", "coeficient": "2"}]}')
    found = errors_of(run("--test", path, data=b"1\n00:00:05,000 --> 00:00:04,000\nx\n"))
    assert [place for place, _ in found] == ["test.items[0].mark", "test.items[0].coeficient", "cues[0].end"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "No test is named."),
        (("--test",), "No file follows --test."),
        (("--test", "no.json"), 'The file "no.json" cannot be read'),
        (("--test", str(TEST), "no.vtt"), 'The file "no.vtt" cannot be read'),
        (("--test", "nul\0", "-"), "cannot be read"),
        (("--test", str(TEST), "a", "b"), '"b" is one file too many.'),
        (("--test", "a", "--test", "b"), '"b" is one file too many.'),
        (("--tset", "a"), 'The argument "--tset" is not known.'),
    ],
)
def test_what_cannot_be_run_says_so(arguments, words, capfdbinary, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO()))
    assert __main__.main(["align", *arguments]) == 2
    out, err = capfdbinary.readouterr()
    assert out == b""
    assert any(words in error["message"] for error in json.loads(err)["errors"])


def test_help_names_the_command(capsys):
    assert __main__.main(["--help"]) == 0
    assert "  align --test FILE [TEXT]" in capsys.readouterr().out


def test_the_other_commands_load_no_commentary():
    code = (
        "import sys, scoring, scoring.commands, scoring.__main__; print([m for m in sys.modules if 'commentary' in m])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, cwd=ROOT, check=True, timeout=60)
    assert done.stdout.strip() == b"[]"
