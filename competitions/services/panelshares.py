"""Sharing a judge's own comparison with the panel: by a link that can be taken back, or with one account."""

from __future__ import annotations

import hashlib
import secrets

from django.db.models import QuerySet
from django.utils import timezone

from competitions import policy
from competitions.models import PanelSeat, PanelShare
from competitions.services.colleagues import account_named
from riders.errors import InvalidInput, NotAllowed
from riders.models import User
from riders.transactions import write_transaction

_MOST_OPEN = 20
_LONGEST_LINK = 100


def share_by_link(seat: PanelSeat, *, by: User) -> tuple[PanelShare, str]:
    """Make a link and return it with its secret part, which is not kept and cannot be shown again."""
    plain = secrets.token_urlsafe(32)
    with write_transaction():
        _refuse(seat, by)
        return PanelShare.objects.create(seat=seat, by=by, digest=_digest(plain)), plain


def share_with_account(seat: PanelSeat, *, account: str, by: User) -> PanelShare:
    """Open the comparison to the account of this name; opening it again changes nothing."""
    with write_transaction():
        person = account_named(account)
        if person == by:
            sentence = "This is your own account. Enter the name of another."
            raise InvalidInput(sentence, problems=[("account", sentence)], code="own-account")
        known = open_shares(seat, by=by).filter(account=person).first()
        if known is not None:
            return known
        _refuse(seat, by)
        return PanelShare.objects.create(seat=seat, by=by, account=person)


def take_back(share: PanelShare) -> None:
    """End a share at once; ending it again changes nothing."""
    with write_transaction():
        PanelShare.objects.filter(pk=share.pk, revoked_at=None).update(revoked_at=timezone.now())


def open_shares(seat: PanelSeat, *, by: User) -> QuerySet[PanelShare]:
    """Return what this judge has opened of this seat and not taken back."""
    return PanelShare.objects.filter(seat=seat, by=by, revoked_at=None).select_related("account")


def share_of_link(plain: str) -> PanelShare | None:
    """Return the share behind a link, while it holds."""
    return _holding(PanelShare.objects.filter(digest=_digest(plain))) if 0 < len(plain) <= _LONGEST_LINK else None


def share_for_account(user: User, pk: int) -> PanelShare | None:
    """Return a share with this person's account, while it holds."""
    return _holding(PanelShare.objects.filter(pk=pk, account=user))


def shares_with(user: User) -> list[PanelShare]:
    """Return what is open to this person's account, the latest first."""
    shares = PanelShare.objects.filter(account=user, revoked_at=None).select_related(*_SEAT)
    return [share for share in shares.order_by("-id") if _holds(share)]


_SEAT = (
    "by",
    "seat__judge",
    "seat__competition_class__competition",
    "seat__competition_class__test",
    "seat__competition_class__rule_set",
)


def _holding(shares: QuerySet[PanelShare]) -> PanelShare | None:
    share = shares.filter(revoked_at=None).select_related(*_SEAT).first()
    return share if share is not None and _holds(share) else None


def _holds(share: PanelShare) -> bool:
    """Tell whether the one who opened it may still see it: the judge of the seat, while the results are official."""
    return share.by.is_active and policy.can(share.by, "share", share.seat)


def _refuse(seat: PanelSeat, by: User) -> None:
    if not policy.can(by, "share", seat):
        raise NotAllowed("Only the judge of the seat shares this, once the results are official.")
    if open_shares(seat, by=by).count() >= _MOST_OPEN:
        sentence = f"{_MOST_OPEN} shares of this page are open already. Take one back first."
        raise InvalidInput(sentence, problems=[("account", sentence)], code="too-many-shares")


def _digest(plain: str) -> str:
    return hashlib.sha256(plain.encode()).hexdigest()
