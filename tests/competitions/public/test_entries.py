from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from competitions.models import Competition, Judge, Sheet
from competitions.services.entries import set_outcome
from competitions.services.results import make_official, start_correction
from tests.builders import make_class, make_competition, make_pair, make_user, mark_sheet

pytestmark = pytest.mark.django_db

RESULT = "/competitions/linden-autumn/1/1/"
SHEETS = f"{RESULT}sheets/"
MARKS = {"1": 80, "2": 55, "3": 60, "4": 70, "G1": 65, "G2": 65}


@pytest.fixture
def people():
    return {name: make_user(name) for name in ("rider", "other-rider", "judge-c", "judge-b", "office", "stranger")}


@pytest.fixture
def ridden(people):
    """A class of two seats; entry 1 belongs to the user rider, entry 2 to other-rider, both fully marked."""
    make_pair(1, user=people["rider"])
    make_pair(2, user=people["other-rider"])
    judges = {seat: Judge.objects.create(name=f"Judge {seat}", user=people[f"judge-{seat.lower()}"]) for seat in "CB"}
    competition_class = make_class(make_competition(office=people["office"]), seats="CB", entries=2, judges=judges)
    for entry in competition_class.entries.all():
        for seat in "CB":
            mark_sheet(
                entry,
                seat,
                marks=MARKS,
                remarks={"2": f"words of {seat}: needs more bend", "3": f"words of {seat}: more bend"},
                overall_remarks=f"On the whole by {seat}",
                signed=True,
            )
    competition_class.refresh_from_db()
    return competition_class


def status_for(client: Client, user, path: str = SHEETS) -> int:
    client.logout()
    if user is not None:
        client.force_login(user)
    return client.get(path).status_code


def test_before_official_the_office_and_the_judges_see_sheets_and_nobody_else(client: Client, ridden, people):
    allowed = {"office", "judge-c", "judge-b"}
    for name, user in people.items():
        assert status_for(client, user) == (200 if name in allowed else 404), name
    assert status_for(client, None) == 404
    assert status_for(client, make_user("staff", is_staff=True)) == 200


def test_official_results_release_the_sheets_to_their_rider_only(client: Client, ridden, people):
    make_official(ridden, by=None)
    assert status_for(client, people["rider"]) == 200
    assert status_for(client, people["other-rider"]) == 404
    assert status_for(client, people["stranger"]) == 404
    assert status_for(client, None) == 404
    start_correction(ridden, by=None, reason="A mark was keyed wrong.")
    assert status_for(client, people["rider"]) == 404


def test_a_judge_sees_the_own_seat_and_not_the_other(client: Client, ridden, people):
    client.force_login(people["judge-c"])
    page = client.get(SHEETS).content.decode()
    assert "words of C" in page
    assert "words of B" not in page
    assert "On the whole by B" not in page
    assert "Judge B" not in page


def test_the_rider_reads_marks_remarks_collectives_and_where_most_was_lost(client: Client, ridden, people):
    make_official(ridden, by=None)
    client.force_login(people["rider"])
    answer = client.get(SHEETS)
    page = answer.content.decode()
    for seat in "CB":
        assert f"words of {seat}: needs more bend" in page
        assert f"On the whole by {seat}" in page
        assert f"Judge {seat}" in page
    assert "Collective marks" in page
    lost = page.partition("Where most was lost")[2].partition("</section>")[0]
    # Movement 2 has coefficient 2: (10 - 5.5) x 2 on each of two sheets.
    assert lost.index("Movement 2") < lost.index("18 points lost on all sheets together")
    assert lost.index("18 points") < lost.index("Movement 3")
    practise = page.partition("What to practise next")[2].partition("</section>")[0]
    assert practise.index("words of C: needs more bend") < practise.index("words of C: more bend")
    assert "qualified trainer" in practise
    again = page.partition("The same remark coming back")[2].partition("</section>")[0]
    assert "Bend" in again
    assert "4 remarks" in again
    assert "no-store" in answer.headers["Cache-Control"]


