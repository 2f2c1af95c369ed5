"""Reading open documents: exact JSON, and every problem collected with its path instead of only the first."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from scoring.exact import parse_decimal

__all__ = ["InvalidDocument", "Problem", "Reader", "describe", "load_json", "take_format"]

_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]|[\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in a document: ``path`` as in ``entries[3].sheets.C.marks.7``, ``message`` a full sentence."""

    path: str
    message: str

    def as_dict(self) -> dict[str, str]:
        return {"path": self.path, "message": self.message}


class InvalidDocument(ValueError):  # noqa: N818 - "invalid document" is what a reader of the traceback needs to see
    """A document that cannot be used, with every problem found in it."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(f"{p.path or 'document'}: {p.message}" for p in self.problems))

    def as_dict(self) -> dict[str, list[dict[str, str]]]:
        return {"errors": [problem.as_dict() for problem in self.problems]}


def load_json(text: str | bytes) -> object:
    """Parse JSON with exact numbers (``Decimal``, never ``float``); a repeated key, NaN or bad UTF-8 is a problem."""
    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
        return _parsed(text)
    except UnicodeEncodeError:
        message = "The text holds half of a character (a lone surrogate). Write the whole character."
    except UnicodeDecodeError as error:
        message = f"The file is not UTF-8 text (byte {error.start + 1}). Save it as UTF-8 and try again."
    except json.JSONDecodeError as error:
        message = f"The text is not JSON: {error.msg} at line {error.lineno}, column {error.colno}. Correct it there."
    except RecursionError:
        message = "The JSON is nested too deeply. Send one document of the open formats."
    except _JsonError as error:
        message = str(error)
    except (ValueError, ArithmeticError):
        message = "A number in the text has too many digits. Correct it."
    raise InvalidDocument([Problem("", message)])


def _parsed(text: str) -> object:
    value: object = json.loads(
        text, parse_float=Decimal, parse_constant=_refuse_constant, object_pairs_hook=_unique_keys
    )
    if _SURROGATE.search(text):
        json.dumps(value, ensure_ascii=False, default=str).encode("utf-8")
    return value


class _JsonError(ValueError):
    """JSON that Python would read but that a document may not hold."""


def _refuse_constant(name: str) -> object:
    raise _JsonError(f"{name} is not a number that a document may hold. Use null for a missing value.")


def _unique_keys(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        seen: set[str] = set()
        repeated = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise _JsonError(f'The key "{repeated}" stands twice in one object. Keep one of them.')
    return found


_MISSING = object()


@dataclass(slots=True)
class Reader:
    """One JSON object being read; its children share the list of problems, so that all faults are found in one pass.

    Every ``take_*`` method marks its key as known, returns the value in its exact type or a default, and records a
    problem for a wrong one. ``finish`` reports the unknown keys. ``problems`` is empty when the document is good.
    """

    value: Mapping[str, object]
    path: str = ""
    problems: list[Problem] = field(default_factory=list)
    _known: set[str] = field(default_factory=set)

    @classmethod
    def over(cls, value: object, *, path: str = "", problems: list[Problem] | None = None) -> Reader:
        """Start reading ``value``; anything but an object is a problem and reads as an empty one."""
        problems = [] if problems is None else problems
        if not isinstance(value, Mapping):
            problems.append(Problem(path, f"Here stands {describe(value)}, but an object in braces is needed."))
            reader = cls({}, path, problems)
            reader._known.add("*")
            return reader
        return cls(value, path, problems)

    @property
    def usable(self) -> bool:
        """False when something else than an object stood here, which has been reported already."""
        return "*" not in self._known

    def at(self, key: str | int) -> str:
        """Return the path of a key or an index below this object."""
        if isinstance(key, int):
            return f"{self.path}[{key}]"
        return f"{self.path}.{key}" if self.path else key

    def problem(self, key: str | None, message: str) -> None:
        self.problems.append(Problem(self.path if key is None else self.at(key), message))

    def raw(self, key: str, default: object = None) -> object:
        """Return what stands under ``key`` unread, marking the key as known."""
        self._known.add(key)
        return self.value.get(key, default)

    def has(self, key: str) -> bool:
        """Tell whether ``key`` is given and not null."""
        return self.value.get(key) is not None

    def _required(self, key: str, *, required: bool, what: str) -> object:
        value = self.raw(key, _MISSING)
        if value is _MISSING or value is None:
            if required and self.usable:
                self.problem(key, f'"{key}" is missing. Give {what}.')
            return None
        return value

    def take_text(self, key: str, *, required: bool = False, default: str = "", empty: bool = True) -> str:
        value = self._required(key, required=required, what="a text")
        if value is None:
            return default
        if not isinstance(value, str):
            self.problem(key, f'"{key}" is {describe(value)}. Give a text in quotation marks.')
            return default
        if required and not empty and not value.strip():
            self.problem(key, f'"{key}" is empty. Give a text.')
        return value

    def take_choice(self, key: str, choices: Collection[str], *, required: bool = False, default: str = "") -> str:
        value = self._required(key, required=required, what=f"one of: {', '.join(choices)}")
        if value is None:
            return default
        if not isinstance(value, str) or value not in choices:
            self.problem(key, f'"{key}" is {describe(value)}. Give one of: {", ".join(choices)}.')
            return default
        return value

    def take_bool(self, key: str, *, default: bool = False) -> bool:
        value = self.raw(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.problem(key, f'"{key}" is {describe(value)}. Give true or false.')
            return default
        return value

    def take_int(
        self, key: str, *, required: bool = False, default: int | None = None, least: int = 0, most: int = 10**6
    ) -> int | None:
        value = self._required(key, required=required, what="a whole number")
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            self.problem(key, f'"{key}" is {describe(value)}. Give a whole number from {least} to {most}.')
            return default
        return value

    def take_decimal(
        self,
        key: str,
        *,
        required: bool = False,
        default: Fraction | None = None,
        least: Fraction | int | None = None,
        most: Fraction | int | None = None,
    ) -> Fraction | None:
        value = self._required(key, required=required, what='a decimal number such as "2.5"')
        if value is None:
            return default
        try:
            number = parse_decimal(value)
        except ValueError:
            self.problem(key, f'"{key}" is {describe(value)}. Give a plain decimal number such as "2.5".')
            return default
        if (least is not None and number < least) or (most is not None and number > most):
            bounds = " and ".join(
                text for limit, text in ((least, f"at least {least}"), (most, f"at most {most}")) if limit is not None
            )
            self.problem(key, f'"{key}" is {describe(value)}, but must be {bounds}.')
            return default
        return number

    def take_list(self, key: str, *, required: bool = False) -> list[object]:
        value = self._required(key, required=required, what="a list in square brackets")
        if value is None:
            return []
        if not isinstance(value, list):
            self.problem(key, f'"{key}" is {describe(value)}. Give a list in square brackets.')
            return []
        return value

    def take_object(self, key: str, *, required: bool = False) -> Reader | None:
        """Return a reader of the object under ``key``, or None where it is null, missing or not an object."""
        value = self._required(key, required=required, what="an object in braces")
        if value is None:
            return None
        reader = Reader.over(value, path=self.at(key), problems=self.problems)
        return reader if reader.usable else None

    def objects(self, key: str, *, required: bool = False) -> Iterator[Reader]:
        """Yield a reader for each object in the list under ``key``; other members are reported and left out."""
        for index, value in enumerate(self.take_list(key, required=required)):
            reader = Reader.over(value, path=f"{self.at(key)}[{index}]", problems=self.problems)
            if reader.usable:
                yield reader

    def finish(self, *, known: Iterable[str] = ()) -> None:
        """Report every key that nothing has asked for, except those that start with ``x-``."""
        if not self.usable:
            return
        allowed = self._known | set(known)
        for key in self.value:
            if key not in allowed and not str(key).startswith("x-"):
                self.problem(key, f'The key "{key}" is not known here. Correct its spelling or remove it.')


def take_format(reader: Reader, expected: str) -> None:
    """Read the ``format`` key, which must be ``expected``."""
    found = reader.take_text("format", required=True)
    if found and found != expected:
        reader.problem("format", f'The format is {describe(found)}, but "{expected}" is needed here.')


def describe(value: object) -> str:
    """Say in a few words what stands in a document, for a sentence about what is wrong with it."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, str):
        return f'"{value if len(value) <= 40 else value[:37] + "..."}"'
    if isinstance(value, int):
        return str(value) if abs(value) < 10**40 else "a number of more than 40 digits"
    if isinstance(value, list | Mapping):
        kind = "list" if isinstance(value, list) else "object"
        return f"{'a' if kind == 'list' else 'an'} {kind}" if value else f"an empty {kind}"
    return ("the inexact number " if isinstance(value, float) else "") + str(value)[:40]
