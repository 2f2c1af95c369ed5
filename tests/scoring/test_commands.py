"""The command line as another program sees it: exit code, standard output, standard error."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import scoring
from scoring import __main__, commands
from scoring.bundles import bundle_digest
from tests.scoring.documents import changed, freestyle_class, small_class

ROOT = Path(scoring.__file__).parent.parent


def run(*arguments, data=b"", **environment):
    return subprocess.run(
        [sys.executable, "-m", "scoring", *map(str, arguments)],
        input=data if isinstance(data, bytes) else json.dumps(data).encode(),
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, **environment},
        check=False,
        timeout=60,
    )


def errors_of(done):
    assert done.returncode == 2
    assert done.stdout == b""
    return json.loads(done.stderr)["errors"]


def expected():
    return scoring.compute_results(scoring.read_class(small_class())).as_document()


def bundle_of(*documents):
    classes = [
        {"class": document, "results": scoring.compute_results(scoring.read_class(document)).as_document()}
        for document in documents
    ]
    document = {"format": "bundle/1", "competition": {"name": "Larkfield Spring"}, "classes": classes}
    return document | {"digest": bundle_digest(document)}


def sealed(document):
    return document | {"digest": bundle_digest(document)}


def test_results_from_standard_input():
    done = run("results", data=small_class())
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout) == expected()
    assert done.stdout.endswith(b"}\n")
    assert b'\n  "entries": [\n' in done.stdout


def test_results_from_a_file(tmp_path):
    path = tmp_path / "class.json"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(small_class()).encode())
    assert json.loads(run("results", path).stdout) == expected()


def test_output_is_utf_8_whatever_the_locale_says():
    document = changed(small_class(), "entries[2].reason", "Łapa boli — žádná")
    done = run("results", data=document, LC_ALL="C", LANG="C", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0
    assert "Łapa boli — žádná" in done.stdout.decode("utf-8")


def test_refused_input_lists_every_problem_on_standard_error():
    document = changed(small_class(), "entries[0].sheets.C.marks.4", "10.3")
    document = changed(document, "rules.rounding", "up")
    assert [error["path"] for error in errors_of(run("results", data=document))] == ["rules.rounding"]
    document = changed(document, "rules.rounding", "half-up")
    document = changed(document, "entries[1].status", "done")
    assert errors_of(run("results", data=document)) == [
        {
            "path": "entries[0].sheets.C.marks.4",
            "message": "Mark 10.3 for movement 4 is not a step of 0.5. Enter 10 or less in steps of 0.5.",
        },
        {
            "path": "entries[1].status",
            "message": '"status" is "done". Give one of: completed, eliminated, retired, withdrawn, no-show, running.',
        },
    ]


@pytest.mark.parametrize(
    "data", [b"", b"{", b"\xff", b"[]", b"7", b"null", b'"x"', b"[" * 50_000, b'{"format": "class/1", "format": 1}']
)
def test_no_text_ends_in_a_traceback(data):
    for command in ("results", "verify", "check"):
        done = run(command, data=data)
        assert done.returncode == 2
        assert b"Traceback" not in done.stderr
        assert json.loads(done.stderr)["errors"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "No command is given"),
        (("place",), 'The command "place" is not known'),
        (("results", "--fast"), 'The argument "--fast" is not known'),
        (("results", "a.json", "b.json"), 'The argument "b.json" is not known'),
        (("results", "no-such-file.json"), "cannot be read"),
        (("results", "."), "cannot be read"),
        (("check", "a\0b"), "cannot be read"),
    ],
)
def test_what_cannot_be_run_says_so(arguments, words, capfdbinary):
    assert __main__.main(list(arguments)) == 2
    out, err = capfdbinary.readouterr()
    assert out == b""
    assert words in json.loads(err)["errors"][0]["message"]


@pytest.mark.parametrize("arguments", [("--help",), ("-h",), ("results", "--help")])
def test_help_names_every_command(arguments, capsys):
    assert __main__.main(list(arguments)) == 0
    text = capsys.readouterr().out
    assert all(f"  {name} " in text for name in ("results", "standings", "outlook", "check", "verify"))


@pytest.mark.parametrize(
    ("document", "said"),
    [
        (small_class, 'A class, class/1, "c7" (Novice open), 4 entries, 2 seats. Its results can be computed.'),
        (freestyle_class, 'A class, class/1, "c8", 1 entry, 3 seats. Its results can be computed.'),
        (lambda: small_class()["test"], "maximum 40. It can be used."),
        (lambda: scoring.rule_sets()["sum-of-points"], 'A rule set, rules/1, "sum-of-points"'),
        (expected, 'Results, results/1, of class "c7", 4 entries. Their shape is right.'),
        (lambda: bundle_of(small_class()), "A results bundle, bundle/1, 1 class; its digest is right."),
    ],
)
def test_check_says_what_a_document_is(document, said):
    done = run("check", data=document())
    assert (done.returncode, done.stderr) == (0, b"")
    assert said in done.stdout.decode()


def test_check_names_the_formats_it_knows():
    (error,) = errors_of(run("check", data={"format": "class/2"}))
    assert error["path"] == "format"
    for name in ("test/1", "rules/1", "class/1", "results/1", "bundle/1", "scheme/1", "standings/1", "outlook/1"):
        assert name in error["message"]


def test_verify_agrees_with_an_honest_bundle():
    done = run("verify", data=bundle_of(small_class(), freestyle_class()))
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"agrees" in done.stdout


def test_verify_prints_each_difference():
    bundle = bundle_of(small_class())
    rows = bundle["classes"][0]["results"]["entries"]
    rows[0]["total"] = "60.001"
    rows[1]["placing"], rows[1]["sheets"]["C"]["place"] = 1, 2
    del rows[1]["tie"]
    rows[1]["prize"] = "rosette"
    rows.reverse()
    bundle["classes"][0]["results"]["teams"] = []
    done = run("verify", data=sealed(bundle))
    assert done.returncode == 1
    assert done.stdout.decode().splitlines() == [
        "classes[0].results.entries[2].placing: The bundle says 1, but recomputed it is 2.",
        "classes[0].results.entries[2].sheets.C.place: The bundle says 2, but recomputed it is 1.",
        "classes[0].results.entries[2].tie: The bundle leaves this out, but recomputed it is null.",
        "classes[0].results.entries[2].prize: The bundle says this, but nothing like it is recomputed.",
        'classes[0].results.entries[3].total: The bundle says "60.001", but recomputed it is "60.000".',
        "classes[0].results.entries: The order is not as recomputed: 9, 12, 15, 20.",
        'classes[0].results.teams: The bundle leaves out team "Green".',
    ]


def test_verify_finds_entries_put_in_left_out_or_doubled():
    bundle = bundle_of(small_class())
    rows = bundle["classes"][0]["results"]["entries"]
    rows[1]["number"] = "99"
    rows[2] = dict(rows[0])
    assert [line.partition(": ")[2] for line in run("verify", data=sealed(bundle)).stdout.decode().splitlines()] == [
        'The bundle lists entry "99", which is not recomputed.',
        'The bundle lists entry "9" twice.',
        'The bundle leaves out entry "12".',
        'The bundle leaves out entry "15".',
    ]


def test_verify_finds_a_broken_seal():
    bundle = bundle_of(small_class())
    bundle["competition"]["name"] = "Larkfield Autumn"
    done = run("verify", data=bundle)
    assert done.returncode == 1
    assert done.stdout.startswith(b"digest: The content has another digest, sha256:")


def test_verify_refuses_a_class_that_cannot_be_computed():
    bundle = changed(bundle_of(small_class()), "classes[0].class.entries[0].sheets.C", {})
    assert errors_of(run("verify", data=bundle))[0]["path"] == "classes[0].class.entries[0].sheets.C"


def test_verify_passes_over_the_wording_of_the_working():
    bundle = bundle_of(small_class())
    for row in bundle["classes"][0]["results"]["entries"]:
        row["working"] = ["worded otherwise"]
    assert run("verify", data=sealed(bundle)).returncode == 0


def test_the_digest_is_of_the_content_not_of_its_spelling():
    """Key order, spaces and noughts of a number do not matter; a changed figure does."""
    one = scoring.load_json('{"format": "bundle/1", "b": [6.50, 7.0, -0.0, 1E2, 0.00], "a": "ł"}')
    other = scoring.load_json('{ "a":"\\u0142","b":[6.5,7,0,100,0],"format":"bundle/1","digest":"x"}')
    assert bundle_digest(one) == bundle_digest(other)
    assert bundle_digest(one) != bundle_digest(one | {"a": "l"})


def test_the_digest_by_another_way():
    """SHA-256 of the sorted, spaceless UTF-8 JSON, as any program would write it."""
    document = bundle_of(small_class())
    rest = {key: value for key, value in document.items() if key != "digest"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert document["digest"] == "sha256:" + hashlib.sha256(text.encode()).hexdigest()


def test_a_closed_pipe_is_no_traceback(tmp_path):
    path = tmp_path / "class.json"
    path.write_text(json.dumps(small_class()))
    script = f'"{sys.executable}" -m scoring results "{path}" | true'
    done = subprocess.run(["bash", "-c", script], capture_output=True, cwd=ROOT, check=False, timeout=60)
    assert b"Traceback" not in done.stderr


def test_results_need_no_season_code_and_no_framework():
    code = (
        "import sys, scoring.commands; "
        "print([m for m in sys.modules if m.startswith(('scoring.season', 'django', 'numpy'))])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, cwd=ROOT, check=True, timeout=60)
    assert done.stdout.strip() == b"[]"


def test_write_replaces_what_utf_8_cannot_hold(capfdbinary):
    commands.write("half \ud800")
    assert capfdbinary.readouterr().out == b"half \\ud800\n"
