"""Every refusal of the API in one shape: ``code``, ``message``, ``fields``, ``retry``.

``code`` never changes, ``message`` is a sentence for a person, ``fields`` lists what is wrong where, ``retry`` tells
whether the same request may succeed later.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from typing import Any

from django.core.exceptions import PermissionDenied as DjangoPermissionDenied
from django.core.exceptions import RequestDataTooBig, SuspiciousOperation
from django.db import OperationalError
from django.db.models import ProtectedError
from django.http import Http404, UnreadablePostError
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import set_rollback

from riders.api.parsers import TooLarge
from riders.api.preconditions import Stale, etag_of
from riders.errors import Conflict, DomainError, NotAllowed

_log = logging.getLogger("markbook.api")

NOT_FOUND = "Nothing is found at this address, or it is not open to you. Check the address; it ends in a slash."
UNEXPECTED = (
    "Something went wrong here, and it has been noted. Nothing was changed. Try again; if it happens again, tell "
    "the people who run this service."
)
BUSY = "The database is busy. Nothing was changed. Try again in a moment."


def handle_error(error: Exception, context: Mapping[str, Any]) -> Response:
    """Answer any error that a view raises."""
    set_rollback()
    request: Request | None = context.get("request")
    response = _answer(error, request)
    if request is not None:
        request.accepted_renderer = JSONRenderer()
        request.accepted_media_type = "application/json"
    return response


def _answer(error: Exception, request: Request | None) -> Response:
    if isinstance(error, DomainError):
        return _domain_error(error)
    if isinstance(error, Stale):
        return _stale(error)
    known = _as_api_error(error)
    if known is not None:
        return _api_error(known, request)
    if isinstance(error, ProtectedError):
        return shape(409, "in-use", "This is used elsewhere, so it cannot be removed. Remove what uses it first.")
    if isinstance(error, OperationalError):
        _log.exception("database error at %s", request.path if request else "")
        return shape(503, "busy", BUSY, retry=True, headers={"Retry-After": "1"})
    _log.error("unexpected error at %s", request.path if request else "", exc_info=error)
    return shape(500, "unexpected", UNEXPECTED, retry=True)


def shape(
    status: int,
    code: str,
    message: str,
    *,
    fields: Mapping[str, list[str]] | None = None,
    retry: bool = False,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return the one shape of an error."""
    body = {"code": code, "message": message, "fields": dict(fields or {}), "retry": retry}
    return Response(body, status=status, headers=dict(headers or {}))


def _domain_error(error: DomainError) -> Response:
    if isinstance(error, Conflict):
        return shape(409, error.code, error.message, fields=error.fields)
    status = 403 if isinstance(error, NotAllowed) else 400
    return shape(status, error.code, error.message, fields=error.fields)


def _stale(error: Stale) -> Response:
    response = shape(error.status_code, error.default_code, str(error.detail))
    response.data["current"] = error.current
    if error.version is not None:
        response["ETag"] = etag_of(error.version)
    return response


def _as_api_error(error: Exception) -> exceptions.APIException | None:
    if isinstance(error, exceptions.APIException):
        return error
    return next((known for kind, known in _KNOWN if isinstance(error, kind)), None)


_KNOWN: tuple[tuple[type[Exception], exceptions.APIException], ...] = (
    (Http404, exceptions.NotFound(NOT_FOUND)),
    (DjangoPermissionDenied, exceptions.PermissionDenied()),
    (RequestDataTooBig, TooLarge()),
    (UnreadablePostError, exceptions.ParseError("The request broke off before it was complete. Send it again.")),
    (SuspiciousOperation, exceptions.ParseError("The request cannot be read. Check its headers and its address.")),
)


def _api_error(error: exceptions.APIException, request: Request | None) -> Response:
    headers: dict[str, str] = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = error.auth_header  # type: ignore[attr-defined]
    wait = getattr(error, "wait", None)
    if wait is not None:
        headers["Retry-After"] = str(max(1, int(wait)))
    if isinstance(error, exceptions.ValidationError):
        fields = _flat(error.detail)
        return shape(400, "invalid", _summary(fields), fields=fields, headers=headers)
    code = _CODES.get(type(error), str(error.get_codes())).replace("_", "-")
    retry = error.status_code in {409, 429, 503}
    return shape(error.status_code, code, _sentence(error, request, headers), retry=retry, headers=headers)


_CODES: dict[type[exceptions.APIException], str] = {
    exceptions.ParseError: "unreadable",
    exceptions.NotFound: "not-found",
    exceptions.PermissionDenied: "not-allowed",
    exceptions.NotAuthenticated: "not-signed-in",
    exceptions.AuthenticationFailed: "bad-credentials",
    exceptions.UnsupportedMediaType: "unsupported-media-type",
    exceptions.Throttled: "too-many-requests",
}


_SENTENCES: dict[type[exceptions.APIException], str] = {
    exceptions.MethodNotAllowed: "{method} is not offered at this address. See the header Allow.",
    exceptions.UnsupportedMediaType: "A body of {given} is not read here. Send application/json, or text/csv "
    "where a file is asked for.",
    exceptions.NotAcceptable: "None of the types in Accept is offered here. Ask for application/json.",
    exceptions.NotAuthenticated: "Sign in or send a token in the header Authorization: Bearer <token>.",
    exceptions.Throttled: "Too many requests. Wait {wait} seconds, then go on more slowly.",
}
_OWN_SENTENCES: dict[type[exceptions.APIException], str] = {
    exceptions.PermissionDenied: "Your account may not do this. Ask the office of the competition or the association.",
    exceptions.NotFound: NOT_FOUND,
}


def _sentence(error: exceptions.APIException, request: Request | None, headers: Mapping[str, str]) -> str:
    """Say it in our words, unless the view has found its own for a refusal that has none of its own."""
    if type(error) in _SENTENCES:
        given = (request.content_type if request else "") or "no type"
        return _SENTENCES[type(error)].format(
            method=request.method if request else "This method", given=given[:60], wait=headers.get("Retry-After", "60")
        )
    if error.detail == error.default_detail and type(error) in _OWN_SENTENCES:
        return _OWN_SENTENCES[type(error)]
    return str(error.detail)


def _summary(fields: Mapping[str, list[str]]) -> str:
    count = sum(len(sentences) for sentences in fields.values())
    if count == 1:
        ((where, (sentence,)),) = fields.items()
        return sentence if where == "document" else f"{where}: {sentence}"
    return f"The request has {count} problems; each stands under fields."


def _flat(detail: object) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for path, sentence in _walk(detail, ""):
        found.setdefault(path or "document", []).append(sentence)
    return found


def _walk(detail: object, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(detail, Mapping):
        for key, value in detail.items():
            name = "" if key == "non_field_errors" else f"[{key}]" if isinstance(key, int) else str(key)
            joint = "." if path and name and not name.startswith("[") else ""
            yield from _walk(value, f"{path}{joint}{name}")
    elif isinstance(detail, list | tuple):
        for index, value in enumerate(detail):
            nested = isinstance(value, Mapping | list)
            yield from _walk(value, f"{path}[{index}]" if nested and value else path)
    elif detail:
        yield path, str(detail)
