from __future__ import annotations

import threading

import pytest
from django.db import connection

from competitions import policy
from competitions.models import CompetitionChange, Judge
from competitions.services.colleagues import add_colleague, link_judge, may_link, remove_colleague
from riders.errors import InvalidInput, NotAllowed
from tests.builders import make_class, make_competition, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_user("office")


@pytest.fixture
def competition(office):
    return make_competition(office=office)


@pytest.fixture
def judge(competition):
    judge = Judge.objects.create(name="Ingvild Solstrand")
    make_class(competition, judges={"C": judge})
    return judge


def office_of(competition) -> list[str]:
    return sorted(competition.office_roles.values_list("user__username", flat=True))


def last_change(competition) -> CompetitionChange:
    return competition.changes.order_by("-pk").first()


@pytest.mark.parametrize("typed", ["casper", " casper ", "Casper"])
def test_a_colleague_is_added_by_account_name_with_history(competition, office, typed):
    casper = make_user("casper")
    assert add_colleague(competition, account=typed, by=office) == casper
    assert policy.can(casper, "run", competition)
    change = last_change(competition)
    assert (change.by, change.before, change.after) == (
        office,
        {"office": ["office"]},
        {"office": ["casper", "office"]},
    )


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "The account name is missing."),
        ("capser", 'There is no account "capser". Check the spelling'),
        ("x" * 100_000, f'There is no account "{"x" * 150}". Check the spelling'),
        ("office", "office works in this office already."),
        ("gone", "The account gone is closed."),
        ("x" * 10_000, "There is no account"),
    ],
)
def test_what_cannot_be_added_is_said_and_changes_nothing(competition, office, typed, sentence):
    make_user("gone", is_active=False)
    before = competition.changes.count()
    with pytest.raises(InvalidInput, match=sentence) as refusal:
        add_colleague(competition, account=typed, by=office)
    assert refusal.value.problems[0][0] == "account"
    assert office_of(competition) == ["office"]
    assert competition.changes.count() == before


def test_names_that_differ_in_capitals_only_are_not_guessed(competition, office):
    small, large = make_user("casper"), make_user("Casper")
    with pytest.raises(InvalidInput, match="There is no account"):
        add_colleague(competition, account="CASPER", by=office)
    assert add_colleague(competition, account="Casper", by=office) == large
    assert add_colleague(competition, account="casper", by=office) == small


def test_a_colleague_is_removed_but_never_the_last(competition, office):
    with pytest.raises(NotAllowed, match="office is the last person of this office"):
        remove_colleague(competition, account="office", by=office)
    add_colleague(competition, account=make_user("casper").username, by=office)
    remove_colleague(competition, account="office", by=office)
    assert office_of(competition) == ["casper"]
    assert not policy.can(office, "run", competition)
    assert last_change(competition).after == {"office": ["casper"]}
    with pytest.raises(InvalidInput, match="does not work in this office any more"):
        remove_colleague(competition, account="office", by=office)


def test_somebody_who_can_log_in_has_to_stay(competition, office):
    away = make_user("away")
    add_colleague(competition, account="away", by=office)
    away.is_active = False
    away.save()
    with pytest.raises(NotAllowed, match="last person"):
        remove_colleague(competition, account="office", by=office)
    remove_colleague(competition, account="away", by=office)


@pytest.mark.django_db(transaction=True)
def test_two_who_remove_one_another_at_once_leave_one(competition, office):
    casper = make_user("casper")
    add_colleague(competition, account="casper", by=office)
    start, refused = threading.Barrier(2), []

    def remove(account: str, by) -> None:
        start.wait()
        try:
            remove_colleague(competition, account=account, by=by)
        except NotAllowed as error:
            refused.append(error.code)
        finally:
            connection.close()

    pair = [
        threading.Thread(target=remove, args=("casper", office)),
        threading.Thread(target=remove, args=("office", casper)),
    ]
    for thread in pair:
        thread.start()
    for thread in pair:
        thread.join()
    assert refused == ["last-of-the-office"]
    assert len(office_of(competition)) == 1


def test_a_judge_gets_an_account_and_loses_it_again(competition, office, judge):
    person = make_user("solstrand")
    link_judge(competition, judge, account="solstrand", by=office)
    seat = competition.classes.get().seats.get()
    assert policy.can(person, "mark", seat)
    assert last_change(competition).after == {"accounts_of_judges": {"Ingvild Solstrand": "solstrand"}}
    link_judge(competition, judge, account="", by=office)
    seat.judge.refresh_from_db()
    assert not policy.can(person, "mark", seat)
    assert last_change(competition).before == {"accounts_of_judges": {"Ingvild Solstrand": "solstrand"}}


def test_one_account_is_one_judge(competition, office, judge):
    Judge.objects.create(name="Perpetua Hollin", user=make_user("hollin"))
    with pytest.raises(InvalidInput, match="belongs to the judge Perpetua Hollin already"):
        link_judge(competition, judge, account="hollin", by=office)
    with pytest.raises(InvalidInput, match='There is no account "holin"'):
        link_judge(competition, judge, account="holin", by=office)
    judge.refresh_from_db()
    assert judge.user is None


def test_a_judge_of_another_office_too_is_linked_by_staff_only(competition, office, judge):
    elsewhere = make_competition("elsewhere", office=make_user("stranger"))
    make_class(elsewhere, judges={"C": judge})
    person = make_user("solstrand")
    assert not may_link(office, judge)
    with pytest.raises(NotAllowed, match="also judges at a competition of another office"):
        link_judge(competition, judge, account="solstrand", by=office)
    link_judge(competition, judge, account="solstrand", by=make_user("staff", is_staff=True))
    judge.refresh_from_db()
    assert judge.user == person
    elsewhere.office_roles.create(user=office)
    assert may_link(office, judge)


def test_a_judge_who_left_the_panels_is_not_linked(competition, office, judge):
    competition.classes.get().seats.update(judge=None)
    with pytest.raises(NotAllowed, match="on no panel of the competition any more"):
        link_judge(competition, judge, account="office", by=office)
