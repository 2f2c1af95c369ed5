from __future__ import annotations

from rest_framework.throttling import AnonRateThrottle, UserRateThrottle


class VisitorThrottle(AnonRateThrottle):
    """Bounds what one address without an account may ask; who sends a token is bounded by account instead."""

    scope = "anonymous"


class AccountThrottle(UserRateThrottle):
    scope = "account"

    def get_cache_key(self, request, view):  # type: ignore[no-untyped-def]
        if not request.user or not request.user.is_authenticated:
            return None
        return super().get_cache_key(request, view)
