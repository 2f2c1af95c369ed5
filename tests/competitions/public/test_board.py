from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from django.test import Client

from competitions.models import Competition, CompetitionClass
from competitions.public import board as board_pages
from competitions.selectors.versions import forget_version
from competitions.services.documents import save_test
from competitions.services.entries import add_entry, set_in_ring, set_outcome
from competitions.services.results import make_official, start_correction, withdraw_results
from competitions.services.team_rules import set_team_rules
from tests.builders import (
    make_class,
    make_competition,
    make_pair,
    make_rule_set,
    make_test_document,
    make_user,
    mark_sheet,
)

pytestmark = pytest.mark.django_db

BOARD = "/competitions/linden-autumn/1/"
ROWS = f"{BOARD}rows/"


def marked(*marks: int, seats: str = "C", **fields) -> CompetitionClass:
    competition_class = make_class(seats=seats, entries=len(marks), **fields)
    for entry, mark in zip(competition_class.entries.order_by("number"), marks, strict=True):
        for seat in seats:
            mark_sheet(entry, seat, mark=mark)
    competition_class.refresh_from_db()
    return competition_class


def test_results_stand_in_order_of_place_with_each_seats_percentage_and_place(client: Client):
    marked(60, 70, 65, seats="CB")
    page = client.get(BOARD).content.decode()
    rows = re.findall(r'<tr>\s*<td class="num place">(\d+).*?<th.*?>(Rider \d)</a>.*?</tr>', page, re.DOTALL)
    assert rows == [("1", "Rider 2"), ("2", "Rider 3"), ("3", "Rider 1")]
    assert page.count("70.000") == 3  # the total and the two seats
    assert page.count('<span class="seat-place"> (1)</span>') == 2


def test_statuses_stand_by_word_with_their_reason_and_hors_concours_is_said(client: Client):
    competition_class = marked(60, 70, 65)
    first, second, _ = competition_class.entries.order_by("number")
    set_outcome(first, expected_version=first.version, by=None, status="eliminated", reason="fall of the rider")
    set_outcome(second, expected_version=second.version, by=None, hors_concours=True)
    page = client.get(BOARD).content.decode()
    assert "eliminated</span>" in page
    assert "fall of the rider" in page
    assert page.count("hors concours") == 1
    assert re.search(r'<td class="num place">1</td>\s*<th[^>]*><a[^>]*>Rider 3<', page)


def test_hidden_hors_concours_stays_hidden_on_the_board_and_on_its_own_page(client: Client):
    rule_set = make_rule_set(id="hidden-rules", hors_concours="hidden")
    competition_class = marked(60, 70, rule_set=rule_set)
    second = competition_class.entries.get(number="2")
    set_outcome(second, expected_version=second.version, by=None, hors_concours=True)
    assert "Rider 2" not in client.get(BOARD).content.decode()
    assert client.get(f"{BOARD}2/").status_code == 404
    assert client.get(f"{BOARD}1/").status_code == 200


def test_who_is_in_the_ring_and_who_comes_with_the_time_at_the_venue(client: Client):
    competition_class = make_class(entries=2)
    first, second = competition_class.entries.order_by("number")
    at_nine = datetime(2026, 11, 14, 8, 0, tzinfo=UTC)
    type(second).objects.filter(pk=second.pk).update(ride_time=at_nine)
    set_in_ring(competition_class, entry=first, by=None)
    page = client.get(BOARD).content.decode()
    assert re.search(r"in the ring</span> <strong>Rider 1</strong> with Horse 1", page)
    assert re.search(r"<time[^>]*>09:00</time></span> <span[^>]*>2</span>", page)


def test_the_state_is_said_by_word_with_revision_and_time_and_an_old_revision_stays_readable(client: Client):
    competition_class = marked(60, 70)
    assert ">provisional</span>" in client.get(BOARD).content.decode()
    make_official(competition_class, by=None)
    official = client.get(BOARD).content.decode()
    assert ">official</span>" in official
    assert "Revision 1, official since" in official
    start_correction(competition_class, by=None, reason="Mark 2 was keyed wrong.")
    mark_sheet(competition_class.entries.get(number="1"), mark=80)
    during = client.get(BOARD).content.decode()
    assert "A correction is under way" in during
    assert "80.000" not in during
    make_official(competition_class, by=None)
    after = client.get(BOARD).content.decode()
    assert "80.000" in after
    assert "Mark 2 was keyed wrong." in after
    old = client.get(f"{BOARD}?revision=1").content.decode()
    assert "80.000" not in old
    assert "60.000" in old
    assert "data-rows" not in old


