"""The words that operations share in the OpenAPI document: headers and refusals."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse
from rest_framework import serializers

IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="The version that the change was made from, in quotation marks, as the ETag gave it.",
    examples=[OpenApiExample("Version 7", value='"7"')],
)
IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="A new UUID for each write. Sent again with the same key, the write is not carried out twice and "
    "the first answer comes back (with the header Idempotency-Replayed). Keys are kept for three days.",
    examples=[OpenApiExample("A key", value="0d2f4a52-5a55-4d9c-9a6e-0b6f6f3b7c11")],
)
IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag of what you hold already; the answer is 304 without a body while it is still current.",
    examples=[OpenApiExample("Version 41", value='"41"')],
)


class ErrorSerializer(serializers.Serializer[Any]):
    """Every refusal has this shape, whatever the status."""

    code = serializers.CharField(help_text="What kind of refusal it is, for programs. Codes never change.")
    message = serializers.CharField(help_text="What is wrong and what to do, for a person.")
    fields = serializers.DictField(  # type: ignore[assignment]
        child=serializers.ListField(child=serializers.CharField()),
        help_text="What is wrong where: sentences by the path in the body, such as marks.7. Empty when it is about "
        "the whole.",
    )
    retry = serializers.BooleanField(help_text="True when the same request may succeed later.")


class StaleSerializer(ErrorSerializer):
    """Someone else changed it first: the refusal carries what stands there now, so that nothing typed is lost."""

    current = serializers.DictField(
        allow_null=True, help_text="The object as it stands now, in the shape of its GET; null where there is none yet."
    )


def _refusal(
    description: str, code: str, message: str, *, fields: dict[str, list[str]] | None = None, retry: bool = False
) -> OpenApiResponse:
    value = {"code": code, "message": message, "fields": fields or {}, "retry": retry}
    return OpenApiResponse(ErrorSerializer, description, examples=[OpenApiExample(code, value=value)])


_BAD_MARK = "Mark 10.3 for item 4 is not on its scale. Enter 0 to 10 in steps of 0.5."
REFUSALS: dict[int, OpenApiResponse] = {
    400: _refusal(
        "The request cannot be used; every problem is listed.",
        "invalid",
        f"marks.4: {_BAD_MARK}",
        fields={"marks.4": [_BAD_MARK]},
    ),
    401: _refusal(
        "Nobody is signed in, or the token is not valid.",
        "not-signed-in",
        "Sign in or send a token in the header Authorization: Bearer <token>.",
    ),
    403: _refusal(
        "The account may not do this, or the state of the thing does not allow it now.",
        "results-official",
        "The results of class 3 are official. Start a correction with a reason, then change what has to be changed.",
    ),
    404: _refusal(
        "There is no such thing, or it is not open to this account.",
        "not-found",
        "Nothing is found at this address, or it is not open to you. Check the address; it ends in a slash.",
    ),
    406: _refusal(
        "None of the types in Accept is offered.",
        "not-acceptable",
        "None of the types in Accept is offered here. Ask for application/json.",
    ),
    409: _refusal(
        "It contradicts what is there, or a request with the same Idempotency-Key is not finished yet.",
        "idempotency-unfinished",
        "A request with this Idempotency-Key has been carried out, but its answer is not kept yet. Repeat it in a "
        "moment, or read the object.",
        retry=True,
    ),
    412: OpenApiResponse(
        StaleSerializer,
        "The object has another version than If-Match names; the body holds it as it stands now, the ETag its version.",
        examples=[
            OpenApiExample(
                "conflict",
                value={
                    "code": "conflict",
                    "message": "The sheet of entry 12 at C was changed by R. Stone since you opened it. Compare "
                    "both, then save what is right.",
                    "fields": {},
                    "retry": False,
                    "current": {"version": 8},
                },
            )
        ],
    ),
    413: _refusal("The request is too large.", "too-large", "The request is larger than 10 MB. Send it in parts."),
    415: _refusal(
        "The body has a type that is not read here.",
        "unsupported-media-type",
        "A body of text/plain is not read here. Send application/json, or text/csv where a file is asked for.",
    ),
    422: _refusal(
        "The Idempotency-Key was used for another request.",
        "idempotency-mismatch",
        "This Idempotency-Key was used for another request (other address, body or If-Match). Use a new key for a new "
        "request.",
    ),
    428: _refusal(
        "The header If-Match is missing.",
        "precondition-required",
        'This change needs the header If-Match with the version that it was made from, such as If-Match: "7". Read the '
        "object first; the version is its ETag.",
    ),
    429: _refusal(
        "Too many requests; Retry-After names the seconds to wait.",
        "too-many-requests",
        "Too many requests. Wait 20 seconds, then go on more slowly.",
        retry=True,
    ),
}
