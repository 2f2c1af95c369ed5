"""What the page works out by itself, held to the scoring core: typed marks, and a sheet added up."""

from __future__ import annotations

import itertools
import random

import pytest
from django.urls import reverse

import scoring
from competitions.desk.sheetpage import page_data
from competitions.selectors import documents as selectors
from competitions.services import documents
from scoring.marks import InvalidMark, MarkScale, parse_typed_mark
from tests.builders import make_class, make_competition, make_rule_set, make_test_document

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

KEYS = "0123456789.,-+ e"
SCALES = [MarkScale(0, 100, 5), MarkScale(0, 100, 1), MarkScale(10, 100, 10), MarkScale(0, 200, 25)]


@pytest.fixture
def page(open_as, office, cls):
    return open_as(office, reverse("desk"))


def answer(text: str, scale: MarkScale) -> int | str:
    try:
        return parse_typed_mark(text, scale)
    except InvalidMark as error:
        return str(error)


@pytest.mark.parametrize("scale", SCALES, ids=str)
def test_every_input_of_up_to_four_keys_is_read_as_the_scoring_core_reads_it(page, scale):
    inputs = ["".join(typed) for length in range(5) for typed in itertools.product(KEYS, repeat=length)]
    assert len(inputs) == 69905
    found = page.evaluate(
        """async ([inputs, scale]) => {
            const { parseTypedMark } = await import("/static/desk/typed_mark.js");
            return inputs.map((text) => {
                const { tenths, fault } = parseTypedMark(text, scale);
                return tenths === undefined ? fault : tenths;
            });
        }""",
        [inputs, {"minimum": scale.minimum, "maximum": scale.maximum, "step": scale.step}],
    )
    wrong = [
        (text, mine, theirs)
        for text, mine in zip(inputs, found, strict=True)
        if mine != (theirs := answer(text, scale))
    ]
    assert wrong == []


@pytest.mark.parametrize("scale", SCALES[:2], ids=str)
def test_nobody_is_interrupted_half_way_to_a_mark(page, scale):
    inputs = ["".join(typed) for length in range(4) for typed in itertools.product(KEYS, repeat=length)]
    found = page.evaluate(
        """async ([inputs, scale]) => {
            const { mayBecomeMark } = await import("/static/desk/typed_mark.js");
            return inputs.filter((text) => mayBecomeMark(text, scale));
        }""",
        [inputs, {"minimum": scale.minimum, "maximum": scale.maximum, "step": scale.step}],
    )
    marks = [text for text in inputs if isinstance(answer(text, scale), int)]
    starts = {text[:length] for text in marks for length in range(1, len(text) + 1) if text == text.strip()}
    assert starts <= set(found)
    assert not {"105", "e", "-1", "1010"} & set(found)
    assert ({"66", "11", "1,2"} & set(found) == set()) is (scale.step == 5)


PARTED = {
    "items": [
        {"id": "1", "text": "Halt"},
        {"id": "2", "text": "Circle", "coefficient": "1.5"},
        {"id": "3", "text": "Passage", "coefficient": "2"},
        {"id": "A1", "text": "Choreography", "part": "artistic", "mark": {"step": "0.1"}, "coefficient": "4"},
        {"id": "A2", "text": "Music", "part": "artistic", "mark": {"step": "0.1"}},
    ]
}
RULES = {
    "points off, three decimals": ({}, {}),
    "down, two decimals": ({}, {"rounding": "down", "sheet_percentage": {"decimals": 2}}),
    "half-even, one decimal": ({}, {"rounding": "half-even", "sheet_percentage": {"decimals": 1}}),
    "exact until the total": ({}, {"sheet_percentage": {"decimals": None}}),
    "percentages off the total": ({}, {"errors": {"off": "total-percentage", "steps": ["2"], "eliminated_at": 2}}),
    "two weighed parts": (PARTED, {"parts": {"technical": "3", "artistic": "2"}}),
}


@pytest.mark.parametrize("name", RULES)
def test_the_running_figures_are_those_of_the_scoring_core(page, office, name):
    test_changes, rule_changes = RULES[name]
    test = documents.save_test(make_test_document(id="twin") | test_changes)
    rules = make_rule_set(id="twin", **rule_changes)
    cls = make_class(make_competition("twins"), test=test, rule_set=rules, entries=1)
    entry, seat = cls.entries.get(), cls.seats.get()
    read_test, read_rules = selectors.test_of(cls), selectors.rules_of(cls)
    chance = random.Random(name)
    cases, expected = [], []
    for _ in range(150):
        marks = {item.id: chance.choice(item.scale.marks()) for item in read_test.items if chance.random() < 0.9}
        entry.deductions = chance.choice(
            [[], [], [{"off": "sheet-points", "amount": "2.5"}], [{"off": "part-percentage", "amount": "1"}]]
        )
        errors = chance.choice([0, 0, 1, 2, 4])
        cases.append([page_data(cls, entry=entry, seat=seat, user=office), list(marks.items()), errors])
        summary = scoring.sheet_summary(read_test, read_rules, marks, errors=errors, deductions=entry.deductions)
        expected.append([summary.points, summary.maximum, summary.percentage, list(summary.missing)])
    found = page.evaluate(
        """async (cases) => {
            const { exactText, tally } = await import("/static/desk/tally.js");
            return cases.map(([data, marks, errors]) => {
                const figures = tally(data, new Map(marks), errors);
                return [exactText(figures.points), exactText(figures.maximum), figures.percentage, figures.gaps];
            });
        }""",
        cases,
    )
    assert found == expected