@pytest.mark.parametrize("revision", ["9", "0", "-1", "x", "²", "99999999999999999999"])
def test_a_revision_that_never_was_is_not_found(client: Client, revision: str):
    marked(60)
    assert client.get(BOARD, {"revision": revision}).status_code == 404


def test_withdrawn_results_say_so_and_why(client: Client):
    competition_class = marked(60, 70)
    make_official(competition_class, by=None)
    withdraw_results(competition_class, by=None, reason="The wrong test was judged.")
    page = client.get(BOARD).content.decode()
    assert ">withdrawn</span>" in page
    assert "The wrong test was judged." in page


def test_the_poll_is_answered_304_until_something_changes_and_then_at_once(client: Client):
    competition_class = marked(60, 70)
    page = client.get(BOARD).content.decode()
    etag = re.search(r'data-etag="([^"]+)"', page).group(1).replace("&quot;", '"')
    assert re.fullmatch(r'"[^"]+"', etag)
    same = client.get(ROWS, headers={"if-none-match": etag})
    assert same.status_code == 304
    assert same.content == b""
    assert same.headers["ETag"] == etag
    mark_sheet(competition_class.entries.get(number="1"), mark=80)
    forget_version(competition_class.pk)  # the commit of a test's transaction never comes
    changed = client.get(ROWS, headers={"if-none-match": etag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != etag
    assert "80.000" in changed.content.decode()
    assert client.get(ROWS, headers={"if-none-match": f'W/"x", {changed.headers["ETag"]}'}).status_code == 304


def test_an_unchanged_poll_reads_no_more_than_the_address_and_the_version(client: Client, django_assert_num_queries):
    competition_class = marked(60, 70)
    etag = client.get(ROWS).headers["ETag"]
    board_pages._public_classes.clear()
    forget_version(competition_class.pk)
    with django_assert_num_queries(2):
        assert client.get(ROWS, headers={"if-none-match": etag}).status_code == 304
    with django_assert_num_queries(0):
        assert client.get(ROWS, headers={"if-none-match": etag}).status_code == 304
        assert client.get(ROWS).status_code == 200


def test_the_polled_rows_set_no_cookie_and_do_not_vary_by_one(client: Client):
    marked(60)
    answer = client.get(ROWS)
    assert not answer.cookies
    assert "Cookie" not in answer.headers.get("Vary", "")
    assert answer.headers["Cache-Control"] == "no-cache"


def test_a_poll_cannot_look_into_a_competition_that_is_not_published(client: Client):
    office = make_user("office")
    make_class(make_competition(office=office, state=Competition.State.PLANNED), entries=1)
    etag = '"anything"'
    assert client.get(ROWS).status_code == 404
    assert client.get(ROWS, headers={"if-none-match": etag}).status_code == 404
    client.force_login(office)
    answer = client.get(ROWS)
    assert answer.status_code == 200
    assert "private" in answer.headers["Cache-Control"]
    kept = answer.headers["ETag"]
    assert client.get(ROWS, headers={"if-none-match": kept}).status_code == 304
    client.logout()
    assert client.get(ROWS, headers={"if-none-match": kept}).status_code == 404


def test_a_competition_taken_back_is_gone_from_the_poll_within_a_second(client: Client, monkeypatch):
    marked(60)
    assert client.get(ROWS).status_code == 200
    Competition.objects.update(state=Competition.State.PLANNED)
    later = board_pages.time.monotonic() + board_pages._PUBLIC_FOR_SECONDS
    monkeypatch.setattr(board_pages.time, "monotonic", lambda: later)
    assert client.get(ROWS).status_code == 404


@pytest.mark.parametrize("path", ["", "rows/", "running-order/", "1/"])
def test_hostile_names_are_escaped(client: Client, path: str):
    hostile = '<script>alert("x")</script>'
    competition_class = make_class(title=f"{hostile} class")
    add_entry(competition_class, number="1", pair=make_pair(1, rider=hostile, horse="<img src=x onerror=y>"), by=None)
    mark_sheet(competition_class.entries.get(), mark=60)
    page = client.get(BOARD + path).content.decode()
    assert "&lt;script&gt;" in page
    assert "<script>alert" not in page
    assert "<img" not in page


@pytest.mark.parametrize("path", ["", "running-order/"])
def test_the_number_of_queries_does_not_grow_with_the_rows(client: Client, path: str, django_assert_max_num_queries):
    def queries_of(number: str) -> int:
        board_pages._fragments.clear()
        with django_assert_max_num_queries(30) as counted:
            assert client.get(f"/competitions/linden-autumn/{number}/{path}").status_code == 200
        return len(counted)

    competition = make_competition()
    few = make_class(competition, number="1", entries=1)
    many = make_class(competition, number="2", entries=10)
    for competition_class in (few, many):
        for entry in competition_class.entries.all():
            mark_sheet(entry, mark=60)
    assert queries_of("1") == queries_of("2")


def test_the_running_order_shows_times_breaks_and_states(client: Client):
    competition_class = make_class(entries=3, breaks=[{"after": 2, "minutes": 15}])
    third = competition_class.entries.get(number="3")
    set_outcome(third, expected_version=third.version, by=None, status="withdrawn")
    page = client.get(f"{BOARD}running-order/").content.decode()
    assert page.index("Rider 2") < page.index("Break of 15 minutes") < page.index("Rider 3")
    assert ">withdrawn</span>" in page


def parted(**fields):
    """Make a class of two rides with a technical part in halves and an artistic one in tenths."""
    document = make_test_document(id="free")
    for item in document["items"][-2:]:
        item |= {"part": "artistic", "mark": {"min": "0", "max": "10", "step": "0.1"}}
    rules = make_rule_set(id="free", parts={"technical": "1", "artistic": "1"}, ties=[])
    found = make_class(entries=2, test=save_test(document), rule_set=rules, **fields)
    for entry in found.entries.all():
        mark_sheet(entry, marks={"1": 60, "2": 60, "3": 60, "4": 60, "G1": 73, "G2": 73})
    return found


def test_a_freestyle_shows_its_parts_on_the_board_and_on_the_page_of_the_entry(client: Client):
    parted()
    board = client.get(f"{BOARD}rows/").content.decode()
    assert board.count('data-label="Technical">60.000</td>') == 2
    assert board.count('data-label="Artistic">73.000</td>') == 2
    assert "The total is put together from its parts." in board
    entry = client.get(f"{BOARD}1/").content.decode()
    assert "<dt>Technical part</dt><dd>60.000&nbsp;%</dd>" in entry
    assert "<dt>Artistic part</dt><dd>73.000&nbsp;%</dd>" in entry


def test_a_seat_that_marks_one_part_says_which(client: Client):
    competition_class = parted()
    competition_class.seats.update(parts=["technical"])
    board_pages._fragments.clear()
    assert '<span class="under">technical</span>' in client.get(BOARD).content.decode()


def test_penalties_decide_and_stand_first_in_an_eventing_class(client: Client):
    rules = make_rule_set(id="eventing", penalty={"factor": "1", "decimals": 1}, ties=[])
    competition_class = make_class(entries=2, rule_set=rules)
    for entry, mark in zip(competition_class.entries.order_by("number"), (60, 70), strict=True):
        mark_sheet(entry, mark=mark)
    board = client.get(f"{BOARD}rows/").content.decode()
    assert ">Penalties</th>" in board
    assert board.index("Rider 2") < board.index('<span class="total">30.0</span>') < board.index("Rider 1")
    assert "The lowest penalties win." in board
    assert "<dt>Penalties</dt><dd>30.0</dd>" in client.get(f"{BOARD}2/").content.decode()


@pytest.mark.parametrize(("of", "figures"), [("percentage", ("70.000", "60.000")), ("points", ("56", "48"))])
def test_a_team_stands_with_who_counts_and_what_they_bring(client: Client, of: str, figures: tuple[str, str]):
    competition_class = make_class(entries=3)
    competition_class.entries.filter(number__in=["1", "2"]).update(team="Green")
    competition_class.entries.filter(number="3").update(team="Blue")
    for entry, mark in zip(competition_class.entries.order_by("number"), (60, 70, 65), strict=True):
        mark_sheet(entry, mark=mark)
    set_team_rules(competition_class, {"counting": 2, "method": "mean", "of": of}, by=None)
    teams = client.get(f"{BOARD}rows/").content.decode().partition("<h2>Teams</h2>")[2]
    assert f'{figures[0]}</span> Rider 2 <span class="muted">(2)</span>' in teams
    assert f'{figures[1]}</span> Rider 1 <span class="muted">(1)</span>' in teams
    assert "too few scores that count" in teams
    assert "The best 2 of each team count; the result is their mean." in teams


def test_marks_and_remarks_are_nowhere_on_public_pages(client: Client):
    competition_class = make_class(entries=1)
    entry = competition_class.entries.get()
    mark_sheet(entry, marks={"1": 85, "2": 60, "3": 60, "4": 60, "G1": 60, "G2": 60}, remarks={"1": "PRIVATE-WORDS"})
    make_official(competition_class, by=None)
    for path in ("", "rows/", "running-order/", "1/"):
        page = client.get(BOARD + path).content.decode()
        assert "PRIVATE-WORDS" not in page
        assert "8.5" not in page
