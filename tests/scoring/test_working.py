"""The working of a result is followed with a pocket calculator: every line of random classes is computed again."""

from __future__ import annotations

import random
import re
from fractions import Fraction

import pytest

import scoring
from tests.scoring.oracle import rounded
from tests.scoring.random_classes import random_class

NUMBER = r"\d+(?:\.\d+)?"
MODES = {"rounded half up": "half-up", "rounded half to even": "half-even", "cut": "down"}
NOTE = re.compile(rf" \(({NUMBER})(\.\.\.)? (rounded half up|rounded half to even|cut)\)")
WORDS_ONLY = ("Equal with", "Rides hors concours", "Nothing comes off", "No step of", "The rule set parts no tie")


def calculate(expression):
    """Work out a sum in exact fractions; only figures, brackets and the four signs may stand in it."""
    expression = expression.replace(" x ", " * ").strip()
    assert re.fullmatch(rf"(?:{NUMBER}|[-+*/() ])+", expression), expression
    return eval(re.sub(NUMBER, lambda figure: f"Fraction('{figure.group()}')", expression))


def without_reasons(text):
    """Take the words out of what comes off, after adding up the steps of several errors."""

    def errors(match):
        cost, number, steps = match.groups()
        if steps is not None:
            assert len(steps.split(" + ")) == int(number)
            assert calculate(steps) == Fraction(cost)
        return f" - {cost}"

    text = re.sub(rf" - ({NUMBER}) for (\d+) errors? of course(?: \(([0-9. +]+)\))?", errors, text)
    return re.sub(rf" - ({NUMBER}) for whip", r" - \1", text)


def inner_sums(text):
    """Replace ``(319 + 321 = 640)`` by its result, once it is right."""

    def added(match):
        assert calculate(match.group(1)) == Fraction(match.group(2))
        return match.group(2)

    return re.sub(rf"\(([^()=]*) = ({NUMBER})\)", added, text)


def value_of(segment):
    """Return what a piece between equal signs comes to as the left side of the next, and as the right of the last."""
    segment, floors = segment.replace(" (nothing goes below 0)", ""), "nothing goes below 0" in segment
    segment = re.sub(r" points( so far)?| %| as given|technical |artistic | \([A-Z]\)", "", segment)
    points, _, maximum = segment.partition(" of ")
    left = calculate(points)
    if floors:
        assert left < 0
        left = Fraction(0)
    first = re.match(rf"{NUMBER}(?:/{NUMBER})?", segment)
    right = calculate(first.group()) if first else None
    return (left * 100 / calculate(maximum) if maximum else left), right


def follow(line):
    """Compute a line again, from its left to its right, and return the text of its last figure."""
    label, _, text = line.partition(": ")
    if label.startswith("Median of"):
        label, _, text = line.partition(" of ")
    segments = inner_sums(without_reasons(text)).split(" = ")
    left, _ = value_of(NOTE.sub("", segments[0])) if not line.startswith("Median of") else (median(segments[0]), None)
    for segment in segments[1:]:
        note = NOTE.search(segment)
        segment = NOTE.sub("", segment)  # noqa: PLW2901 - the note has been read
        next_left, right = value_of(segment)
        if note:
            figure = re.search(NUMBER, segment).group()
            decimals = len(figure.partition(".")[2])
            assert rounded(left, decimals, MODES[note.group(3)]) == right, line
            shown = Fraction(note.group(1))
            assert (0 <= left - shown < Fraction(1, 100)) if note.group(2) else (left == shown), line
        else:
            assert left == right, line
        left = next_left
    return re.findall(NUMBER, NOTE.sub("", segments[-1]))[0]


def median(text):
    values = [calculate(value) for value in text.split(", ")]
    assert values == sorted(values)
    middle = len(values) // 2
    return values[middle] if len(values) % 2 else (values[middle - 1] + values[middle]) / 2


def follow_move(line, limit):
    """Compute the mean, the gap and the nearest of a sheet that was moved."""
    pattern = (
        r"\w: the mean of the other sheets is \((.*)\) / (\d+) = ([\d.]+?)(\.\.\.)?; (\S+) differs from it by "
        r"([\d.]+?)(\.\.\.)?, and (\S+) or more moves it to the nearest other sheet, (\S+) %"
    )
    others, number, mean, _, given, gap, _, least, moved_to = re.fullmatch(pattern, line).groups()
    values = [calculate(other) for other in others.split(" + ")]
    assert len(values) == int(number)
    exact = sum(values) / len(values)
    assert abs(exact - Fraction(mean)) < Fraction(1, 100)
    assert abs(abs(exact - calculate(given)) - Fraction(gap)) < Fraction(1, 100)
    assert abs(exact - calculate(given)) >= Fraction(limit) == Fraction(least)
    assert abs(calculate(moved_to) - calculate(given)) == min(abs(value - calculate(given)) for value in values)


