"""The ledger of official scores: one row of it, its fields, and what a field may hold."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from scoring.documents import InvalidDocument, Problem, describe
from scoring.exact import format_exact, parse_decimal

__all__ = ["FIELDS", "NUMBERS", "FieldValue", "Score", "natural_key", "read_numbered_rows", "scores_from_rows"]

FieldValue = str | bool | int | Fraction | dt.date | tuple[str, ...] | None

STATUSES = ("completed", "eliminated", "retired", "withdrawn", "no-show")


@dataclass(frozen=True, slots=True)
class Score:
    """One official score, a row of ``scores/1``; ``None`` (or no judges) is unknown, ``extra`` holds ``x-`` columns.

    ``published`` is the percentage as it stands in the ledger, for sentences: 70.000 there is not called 70.
    A ride before several judges is one score (USDF rule UR).
    """

    score_id: str
    pair: str | None = None
    rider: str | None = None
    horse: str | None = None
    division: str | None = None
    level: str | None = None
    test: str | None = None
    highest_of_level: bool | None = None
    kind: str | None = None
    date: dt.date | None = None
    competition: str | None = None
    class_id: str | None = None
    judges: tuple[str, ...] = ()
    percentage: Fraction | None = None
    collectives: Fraction | None = None
    placing: int | None = None
    starters: int | None = None
    status: str | None = None
    hors_concours: bool | None = None
    recognised: bool | None = None
    member: bool | None = None
    region: str | None = None
    team: str | None = None
    venue: str | None = None
    owner: str | None = None
    horse_age: int | None = None
    extra: tuple[tuple[str, str], ...] = ()
    published: str = field(default="", compare=False)

    def value_of(self, field: str) -> FieldValue:
        """Return what the ledger holds under a field's name; ``None`` is unknown.

        ``judge_count`` is worked out from the judges; a name that starts with ``x-`` is a column of the user's own.

        >>> Score("s1", judges=("J1", "J2")).value_of("judge_count")
        2
        """
        if field.startswith("x-"):
            return dict(self.extra).get(field)
        if field == "judge_count":
            return len(self.judges) or None
        value: FieldValue = getattr(self, "class_id" if field == "class" else field)
        return None if value == () else value


def _read_text(value: object) -> str:
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    raise ValueError("Give a text.")


def _read_bool(value: object) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().lower() in ("true", "false"):
        return value.strip().lower() == "true"
    raise ValueError("Give true or false.")


def read_day(value: object) -> dt.date:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    if isinstance(value, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value.strip(), re.ASCII):
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            raise ValueError("There is no such day. Give a date such as 2027-03-01.") from None
    raise ValueError("Give a date such as 2027-03-01.")


def _read_whole(value: object, *, least: int = 1) -> int:
    if isinstance(value, str) and re.fullmatch(r"\d{1,6}", value.strip(), re.ASCII):
        value = int(value.strip())
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= 10**6:
        raise ValueError(f"Give a whole number from {least}.")
    return value


def _read_age(value: object) -> int:
    """Read an age in years; a horse is 0 in the year of its birth."""
    return _read_whole(value, least=0)


def _read_number(value: object) -> Fraction:
    if isinstance(value, Fraction):
        number = value
    else:
        try:
            number = parse_decimal(value.strip() if isinstance(value, str) else value)
        except ValueError:
            raise ValueError('Give a plain decimal number such as "65.5".') from None
    if number < 0:
        raise ValueError("Give a number that is not below 0.")
    return number


def _read_percentage(value: object) -> Fraction:
    number = _read_number(value)
    if number > 100:
        raise ValueError("Give a percentage from 0 to 100.")
    return number


def _read_status(value: object) -> str:
    if isinstance(value, str) and value.strip() in STATUSES:
        return value.strip()
    raise ValueError(f"Give one of: {', '.join(STATUSES)}.")


def _read_judges(value: object) -> tuple[str, ...]:
    if isinstance(value, str):
        value = value.split(";")
    if not isinstance(value, list | tuple) or not all(isinstance(name, str) for name in value):
        raise ValueError("Give the judges with a semicolon between them.")
    names = tuple(name.strip() for name in value if name.strip())
    if len(set(names)) != len(names):
        raise ValueError("One judge stands there twice. Name each judge once.")
    return names


_Read = Callable[[object], FieldValue]

FIELDS: Mapping[str, _Read] = {
    "score_id": _read_text, "pair": _read_text, "rider": _read_text, "horse": _read_text, "division": _read_text,
    "level": _read_text, "test": _read_text, "highest_of_level": _read_bool, "kind": _read_text, "date": read_day,
    "competition": _read_text, "class": _read_text, "judges": _read_judges, "percentage": _read_percentage,
    "collectives": _read_number, "placing": _read_whole, "starters": _read_whole, "status": _read_status,
    "hors_concours": _read_bool, "recognised": _read_bool, "member": _read_bool, "region": _read_text,
    "team": _read_text, "venue": _read_text, "owner": _read_text, "horse_age": _read_age,
}  # fmt: skip
"""The fields of ``scores/1`` in their order, each with the function that reads it."""

NUMBERS = ("percentage", "collectives", "placing", "starters", "horse_age", "judge_count")
"""The fields that can be compared with a number; ``judge_count`` is worked out from the judges."""


@lru_cache(maxsize=2**16)
def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key that puts 9 before 12, as a person would.

    >>> sorted(["P12", "P9", "A1"], key=natural_key)
    ['A1', 'P9', 'P12']
    """
    parts = re.split(r"(\d+)", text, flags=re.ASCII)
    return (*((0, int(part), part) if part.isdecimal() else (1, 0, part) for part in parts if part), (-1, 0, text))


