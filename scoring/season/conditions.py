"""Conditions on a score, as data: ``eligible``, ``where`` and ``when`` of ``scheme/1``.

A condition is true, false, or not known because the ledger does not hold a value it needs. A score whose condition is
not known does not count, and the verdict names the value.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Protocol

from scoring.documents import Reader, describe
from scoring.season.ledger import FIELDS, NUMBERS, FieldValue, Score, as_text, spoken
from scoring.season.tables import Table, UnknownFigure, read_bar

__all__ = ["Condition", "Verdict", "all_true", "conditions_in_words", "known_field", "read_conditions"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a condition says of a score: ``truth`` is None where a value is unknown; ``reason`` says why not true."""

    truth: bool | None
    reason: str = ""


TRUE = Verdict(True)


class Condition(Protocol):
    """Anything that can judge a score and can say in words what it asks for."""

    def judge(self, score: Score) -> Verdict: ...

    def words(self) -> str: ...

    def tests(self) -> Iterator[FieldTest | BarTest]:
        """Yield the plain tests inside, for a search over the scores that would meet them."""


_ORDERED: dict[str, Callable[[Any, Any], bool]] = {
    "at_least": operator.ge, "above": operator.gt, "at_most": operator.le, "below": operator.lt,
    "before": operator.lt, "after": operator.gt,
}  # fmt: skip
_OPERATORS = ("is", "in", "not_in", "at_least", "above", "at_most", "below", "before", "after", "at_least_by")
_SAID: dict[str, tuple[str, str]] = {
    "member": ("the membership was in force", "the membership was not in force"),
    "recognised": ("the competition was recognised", "the competition was not recognised"),
    "hors_concours": ("it was ridden hors concours", "it was not ridden hors concours"),
    "highest_of_level": ("the test is the highest of its level", "the test is not the highest of its level"),
}
"""What a person says where the ledger holds true or false."""
_KINDS = {"set": "a set test", "freestyle": "a freestyle"}
"""What a person calls a ride of these kinds; any other kind is said by its own name."""
_WORDS = {
    "is": "is", "in": "is", "not_in": "is none of", "at_least": "is at least", "above": "is above",
    "at_most": "is at most", "below": "is below", "before": "is before", "after": "is after",
}  # fmt: skip


def known_field(field: str) -> bool:
    """Tell whether a scheme may name this field: one of the ledger, ``judge_count`` or a column that starts with x-."""
    return field in FIELDS or field in NUMBERS or (field.startswith("x-") and len(field) > 2)


@dataclass(frozen=True, slots=True)
class FieldTest:
    """``{"field": f, operator: operand}``; ``operands`` holds one value, or several for ``in`` and ``not_in``."""

    field: str
    operator: str
    operands: tuple[FieldValue, ...]

    def judge(self, score: Score) -> Verdict:
        value = score.value_of(self.field)
        if value is None:
            return Verdict(None, _unknown(self.field))
        if self._holds(value):
            return TRUE
        if isinstance(value, bool):
            return Verdict(False, _said(self.field, yes=value))
        own = _KINDS.get(as_text(value)) if self.field == "kind" else None
        found = f"it is {own}" if own else f"its {spoken(self.field)} is {as_text(value)}"
        return Verdict(False, f"{found}, but the scheme asks that {self.words()}")

    def _holds(self, value: FieldValue) -> bool:
        if self.operator in _ORDERED:
            return _ORDERED[self.operator](value, self.operands[0])
        found = any(one in self.operands for one in (value if isinstance(value, tuple) else (value,)))
        return not found if self.operator == "not_in" else found

    def words(self) -> str:
        if len(self.operands) == 1 and isinstance(self.operands[0], bool):
            return _said(self.field, yes=self.operands[0] is (self.operator != "not_in"))
        if self.field == "kind" and all(operand in _KINDS for operand in self.operands):
            return _of_kind([_KINDS[as_text(operand)] for operand in self.operands], yes=self.operator != "not_in")
        single = {"in": "is", "not_in": "is not"} if len(self.operands) == 1 else {}
        how = single.get(self.operator, _WORDS[self.operator])
        what = f"its {spoken(self.field)}"
        if self.field == "judges":
            what, how = ("one of its judges", how) if self.operator != "not_in" else ("none of its judges", "is")
        return f"{what} {how} {_either(self.operands)}"

    def tests(self) -> Iterator[FieldTest | BarTest]:
        yield self