def follow_row(row, rules):
    """Follow every line of one row; the last totals and penalties must be the published ones."""
    last = {}
    for line in row.working:
        if line.startswith(WORDS_ONLY):
            continue
        if line.startswith("Eliminated"):
            errors, limit = re.fullmatch(
                r"Eliminated: (\d+) errors? of course, and error (\d+) eliminates\.", line
            ).groups()
            assert int(errors) >= int(limit) == rules["errors"]["eliminated_at"]
        elif line.startswith("No place"):
            total, minimum = re.fullmatch(
                rf"No place: ({NUMBER}) is below ({NUMBER}), the least for a place\.", line
            ).groups()
            assert Fraction(total) < Fraction(minimum)
        elif "placed before this one" in line:
            before, place = re.fullmatch(
                r"(No entry is|1 entry is|\d+ entries are) placed before this one, so the place is (\d+)\.", line
            ).groups()
            assert int(place) == row.placing == 1 + (0 if before.startswith("No") else int(before.split()[0]))
        elif "the mean of the other sheets" in line:
            follow_move(line, rules["outliers"]["limit"])
        elif "; the higher is placed first" not in line:
            last[line.partition(":")[0]] = follow(line)
    for label, published in (("Total", row.total), ("So far", row.so_far), ("Penalty", row.penalty)):
        assert last.get(label) == published
    return last


@pytest.mark.parametrize("block", range(3))
def test_every_line_can_be_recomputed(block):
    lines = 0
    for index in range(150):
        document = random_class(random.Random(f"working-{block}-{index}"))
        for row in scoring.compute_results(scoring.read_class(document)).entries:
            follow_row(row, document["rules"])
            lines += len(row.working)
    assert lines > 1000


def example(**changes):
    test = {
        "format": "test/1",
        "id": "t",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": [{"id": "1", "coefficient": "4"}, {"id": "G1", "collective": True, "coefficient": "2"}],
    }
    entries = [
        {
            "number": number,
            "status": "completed",
            "sheets": {"C": {"marks": {"1": c[0], "G1": c[1]}}, "B": {"marks": {"1": b[0], "G1": b[1]}}},
        }
        for number, c, b in (
            ("12", ("7", "6"), ("6", "6.5")),
            ("15", ("6.5", "7"), ("6", "6.5")),
            ("9", ("5", "5"), ("5", "5")),
        )
    ]
    document = {
        "format": "class/1",
        "id": "c",
        "test": test,
        "rules": scoring.rule_sets()["points-errors-collectives"],
        "panel": [{"seat": "C"}, {"seat": "B"}],
        "entries": entries,
    }
    document.update(changes)
    return document


def lines_of(document, number):
    results = scoring.compute_results(scoring.read_class(document))
    return next(list(row.working) for row in results.entries if row.number == number)


def test_working_of_a_tie_that_a_step_parts():
    assert lines_of(example(), "15") == [
        "C: 40 points of 60 = 66.667 % (66.666666... rounded half up)",
        "B: 37 points of 60 = 61.667 % (61.666666... rounded half up)",
        "Total: (66.667 + 61.667) / 2 = 64.167 %",
        "Equal with number 12 on 64.167 %.",
        "Collective marks: 14 (C) + 13 (B) = 27",
        "Collective marks: 27, against 25 of number 12; the higher is placed first.",
        "No entry is placed before this one, so the place is 1.",
    ]


def test_working_of_an_error_and_a_deduction():
    document = example()
    document["entries"][0] |= {
        "errors": 2,
        "deductions": [
            {"off": "sheet-points", "amount": "2", "seat": "B", "reason": "whip"},
            {"off": "total-percentage", "amount": "0.5", "reason": "late entry"},
        ],
    }
    two_errors = " - 6 for 2 errors of course (2 + 4)"
    assert lines_of(document, "12")[:4] == [
        f"C: 40 points{two_errors} = 34 of 60 = 56.667 % (56.666666... rounded half up)",
        f"B: 37 points{two_errors} - 2 for whip = 29 of 60 = 48.333 % (48.333333... rounded half up)",
        "Total: (56.667 + 48.333) / 2 = 52.500 %",
        "Total: 52.500 - 0.5 for late entry = 52.000 %",
    ]


def test_nothing_is_written_when_it_is_not_asked_for():
    results = scoring.compute_results(scoring.read_class(example()), working=False)
    assert [row.working for row in results.entries] == [(), (), ()]
