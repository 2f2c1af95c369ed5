from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta

from django.conf import settings
from django.utils import timezone

from riders.errors import InvalidInput
from riders.models import ApiToken, User
from riders.transactions import write_transaction

_PREFIX = "mbk_"
_USE_IS_NOTED_EVERY = timedelta(minutes=5)


def create_token(user: User, *, name: str) -> tuple[ApiToken, str]:
    """Make a key to the API and return it with its plain text, which is not kept and cannot be shown again."""
    name = name.strip()
    if not name or len(name) > 80:
        raise InvalidInput(
            "A token needs a name of 1 to 80 characters, so that you can tell it from others.",
            problems=[("name", "Give the token a name of 1 to 80 characters.")],
        )
    plain = _PREFIX + secrets.token_urlsafe(32)
    with write_transaction():
        token = ApiToken.objects.create(
            user=user,
            name=name,
            digest=_digest(plain),
            hint=plain[:10],
            expires_at=timezone.now() + settings.API_TOKEN_LIFETIME,
        )
    return token, plain


def revoke_token(token: ApiToken) -> None:
    """End a token at once; revoking it again changes nothing."""
    with write_transaction():
        ApiToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())


def user_for_token(plain: str) -> User | None:
    """Return the owner of a token that is neither revoked nor expired and whose owner is active."""
    now = timezone.now()
    token = (
        ApiToken.objects.select_related("user")
        .filter(digest=_digest(plain), revoked_at__isnull=True, expires_at__gt=now, user__is_active=True)
        .first()
    )
    if token is None:
        return None
    if token.last_used_at is None or now - token.last_used_at > _USE_IS_NOTED_EVERY:
        with write_transaction():
            ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
    return token.user


def _digest(plain: str) -> str:
    return hashlib.sha256(plain.encode()).hexdigest()
