"""How often someone may try to log in: counted in the cache, by account and address, by address, and by account alone.

The last is looser, so that whoever guesses from many addresses is stopped, and somebody who only mistypes is not: it
also keeps the owner out for ten minutes, which a few wrong guesses of a stranger must not do.

In production the service stands behind a proxy, whose own address is that of every visitor: there the last address of
``X-Forwarded-For`` counts, which the proxy wrote itself. Elsewhere nobody is believed.
"""

from __future__ import annotations

import hashlib

from django.core.cache import cache
from django.http import HttpRequest

from riders.visits import address_of_visitor, count

ATTEMPTS_ON_ONE_ACCOUNT = 10
ATTEMPTS_FROM_ONE_ADDRESS = 100
ATTEMPTS_ON_ONE_ACCOUNT_FROM_ANYWHERE = 60


def too_many_attempts(request: HttpRequest, *, username: str) -> bool:
    """Tell whether this account or this address has failed too often within the last ten minutes."""
    limits = (ATTEMPTS_ON_ONE_ACCOUNT, ATTEMPTS_FROM_ONE_ADDRESS, ATTEMPTS_ON_ONE_ACCOUNT_FROM_ANYWHERE)
    keys = _keys(request, username)
    failed = cache.get_many(keys)
    return any(failed.get(key, 0) >= limit for key, limit in zip(keys, limits, strict=True))


def count_failure(request: HttpRequest, *, username: str) -> None:
    for key in _keys(request, username):
        count(key)


def forget_failures(request: HttpRequest, *, username: str) -> None:
    """Forget what this address failed on this account; guesses from elsewhere go on counting."""
    cache.delete(_keys(request, username)[0])


def _keys(request: HttpRequest, username: str) -> tuple[str, str, str]:
    address, account = address_of_visitor(request), username.casefold()
    both, here, anywhere = (_digest(text) for text in (f"{account}\0{address}", address, account))
    return f"login-account-{both}", f"login-address-{here}", f"login-anywhere-{anywhere}"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
