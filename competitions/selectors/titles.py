"""Titles for the ledger, which holds ids of tests and competitions only."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from competitions.models import Competition, Test


def test_titles(keys: Collection[str]) -> Mapping[str, str]:
    return dict(Test.objects.filter(key__in=keys).values_list("key", "title"))


def competition_titles(slugs: Collection[str]) -> Mapping[str, str]:
    """Return the titles of competitions that are public; those in preparation stay ids."""
    public = Competition.objects.filter(slug__in=slugs).exclude(state=Competition.State.PLANNED)
    return dict(public.values_list("slug", "title"))
