"""Fields and serializers that the resources share: exact figures as text, and input that drops nothing silently."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from scoring.documents import describe
from scoring.exact import format_exact, parse_decimal

_FIGURE = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}
_FIGURE_IN = {"oneOf": [{"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}, {"type": "number"}]}


@extend_schema_field({**_FIGURE, "example": "68.125"})
class Figure(serializers.CharField):
    """A percentage, points or a placing value: an exact decimal as text, with the decimals that the rules ask for."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)


@extend_schema_field({**_FIGURE, "example": "68.125", "nullable": True})
class OptionalFigure(serializers.Field[Any, Any, Any, Any]):
    """As ``Figure``; the empty text of the database is null."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: object) -> str | None:
        return str(value) if value not in {None, ""} else None


@extend_schema_field({**_FIGURE_IN, "example": "6.5"})
class DecimalIn(serializers.Field[Any, Any, Any, Any]):
    """An exact decimal as a string or a JSON number; validated to its plain text. A binary float never comes near."""

    default_error_messages = {"invalid": '{given} is not a plain decimal number. Write it as "6.5".'}

    def to_internal_value(self, data: object) -> str:
        try:
            return format_exact(parse_decimal(data))
        except ValueError:
            self.fail("invalid", given=describe(data))

    def to_representation(self, value: object) -> str:
        return str(value)


@extend_schema_field({**_FIGURE_IN, "example": "6.5", "nullable": True})
class MarkIn(serializers.Field[Any, Any, Any, Any]):
    """A mark as a string or a JSON number, read as a whole number of tenths."""

    default_error_messages = {"invalid": 'Mark {given} is not a plain decimal number. Write it as "6.5".'}

    def to_internal_value(self, data: object) -> int:
        try:
            tenths = parse_decimal(data) * 10
        except ValueError:
            self.fail("invalid", given=describe(data))
        if tenths.denominator != 1 or abs(tenths) > 10**6:
            self.fail("invalid", given=describe(data))
        return int(tenths)

    def to_representation(self, value: object) -> str:
        return str(value)


@extend_schema_field({"type": "object"})
class DocumentField(serializers.Field[Any, Any, Any, Any]):
    """One of the open documents; what it must hold is checked by the scoring core, not here."""

    def to_internal_value(self, data: object) -> object:
        return data

    def to_representation(self, value: object) -> object:
        return value


class StrictText(serializers.CharField):
    """Text only: a number or a list is refused instead of being written out as text."""

    def to_internal_value(self, data: object) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class StrictFlag(serializers.BooleanField):
    """``true`` or ``false``; a word or a number is refused instead of being guessed at."""

    def to_internal_value(self, data: object) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", input=describe(data))
        return data


class StrictInteger(serializers.IntegerField):
    """A JSON whole number; a text or a fraction is refused."""

    def to_internal_value(self, data: object) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("invalid")
        return super().to_internal_value(data)


class KnownText(serializers.CharField):
    """Text whose emptiness means unknown: shown as null."""

    def to_representation(self, value: object) -> str | None:  # type: ignore[override]
        return str(value) or None


class KeywordNames:
    """For a field named as a word of Python, such as ``class``: it is declared with a trailing underscore."""

    def get_fields(self) -> dict[str, Any]:
        fields: dict[str, Any] = super().get_fields()  # type: ignore[misc]
        return {name.removesuffix("_"): field for name, field in fields.items()}


class Input(KeywordNames, serializers.Serializer[Any]):
    """Input of an operation: an unknown key is an error, since a misspelt one must not be dropped silently."""

    def to_internal_value(self, data: object) -> Any:
        unknown = sorted(set(data) - set(self.fields)) if isinstance(data, Mapping) else []
        problems = {
            str(key)[:80]: [f'The key "{str(key)[:80]}" is not known here. Correct its spelling or remove it.']
            for key in unknown
        }
        try:
            value = super().to_internal_value(data)
        except ValidationError as error:
            if isinstance(error.detail, dict):
                raise ValidationError({**error.detail, **problems}) from error
            raise
        if problems:
            raise ValidationError(problems)
        return value