def _said(field: str, *, yes: bool) -> str:
    return _SAID[field][0 if yes else 1]


def _of_kind(kinds: list[str], *, yes: bool) -> str:
    """Say of what kind a ride is, or is not.

    >>> _of_kind(["a set test", "a freestyle"], yes=False)
    'it is neither a set test nor a freestyle'
    """
    if yes:
        return f"it is {' or '.join(kinds)}"
    return f"it is not {kinds[0]}" if len(kinds) == 1 else f"it is neither {' nor '.join(kinds)}"


def _unknown(field: str) -> str:
    """Say that the ledger does not hold a value.

    >>> _unknown("percentage"), _unknown("recognised")
    ('its percentage is unknown', 'it is not known whether the competition was recognised')
    """
    if field in _SAID:
        return f"it is not known whether {_said(field, yes=True)}"
    return f"its {spoken(field)} {'are' if field == 'judges' else 'is'} unknown"


def _either(operands: tuple[FieldValue, ...]) -> str:
    texts = [as_text(operand) for operand in operands]
    return " or ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


@dataclass(frozen=True, slots=True)
class BarTest:
    """``at_least_by``: the number must reach a bar that depends on another field."""

    field: str
    bar: Table

    def judge(self, score: Score) -> Verdict:
        value = score.value_of(self.field)
        if value is None:
            return Verdict(None, _unknown(self.field))
        try:
            bar = self.bar.figure_for(score)
        except UnknownFigure as error:
            return Verdict(None, str(error))
        assert isinstance(value, int | Fraction)  # noqa: S101 - the reader takes numbers only here
        if value >= bar:
            return TRUE
        return Verdict(False, f"its {spoken(self.field)} is {as_text(value)}, but must be at least {as_text(bar)}")

    def words(self) -> str:
        return f"its {spoken(self.field)} is at least {self.bar.words()}"

    def tests(self) -> Iterator[FieldTest | BarTest]:
        yield self


@dataclass(frozen=True, slots=True)
class AllOf:
    parts: tuple[Condition, ...]

    def judge(self, score: Score) -> Verdict:
        return all_true(self.parts, score)

    def words(self) -> str:
        return conditions_in_words(self.parts)

    def tests(self) -> Iterator[FieldTest | BarTest]:
        for part in self.parts:
            yield from part.tests()


@dataclass(frozen=True, slots=True)
class AnyOf:
    parts: tuple[Condition, ...]

    def judge(self, score: Score) -> Verdict:
        verdicts = [part.judge(score) for part in self.parts]
        if any(verdict.truth for verdict in verdicts):
            return TRUE
        unknown = [verdict.reason for verdict in verdicts if verdict.truth is None]
        if unknown:
            return Verdict(None, unknown[0])
        return Verdict(False, "; and ".join(verdict.reason for verdict in verdicts))

    def words(self) -> str:
        return "(" + " or ".join(part.words() for part in self.parts) + ")"

    def tests(self) -> Iterator[FieldTest | BarTest]:
        for part in self.parts:
            yield from part.tests()


@dataclass(frozen=True, slots=True)
class Not:
    part: Condition

    def judge(self, score: Score) -> Verdict:
        verdict = self.part.judge(score)
        if verdict.truth is None:
            return verdict
        return Verdict(False, f"the scheme asks that {self.words()}") if verdict.truth else TRUE

    def words(self) -> str:
        return f"not ({self.part.words()})"

    def tests(self) -> Iterator[FieldTest | BarTest]:
        yield from self.part.tests()


def all_true(conditions: tuple[Condition, ...], score: Score) -> Verdict:
    """Judge a list of conditions, of which all must be true; the reason is that of the first one that fails.

    A condition that is surely false outweighs one that is not known.
    """
    unknown = TRUE
    for condition in conditions:
        verdict = condition.judge(score)
        if verdict.truth is False:
            return verdict
        if verdict.truth is None and unknown.truth:
            unknown = verdict
    return unknown


def conditions_in_words(conditions: tuple[Condition, ...]) -> str:
    """Say conditions in words; a list means all of them."""
    return " and ".join(condition.words() for condition in conditions)


