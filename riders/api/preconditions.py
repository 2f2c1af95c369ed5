"""``If-Match`` and ``ETag``: the version of an object is its tag; a change names the version it was made from."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from rest_framework.exceptions import APIException
from rest_framework.request import Request

_TAG = re.compile(r'"(?P<version>\d{1,9})"\Z', re.ASCII)
_P = ParamSpec("_P")
_V = TypeVar("_V")
_R = TypeVar("_R")


class PreconditionRequired(APIException):
    status_code = 428
    default_code = "precondition-required"
    default_detail = (
        'This change needs the header If-Match with the version that it was made from, such as If-Match: "7". '
        "Read the object first; the version is its ETag."
    )


class InvalidPrecondition(APIException):
    status_code = 400
    default_code = "invalid-if-match"
    default_detail = 'If-Match must name one version in quotation marks, as the ETag gave it: If-Match: "7".'


class Stale(APIException):
    """Someone else changed the object first. ``current`` is what stands there now, ``version`` its version."""

    status_code = 412
    default_code = "conflict"

    def __init__(self, message: str, *, current: Mapping[str, Any] | None, version: int | None) -> None:
        super().__init__(message)
        self.current = current
        self.version = version


def etag_of(version: int | str) -> str:
    return f'"{version}"'


def expected_version(request: Request) -> int:
    """Return the version that a change was made from, as its ``If-Match`` says."""
    given = request.headers.get("If-Match")
    if given is None:
        raise PreconditionRequired
    match = _TAG.match(given.strip())
    if match is None:
        raise InvalidPrecondition
    return int(match["version"])


def names_current(request: Request, etag: str) -> bool:
    """Tell whether ``If-None-Match`` names this tag, so nothing need be sent (a weak tag counts, RFC 9110, 13.1.2)."""
    given = request.headers.get("If-None-Match", "")
    return given.strip() == "*" or etag in {tag.strip().removeprefix("W/") for tag in given.split(",")}


def needs_if_match(method: Callable[Concatenate[_V, Request, _P], _R]) -> Callable[Concatenate[_V, Request, _P], _R]:
    """Refuse a change without a usable ``If-Match`` before anything else is read; the OpenAPI text says so as well."""

    @wraps(method)
    def checked(view: _V, request: Request, /, *args: _P.args, **kwargs: _P.kwargs) -> _R:
        expected_version(request)
        return method(view, request, *args, **kwargs)

    checked.needs_if_match = True  # type: ignore[attr-defined]
    return checked


def conditional(method: Callable[_P, _R]) -> Callable[_P, _R]:
    """Mark a read that honours ``If-None-Match``, for the OpenAPI text."""
    method.conditional = True  # type: ignore[attr-defined]
    return method