def test_what_was_said_at_an_earlier_show_is_shown_only_when_that_sheet_is_released(client: Client, ridden, people):
    before = make_competition("linden-spring", starts_on=date(2026, 4, 4), ends_on=date(2026, 4, 4))
    earlier = make_class(before, entries=1)
    mark_sheet(earlier.entries.get(), marks=MARKS, remarks={"1": "lacks bend in spring"})
    make_official(ridden, by=None)
    client.force_login(people["rider"])
    assert "lacks bend in spring" not in client.get(SHEETS).content.decode()
    make_official(earlier, by=None)
    assert "lacks bend in spring" in client.get(SHEETS).content.decode()


def test_the_result_shows_its_working_and_leads_only_the_rider_to_the_sheets(client: Client, ridden, people):
    first = ridden.entries.get(number="1")
    set_outcome(first, expected_version=first.version, by=None, errors=1)
    make_official(ridden, by=None)
    page = client.get(RESULT).content.decode()
    row = first.__class__.objects.get(pk=first.pk).result
    assert row.document["working"]
    for line in row.document["working"]:
        assert line in page
    assert "error of course" in page
    assert row.total in page
    assert SHEETS not in page
    client.force_login(people["rider"])
    assert SHEETS in client.get(RESULT).content.decode()


def test_a_tie_is_explained(client: Client, ridden):
    page = client.get(RESULT).content.decode()
    assert "shared" in page
    assert "Equal with number 2 on" in page


def test_an_entry_that_has_not_ridden_shows_its_time_and_one_without_a_result_its_status(client: Client):
    competition_class = make_class(entries=2)
    assert "Rides at" in client.get(RESULT).content.decode()
    second = competition_class.entries.get(number="2")
    set_outcome(second, expected_version=second.version, by=None, status="withdrawn", reason="horse lame")
    page = client.get(RESULT.replace("/1/1/", "/1/2/")).content.decode()
    assert "withdrawn" in page
    assert "horse lame" in page.casefold()


def test_a_result_of_an_unpublished_competition_is_not_found(client: Client, ridden, people):
    Competition.objects.update(state=Competition.State.PLANNED)
    assert status_for(client, None, RESULT) == 404
    assert status_for(client, people["stranger"], RESULT) == 404
    assert status_for(client, people["office"], RESULT) == 200


def test_hostile_remarks_are_escaped(client: Client, people):
    competition_class = make_class(make_competition(office=people["office"]), entries=1)
    hostile = "<script>alert('bend')</script>"
    mark_sheet(
        competition_class.entries.get(),
        marks=MARKS,
        remarks=dict.fromkeys(MARKS, f"needs more bend {hostile}"),
        overall_remarks=hostile,
    )
    client.force_login(people["office"])
    page = client.get(SHEETS).content.decode()
    assert "<script>alert" not in page
    assert page.count("&lt;script&gt;") >= len(MARKS) + 1


def test_a_sheet_of_which_only_the_result_is_known_is_shown_as_such(client: Client, people):
    competition_class = make_class(make_competition(office=people["office"]), entries=1)
    mark_sheet(competition_class.entries.get(), marks={}, given_result={"percentage": "67.273"})
    client.force_login(people["office"])
    page = client.get(SHEETS).content.decode()
    assert "only the result is known" in page
    assert "67.273" in page


def test_the_number_of_queries_does_not_grow_with_seats_or_earlier_sheets(
    client: Client, people, django_assert_max_num_queries
):
    def queries_of(path: str) -> int:
        with django_assert_max_num_queries(40) as counted:
            assert client.get(path).status_code == 200
        return len(counted)

    office = people["office"]
    client.force_login(office)
    show = make_competition(office=office)
    one = make_class(show, number="1", seats="C", entries=1)
    five = make_class(show, number="2", seats="EHCMB", entries=1)
    mark_sheet(one.entries.get(), "C", marks=MARKS, remarks={"1": "bend"})
    before = queries_of(SHEETS), queries_of(RESULT)
    for n in range(3):
        day = date(2026, 1, 1 + n)
        earlier = make_class(make_competition(f"earlier-{n}", office=office, starts_on=day, ends_on=day), entries=1)
        mark_sheet(earlier.entries.get(), marks=MARKS, remarks={"1": "bend"})
    for seat in "EHCMB":
        mark_sheet(five.entries.get(), seat, marks=MARKS, remarks={"1": "bend"})
    other = SHEETS.replace("/1/1/", "/2/1/"), RESULT.replace("/1/1/", "/2/1/")
    assert (queries_of(other[0]), queries_of(other[1])) == before
    assert Sheet.objects.count() == 9
