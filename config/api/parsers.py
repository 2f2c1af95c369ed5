from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from riders.api.parsers import read_limited, refuse_unstorable
from scoring.documents import InvalidDocument, load_json

_DEEPEST = 40


class ExactJSONParser(BaseParser):
    """JSON with exact numbers: ``Decimal``, never ``float``. Refuses repeated keys, NaN, deep nesting and bad UTF-8."""

    media_type = "application/json"

    def parse(  # type: ignore[override]
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> object:
        content = read_limited(stream)
        try:
            value = load_json(content)
        except InvalidDocument as error:
            raise ParseError(error.problems[0].message) from error
        _walk(value)
        return value


def _walk(value: object) -> None:
    """Refuse what JSON can say and a database cannot keep, level by level so that no depth can exhaust the stack."""
    level, depth = [value], 0
    while level:
        depth += 1
        if depth > _DEEPEST:
            raise ParseError(
                f"The JSON is nested more than {_DEEPEST} levels deep. Send one document of the open formats."
            )
        below: list[object] = []
        for member in level:
            if isinstance(member, str):
                refuse_unstorable(member)
            elif isinstance(member, Mapping):
                below.extend(member.keys())
                below.extend(member.values())
            elif isinstance(member, list):
                below.extend(member)
        level = below
