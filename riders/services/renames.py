"""Riders and horses given another name: a marriage, a misspelling, a horse that was renamed.

Everything that shows the name follows: boards and documents of its classes are made anew, and open standings are worked
out anew (a table of riders knows its units by name, and namesakes apart). The name before stays in the history, and
files that use it still mean the same. Results that are official keep their figures; they never held the name itself.
Undoing is a rename back.
"""

from __future__ import annotations

from riders.errors import Conflict, InvalidInput
from riders.intake import has_unstorable, one_line, reason_from
from riders.models import Horse, NameChange, Rider, User
from riders.services.followers import tell
from riders.services.merges import pairs_of, seasons_of, work_out_seasons
from riders.services.namesakes import tell_apart
from riders.transactions import take_ledger_turn, write_transaction

LONGEST = 120


def rename(member: Rider | Horse, *, name: str, before: str, by: User | None, reason: str) -> NameChange:
    """Give a rider or horse another name; ``before`` is the name that was looked at.

    Raises ``Conflict`` where it has another name by now, ``InvalidInput`` for a name that cannot be kept.
    """
    name, reason = _name_from(name), reason_from(reason)
    with write_transaction():
        take_ledger_turn()
        current = type(member)._default_manager.select_for_update().filter(pk=member.pk).first()  # noqa: SLF001
        if current is None or current.name != before:
            raise Conflict(
                "The name was changed by someone else since you opened it. Look at it again, then change it.",
                current=current,
            )
        if current.name == name:
            raise InvalidInput("Nothing was changed: that is the name already.", code="nothing-changed")
        current.name = name
        tell_apart([current])
        current.save(update_fields=["name", "apart"])
        done = NameChange.objects.create(
            kind=type(member).__name__.lower(), member=member.pk, before=before, after=name, by=by, reason=reason
        )
        tell(pairs_of(current))
        work_out_seasons(seasons_of(current))
    member.name = name
    return done


def _name_from(name: str) -> str:
    name = one_line(name)
    if not name or len(name) > LONGEST or has_unstorable(name):
        sentence = f"Give a name of 1 to {LONGEST} characters."
        raise InvalidInput(sentence, problems=[("name", sentence)])
    return name
