"""Who is meant by a name in a file: likely riders and horses are proposed, and a person decides.

Names are compared without case, accents and punctuation, and by likeness, for proposing only: nobody is ever merged by
that. A decision holds for the spelling and the source that it was made for, is remembered, and can be undone.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from django.db.models import Model
from django.utils import timezone
from rapidfuzz import fuzz, process

from riders.errors import InvalidInput, NotAllowed
from riders.intake import has_unstorable, one_line
from riders.models import Horse, NameDecision, Pair, Rider, Score, User
from riders.services.people import fresh_pair_key
from riders.services.standings import rebuild_touched
from riders.transactions import take_ledger_turn, write_transaction

MOST_COMPARED = 2000
"""So many names of one file are compared by likeness; of the others only those that differ in form are proposed."""

_MOST_PROPOSED = 5
_LEAST_LIKENESS = 78
_MODELS: dict[str, type[Rider | Horse]] = {"rider": Rider, "horse": Horse}
_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "þ": "th", "\u0131": "i"})


@dataclass(frozen=True, slots=True)
class Proposal:
    """Someone known who may be meant; ``same`` is true where the name is the same to the letter.

    ``beside`` names horses that the rider has ridden, or riders of the horse, to tell namesakes apart.
    """

    id: int
    name: str
    registration: str
    same: bool
    beside: str


@lru_cache(maxsize=50_000)
def normalised(name: str) -> str:
    """Return a name without case, accents and punctuation.

    >>> normalised("  O'Réilly-Łukasz, Úna ")
    'o reilly lukasz una'
    """
    plain = unicodedata.normalize("NFKD", name.casefold()).translate(_LETTERS)
    letters = "".join(" " if not character.isalnum() else character for character in plain if not _is_accent(character))
    return re.sub(r"\s+", " ", letters).strip()


def _is_accent(character: str) -> bool:
    return unicodedata.combining(character) != 0


def proposals_for(kind: str, spellings: Collection[str]) -> dict[str, tuple[Proposal, ...]]:
    """Return, for each spelling that is like known names, those who may be meant: the likeliest first.

    The same name comes first, then one that differs in case, accents or punctuation, then by likeness.
    """
    if not spellings:
        return {}
    known = list(_MODELS[kind].objects.order_by("name", "pk").values_list("pk", "name", "registration"))
    by_form: dict[str, list[int]] = {}
    for position, (_, name, _) in enumerate(known):
        by_form.setdefault(normalised(name), []).append(position)
    forms = list(by_form)
    found: dict[str, list[int]] = {}
    for number, spelling in enumerate(spellings):
        positions = _positions(normalised(spelling), by_form, forms if number < MOST_COMPARED else [])
        if positions:
            found[spelling] = sorted(positions[:_MOST_PROPOSED], key=lambda position: known[position][1] != spelling)
    beside = _beside(kind, {known[position][0] for positions in found.values() for position in positions})
    return {
        spelling: tuple(
            Proposal(*known[position], same=known[position][1] == spelling, beside=beside.get(known[position][0], ""))
            for position in positions
        )
        for spelling, positions in found.items()
    }


def _positions(form: str, by_form: Mapping[str, list[int]], forms: list[str]) -> list[int]:
    positions = list(by_form.get(form, ()))
    likely = process.extract(
        form, forms, scorer=fuzz.token_sort_ratio, score_cutoff=_LEAST_LIKENESS, limit=_MOST_PROPOSED
    )
    return positions + [position for other, _, _ in likely if other != form for position in by_form[other]]


def _beside(kind: str, members: Iterable[int]) -> dict[int, str]:
    """Name up to three partners of each rider or horse."""
    other = "horse" if kind == "rider" else "rider"
    wanted = sorted(members)
    partners: dict[int, list[str]] = {}
    for start in range(0, len(wanted), 500):
        pairs = Pair.objects.filter(**{f"{kind}__in": wanted[start : start + 500]}).order_by(f"{other}__name", "pk")
        for member, name in pairs.values_list(f"{kind}_id", f"{other}__name"):
            partners.setdefault(member, []).append(name)
    return {
        member: ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        for member, names in partners.items()
    }


def decide_name(*, source: str, kind: str, spelling: str, member: Model | None, by: User | None) -> NameDecision:
    """Remember who is meant by a spelling of a source; None is someone new. An earlier decision on it is undone."""
    with write_transaction():
        take_ledger_turn()
        return write_decision(source=source, kind=kind, spelling=spelling, member=member, by=by)


def write_decision(*, source: str, kind: str, spelling: str, member: Model | None, by: User | None) -> NameDecision:
    """Decide inside the caller's transaction."""
    source, spelling = source_from(source), one_line(spelling)
    if kind not in _MODELS or not spelling or len(spelling) > 120 or has_unstorable(spelling):
        raise InvalidInput(
            "The name cannot be decided on: it needs 1 to 120 characters, and the kind rider or horse.",
            problems=[("spelling", "Give the name as it stands in the file, and its kind.")],
        )
    if member is not None and not isinstance(member, _MODELS[kind]):
        raise InvalidInput(f"A {kind} is asked for.", problems=[("member", f"Choose a {kind}.")])
    earlier = NameDecision.objects.filter(source=source, kind=kind, spelling=spelling, undone_at__isnull=True).first()
    if earlier is not None:
        if member is not None and earlier.member == member:
            return earlier
        _undo(earlier, by)
    return NameDecision.objects.create(source=source, kind=kind, spelling=spelling, by=by, **{kind: member})


def undo_decision(decision: NameDecision, *, by: User | None) -> NameDecision:
    """Forget a decision: the next file of the source is asked about again.

    Pairs that were made on the strength of it keep their scores under another key, so that importing the same file
    again, with another decision, corrects them.
    """
    with write_transaction():
        take_ledger_turn()
        current = NameDecision.objects.select_for_update().get(pk=decision.pk)
        if current.undone_at is not None:
            raise NotAllowed("This decision has been undone already.", code="decision-undone")
        _undo(current, by)
    return current


def source_from(source: str) -> str:
    source = one_line(source)
    if len(source) > 80 or has_unstorable(source):
        sentence = "Name the source of the file in at most 80 characters, or leave it empty."
        raise InvalidInput(sentence, problems=[("source", sentence)])
    return source


def _undo(decision: NameDecision, by: User | None) -> None:
    for number in Pair.objects.filter(pk__in=decision.made).values_list("pk", flat=True):
        Pair.objects.filter(pk=number).update(key=fresh_pair_key())
    rebuild_touched(set(Score.objects.filter(pair__in=decision.made).values_list("date", flat=True)))
    decision.undone_at, decision.undone_by = timezone.now(), by
    decision.save(update_fields=["undone_at", "undone_by"])
