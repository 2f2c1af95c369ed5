"""Objects by their addresses. What does not exist and what this person may not know of get the same answer."""

from __future__ import annotations

from django.shortcuts import get_object_or_404

from competitions import policy
from competitions.models import Competition, CompetitionClass, Entry
from riders.policy import Visitor


def competition_or_404(user: Visitor, slug: str) -> Competition:
    return get_object_or_404(policy.visible(user, Competition.objects.select_related("association")), slug=slug)


def class_or_404(user: Visitor, slug: str, number: str) -> CompetitionClass:
    classes = CompetitionClass.objects.select_related("competition", "test", "rule_set")
    return get_object_or_404(policy.visible(user, classes), competition__slug=slug, number=number)


def entry_or_404(user: Visitor, slug: str, class_number: str, number: str) -> Entry:
    entries = Entry.objects.select_related(
        "competition_class__competition",
        "competition_class__test",
        "competition_class__rule_set",
        "pair__rider",
        "pair__horse__owner",
    )
    return get_object_or_404(
        policy.visible(user, entries),
        competition_class__competition__slug=slug,
        competition_class__number=class_number,
        number=number,
    )
