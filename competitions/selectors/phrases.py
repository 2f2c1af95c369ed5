"""A judge's own short phrases, learnt from what the judge has written: what is written often is offered first."""

from __future__ import annotations

import re
from collections import Counter

from competitions.models import Competition, Judge, Sheet
from competitions.selectors.documents import items_of_seat, test_of

_BETWEEN = re.compile(r"[,.;\n]+")
_SHORTEST, _LONGEST = 3, 60
_SHEETS_READ = 1500


def phrases_of_judge(judge: Judge, *, only: Competition | None = None, most: int = 250) -> list[list[object]]:
    """Return ``[phrase, times, {family: times}]``, the most frequent first.

    ``only`` keeps to one competition: an office may read what was written at its own show and nowhere else.
    """
    sheets = Sheet.objects.filter(seat__judge=judge).exclude(remarks={})
    if only is not None:
        sheets = sheets.filter(entry__competition_class__competition=only)
    counted: Counter[str] = Counter()
    families: dict[str, Counter[str]] = {}
    spelt: dict[str, str] = {}
    rows = sheets.select_related("seat__competition_class__test").order_by("-changed_at", "-pk")[:_SHEETS_READ]
    family_of: dict[int, dict[str, str]] = {}
    for sheet in rows:
        if sheet.seat_id not in family_of:
            items = items_of_seat(test_of(sheet.seat.competition_class), sheet.seat)
            family_of[sheet.seat_id] = {item.id: item.family for item in items}
        for item, remark in sheet.remarks.items():
            for phrase in phrases_in(remark):
                key = phrase.casefold()
                spelt.setdefault(key, phrase)
                counted[key] += 1
                families.setdefault(key, Counter())[family_of[sheet.seat_id].get(item, "")] += 1
    ranked = sorted(counted, key=lambda key: (-counted[key], key))[:most]
    return [[spelt[key], counted[key], dict(families[key])] for key in ranked]


def phrases_in(remark: str) -> list[str]:
    """Return the short phrases of a remark: what stands between its commas and stops."""
    found = (part.strip() for part in _BETWEEN.split(remark))
    return [phrase for phrase in found if _SHORTEST <= len(phrase) <= _LONGEST]
