from __future__ import annotations

import csv
import io
import tracemalloc
from datetime import date

import pytest
from django.test import Client

from riders.models import Season, StandingRow, StandingTable
from riders.ranks import figure, name_order, place_rank
from riders.selectors.comparisons import compare_rows, neighbours_of
from riders.selectors.places import placed_rows
from riders.selectors.season_lists import standings_csv
from riders.selectors.standings_tables import ROWS_AT_FIRST, missing_words
from riders.services.ledger import post_scores
from tests.builders import make_pair, make_season, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

SEASON = "/associations/linden/2027/"


def plain_season(**changes: object) -> Season:
    return make_season(scheme=qualifying_scheme(require=[], **changes))


def many_rows(season: Season, count: int) -> None:
    table = StandingTable.objects.create(season=season, number=0, group={"level": "novice"}, size=count, shown=True)
    StandingRow.objects.bulk_create(
        StandingRow(
            table=table,
            rank=place_rank(figure(60), [[figure(count - n)]]),
            name_order=name_order(f"P{n}"),
            unit=f"P{n}",
            value="60.000",
            qualified=True,
            explanations=[["s1", "counted", "Counts with 60."]] * 8,
        )
        for n in range(count)
    )


def test_a_long_table_is_shown_page_by_page(client: Client, django_assert_max_num_queries):
    many_rows(plain_season(), 230)
    with django_assert_max_num_queries(6):
        first = client.get(SEASON).content.decode()
    assert first.count("<tr") == ROWS_AT_FIRST + 1
    assert "All 230 rows of novice" in first
    with django_assert_max_num_queries(6):
        last = client.get(f"{SEASON}?table=0&page=3").content.decode()
    assert last.count("<tr") == 31
    assert "P229" in last
    assert "Page 3 of 3" in last
    assert "Page 3 of 3" in client.get(f"{SEASON}?table=0&page=99").content.decode()
    assert "Page 1 of 3" in client.get(f"{SEASON}?table=0&page=x").content.decode()
    assert client.get(f"{SEASON}?table=7").status_code == 404


def test_the_page_names_the_time_and_the_version_of_the_scheme(client: Client):
    plain_season()
    post_scores([row(1)], by=None)
    page = client.get(SEASON).content.decode()
    assert "by version 1 of the scheme" in page
    assert "Standings as of" in page


