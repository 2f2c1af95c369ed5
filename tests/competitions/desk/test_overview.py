"""The class desk takes its figures from the results as stored; they are those that each sheet adds up to."""

from __future__ import annotations

import random

import pytest
from django.urls import reverse

from competitions.desk.overview import cell_of, overview_of
from competitions.desk.ridegaps import short_changes
from competitions.models import ClassResults, Entry, ResultRow
from competitions.selectors.summaries import summary_of
from competitions.services.documents import save_test
from competitions.services.entries import add_entry, set_outcome
from tests.builders import make_class, make_competition, make_pair, make_rule_set, make_test_document, mark_sheet

pytestmark = pytest.mark.django_db

PARTS = {
    "items": [
        {"id": "1", "text": "Trot", "part": "technical"},
        {"id": "2", "text": "Canter", "part": "technical", "coefficient": "2"},
        {"id": "3", "text": "Music", "part": "artistic", "coefficient": "4"},
    ]
}
OUTCOMES = [Entry.Status.ELIMINATED, Entry.Status.RETIRED, Entry.Status.NO_SHOW]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("parted", [False, True])
def test_every_cell_says_what_its_sheet_adds_up_to(seed, parted):
    chance = random.Random(f"{seed} {parted}")
    test = save_test(make_test_document(id="linden-desk") | (PARTS if parted else {}))
    rules = make_rule_set(id="desk", ties=[], **({"parts": {"technical": "1", "artistic": "1"}} if parted else {}))
    cls = make_class(make_competition(sheets_signed=True), seats="CBE", entries=8, test=test, rule_set=rules)
    if parted:
        cls.seats.filter(seat="E").update(parts=["artistic"])
    for entry in cls.entries.all():
        for seat in cls.seats.all():
            items = [item["id"] for item in test.document["items"] if not seat.parts or item["part"] in seat.parts]
            marks = {item: chance.choice([50, 55, 70]) for item in items if chance.random() < 0.95}
            if marks and chance.random() < 0.9:
                mark_sheet(entry, seat, marks=marks, typed_total=chance.choice(["", "52"]))
        if chance.random() < 0.5:
            status = {"status": chance.choice(OUTCOMES)} if chance.random() < 0.5 else {}
            set_outcome(entry, expected_version=None, by=None, errors=chance.choice([0, 1, 3]), **status)
    cls.refresh_from_db()
    compared = 0
    for ride in overview_of(cls).rides:
        for seat, cell in zip(cls.seats.all(), ride.cells, strict=True):
            sheet = ride.entry.sheets.filter(seat=seat).first()
            assert cell == cell_of(cls, ride.entry, seat, sheet), (ride.entry.number, seat.seat)
            if sheet is not None and sheet.marks:
                summary = summary_of(sheet, competition_class=cls)
                assert (cell.points, cell.percentage) == (summary.points, summary.percentage or "")
                compared += 1
    assert compared > 10


def test_a_class_that_cannot_be_computed_shows_what_its_sheets_add_up_to_now(cls):
    mark_sheet(cls.entries.get(number="1"), "C", mark=70)
    row = ResultRow.objects.get(entry__number="1")
    row.document["sheets"]["C"]["percentage"] = "11.000"  # a row of before
    row.save()
    ClassResults.objects.update(problem="Rules and test do not fit one another.")
    cls.refresh_from_db()
    assert overview_of(cls).rides[0].cells[0].percentage == "70.000"


def test_addresses_are_those_of_the_pages(desk, competition):
    cls = make_class(competition, number="4a", seats="C")
    page_of = {"number": "4a", "slug": competition.slug}
    for n, number in enumerate(["17", "17b"], start=1):
        add_entry(cls, number=number, pair=make_pair(n), by=None)
    overview = overview_of(cls)
    page = desk.get(reverse("desk-class", kwargs=page_of)).content.decode()
    for ride in overview.rides:
        assert ride.url == reverse("desk-entry", kwargs=page_of | {"entry": ride.entry.number})
        assert f'href="{reverse("desk-sheet", kwargs=page_of | {"entry": ride.entry.number, "seat": "C"})}"' in page


def test_short_times_of_a_class_are_those_of_the_competition_that_touch_it(competition):
    one = make_class(competition, number="1", entries=2)
    two = make_class(competition, number="2", entries=2, starts_at="09:10")
    other = make_class(competition, number="3", entries=1, starts_at="15:00")
    everywhere = short_changes(competition)
    assert len(everywhere) == 2
    assert short_changes(competition, cls=one) == everywhere == short_changes(competition, cls=two)
    assert short_changes(competition, cls=other) == []


def test_queries_of_the_part_that_renews_itself_do_not_grow(
    desk, competition, cls, django_assert_max_num_queries, django_assert_num_queries
):
    big = make_class(competition, number="2", seats="CBEHM", entries=12)
    for entry in big.entries.all():
        mark_sheet(entry, "C")
    with django_assert_max_num_queries(12) as small:
        desk.get(reverse("desk-class-live", args=[competition.slug, "1"]))
    with django_assert_num_queries(len(small)):
        desk.get(reverse("desk-class-live", args=[competition.slug, "2"]))
