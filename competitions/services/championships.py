"""Championships: setting up, changing and deleting a placing over several classes of a competition."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError

import scoring
from competitions.models import Championship, ChampionshipChange, ChampionshipClass, Competition, CompetitionClass
from riders.errors import Conflict, InvalidInput
from riders.intake import plain_document
from riders.models import User
from riders.transactions import write_transaction

_FEWEST, _MOST = 2, 20


def create_championship(
    competition: Competition,
    *,
    slug: str,
    title: str,
    rules: Mapping[str, Any],
    classes: Sequence[CompetitionClass],
    by: User | None,
    reason: str = "",
) -> Championship:
    """Set up a championship over classes of this competition, in the order in which they are ridden.

    ``rules`` are the keys of ``championship/1`` without ``format``, ``id``, ``title``, ``classes`` and ``names``.
    Raises ``InvalidInput`` with every problem.
    """
    with write_transaction():
        championship = Championship(competition=competition, slug=slug)
        _apply(championship, title=title, rules=rules, classes=classes)
        championship.save()
        _store_classes(championship, classes)
        _note(championship, "set up", by=by, reason=reason, after=championship_record(championship))
    return championship


def update_championship(
    championship: Championship,
    *,
    expected_version: int | None,
    by: User | None,
    title: str | None = None,
    rules: Mapping[str, Any] | None = None,
    classes: Sequence[CompetitionClass] | None = None,
    reason: str = "",
) -> Championship:
    """Change a championship; what is None stays. The slug stays for good: it stands in addresses."""
    with write_transaction():
        current = _locked(championship, expected_version)
        before = championship_record(current)
        here = [part.competition_class for part in current.parts.select_related("competition_class")]
        chosen = here if classes is None else list(classes)
        _apply(
            current,
            title=current.title if title is None else title,
            rules=rule_of(current) if rules is None else rules,
            classes=chosen,
        )
        if [found.pk for found in chosen] != [found.pk for found in here]:
            _store_classes(current, chosen)
        after = championship_record(current)
        if after != before:
            current.version += 1
            current.save()
            _note(current, "changed", by=by, reason=reason, before=before, after=after)
    return current


def delete_championship(
    championship: Championship, *, expected_version: int | None, by: User | None, reason: str = ""
) -> None:
    """Delete a championship; its classes and its history stay."""
    with write_transaction():
        current = _locked(championship, expected_version)
        _note(current, "deleted", by=by, reason=reason, before=championship_record(current))
        current.delete()


def rule_of(championship: Championship) -> dict[str, Any]:
    """Return the keys of the rule alone, as ``create_championship`` takes them."""
    return {key: value for key, value in championship.document.items() if key not in {"format", "id", "title"}}


def championship_record(championship: Championship) -> dict[str, Any]:
    """Return what the history keeps of a championship."""
    numbers = championship.parts.order_by("order").values_list("competition_class__number", flat=True)
    return {"title": championship.title, "document": championship.document, "classes": list(numbers)}


def _apply(
    championship: Championship, *, title: str, rules: Mapping[str, Any], classes: Sequence[CompetitionClass]
) -> None:
    championship.title = title.strip()
    identity = f"{championship.competition.slug}/{championship.slug}"
    championship.document = {
        "format": "championship/1",
        "id": identity,
        "title": championship.title,
        **{key: value for key, value in plain_document(rules).items() if key not in {"format", "id", "title"}},
    }
    problems = [
        *_field_problems(championship),
        *_class_problems(championship, classes),
        *_rule_problems(championship.document, number=len(classes)),
    ]
    if problems:
        raise InvalidInput("The championship was not saved. Correct what is listed.", problems=problems)


def _field_problems(championship: Championship) -> list[tuple[str, str]]:
    problems: list[tuple[str, str]] = []
    try:
        championship.clean_fields(exclude=["document"])
    except ValidationError as error:
        problems += [(name, message) for name, messages in error.message_dict.items() for message in messages]
    others = Championship.objects.filter(competition=championship.competition, slug=championship.slug)
    if others.exclude(pk=championship.pk).exists():
        sentence = f'This competition has a championship "{championship.slug}" already. Give another short name.'
        problems.append(("slug", sentence))
    return problems


def _class_problems(championship: Championship, classes: Sequence[CompetitionClass]) -> list[tuple[str, str]]:
    problems = []
    if not _FEWEST <= len(classes) <= _MOST:
        sentence = f"A championship has {_FEWEST} to {_MOST} classes; {len(classes)} are given."
        problems.append(("classes", sentence))
    for index, found in enumerate(classes):
        if found.competition_id != championship.competition_id:
            problems.append((f"classes[{index}]", f"Class {found.number} belongs to another competition."))
        elif found in classes[:index]:
            problems.append((f"classes[{index}]", f"Class {found.number} stands twice. Name it once."))
    return problems


def _rule_problems(document: Mapping[str, Any], *, number: int) -> list[tuple[str, str]]:
    try:
        scoring.read_championship_rules(document, classes=number)
    except scoring.InvalidDocument as error:
        return [(f"rules.{found.path}" if found.path else "rules", found.message) for found in error.problems]
    return []


def _store_classes(championship: Championship, classes: Sequence[CompetitionClass]) -> None:
    championship.parts.all().delete()
    ChampionshipClass.objects.bulk_create(
        ChampionshipClass(championship=championship, competition_class=found, order=order)
        for order, found in enumerate(classes, start=1)
    )


def _locked(championship: Championship, expected_version: int | None) -> Championship:
    current = (
        Championship.objects.select_for_update(of=("self",))
        .select_related("competition")
        .filter(pk=championship.pk)
        .first()
    )
    if current is None:
        raise Conflict("The championship was deleted by someone else.", current=None)
    if expected_version is not None and current.version != expected_version:
        raise Conflict("The championship was changed by someone else. Look at it again, then save.", current=current)
    return current


def _note(
    championship: Championship,
    action: str,
    *,
    by: User | None,
    reason: str,
    before: object = None,
    after: object = None,
) -> None:
    ChampionshipChange.objects.create(
        competition=championship.competition,
        slug=championship.slug,
        action=action,
        by=by,
        reason=reason.strip()[:300],
        before=before,
        after=after,
    )
