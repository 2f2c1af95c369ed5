"""How every resource below a competition finds its objects, and how it answers a change that came too late."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from rest_framework.request import Request

from competitions.models import Competition, CompetitionClass, Entry
from competitions.policy import is_office, visible
from riders.api.preconditions import Stale
from riders.api.views import Resource
from riders.errors import Conflict

OFFICE_ONLY = "Only the office of this competition may do this."


class CompetitionResource(Resource):
    """A resource of a competition: its objects come through the policy, changes are for the office."""

    def competition(self, request: Request, slug: str) -> Competition:
        competitions = Competition.objects.select_related("association")
        return self.one_of(visible(request.user, competitions), slug=slug)

    def competition_class(self, request: Request, pk: int) -> CompetitionClass:
        classes = CompetitionClass.objects.select_related("competition", "test", "rule_set")
        return self.one_of(visible(request.user, classes), pk=pk)

    def entry(self, request: Request, pk: int) -> Entry:
        entries = Entry.objects.select_related(
            "competition_class__competition",
            "competition_class__test",
            "competition_class__rule_set",
            "pair__rider",
            "pair__horse__owner",
        )
        return self.one_of(visible(request.user, entries), pk=pk)

    def demand_office(self, request: Request, competition: Competition) -> None:
        self.demand(is_office(request.user, competition), OFFICE_ONLY)


@contextmanager
def stale_as_412(
    current: Callable[[Any], Any], *, version: Callable[[Any], int | None] = lambda found: int(found.version)
) -> Iterator[None]:
    """Turn a service's ``Conflict`` into 412 with the object as it stands now."""
    try:
        yield
    except Conflict as error:
        found = error.current
        if found is None:
            raise Stale(error.message, current=None, version=None) from error
        raise Stale(error.message, current=current(found), version=version(found)) from error
