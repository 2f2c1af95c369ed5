"""Closing, reopening, correcting, closing again: what stays, what moves, and who did what why."""

from __future__ import annotations

import csv
import io
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.db.models import ProtectedError

from riders.errors import Conflict, DomainError, InvalidInput, NotAllowed
from riders.models import (
    Horse,
    Membership,
    Pair,
    Rider,
    Score,
    Season,
    SeasonChange,
    SeasonEdition,
    User,
)
from riders.policy import visible
from riders.selectors.editions import (
    changes_since,
    edition_in_force,
    frozen_records,
    frozen_rows,
    frozen_scores_csv,
)
from riders.selectors.ledger import score_record, scores_in_force, season_records
from riders.selectors.places import PlacedRow, keys_of_scores, placed_rows, row_document
from riders.selectors.season_lists import standings_csv
from riders.selectors.seasons import explained_rows, pair_statement, rows_as_closed, standings_tables
from riders.selectors.standings_tables import table_overview, table_page
from riders.services.closing import close_season, reopen_season
from riders.services.ledger import post_scores, retract_scores
from riders.services.merges import merge
from riders.services.standings import rebuild_standings
from riders.transactions import write_transaction
from scoring import season as season_rules
from tests.builders import make_association, make_pair, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db
SCHEME = season_rules.read_scheme(qualifying_scheme())


@pytest.fixture
def keeper() -> User:
    return make_user("keeper")


@pytest.fixture
def season(keeper: User) -> Season:
    """Pairs 1 to 3 with two rides each; pair 4 with one, so that it does not qualify."""
    season = make_season(make_association(keeper=keeper))
    rows = [
        row(n, key=f"s{n}-{show}", competition=f"show-{show}", percentage=f"{70 - n}.{show}00", pair=make_pair(n))
        for n in (1, 2, 3)
        for show in (1, 2)
    ]
    rows.append(row(4, key="s4-1", competition="show-1", percentage="72.000"))
    with write_transaction():
        post_scores(rows, by=None)
    season.refresh_from_db()
    return season


def close(season: Season, keeper: User | None = None, reason: str = "All results are in.") -> SeasonEdition:
    season.refresh_from_db()
    return close_season(season, expected_version=season.version, by=keeper, reason=reason)


def reopen(season: Season, keeper: User | None = None, reason: str = "A result was wrong.") -> Season:
    season.refresh_from_db()
    return reopen_season(season, expected_version=season.version, by=keeper, reason=reason)


def shown(season: Season) -> dict[str, Any]:
    """Everything that people see of the standings: the page, the file, the document."""
    season.refresh_from_db()
    page = table_page(season, table=0, page="1")
    assert page is not None
    return {
        "overview": [[_figures(one) for one in table.rows] for table in table_overview(season)],
        "page": [_figures(one) for one in page.rows],
        "csv": "".join(standings_csv(season)),
        "documents": [_figures(one) for table in standings_tables(season) for one in table.rows],
        "scores": [
            [(x.score.key, x.score.percentage, x.score.pair.rider.name, x.outcome, x.sentence) for x in explained]
            for explained in explained_rows(season, rows_as_closed(season, placed_rows(season.rows)))
        ],
    }


def _figures(one: PlacedRow) -> tuple[Any, ...]:
    document = row_document(one, scheme=SCHEME, keys=keys_of_scores([one.row]))
    return (one.table, str(one.pair), one.value, one.outcomes, document)


def change_everything() -> None:
    """A new score, a corrected one, a retracted one, a rider with another name, two pairs that become one, a member."""
    with write_transaction():
        post_scores([row(9, key="new", competition="show-1", percentage="80.000")], by=None)
        post_scores([row(3, key="s3-1", competition="show-1", percentage="79.000")], by=None)
        retract_scores(["s2-1"], by=None, reason="wrong test ridden")
    Rider.objects.filter(name="Rider 1").update(name="Rider One")
    twin = Pair.objects.create(
        key="twin", rider=Rider.objects.create(name="Twin"), horse=Horse.objects.create(name="Horse Twin")
    )
    known = make_pair(1)
    merge(twin.rider, known.rider, by=None, reason="the same person")
    Membership.objects.create(
        association=Season.objects.get().association,
        number="M1",
        kind="person",
        rider=Rider.objects.get(name="Rider 2"),
        starts_on=date(2026, 11, 1),
    )


