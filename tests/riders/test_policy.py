"""Whom a keeper may do what with: the rule of ``riders.policy``, role by role."""

from __future__ import annotations

from datetime import date

import pytest
from django.contrib.auth.models import AnonymousUser

from riders.models import Association, Horse, Membership, Merge, NameDecision, Pair, Rider, Score, User, WaitingImport
from riders.policy import can, concerned, may_merge, visible
from riders.services.direct_imports import import_scores
from riders.services.ledger import post_scores
from riders.services.ledger_preview import preview_import
from riders.services.matching import decide_name
from riders.services.merges import merge
from riders.services.waiting_imports import hand_in
from riders.transactions import write_transaction
from tests.builders import make_association, make_pair, make_season, make_user
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db

FILE = (
    "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
    "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,1,64.500,completed\n"
)


@pytest.fixture
def linden() -> User:
    """The keeper of an association whose member 1 rides pair 1."""
    keeper = make_user("linden-keeper")
    association = make_association(keeper=keeper)
    make_season(association)
    join(association, make_pair(1).rider)
    return keeper


@pytest.fixture
def moor() -> User:
    """The keeper of another association, whose member is the horse of pair 2."""
    keeper = make_user("moor-keeper")
    association = make_association("moor", keeper=keeper)
    horse = make_pair(2).horse
    Membership.objects.create(
        association=association, number="H2", kind="horse", horse=horse, starts_on=date(2020, 1, 1), ends_on=None
    )
    return keeper


def join(association: Association, rider: Rider) -> None:
    Membership.objects.create(
        association=association,
        number=f"M{rider.pk}",
        kind="person",
        rider=rider,
        starts_on=date(2020, 1, 1),
        ends_on=date(2020, 12, 31),
    )


def post(n: int, *, by: User | None = None) -> Score:
    with write_transaction():
        post_scores([row(n)], by=by)
    return Score.objects.get(key=f"score-{n}")


def test_scores_of_members_past_and_present_concern_their_association(linden: User, moor: User):
    scores = [post(n) for n in (1, 2, 3)]
    assert [can(linden, "change", score) for score in scores] == [True, False, False]
    assert [can(moor, "change", score) for score in scores] == [False, True, False]
    staff = make_user("staff", is_staff=True)
    assert all(can(staff, "change", score) for score in scores)
    for nobody in (make_user(), AnonymousUser()):
        assert not any(can(nobody, "change", score) for score in scores)
    assert list(concerned(linden, Score.objects.all())) == scores[:1]
    assert list(concerned(moor, Horse.objects.all())) == [scores[1].pair.horse]
    assert list(concerned(moor, Rider.objects.all())) == [scores[1].pair.rider]
    assert not concerned(AnonymousUser(), Pair.objects.all()).exists()


def test_what_a_keeper_brought_in_concerns_the_association(linden: User, moor: User):
    assert [can(who, "change", post(3, by=linden)) for who in (linden, moor)] == [True, False]


def test_without_members_the_days_of_the_seasons_decide(linden: User):
    keeper = make_user("heath-keeper")
    make_season(make_association("heath", keeper=keeper))
    with write_transaction():
        post_scores([row(4), row(5, date=date(2020, 5, 1))], by=None)
    inside, outside = Score.objects.order_by("-date")
    assert [can(keeper, "change", score) for score in (inside, outside)] == [True, False]


def test_a_score_of_a_class_is_changed_by_no_keeper(linden: User):
    score = post(1)
    Score.objects.update(source=Score.Source.CLASS)
    score.refresh_from_db()
    assert not can(linden, "change", score)


def test_retracted_scores_are_seen_by_those_whom_they_concern(linden: User, moor: User):
    score = post(1)
    Score.objects.update(retracted_at=date(2026, 12, 1).isoformat() + "T00:00:00Z")
    assert list(visible(linden, Score.objects.all())) == [score]
    for other in (moor, make_user(), AnonymousUser()):
        assert not visible(other, Score.objects.all()).exists()


def test_two_are_merged_by_those_whom_they_concern(linden: User, moor: User):
    ours, theirs = (make_pair(n) for n in (1, 2))
    nobodys = Rider.objects.create(name="Nobody's")
    assert may_merge(linden, ours.rider, nobodys)
    assert may_merge(linden, nobodys, ours.rider)
    assert not may_merge(moor, ours.rider, nobodys)
    assert not may_merge(linden, ours.rider, theirs.rider)
    assert not may_merge(linden, nobodys, Rider.objects.create(name="Another"))
    assert may_merge(make_user("staff", is_staff=True), ours.rider, theirs.rider)
    assert not may_merge(make_user(), ours.rider, nobodys)
    assert not may_merge(AnonymousUser(), ours.rider, nobodys)


def test_works_are_seen_by_those_who_keep_an_association_together(linden: User, moor: User):
    fellow = make_user("fellow")
    Association.objects.get(slug="linden").roles.create(user=fellow)
    waiting = hand_in(FILE.encode(), by=linden)
    decision = decide_name(source="far", kind="rider", spelling="U. L.", member=None, by=linden)
    done = merge(make_pair(8).rider, Rider.objects.create(name="Twin"), by=linden, reason="one")
    for who, seen in ((linden, True), (fellow, True), (moor, False), (make_user("staff", is_staff=True), True)):
        for one in (waiting, decision, done):
            assert can(who, "change", one) is seen, (who, one)
            assert visible(who, type(one)._default_manager.all()).exists() is seen
    for model in (WaitingImport, NameDecision, Merge):
        assert not visible(AnonymousUser(), model._default_manager.all()).exists()


def test_a_merge_is_seen_by_those_whom_the_one_that_stayed_concerns(linden: User, moor: User):
    done = merge(make_pair(1).rider, Rider.objects.create(name="Twin"), by=None, reason="one")
    assert [can(who, "change", done) for who in (linden, moor)] == [True, False]


def test_a_file_does_not_change_what_concerns_others_only(linden: User, moor: User):
    import_scores(FILE, by=linden)
    changed = FILE.replace("64.500", "99.000").encode()
    assert not preview_import(changed, by=linden).problems
    assert not preview_import(changed).problems
    ((where, sentence),) = preview_import(changed, by=moor).problems
    assert where == "row 2, score_id"
    assert "concerns no association that you keep" in sentence
    assert not preview_import(FILE.encode(), by=moor).problems
