"""Who may see and do what with people, the ledger and seasons. Pages and API get objects only through ``visible``.

Public: names of riders and horses, results that are official, standings, the edition that a closed season stands by.
Private: contact data and memberships; who closed a season and why, and earlier editions, are for those who keep it.

One ledger serves all associations, so a keeper may change only what **concerns** an association that they keep:

- a rider or horse that is or was a member of it, with their pairs and those pairs' scores;
- a score that someone who keeps the association brought in, with its pair, rider and horse;
- where an association keeps no members, every score in the days of its seasons, with its pair, rider and horse.

A rider or horse is given another name by who keeps an association that it concerns. Two are merged by who keeps an
association that one of them concerns, unless the other concerns only associations that they do not keep. Files that
wait, decisions on names, renames and merges are for those who keep an association together with whoever made them; a
rename or merge also for those whom it concerns. New scores may be brought in by every keeper; a file that would correct
or retract a score that does not concern its keeper has a problem there. Staff may do all of it, and what came from a
class that was run here is corrected in that class by nobody but its office.
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Exists, F, Model, OuterRef, Q, QuerySet

from riders.models import (
    ApiToken,
    Association,
    AssociationRole,
    Horse,
    Membership,
    MembershipChange,
    Merge,
    NameChange,
    NameDecision,
    Pair,
    Rider,
    Scheme,
    SchemeChange,
    SchemeDraft,
    Score,
    ScoreChange,
    Season,
    SeasonChange,
    SeasonEdition,
    SeasonSchemeChange,
    User,
    WaitingImport,
)

Visitor = User | AnonymousUser
_M = TypeVar("_M", bound=Model)
# What only those see who keep the association that it leads to.
_KEPT_BY: dict[type[Model], str] = {
    Membership: "association",
    MembershipChange: "association",
    SeasonChange: "season__association",
}


def associations_of(user: Visitor) -> QuerySet[Association]:
    """Return the associations whose ledger and seasons this user keeps; staff keep all."""
    if not user.is_authenticated:
        return Association.objects.none()
    if user.is_staff:
        return Association.objects.all()
    return Association.objects.filter(roles__user=user)


def keeps(user: Visitor, association: Association | None) -> bool:
    if not user.is_authenticated or association is None:
        return False
    return user.is_staff or AssociationRole.objects.filter(user=user, association=association).exists()


def keeps_a_ledger(user: Visitor) -> bool:
    """Tell whether the user keeps the ledger of any association."""
    return user.is_authenticated and (user.is_staff or AssociationRole.objects.filter(user=user).exists())


def concerned(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    """Return those scores, pairs, riders or horses that concern an association which the user keeps; staff get all."""
    if not user.is_authenticated:
        return queryset.none()
    return queryset if user.is_staff else queryset.filter(_concerns(queryset.model, associations_of(user)))


def _concerns(model: type[Model], associations: QuerySet[Association]) -> Q:
    """Say which rows of a model concern one of these associations."""
    if model is Score:
        return _scores_concerning(associations)
    memberships = Membership.objects.filter(association__in=associations)
    scores = Score.objects.filter(_scores_concerning(associations))
    if model is Pair:
        members = Q(rider__in=memberships.values("rider")) | Q(horse__in=memberships.values("horse"))
        return members | Q(Exists(scores.filter(pair=OuterRef("pk"))))
    kind = "rider" if model is Rider else "horse"
    pairs = Pair.objects.filter(_concerns(Pair, associations), **{kind: OuterRef("pk")})
    return Q(pk__in=memberships.filter(**{f"{kind}__isnull": False}).values(kind)) | Q(Exists(pairs))


def _scores_concerning(associations: QuerySet[Association]) -> Q:
    memberships = Membership.objects.filter(association__in=associations)
    brought_in = ScoreChange.objects.filter(
        score=OuterRef("pk"), action=ScoreChange.Action.POSTED, by__association_roles__association__in=associations
    )
    found = (
        Q(pair__rider__in=memberships.filter(rider__isnull=False).values("rider"))
        | Q(pair__horse__in=memberships.filter(horse__isnull=False).values("horse"))
        | Q(Exists(brought_in))
    )
    without_members = associations.filter(~Exists(Membership.objects.filter(association=OuterRef("pk"))))
    for season in Season.objects.filter(association__in=without_members):
        found |= Q(date__range=(season.starts_on, season.ends_on))
    return found


def may_merge(user: Visitor, one: Rider | Horse | Pair, other: Rider | Horse | Pair) -> bool:
    """Tell whether the user may make these two one, by the rule of this module."""
    if not user.is_authenticated:
        return False
    if user.is_staff:
        return True
    own = associations_of(user)
    elsewhere = Association.objects.exclude(pk__in=own)
    ours = [_is_among(row, own) for row in (one, other)]
    return any(ours) and all(
        is_ours or not _is_among(row, elsewhere) for is_ours, row in zip(ours, (one, other), strict=True)
    )


def _is_among(row: Model, associations: QuerySet[Association]) -> bool:
    rows = type(row)._default_manager.filter(pk=row.pk)  # noqa: SLF001 - Django's name
    return rows.filter(_concerns(type(row), associations)).exists()


def _made_together(user: User, queryset: QuerySet[_M]) -> QuerySet[_M]:
    """Return what the user made, or someone who keeps an association with them."""
    fellows = AssociationRole.objects.filter(association__in=associations_of(user)).values("user")
    found = Q(by__in=fellows) | Q(by=user)
    if queryset.model in {Merge, NameChange}:
        field = "kept" if queryset.model is Merge else "member"
        for kind, model in (("rider", Rider), ("horse", Horse), ("pair", Pair)):
            rows = concerned(user, model._default_manager.all())  # noqa: SLF001
            found |= Q(kind=kind, **{f"{field}__in": rows.values("pk")})
    return queryset.filter(found)


def visible(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    """Return those rows of a queryset that the user may know of."""
    if queryset.model in {Rider, Horse, Pair, Association, Season, Scheme}:
        return queryset
    if queryset.model in {Score, SeasonEdition}:
        return _visible_scores(user, queryset) if queryset.model is Score else _visible_editions(user, queryset)
    if queryset.model in {WaitingImport, NameDecision, NameChange, Merge, SchemeChange, SeasonSchemeChange}:
        return _visible_works(user, queryset)
    if queryset.model in _KEPT_BY:
        return queryset.filter(**{f"{_KEPT_BY[queryset.model]}__in": associations_of(user)})
    if queryset.model in {ApiToken, SchemeDraft} and user.is_authenticated:
        return queryset.filter(**{"user" if queryset.model is ApiToken else "by": user})
    return queryset.none()


def _visible_scores(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    in_force = Q(retracted_at__isnull=True)
    if not keeps_a_ledger(user) or not user.is_authenticated:
        return queryset.filter(in_force)
    return queryset if user.is_staff else queryset.filter(in_force | _concerns(Score, associations_of(user)))


def _visible_editions(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    in_force = Q(at=F("season__closed_at"))
    return queryset.filter(in_force | Q(season__association__in=associations_of(user)))


def _visible_works(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    if not keeps_a_ledger(user) or not user.is_authenticated:
        return queryset.none()
    whole = user.is_staff or queryset.model in {SchemeChange, SeasonSchemeChange}
    return queryset if whole else _made_together(user, queryset)


def can(user: Visitor, verb: str, obj: Any) -> bool:
    """Answer for one object: ``view`` (public part), ``view-private`` (contact data, statements), ``change``."""
    if verb == "view" and isinstance(obj, Rider | Horse | Pair | Association | Season | Scheme):
        return True
    if verb == "view" and isinstance(obj, Score) and obj.retracted_at is None:
        return True
    if not user.is_authenticated or verb not in {"view", "view-private", "change"}:
        return False
    if user.is_staff:
        return not isinstance(obj, ApiToken) or obj.user_id == user.pk
    return _can_with_role(user, verb, obj)


def _adds_to(user: User, scheme: Scheme) -> bool:
    """Tell whether the user may save the next version: of a scheme that an association of theirs uses or has saved.

    A scheme that no association has anything to do with is open to all who keep one.
    """
    concerned = Association.objects.filter(
        Q(seasons__scheme__key=scheme.key) | Q(scheme_changes__scheme__key=scheme.key)
    )
    if not concerned.exists():
        return keeps_a_ledger(user)
    return concerned.filter(roles__user=user).exists()


def _can_with_role(user: User, verb: str, obj: Any) -> bool:
    if isinstance(obj, Association | Season | Membership):
        return keeps(user, obj if isinstance(obj, Association) else obj.association)
    if isinstance(obj, Scheme | ApiToken):
        return _adds_to(user, obj) if isinstance(obj, Scheme) else obj.user_id == user.pk
    if isinstance(obj, WaitingImport | NameDecision | NameChange | Merge):
        return _visible_works(user, type(obj)._default_manager.filter(pk=obj.pk)).exists()  # noqa: SLF001
    if verb == "change":
        return _may_change(user, obj)
    if not isinstance(obj, Rider | Pair | Score):
        return False
    rider = obj if isinstance(obj, Rider) else obj.rider if isinstance(obj, Pair) else obj.pair.rider
    return rider.user_id == user.pk or (not isinstance(obj, Rider) and _is_among(obj, associations_of(user)))


def _may_change(user: User, obj: Any) -> bool:
    if isinstance(obj, Score):
        return obj.source == Score.Source.IMPORT and _is_among(obj, associations_of(user))
    return isinstance(obj, Rider | Horse) and _is_among(obj, associations_of(user))