def read_conditions(reader: Reader, key: str) -> tuple[Condition, ...]:
    """Read the list of conditions under ``key``; a single one may stand without its list. A list means all."""
    raw = reader.raw(key)
    if raw is None:
        return ()
    items = raw if isinstance(raw, list) else [raw]
    read = []
    for index, item in enumerate(items):
        path = f"{reader.at(key)}[{index}]" if isinstance(raw, list) else reader.at(key)
        condition = _read_condition(Reader.over(item, path=path, problems=reader.problems))
        if condition is not None:
            read.append(condition)
    return tuple(read)


def _read_condition(reader: Reader) -> Condition | None:
    if not reader.usable:
        return None
    joins = [key for key in ("any", "all", "not") if key in reader.value]
    if joins and "field" not in reader.value and len(joins) == 1:
        return _read_join(reader, joins[0])
    if joins:
        reader.problem(None, "A condition is one field, or one of any, all and not. Write two conditions instead.")
        return None
    return _read_test(reader)


def _read_join(reader: Reader, join: str) -> Condition | None:
    parts = read_conditions(reader, join)
    reader.finish()
    if not parts:
        if reader.value[join] in (None, []):
            reader.problem(join, f'"{join}" has no condition inside. Give at least one.')
        return None
    if join == "not":
        return Not(parts[0] if len(parts) == 1 else AllOf(parts))
    return AnyOf(parts) if join == "any" else AllOf(parts)


def _read_test(reader: Reader) -> Condition | None:
    field = reader.take_text("field", required=True)
    if reader.has("field") and not known_field(field):
        reader.problem("field", f'"{field}" is no field of the ledger. Name one of: {", ".join(FIELDS)}.')
        field = ""
    given = [name for name in _OPERATORS if name in reader.value]
    for name in given:
        reader.raw(name)
    reader.finish()
    if len(given) != 1:
        message = f"A condition compares its field once, but here stand {len(given)} comparisons."
        reader.problem(None, f"{message} Give one of: {', '.join(_OPERATORS)}.")
        return None
    return _read_comparison(reader, field=field, name=given[0]) if field else None


def _read_comparison(reader: Reader, *, field: str, name: str) -> Condition | None:
    if name == "at_least_by":
        bar = read_bar(reader, name)
        if field not in NUMBERS:
            reader.problem(name, f'"{field}" is no number, so it cannot reach a bar. Use is, in or not_in.')
        if isinstance(bar, Fraction):
            reader.problem(name, f'"{name}" needs a table by a field. Use at_least for one bar alone.')
        return BarTest(field, bar) if isinstance(bar, Table) else None
    dates, numbers = field == "date", field in NUMBERS
    if (name in ("before", "after") and not dates) or (name in _ORDERED and not (dates or numbers)):
        reader.problem(name, f'"{field}" cannot be compared with "{name}". Use is, in or not_in.')
        return None
    raw = reader.raw(name)
    if name in ("in", "not_in") and (not isinstance(raw, list) or not raw):
        reader.problem(name, f'"{name}" is {describe(raw)}. Give a list with at least one value.')
        return None
    operands = [
        _read_operand(reader, field=field, name=name, raw=one) for one in (raw if isinstance(raw, list) else [raw])
    ]
    if isinstance(raw, list) and name not in ("in", "not_in"):
        reader.problem(name, f'"{name}" is a list. Give one value, or use "in".')
        return None
    return None if None in operands else FieldTest(field, name, tuple(operands))


def _read_operand(reader: Reader, *, field: str, name: str, raw: object) -> FieldValue:
    try:
        if field.startswith("x-") or field == "judges":
            if not isinstance(raw, str) or not raw:
                raise ValueError("Give a text.")  # noqa: TRY301 - the sentence is completed below for every reader
            return raw
        return FIELDS["starters" if field == "judge_count" else field](_strict(raw, field=field))
    except ValueError as error:
        reader.problem(name, f'"{name}" is {describe(raw)}, which {field} cannot be. {error}')
        return None


def _strict(raw: object, *, field: str) -> object:
    """Refuse what a CSV cell may hold but a JSON document should not, such as a truth value written as text."""
    if field in ("highest_of_level", "hors_concours", "recognised", "member") and not isinstance(raw, bool):
        raise ValueError("Give true or false.")
    if raw is None or (isinstance(raw, str) and not raw):
        raise ValueError("Give a value; what is unknown cannot be asked for.")
    return raw
