"""Who may have which report: every kind by every role."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import AnonymousUser

from competitions.models import CompetitionClass, Judge
from reports import policy
from reports.kinds import KINDS
from reports.models import Job
from reports.services import request_report
from riders.errors import NotAllowed
from riders.models import Season, User
from riders.services.closing import close_season
from tests import builders

pytestmark = pytest.mark.django_db

ROLES = ("visitor", "stranger", "rider", "judge", "office", "keeper", "staff")
ALLOWED = {
    ("results", "published"): set(ROLES),
    ("running-order", "published"): set(ROLES),
    ("working", "published"): set(ROLES),
    ("results", "planned"): {"judge", "office", "staff"},
    ("running-order", "planned"): {"judge", "office", "staff"},
    ("working", "planned"): {"judge", "office", "staff"},
    ("sheet", "published"): {"judge", "office", "staff"},
    ("sheets", "published"): {"office", "staff"},
    ("sheet", "official"): {"rider", "judge", "office", "staff"},
    ("sheets", "official"): {"rider", "office", "staff"},
    ("championship", "published"): set(ROLES),
    ("championship", "planned"): {"judge", "office", "staff"},
    ("season-statement", "published"): {"rider", "keeper", "staff"},
    ("season-standings", "published"): set(ROLES),
    ("season-awards", "published"): {"keeper", "staff"},
    ("season-qualified", "published"): {"keeper", "staff"},
    ("season-standings", "closed"): set(ROLES),
    ("season-awards", "closed"): set(ROLES),
    ("season-qualified", "closed"): set(ROLES),
    ("season-certificates", "closed"): {"keeper", "staff"},
}


@pytest.fixture
def people(office) -> dict[str, object]:
    return {
        "visitor": AnonymousUser(),
        "stranger": builders.make_user("stranger"),
        "rider": builders.make_user("rider"),
        "judge": builders.make_user("judge"),
        "office": office,
        "keeper": builders.make_user("keeper"),
        "staff": builders.make_user("staff", is_staff=True),
    }


@pytest.fixture
def show(people) -> CompetitionClass:
    """A class with two seats, of which the judge has the first, and a ride of the rider."""
    judge = Judge.objects.create(name="Marguerite Sauvignac", user=people["judge"])
    builders.make_pair(1, user=people["rider"])
    competition = builders.make_competition(office=people["office"])
    competition_class = builders.make_class(competition, seats="CH", entries=1, judges={"C": judge})
    second = builders.make_class(competition, number="2")
    builders.make_championship(competition, classes=[competition_class, second])
    for seat in "CH":
        builders.mark_sheet(competition_class.entries.get(), seat)
    return competition_class


@pytest.fixture
def season(people) -> Season:
    return builders.make_season(builders.make_association(keeper=people["keeper"]))


def order(kind: str, show: CompetitionClass, season: Season) -> dict[str, object]:
    entry = show.entries.get()
    return {
        "results": {"target": show.pk},
        "running-order": {"target": show.pk},
        "working": {"target": show.pk},
        "championship": {"target": show.competition.championships.get().pk},
        "sheet": {"target": entry.sheets.get(seat__seat="C").pk},
        "sheets": {"target": entry.pk},
        "season-statement": {"target": entry.pair_id, "options": {"season": season.pk}},
        **{
            name: {"target": season.pk}
            for name in ("season-standings", "season-awards", "season-qualified", "season-certificates")
        },
    }[kind]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize(("kind", "state"), ALLOWED)
def test_asking_and_having_are_allowed_to_the_same_people(kind, state, role, people, show, season, sent):
    if state == "planned":
        type(show.competition).objects.update(state="planned")
    if state == "official":
        CompetitionClass.objects.update(results_state=CompetitionClass.ResultsState.OFFICIAL)
    if state == "closed":
        close_season(season, expected_version=season.version, by=None, reason="All results are in.")
    asked = order(kind, show, season)
    job = request_report(kind=kind, by=people["staff"], **asked)
    allowed = role in ALLOWED[kind, state]
    assert policy.can_view(people[role], job) is allowed
    if allowed:
        assert request_report(kind=kind, by=people[role], **asked).pk == job.pk
    else:
        with pytest.raises(NotAllowed):
            request_report(kind=kind, by=people[role], **asked)


def test_every_kind_has_a_row_in_the_table():
    assert {kind for kind, _ in ALLOWED} == set(KINDS)


def test_the_keeper_of_another_association_sees_no_statement(show, season, people, sent):
    other = builders.make_user("other")
    builders.make_association("elsewhere", keeper=other)
    with pytest.raises(NotAllowed):
        request_report(kind="season-statement", by=other, **order("season-statement", show, season))


def test_a_right_that_has_gone_takes_the_file_with_it(show, season, people, sent):
    job = request_report(kind="sheets", by=people["office"], **order("sheets", show, season))
    assert policy.can_view(people["office"], job)
    show.competition.office_roles.all().delete()
    assert not policy.can_view(people["office"], job)


@pytest.mark.parametrize("broken", [{"target": 999_999}, {"kind": "poster"}, {"kind": "season-statement"}])
def test_of_what_is_gone_or_unknown_only_staff_see_the_job_at_most(broken, show, season, people, sent):
    job = request_report(kind="results", by=people["office"], target=show.pk)
    Job.objects.update(**broken)
    job.refresh_from_db()
    assert not policy.can_view(people["office"], job)
    assert policy.can_view(people["staff"], job) is (job.kind in KINDS)
    assert isinstance(people["staff"], User)
