"""How often someone may try to log in: counted in the cache, by account and address, and by address alone.

In production the service stands behind a proxy, whose own address is that of every visitor: there the last address of
``X-Forwarded-For`` counts, which the proxy wrote itself. Elsewhere nobody is believed.
"""

from __future__ import annotations

import hashlib

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

WINDOW_SECONDS = 600
ATTEMPTS_ON_ONE_ACCOUNT = 10
ATTEMPTS_FROM_ONE_ADDRESS = 100


def too_many_attempts(request: HttpRequest, *, username: str) -> bool:
    """Tell whether this account or this address has failed too often within the last ten minutes."""
    account, address = _keys(request, username)
    failed = cache.get_many([account, address])
    return bool(
        failed.get(account, 0) >= ATTEMPTS_ON_ONE_ACCOUNT or failed.get(address, 0) >= ATTEMPTS_FROM_ONE_ADDRESS
    )


def count_failure(request: HttpRequest, *, username: str) -> None:
    for key in _keys(request, username):
        cache.add(key, 0, WINDOW_SECONDS)
        try:
            cache.incr(key)
        except ValueError:  # it ran out between the two calls
            cache.set(key, 1, WINDOW_SECONDS)


def forget_failures(request: HttpRequest, *, username: str) -> None:
    cache.delete(_keys(request, username)[0])


def _keys(request: HttpRequest, username: str) -> tuple[str, str]:
    address = _address(request)
    account = hashlib.sha256(f"{username.casefold()}\0{address}".encode()).hexdigest()
    return f"login-account-{account}", f"login-address-{hashlib.sha256(address.encode()).hexdigest()}"


def _address(request: HttpRequest) -> str:
    named: str = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.BEHIND_PROXY else ""
    return named.rpartition(",")[2].strip() or request.META.get("REMOTE_ADDR", "")