class TestClosing:
    def test_it_keeps_who_when_and_why_and_makes_an_edition(self, season, keeper):
        edition = close(season, keeper)
        assert (edition.number, season.closed_at) == (1, edition.at)
        change = SeasonChange.objects.get()
        assert (change.action, change.by, change.reason, change.at) == (
            "closed", keeper, "All results are in.", edition.at,
        )  # fmt: skip
        assert edition.head["tables"] == [
            {"group": {"level": "novice"}, "title": "novice", "rows": 4, "placed": 3, "qualified": 3}
        ]
        assert [one["rider"] for one in frozen_rows(edition, table=0)] == ["Rider 1", "Rider 2", "Rider 3", "Rider 4"]

    def test_the_lists_are_those_that_stood(self, season):
        before = shown(season)
        close(season)
        assert shown(season) == before

    def test_nothing_that_comes_later_moves_them(self, season):
        close(season)
        before, version = shown(season), season.version
        change_everything()
        assert shown(season) == before
        assert season.version == version
        assert "Rider One" not in before["csv"]

    def test_a_statement_of_a_closed_season_is_as_it_was(self, season):
        close(season)
        pair = make_pair(2)
        before = pair_statement(pair, season)
        change_everything()
        after = pair_statement(Pair.objects.get(key=pair.key), season)
        assert [(s.score.key, s.outcome, s.sentence) for s in after.scores] == [
            (s.score.key, s.outcome, s.sentence) for s in before.scores
        ]
        assert {s.score.key for s in after.scores} == {"s2-1", "s2-2"}

    def test_what_came_to_the_ledger_since_is_named(self, season):
        edition = close(season)
        assert changes_since(edition) == []
        change_everything()
        found = {change.key: change for change in changes_since(edition)}
        assert {key: change.what for key, change in found.items()} == {
            "new": "added", "s2-1": "gone", "s3-1": "changed",
            "s1-1": "changed", "s1-2": "changed", "s2-2": "changed", "s3-2": "changed", "s4-1": "changed",
        }  # fmt: skip
        assert ("percentage", "67.100", "79.000") in found["s3-1"].differences
        assert ("rider", "Rider 1", "Twin") in found["s1-1"].differences
        assert ("member", "", "true") in found["s2-2"].differences

    def test_a_new_name_alone_is_told_apart(self, season):
        edition = close(season)
        Horse.objects.filter(name="Horse 1").update(name="Horse First")
        found = {(change.key, change.what) for change in changes_since(edition)}
        assert found == {("s1-1", "named"), ("s1-2", "named")}

    def test_the_counted_ledger_works_the_same_lists_out_again(self, season):
        edition = close(season)
        change_everything()
        scores = season_rules.scores_from_rows(list(frozen_records(edition)))
        again = season_rules.compute_standings(season_rules.read_scheme(season.scheme.document), scores)
        assert [one.as_dict() for one in again.rows()] == [one["standings"] for one in frozen_rows(edition, table=0)]
        assert len(list(csv.DictReader(io.StringIO(frozen_scores_csv(edition).decode())))) == 7

    def test_a_season_without_a_score_can_be_closed(self):
        season = make_season()
        edition = close(season)
        assert not edition.rows.exists()
        assert table_overview(season) == []
        assert table_page(season, table=0, page="1") is None

    def test_a_table_of_more_than_a_page_is_read_page_by_page(self):
        season = make_season(scheme=qualifying_scheme(require=[]))
        with write_transaction():
            post_scores([row(n, key=f"k{n}", percentage=f"6{n % 10}.{n:03}") for n in range(1, 232)], by=None)
        season.refresh_from_db()
        before = [[one.unit for one in table_page(season, table=0, page=n).rows] for n in "123"]
        edition = close(season)
        assert [[one.unit for one in table_page(season, table=0, page=n).rows] for n in "123"] == before

        assert len(list(frozen_rows(edition, table=0))) == 231


class TestReopening:
    def test_it_follows_the_ledger_again_and_the_next_closing_is_the_next_edition(self, season, keeper):
        first = close(season, keeper)
        before = "".join(standings_csv(season, edition=first))
        change_everything()
        reopen(season, keeper)
        assert season.closed_at is None
        assert edition_in_force(season) is None
        second = close(season, keeper, "Corrected.")
        assert (second.number, edition_in_force(season)) == (2, second)
        assert "79.000" in [record["percentage"] for record in frozen_records(second)]
        assert "Twin" in "".join(standings_csv(season))
        assert "".join(standings_csv(season, edition=first)) == before
        assert [change.action for change in SeasonChange.objects.order_by("pk")] == ["closed", "reopened", "closed"]

    def test_two_closings_of_the_same_are_told_apart_by_number_only(self, season):
        first = close(season)
        reopen(season)
        second = close(season)
        assert (first.number, second.number) == (1, 2)
        assert first.digest == SeasonEdition.objects.get(number=2).digest
        assert bytes(first.scores) == bytes(SeasonEdition.objects.get(number=2).scores)


