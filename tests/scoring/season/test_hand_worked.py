"""The season's command line against schemes and ledgers worked out by hand (``hand_worked``)."""

import json

import pytest

from scoring.__main__ import main
from tests.scoring.season.hand_worked import CASES, OUTLOOKS


@pytest.fixture
def answer(tmp_path, capsys):
    def run(command, case, *arguments):
        scheme, scores = tmp_path / "scheme.json", tmp_path / "scores.csv"
        scheme.write_text(json.dumps(case.document()), encoding="utf-8")
        scores.write_text(case.ledger, encoding="utf-8")
        day = ["--as-of", case.as_of] if case.as_of else []
        code = main([command, "--scheme", str(scheme), *day, *arguments, str(scores)])
        out, err = capsys.readouterr()
        assert (code, err) == (0, "")
        return json.loads(out)

    return run


def missing(requirement):
    if "any_of" in requirement:
        return "any_of"
    return f"{requirement['count']} {requirement['have']}/{requirement['need']}"


def lines(document):
    """Write standings as ``hand_worked`` does."""
    for group in document["groups"]:
        if group["group"]:
            yield "# " + " ".join("null" if value is None else str(value) for value in group["group"].values())
        for row in group["rows"]:
            place = "-" if row["placing"] is None else f"{row['placing']}{'=' if row['shared'] else ''}"
            columns = [
                row["unit"], place, "-" if row["value"] is None else row["value"],
                " ".join(row["counted"]), " ".join(row["dropped"]),
                ", ".join(missing(one) for one in row["requirements"] if not one["met"]),
            ]  # fmt: skip
            if "tier" in row:
                columns.append(row["tier"] or "null")
            yield " | ".join(columns).rstrip(" |")


def tidy(line):
    return " | ".join(part.strip() for part in line.split("|")).rstrip(" |")


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_standings_are_those_worked_by_hand(answer, case):
    assert list(lines(answer("standings", case))) == [tidy(line) for line in case.standings.splitlines()]


@pytest.mark.parametrize("case", OUTLOOKS, ids=lambda case: case.name)
def test_outlooks_are_those_worked_by_hand(answer, case):
    found = answer("outlook", case, "--unit", "P1")
    assert {key: found[key] for key in case.outlook} == case.outlook
