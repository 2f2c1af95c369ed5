"""Who may see and do what with people, the ledger and seasons. Pages and API get objects only through ``visible``.

Public: names of riders and horses, results that are official, standings. Private: contact data and memberships.
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, QuerySet

from riders.models import (
    ApiToken,
    Association,
    AssociationRole,
    Horse,
    Membership,
    MembershipChange,
    Merge,
    NameDecision,
    Pair,
    Rider,
    Scheme,
    Score,
    Season,
    User,
    WaitingImport,
)

Visitor = User | AnonymousUser
_M = TypeVar("_M", bound=Model)


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
    """Tell whether the user keeps the ledger of any association: riders, horses and scores belong to all of them."""
    return user.is_authenticated and (user.is_staff or AssociationRole.objects.filter(user=user).exists())


def visible(user: Visitor, queryset: QuerySet[_M]) -> QuerySet[_M]:
    """Return those rows of a queryset that the user may know of."""
    if queryset.model in {Rider, Horse, Pair, Association, Season, Scheme}:
        return queryset
    if queryset.model is Score:
        return queryset if keeps_a_ledger(user) else queryset.filter(retracted_at__isnull=True)
    if queryset.model in {WaitingImport, NameDecision, Merge}:
        return queryset if keeps_a_ledger(user) else queryset.none()
    if queryset.model in {Membership, MembershipChange}:
        return (
            queryset
            if user.is_authenticated and user.is_staff
            else queryset.filter(association__in=associations_of(user))
        )
    if queryset.model is ApiToken:
        return queryset.filter(user=user) if user.is_authenticated else queryset.none()
    return queryset.none()


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


def _can_with_role(user: User, verb: str, obj: Any) -> bool:
    if isinstance(obj, Association | Season | Membership):
        return keeps(user, obj if isinstance(obj, Association) else obj.association)
    if isinstance(obj, ApiToken):
        return obj.user_id == user.pk
    if isinstance(obj, WaitingImport | NameDecision | Merge):
        return keeps_a_ledger(user)
    if verb == "change" and isinstance(obj, Score):
        return obj.source == Score.Source.IMPORT and keeps_a_ledger(user)
    if verb == "change" or not isinstance(obj, Rider | Pair | Score):
        return False
    rider = obj if isinstance(obj, Rider) else obj.rider if isinstance(obj, Pair) else obj.pair.rider
    return rider.user_id == user.pk or (not isinstance(obj, Rider) and associations_of(user).exists())