class TestRefusals:
    def test_closing_twice(self, season):
        close(season)
        with pytest.raises(NotAllowed, match="is closed already") as refused:
            close(season)
        assert refused.value.code == "season-closed"

    def test_reopening_an_open_season(self, season):
        with pytest.raises(NotAllowed, match="nothing to reopen") as refused:
            reopen(season)
        assert refused.value.code == "season-open"

    @pytest.mark.parametrize("reason", ["", "   ", "x" * 301, "a\x00b"])
    def test_a_reason_is_owed(self, season, reason):
        with pytest.raises(InvalidInput, match="reason"):
            close(season, reason=reason)
        assert not SeasonEdition.objects.exists()

    def test_closing_what_has_changed_since_one_looked(self, season):
        with pytest.raises(Conflict, match="have changed since you looked"):
            close_season(season, expected_version=season.version - 1, by=None, reason="All results are in.")
        assert Season.objects.get().closed_at is None

    def test_working_out_anew(self, season):
        close(season)
        with pytest.raises(NotAllowed, match=r"is closed, so its standings stay as they are\. Reopen it"):
            rebuild_standings(season)

    def test_an_edition_and_its_history_cannot_go(self, season):
        close(season)
        with pytest.raises(ProtectedError):
            season.association.delete()


def test_the_edition_in_force_is_public_and_the_others_are_for_those_who_keep_it(season, keeper):
    first, stranger = close(season), make_user("stranger")
    assert visible(stranger, SeasonEdition.objects.all()).get() == first
    reopen(season)
    assert not visible(stranger, SeasonEdition.objects.all()).exists()
    second = close(season)
    assert visible(stranger, SeasonEdition.objects.all()).get() == second
    assert set(visible(keeper, SeasonEdition.objects.all())) == {first, second}
    assert visible(keeper, SeasonChange.objects.all()).count() == 3
    assert not visible(stranger, SeasonChange.objects.all()).exists()
    assert Score.objects.exists()


@pytest.mark.django_db(transaction=True)
class TestAtOnce:
    """Two people at once, on real threads: each act is whole, and the other one sees it."""

    def both(self, *acts: Callable[[], object]) -> list[object]:
        start = threading.Barrier(len(acts))

        def done(act: Callable[[], object]) -> object:
            try:
                start.wait(timeout=20)
                return act()
            except DomainError as refusal:
                return refusal
            finally:
                connection.close()

        with ThreadPoolExecutor(len(acts)) as threads:
            return list(threads.map(done, acts))

    def test_of_two_who_close_one_is_told(self, season):
        said = self.both(*2 * [lambda: close_season(season, expected_version=season.version, by=None, reason="Done.")])
        assert sorted(type(one).__name__ for one in said) == ["Conflict", "SeasonEdition"]
        assert any("and the season is closed" in str(one) for one in said)
        assert SeasonEdition.objects.count() == SeasonChange.objects.count() == 1

    @pytest.mark.parametrize("attempt", range(3))
    def test_a_score_posted_while_the_season_closes_is_counted_or_named(self, season, attempt):
        def post() -> None:
            with write_transaction():
                post_scores([row(3, key="late", competition="show-9", percentage="77.000")], by=None)

        self.both(post, lambda: close_season(season, expected_version=season.version, by=None, reason="Done."))
        season.refresh_from_db()
        if season.closed_at is None:  # the score was quicker, so that the keeper is asked to look again
            close(season)
        edition = edition_in_force(season)
        assert edition is not None
        counted = {record["score_id"] for record in frozen_records(edition)}
        assert ("late" in counted) != ("late" in {change.key for change in changes_since(edition)})
        season.refresh_from_db()
        stored = {(one.unit, one.placing, one.value) for one in placed_rows(season.rows)}
        frozen = frozen_rows(edition, table=0)
        assert stored == {(one["unit"], one["placing"], one["value"]) for one in frozen}


def test_records_of_a_season_are_those_of_its_scores(season):
    Membership.objects.create(
        association=season.association,
        number="M1",
        kind="person",
        rider=Rider.objects.get(name="Rider 2"),
        starts_on=date(2026, 11, 1),
    )
    with write_transaction():
        odd = {"judges": ["A, B", "=C"], "horse_age": 9, "placing": 1, "hors_concours": None, "member": True}
        post_scores([row(2, key="odd", competition="'=x", venue='"far", away', **odd)], by=None)
    records = list(season_records(season))
    plain = [score_record(score) for score in scores_in_force().order_by("date", "key")]
    assert [record | {"member": ""} for record in records] == [record | {"member": ""} for record in plain]
    assert {record["pair"] for record in records if record["member"] == "true"} == {"R2/H2"}
    assert list(frozen_records(close(season))) == records