def scores_from_rows(rows: Iterable[Mapping[str, object]]) -> tuple[Score, ...]:
    """Read scores from mappings with the field names of ``scores/1``; missing, ``None`` and ``""`` are unknown.

    Values are texts as in a file, or the Python values they stand for. Every bad row is listed in
    :class:`~scoring.documents.InvalidDocument` with a path such as ``row 7.percentage``, the first row being 1.

    >>> scores_from_rows([{"score_id": "s1", "pair": "P1", "percentage": "66.5", "judges": "J1;J2"}])[0].percentage
    Fraction(133, 2)
    """
    return read_numbered_rows(enumerate(rows, start=1))


def read_numbered_rows(
    rows: Iterable[tuple[int, Mapping[str, object]]], *, problems: list[Problem] | None = None
) -> tuple[Score, ...]:
    """Read rows that bring their own numbers; ``problems`` are those found before, and are raised with the new ones."""
    found = [] if problems is None else problems
    scores, first_rows = [], dict[str, int]()
    for number, row in rows:
        score = _read_row(row, number=number, problems=found)
        if score is None:
            continue
        earlier = first_rows.setdefault(score.score_id, number)
        if earlier != number:
            message = f'The score "{score.score_id}" stands already in row {earlier}. Remove one of the two rows.'
            found.append(Problem(f"row {number}.score_id", message))
        scores.append(score)
    if found:
        raise InvalidDocument(found)
    return tuple(scores)


def _read_row(row: Mapping[str, object], *, number: int, problems: list[Problem]) -> Score | None:
    values: dict[str, FieldValue] = {}
    extra: list[tuple[str, str]] = []
    before = len(problems)
    for name, raw in row.items():
        if raw is None or (isinstance(raw, str) and not raw.strip()):
            continue
        path = f"row {number}.{name}"
        if name.startswith("x-"):
            extra.append((name, _own_text(raw)))
        elif name not in FIELDS:
            problems.append(Problem(path, f'"{name}" is no field of the ledger. Correct its name or remove it.'))
        else:
            _read_field(values, name=name, raw=raw, path=path, problems=problems)
    if not values.get("score_id") and len(problems) == before:
        problems.append(Problem(f"row {number}.score_id", "The score has no score_id. Give each score one of its own."))
    if len(problems) > before:
        return None
    values["class_id"] = values.pop("class", None)
    given = row.get("percentage")
    published = given.strip() if isinstance(given, str) else ""
    return Score(**values, extra=tuple(sorted(extra)), published=published)  # type: ignore[arg-type]


def _read_field(values: dict[str, FieldValue], *, name: str, raw: object, path: str, problems: list[Problem]) -> None:
    try:
        values[name] = FIELDS[name](raw)
    except ValueError as error:
        problems.append(Problem(path, f'"{name}" is {describe(raw)}. {error}'))


def _own_text(raw: object) -> str:
    if isinstance(raw, bool):
        return "true" if raw else "false"
    return raw.strip() if isinstance(raw, str) else str(raw)


def as_text(value: FieldValue) -> str:
    """Write a known field value as the text that stands in a file, for tables keyed by it and for sentences.

    >>> as_text(True), as_text(dt.date(2027, 3, 1)), as_text(("J1", "J2"))
    ('true', '2027-03-01', 'J1;J2')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ";".join(value)
    if isinstance(value, Fraction):
        return number_text(value)
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def spoken(field: str) -> str:
    """Write a field's name for a sentence.

    >>> spoken("hors_concours")
    'hors concours'
    """
    return field.replace("_", " ")


def number_text(value: Fraction) -> str:
    """Write a number for a sentence: exactly where it has at most six decimals, otherwise as a fraction."""
    if 10**6 % value.denominator:
        return f"{value.numerator}/{value.denominator}"
    return format_exact(value)


def figure_text(number: Fraction, score: Score) -> str:
    """Write the number that a score was given: its percentage as published where the number is just that.

    >>> (score,) = scores_from_rows([{"score_id": "s1", "percentage": "70.000"}])
    >>> figure_text(Fraction(70), score), figure_text(Fraction(7), score)
    ('70.000', '7')
    """
    if score.published and number == score.percentage == parse_decimal(score.published):
        return score.published
    return number_text(number)
