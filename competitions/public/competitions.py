"""The list of competitions and the page of one: its classes by day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from competitions import policy
from competitions.models import Championship, Competition, CompetitionClass, Entry
from competitions.public.access import competition_or_404
from competitions.selectors.championships import championships_of
from riders import policy as riders_policy
from riders.models import Association
from riders.policy import Visitor

PAST_ON_A_PAGE = 25


@dataclass(frozen=True, slots=True)
class ClassLine:
    """A class as one line of its competition: ``word`` says how far it is, ``tone`` is the look of that word."""

    competition_class: CompetitionClass
    word: str
    tone: str
    entries: int


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Sort the competitions into now, coming and past by the calendar of each venue."""
    known = policy.visible(request.user, Competition.objects.all())
    # Somewhere on earth it may still be yesterday, or tomorrow already.
    edge = timezone.now().date() - timedelta(days=1)
    recent = list(known.filter(ends_on__gte=edge).order_by("starts_on", "title", "pk"))
    over = {competition.pk for competition in recent if competition.ends_on < _today(competition)}
    past = known.filter(Q(ends_on__lt=edge) | Q(pk__in=over)).order_by("-starts_on", "title", "pk")
    going = [competition for competition in recent if competition.pk not in over]
    return render(
        request,
        "competitions/home.html",
        {
            "now": [competition for competition in going if competition.starts_on <= _today(competition)],
            "coming": [competition for competition in going if competition.starts_on > _today(competition)],
            "page": Paginator(past, PAST_ON_A_PAGE).get_page(request.GET.get("page")),
            "associations": riders_policy.visible(request.user, Association.objects.all()),
        },
    )


@require_safe
def competition_page(request: HttpRequest, slug: str) -> HttpResponse:
    competition = competition_or_404(request.user, slug)
    classes = (
        policy.visible(request.user, CompetitionClass.objects.filter(competition=competition))
        .select_related("test")
        .annotate(
            entry_count=Count("entries", distinct=True),
            started=Count("entries", filter=~Q(entries__status=Entry.Status.ENTERED), distinct=True),
        )
        .order_by("date", "starts_at", "number", "pk")
    )
    days = [
        (day, [_line(competition_class) for competition_class in members])
        for day, members in groupby(classes, key=lambda found: found.date)
    ]
    return render(
        request,
        "competitions/competition.html",
        {
            "competition": competition,
            "days": days,
            "championships": _championships(request.user, competition),
            "works_here": policy.can(request.user, "run", competition),
        },
    )


def _championships(user: Visitor, competition: Competition) -> list[tuple[Championship, str]]:
    """Return the championships of a competition, each with the numbers of its classes as words."""
    known = policy.visible(user, championships_of(competition)).prefetch_related("parts__competition_class")
    return [(found, _numbers([part.competition_class.number for part in found.parts.all()])) for found in known]


def _numbers(numbers: list[str]) -> str:
    return f"classes {', '.join(numbers[:-1])} and {numbers[-1]}"


def class_state(competition_class: CompetitionClass, *, started: bool) -> tuple[str, str]:
    """Return the word for how far a class is, and the look of that word.

    ``started`` tells whether any entry has ridden or has an outcome.
    """
    states = CompetitionClass.ResultsState
    if competition_class.results_state == states.OFFICIAL:
        return ("official, being corrected" if competition_class.correction_reason else "official"), "official"
    if competition_class.results_state == states.WITHDRAWN:
        return "withdrawn", "withdrawn"
    if competition_class.in_ring_id is not None:
        return "in the ring now", "live"
    return ("provisional", "provisional") if started else ("to come", "coming")


def _line(competition_class: CompetitionClass) -> ClassLine:
    word, tone = class_state(competition_class, started=competition_class.started > 0)  # type: ignore[attr-defined]
    return ClassLine(competition_class, word, tone, competition_class.entry_count)  # type: ignore[attr-defined]


def _today(competition: Competition) -> date:
    return timezone.localdate(timezone=competition.zone)
