"""Standings rebuilt as a whole beside those that are shown, whatever changes meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from riders.errors import Conflict, NotAllowed
from riders.models import Scheme, Season, StandingRow, StandingsRebuild, StandingTable, User
from riders.services import rebuilds, standings, workqueue
from riders.services.ledger import post_scores, retract_scores
from riders.services.rebuilds import request_rebuild, run_rebuild, sweep_rebuilds
from riders.services.standings import store_standings
from tests.builders import make_association, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

ADDRESS = "/associations/linden/2027/rebuild/"


@pytest.fixture(autouse=True)
def sent(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    taken: list[str] = []
    workqueue.wake()
    monkeypatch.setattr(workqueue.current_app, "send_task", lambda name, args, retry: taken.append(args[0]))
    return taken


@pytest.fixture
def season() -> Season:
    found = make_season(make_association(keeper=make_user("keeper")), scheme=qualifying_scheme(require=[]))
    post_scores([row(n, key=f"s{n}", percentage=f"6{n}") for n in range(1, 5)], by=None)
    found.refresh_from_db()
    return found


def placed(season: Season) -> list[tuple[str, str]]:
    return list(season.rows.values_list("unit", "value"))


def meanwhile(monkeypatch: pytest.MonkeyPatch, act: Callable[[], object]) -> None:
    """Let something happen while a rebuild has worked its rows out and has not shown them."""
    write = rebuilds._write

    def act_and_write(*given: object) -> object:
        act()
        return write(*given)

    monkeypatch.setattr(rebuilds, "_write", act_and_write)


def test_it_is_queued_once_its_row_is_there_and_shows_the_same(
    season: Season, sent: list[str], django_capture_on_commit_callbacks: Callable[..., object]
):
    before = placed(season)
    StandingRow.objects.filter(unit="R1/H1").delete()
    with django_capture_on_commit_callbacks(execute=True):
        asked = request_rebuild(season, by=None)
        assert request_rebuild(season, by=None) == asked
    assert sent == [str(asked.pk)]
    done = run_rebuild(asked.pk)
    assert (done.state, done.progress, done.attempts) == ("done", 100, 1)
    assert placed(season) == before
    assert StandingTable.objects.count() == 1
    assert run_rebuild(asked.pk) is None
    assert request_rebuild(season, by=None) != asked


def test_the_old_standings_are_shown_until_the_new_ones_are_complete(
    season: Season, monkeypatch: pytest.MonkeyPatch, client: Client
):
    seen: list[str] = []
    meanwhile(monkeypatch, lambda: seen.append(client.get("/associations/linden/2027/").content.decode()))
    season.rows.update(value="99.875")
    run_rebuild(request_rebuild(season, by=None).pk)
    assert "99.875" in seen[0]
    page = client.get("/associations/linden/2027/").content.decode()
    assert "99.875" not in page
    assert "64.000" in page


def test_what_is_posted_and_retracted_meanwhile_is_not_missed(season: Season, monkeypatch: pytest.MonkeyPatch):
    def change() -> None:
        post_scores([row(1, key="late", percentage="80"), row(9, key="new", percentage="50")], by=None)
        retract_scores(["s4"], by=None, reason="withdrawn")

    meanwhile(monkeypatch, change)
    run_rebuild(request_rebuild(season, by=None).pk)
    found = placed(season)
    assert found == [("R1/H1", "70.500"), ("R3/H3", "63.000"), ("R2/H2", "62.000"), ("R9/H9", "50.000")]
    store_standings(season)
    assert placed(season) == found
    assert season.tables.get().size == 4


def test_a_whole_rebuild_by_somebody_else_meanwhile_stands(season: Season, monkeypatch: pytest.MonkeyPatch):
    def change() -> None:
        post_scores([row(5, key="s5", percentage="77")], by=None, rebuild=False)
        store_standings(season)

    meanwhile(monkeypatch, change)
    assert run_rebuild(request_rebuild(season, by=None).pk).state == "done"
    assert placed(season)[0] == ("R5/H5", "77.000")
    assert list(season.tables.values_list("shown", flat=True)) == [True]


@pytest.mark.parametrize("whole", [False, True])
def test_another_scheme_is_the_seasons_when_its_standings_are_complete(
    season: Season, monkeypatch: pytest.MonkeyPatch, whole: bool
):
    other = Scheme.objects.create(
        key="qualifying-average", version=2, title="Best one",
        document=qualifying_scheme(require=[], value={"aggregate": "best"}),
    )  # fmt: skip
    before = season.scheme

    def change() -> None:
        season.refresh_from_db()
        assert season.scheme == before
        post_scores([row(1, key="late", percentage="80")], by=None)
        if whole:
            store_standings(season)

    meanwhile(monkeypatch, change)
    asked = request_rebuild(season, by=None, scheme=other, reason="decided by the meeting")
    with pytest.raises(Conflict, match="worked out anew just now"):
        request_rebuild(season, by=None, scheme=before)
    run_rebuild(asked.pk)
    season.refresh_from_db()
    assert season.scheme == other
    assert placed(season)[0] == ("R1/H1", "80.000")
    assert season.scheme_changes.get().reason == "decided by the meeting"


def test_what_a_dead_worker_left_is_put_back_and_its_tables_go(season: Season, sent: list[str]):
    asked = request_rebuild(season, by=None)
    StandingsRebuild.objects.update(state="running", attempts=1, heartbeat_at=timezone.now() - timedelta(minutes=1))
    left = StandingTable.objects.create(season=season, number=0, size=9)
    assert sweep_rebuilds().put_back == 1
    assert sent == [str(asked.pk)]
    assert run_rebuild(asked.pk).attempts == 2
    assert not StandingTable.objects.filter(pk=left.pk).exists()


def test_after_three_dead_workers_it_is_given_up_with_a_sentence(season: Season):
    asked = request_rebuild(season, by=None)
    StandingsRebuild.objects.update(state="running", attempts=3, heartbeat_at=timezone.now() - timedelta(minutes=1))
    assert sweep_rebuilds().given_up == 1
    asked.refresh_from_db()
    assert (asked.state, "stopped 3 times" in asked.message) == ("failed", True)


def test_an_attempt_that_was_taken_over_shows_nothing(season: Season, monkeypatch: pytest.MonkeyPatch):
    season.rows.update(value="99.875")
    meanwhile(monkeypatch, lambda: StandingsRebuild.objects.update(attempts=2))
    assert run_rebuild(request_rebuild(season, by=None).pk).state == "running"
    assert {value for _, value in placed(season)} == {"99.875"}


def test_a_fault_leaves_the_old_standings_and_says_whom_to_tell(season: Season, monkeypatch: pytest.MonkeyPatch):
    def fail(*_given: object, **_options: object) -> None:
        raise ZeroDivisionError

    before = placed(season)
    monkeypatch.setattr(rebuilds, "compute_rows", fail)
    done = run_rebuild(request_rebuild(season, by=None).pk)
    assert done.state == "failed"
    assert str(done.pk) in done.message
    assert placed(season) == before


def test_a_closed_season_is_left_alone(season: Season, monkeypatch: pytest.MonkeyPatch):
    asked = request_rebuild(season, by=None)
    Season.objects.update(closed_at=timezone.now())
    assert "closed" in run_rebuild(asked.pk).message
    with pytest.raises(NotAllowed, match="is closed"):
        request_rebuild(season, by=None)


def test_standings_that_an_update_left_out_are_asked_for(season: Season):
    Season.objects.update(computed_at=None)
    sweep_rebuilds()
    assert StandingsRebuild.objects.get().state == "queued"


def test_the_page_asks_and_shows_how_far_it_is(season: Season, client: Client):
    assert client.get(ADDRESS).status_code == 302
    client.force_login(make_user("other"))
    assert client.get(ADDRESS).status_code == 403
    client.force_login(User.objects.get(username="keeper"))
    assert "not been worked out anew" in client.get(ADDRESS).content.decode()
    assert client.post(ADDRESS, follow=True).content.decode().count("data-waiting") == 1
    StandingsRebuild.objects.update(state="running", progress=42)
    part = client.get(ADDRESS, headers={"x-part": "state"}).content.decode()
    assert 'value="42"' in part
    assert "<html" not in part
    StandingsRebuild.objects.update(state="queued")
    run_rebuild(StandingsRebuild.objects.get().pk)
    assert "Finished on" in client.get(ADDRESS).content.decode()
    Season.objects.update(closed_at=timezone.now())
    refused = client.post(ADDRESS)
    assert refused.status_code == 409
    assert "is closed" in refused.content.decode()


def test_rows_are_written_some_at_a_time_with_the_progress_said(season: Season, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(rebuilds, "_WRITTEN_AT_ONCE", 1)
    said: list[int] = []
    monkeypatch.setattr(rebuilds, "note_progress", lambda _work, progress: said.append(progress))
    run_rebuild(request_rebuild(season, by=None).pk)
    assert said == sorted(said)
    assert said[-4:] == [68, 77, 86, 95]
    assert standings.running_rebuild(season).count() == 0
