"""Who may see and do what at a competition. Pages and API get objects only through ``visible``; deny is the default.

============ ===================================================================================================
view         the public part: a published competition, its classes, entries and results. Marks by movement are not
view-sheets  marks and remarks: the office, the judge of the seat, and the rider once the results are official
mark         write a sheet: the judge of that seat while the class is open, and the office
count-errors errors of course: the judge of the presiding seat while the class is open, and the office
compare      a judge's own marks beside the panel's: the judge of the seat once results are official, nobody else
share        open that comparison to others by a link or to an account, and take it back: the judge of the seat
view-recording
             the film of a ride: its rider, the judges of its class, and the office
send-recording
             send, replace or delete the film of a ride: its rider and the office
run          everything at the desk: the office of that competition and staff
============ ===================================================================================================
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.db.models import Model, Q, QuerySet

from competitions.models import (
    Championship,
    Competition,
    CompetitionClass,
    Entry,
    Judge,
    PanelSeat,
    PublishedResults,
    Recording,
    RuleSet,
    Sheet,
    Test,
)
from competitions.selectors.panels import presiding_seat
from riders.policy import Visitor

_M = TypeVar("_M", bound=Model)

_TO_COMPETITION: dict[type[Model], str] = {
    Championship: "competition__",
    Competition: "",
    CompetitionClass: "competition__",
    Entry: "competition_class__competition__",
    PanelSeat: "competition_class__competition__",
    PublishedResults: "competition_class__competition__",
    Recording: "entry__competition_class__competition__",
    Sheet: "entry__competition_class__competition__",
}


_TO_CLASS: dict[type[Model], str] = {
    Championship: "parts__competition_class",
    Competition: "classes",
    CompetitionClass: "pk",
    Entry: "competition_class",
    PanelSeat: "competition_class",
    PublishedResults: "competition_class",
}


_VERBS = {"view-sheets", "view-recording", "send-recording", "mark", "count-errors", "compare", "share", "run"}


def office_competitions(user: Visitor) -> QuerySet[Competition]:
    """Return the competitions in whose office this user works; staff work in all."""
    if not user.is_authenticated:
        return Competition.objects.none()
    if user.is_staff:
        return Competition.objects.all()
    return Competition.objects.filter(office_roles__user=user)


def is_office(user: Visitor, competition: Competition) -> bool:
    if not user.is_authenticated:
        return False
    return user.is_staff or competition.office_roles.filter(user=user).exists()


def seats_of(user: Visitor) -> QuerySet[PanelSeat]:
    """Return the seats on which this user judges."""
    if not user.is_authenticated:
        return PanelSeat.objects.none()
    return PanelSeat.objects.filter(judge__user=user)


def visible(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    """Return those rows of a queryset that the user may know of."""
    model = queryset.model
    if model in {Test, RuleSet, Judge}:
        return queryset
    if model not in _TO_COMPETITION:
        return queryset.none()
    if user.is_authenticated and user.is_staff:
        return queryset
    in_office = Q(**{f"{_path(model, 'pk')}__in": office_competitions(user).values("pk")})
    if model is Sheet:
        return queryset.filter(in_office | _own_sheets(user)).distinct()
    if model is Recording:
        return queryset.filter(in_office | _own_recordings(user)).distinct()
    published = ~Q(**{_path(model, "state"): Competition.State.PLANNED})
    judged = Q(**{f"{_TO_CLASS[model]}__in": seats_of(user).values("competition_class")})
    return queryset.filter(published | in_office | judged).distinct()


def _path(model: type[Model], field: str) -> str:
    """Return the look-up of a field of the competition that rows of this model belong to."""
    return f"{_TO_COMPETITION[model]}{field}"


def can(user: Visitor, verb: str, obj: Any) -> bool:
    """Answer for one object and one of the verbs above; an unknown verb or object is refused."""
    if verb == "view":
        return type(obj) in {*_TO_COMPETITION, Test, RuleSet, Judge} and (
            visible(user, type(obj)._default_manager.filter(pk=obj.pk)).exists()  # noqa: SLF001 - Django's name for it
        )
    competition = _competition_of(obj)
    if not user.is_authenticated or competition is None or verb not in _VERBS:
        return False
    if verb in {"compare", "share"}:
        return _is_judge_of(user, obj) and not _class_of(obj).open_for_changes
    if is_office(user, competition):
        return True
    if verb in {"view-recording", "send-recording"}:
        return _may_film(user, verb, obj)
    return _may_view_sheets(user, obj) if verb == "view-sheets" else _may_write(user, verb, obj)


def _own_sheets(user: Visitor) -> Q:
    if not user.is_authenticated:
        return Q(pk__in=[])
    return Q(seat__judge__user=user) | Q(
        entry__pair__rider__user=user,
        entry__competition_class__results_state=CompetitionClass.ResultsState.OFFICIAL,
        entry__competition_class__correction_reason="",
    )


def _own_recordings(user: Visitor) -> Q:
    if not user.is_authenticated:
        return Q(pk__in=[])
    return Q(entry__pair__rider__user=user) | Q(entry__competition_class__in=seats_of(user).values("competition_class"))


def _competition_of(obj: Any) -> Competition | None:
    if isinstance(obj, Competition):
        return obj
    if isinstance(obj, Championship):
        return obj.competition
    if isinstance(obj, CompetitionClass | Entry | PanelSeat | PublishedResults | Recording | Sheet):
        return _class_of(obj).competition
    return None


def _class_of(obj: Any) -> CompetitionClass:
    if isinstance(obj, CompetitionClass):
        return obj
    of_entry = isinstance(obj, Recording | Sheet)
    held: CompetitionClass = obj.entry.competition_class if of_entry else obj.competition_class
    return held


def _may_view_sheets(user: Visitor, obj: Any) -> bool:
    if isinstance(obj, Sheet):
        return visible(user, Sheet.objects.filter(pk=obj.pk)).exists()
    if isinstance(obj, Entry):
        return visible(user, Sheet.objects.filter(entry=obj)).exists()
    return False


def _may_film(user: Visitor, verb: str, obj: Any) -> bool:
    entry = obj.entry if isinstance(obj, Recording) else obj
    if not isinstance(entry, Entry):
        return False
    if entry.pair.rider.user_id == user.pk:
        return True
    return verb == "view-recording" and seats_of(user).filter(competition_class=entry.competition_class_id).exists()


def _is_judge_of(user: Visitor, obj: Any) -> bool:
    seat = obj.seat if isinstance(obj, Sheet) else obj
    return isinstance(seat, PanelSeat) and seat.judge is not None and seat.judge.user_id == user.pk


def _may_write(user: Visitor, verb: str, obj: Any) -> bool:
    if verb not in {"mark", "count-errors"} or not _is_judge_of(user, obj) or not _class_of(obj).open_for_changes:
        return False
    return verb == "mark" or _presides(obj)


def _presides(obj: Any) -> bool:
    seat = obj.seat if isinstance(obj, Sheet) else obj
    return presiding_seat(seat.competition_class.seats.all()) == seat