def test_the_standings_as_a_file_hold_every_row_and_no_formula(client: Client):
    make_season()
    post_scores(
        [
            row(1, key="a", percentage="70", pair=make_pair(1, rider="=1+1", horse="@Horse")),
            row(1, key="b", percentage="66", competition="other", pair=make_pair(1)),
            row(2, key="c", percentage="64"),
        ],
        by=None,
    )
    answer = client.get(f"{SEASON}standings.csv")
    assert "attachment" in answer["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode())))
    assert [(one["place"], one["value"], one["qualified"], one["missing"]) for one in rows] == [
        ("1", "68.000", "true", ""),
        ("", "64.000", "false", "1 of 2 scores; 1 of 2 competitions"),
    ]
    assert (rows[0]["rider"], rows[0]["horse"]) == ("'=1+1", "'@Horse")


def test_the_file_takes_no_more_memory_for_more_rows():
    season = plain_season()
    many_rows(season, 6_000)

    def peak(lines: int) -> int:
        tracemalloc.start()
        for _, _ in zip(range(lines), standings_csv(season), strict=False):
            pass
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    peak(2_001)
    assert peak(6_001) < 1.3 * peak(2_001)


def test_a_day_of_the_season_shows_the_standings_of_that_day(client: Client):
    plain_season()
    post_scores(
        [
            row(1, key="a", percentage="70", date=date(2026, 11, 1)),
            row(1, key="b", percentage="60", date=date(2026, 12, 1)),
        ],
        by=None,
    )
    assert "65.000" in client.get(SEASON).content.decode()
    past = client.get(f"{SEASON}?as_of=2026-11-15").content.decode()
    assert "70.000" in past
    assert "65.000" not in past
    assert "as they stood on 15 November 2026" in past
    assert "No score counted yet" in client.get(f"{SEASON}?as_of=2026-10-15").content.decode()


@pytest.mark.parametrize("day", ["2026-09-30", "2027-13-01", "yesterday", "20261101"])
def test_another_day_is_refused_with_a_sentence(client: Client, day: str):
    plain_season()
    answer = client.get(f"{SEASON}?as_of={day}")
    assert answer.status_code == 400
    assert day in answer.content.decode()
    assert "field-error" in answer.content.decode()


def test_two_rows_side_by_side_name_the_first_figure_that_differs(client: Client):
    season = plain_season(ties=[{"by": "more-scores"}, {"by": "best-score"}])
    post_scores(
        [
            row(1, key="a", percentage="70"), row(1, key="b", percentage="60", competition="other"),
            row(2, key="c", percentage="66"), row(2, key="d", percentage="64", competition="other"),
            row(3, key="e", percentage="61"),
        ],
        by=None,
    )  # fmt: skip
    first, second, third = placed_rows(season.rows)
    found = compare_rows(second, first, season=season)
    assert [side.row.unit for side in found.sides] == ["R1/H1", "R2/H2"]
    assert [(step.words, step.figures, step.decides) for step in found.steps] == [
        ("requirements met", ("yes", "yes"), False),
        ("value", ("65.000", "65.000"), False),
        ("more scores", ("2", "2"), False),
        ("the best score", ("70", "66"), True),
    ]
    assert compare_rows(third, first, season=season).sentence == "Decided by value: 65.000 against 61.000."
    assert neighbours_of(second)[0] == first
    page = client.get(f"{SEASON}compare/?table=0&unit=R2/H2").content.decode()
    assert "Decided by the best score: 70 against 66." in page
    assert "Rider 3 with Horse 3" in page
    other = client.get(f"{SEASON}compare/?table=0&unit=R2/H2&with=R3/H3").content.decode()
    assert "Decided by value: 65.000 against 61.000." in other
    assert '<option value="R3/H3" selected>' in other


def test_what_nothing_tells_apart_shares_the_place():
    season = plain_season()
    post_scores([row(1), row(2)], by=None)
    one, other = placed_rows(season.rows)
    assert "they share the place" in compare_rows(one, other, season=season).sentence


@pytest.mark.parametrize(
    "query", ["", "?table=0", "?table=x&unit=R1/H1", "?table=0&unit=nobody", "?table=0&unit=R1/H1&with=no"]
)
def test_a_comparison_of_what_is_not_there_is_not_found(client: Client, query: str):
    plain_season()
    post_scores([row(1), row(2)], by=None)
    assert client.get(f"{SEASON}compare/{query}").status_code == 404


def test_a_single_row_has_nothing_beside_it(client: Client):
    plain_season()
    post_scores([row(1)], by=None)
    assert "no other row" in client.get(f"{SEASON}compare/?table=0&unit=R1/H1").content.decode()


@pytest.mark.parametrize(
    ("requirement", "words"),
    [
        ({"count": "scores", "have": 2, "need": 4, "met": False}, "2 of 4 scores"),
        ({"count": "classes", "have": 0, "need": 1, "met": False}, "0 of 1 class"),
        ({"count": "scores", "have": 5, "at_most": 4, "met": False}, "5 scores, at most 4"),
        (
            {"any_of": [{"count": "judges", "have": 1, "need": 2, "met": False}, {"all_of": [
                {"count": "tests", "have": 0, "need": 1, "met": False}]}], "met": False},
            "1 of 2 judges or 0 of 1 test",
        ),
    ],
)  # fmt: skip
def test_whatever_is_missing_is_said(requirement: dict[str, object], words: str):
    assert missing_words(requirement) == words
