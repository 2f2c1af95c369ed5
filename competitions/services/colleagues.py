"""Who works in the office of a competition, and which account a judge of its panels logs in with."""

from __future__ import annotations

from competitions import policy
from competitions.models import Competition, Judge, OfficeRole
from competitions.services.history import note_competition
from riders.errors import InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction

_LONGEST_ACCOUNT = 150


def add_colleague(competition: Competition, *, account: str, by: User) -> User:
    """Let the person with this account name work in the office of the competition."""
    with write_transaction():
        current = _locked(competition)
        person = account_named(account)
        before = _office_record(current)
        if person.username in before["office"]:
            raise _fault("account", f"{person} works in this office already.", code="already-there")
        current.office_roles.create(user=person)
        note_competition(current, by=by, before=before, after=_office_record(current))
    return person


def remove_colleague(competition: Competition, *, account: str, by: User) -> User:
    """Take a person out of the office; somebody who can log in has to stay."""
    with write_transaction():
        current = _locked(competition)
        role = current.office_roles.select_related("user").filter(user__username=account).first()
        if role is None:
            raise _fault(
                "account",
                f'"{account[:_LONGEST_ACCOUNT]}" does not work in this office any more. Look at the list again.',
                code="gone",
            )
        if not current.office_roles.exclude(pk=role.pk).filter(user__is_active=True).exists():
            raise NotAllowed(
                f"{role.user} is the last person of this office. Add somebody else first, then remove {role.user}.",
                code="last-of-the-office",
            )
        before = _office_record(current)
        role.delete()
        note_competition(current, by=by, before=before, after=_office_record(current))
    return role.user


def link_judge(competition: Competition, judge: Judge, *, account: str, by: User) -> Judge:
    """Let a judge of the competition log in with an account; an empty name takes the account away.

    An account opens every sheet of the judge, so an office may do this only while the judge sits on its own panels and
    on no others; for judges who sit elsewhere too, staff does it.
    """
    with write_transaction():
        current = _locked(competition)
        found = Judge.objects.select_for_update(of=("self",)).select_related("user").filter(pk=judge.pk).first()
        if found is None or not found.seats.filter(competition_class__competition=current).exists():
            raise NotAllowed(
                "This judge is on no panel of the competition any more. Look at the list again.", code="gone"
            )
        if not may_link(by, found):
            raise NotAllowed(
                f"{found.name} also judges at a competition of another office, and an account opens the sheets there "
                "as well. Ask the administrators of this service to link it.",
                code="judges-elsewhere",
            )
        person = account_named(account) if account.strip() else None
        if person is not None:
            other = Judge.objects.filter(user=person).exclude(pk=found.pk).first()
            if other is not None:
                raise _fault(
                    "account",
                    f"The account {person.username} belongs to the judge {other.name} already. Take it away there "
                    "first, or enter another account.",
                    code="account-taken",
                )
        before = _judge_record(found)
        found.user = person
        found.save(update_fields=["user"])
        note_competition(current, by=by, before=before, after=_judge_record(found))
    return found


def may_link(user: User, judge: Judge) -> bool:
    """Tell whether this person may say with which account a judge logs in: staff, and who runs all that they judge."""
    if user.is_staff:
        return True
    run = policy.office_competitions(user).values("pk")
    return not judge.seats.exclude(competition_class__competition__in=run).exists()


def _locked(competition: Competition) -> Competition:
    return Competition.objects.select_for_update().get(pk=competition.pk)


def account_named(name: str) -> User:
    """Return the active account of this name; capitals decide only between names that differ in nothing else."""
    name = name.strip()
    if not name:
        raise _fault("account", "The account name is missing. Enter the name that the person logs in with.")
    # A longer name is nobody's, and SQLite refuses to compare very long ones.
    found = list(User.objects.filter(username__iexact=name).order_by("pk")) if len(name) <= _LONGEST_ACCOUNT else []
    exact = [person for person in found if person.username == name] or (found if len(found) == 1 else [])
    if not exact:
        raise _fault(
            "account",
            f'There is no account "{name[:_LONGEST_ACCOUNT]}". Check the spelling, or ask the person for the name that '
            "they log in with.",
            code="no-such-account",
        )
    if not exact[0].is_active:
        raise _fault("account", f"The account {exact[0].username} is closed. Enter another.", code="account-closed")
    return exact[0]


def _fault(where: str, sentence: str, *, code: str | None = None) -> InvalidInput:
    return InvalidInput(sentence, problems=[(where, sentence)], code=code)


def _office_record(competition: Competition) -> dict[str, list[str]]:
    roles = OfficeRole.objects.filter(competition=competition).order_by("user__username")
    return {"office": list(roles.values_list("user__username", flat=True))}


def _judge_record(judge: Judge) -> dict[str, dict[str, str]]:
    return {"accounts_of_judges": {judge.name: judge.user.username if judge.user else ""}}
