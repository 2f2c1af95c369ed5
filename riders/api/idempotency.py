"""``Idempotency-Key``: a write that is sent again under the same key changes nothing and gets the same answer.

The record is written in the transaction of the effect itself, so that neither is there without the other; the answer is
added once it is known. Refusals are not kept: the same key may be used again after a mistake has been corrected.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar, cast

from django.db import IntegrityError
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from rest_framework.exceptions import APIException
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from riders.models import IdempotencyRecord, User
from riders.transactions import opened_by, write_transaction

KEPT_FOR = timedelta(days=3)
_KEY = re.compile(r"[\x21-\x7e]{1,120}\Z")
_KEPT_HEADERS = ("ETag", "Location")
_P = ParamSpec("_P")
_V = TypeVar("_V")


class InvalidKey(APIException):
    status_code = 400
    default_code = "invalid-idempotency-key"
    default_detail = "Idempotency-Key must be 1 to 120 printable characters without spaces, such as a UUID."


class KeyMismatch(APIException):
    status_code = 422
    default_code = "idempotency-mismatch"
    default_detail = (
        "This Idempotency-Key was used for another request (other address, body or If-Match). Use a new key for a new "
        "request."
    )


class Unfinished(APIException):
    status_code = 409
    default_code = "idempotency-unfinished"
    default_detail = (
        "A request with this Idempotency-Key has been carried out, but its answer is not kept yet. Repeat it in a "
        "moment, or read the object."
    )


class _Taken(Exception):  # noqa: N818 - never leaves this module
    """Another request with this key came first."""


class _Claim:
    """One request's hold on its key."""

    def __init__(self, request: Request, key: str) -> None:
        if not _KEY.match(key):
            raise InvalidKey
        digest = hashlib.sha256(request._request.body)  # noqa: SLF001 - the only way to the bytes before they are parsed
        digest.update(b"\0" + request.headers.get("If-Match", "").encode())
        self.values = {
            "method": str(request.method),
            "path": request.get_full_path()[:300],
            "digest": digest.hexdigest(),
        }
        self.user = cast("User", request.user)
        self.key = key
        self.record: IdempotencyRecord | None = None

    def earlier_answer(self) -> HttpResponse | None:
        record = IdempotencyRecord.objects.filter(user=self.user, key=self.key).first()
        if record is None:
            return None
        if any(getattr(record, name) != value for name, value in self.values.items()):
            raise KeyMismatch
        if record.status is None:
            raise Unfinished
        content_type = "application/json" if record.body else None
        headers = {**record.headers, "Idempotency-Replayed": "true"}
        return HttpResponse(record.body, status=record.status, content_type=content_type, headers=headers)

    def write(self) -> None:
        """Take the key, inside the transaction of the effect."""
        if self.record is not None and IdempotencyRecord.objects.filter(pk=self.record.pk).exists():
            return
        try:
            self.record = IdempotencyRecord.objects.create(user=self.user, key=self.key, **self.values)
        except IntegrityError as error:
            raise _Taken from error

    def keep(self, response: Response) -> None:
        """Add the answer; records whose time is over leave in the same transaction."""
        body = "" if response.data is None else JSONRenderer().render(response.data).decode()
        headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
        with write_transaction():
            self.write()
            IdempotencyRecord.objects.filter(user=self.user, key=self.key).update(
                status=response.status_code, headers=headers, body=body
            )
            IdempotencyRecord.objects.filter(created_at__lt=timezone.now() - KEPT_FOR).delete()


def idempotent(
    method: Callable[Concatenate[_V, Request, _P], Response],
) -> Callable[Concatenate[_V, Request, _P], HttpResponseBase]:
    """Honour ``Idempotency-Key`` on a write, and say so in the OpenAPI text; a visitor's key has no effect."""

    @wraps(method)
    def kept(view: _V, request: Request, /, *args: _P.args, **kwargs: _P.kwargs) -> HttpResponseBase:
        key = request.headers.get("Idempotency-Key")
        if key is None or not request.user.is_authenticated:
            return method(view, request, *args, **kwargs)
        claim = _Claim(request, key)
        earlier = claim.earlier_answer()
        if earlier is not None:
            return earlier
        try:
            with opened_by(claim.write):
                response = method(view, request, *args, **kwargs)
            claim.keep(response)
        except _Taken as error:
            earlier = claim.earlier_answer()
            if earlier is None:
                raise Unfinished from error
            return earlier
        return response

    kept.idempotent = True  # type: ignore[attr-defined]
    return kept


def refuse_idempotency_key(request: Request) -> None:
    """For an answer that must not be kept, since it holds a secret."""
    if "Idempotency-Key" in request.headers:
        raise InvalidKey(
            "This request takes no Idempotency-Key, because its answer holds a secret that is not kept. Send it "
            "without."
        )
