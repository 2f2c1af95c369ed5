from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser


class TooLarge(APIException):
    status_code = 413
    default_code = "too-large"
    default_detail = "The request is larger than this service takes. Send it in parts."


def read_limited(stream: Any) -> bytes:
    """Read a request's body; more than the largest request that the settings allow is refused."""
    limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    content: bytes = stream.read(limit + 1)
    if len(content) > limit:
        raise TooLarge(f"The request is larger than {limit // 1024 // 1024} MB. Send it in parts.")
    return content


def refuse_unstorable(text: str) -> None:
    """Refuse text that no database column keeps: a null character, or half of a surrogate pair."""
    if "\0" in text:
        raise ParseError("The text holds a null character (U+0000). Remove it.")
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise ParseError(
            f"The text holds half of a surrogate pair (at character {error.start + 1}). Send whole characters."
        ) from error


class CSVParser(BaseParser):
    """A CSV file as the body of the request; the view gets its text."""

    media_type = "text/csv"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> str:  # type: ignore[override]
        try:
            text = read_limited(stream).decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise ParseError(
                f"The file is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and send it again."
            ) from error
        refuse_unstorable(text)
        return text
