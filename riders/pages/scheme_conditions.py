"""The node of a plain condition: a field of the ledger, how it is compared, and with what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from riders.pages.scheme_nodes import (
    MISSING,
    Drawing,
    Field,
    Json,
    Lines,
    Shown,
    Typed,
    as_number,
    as_whole,
    below,
    is_text,
    same,
    written,
)
from riders.pages.scheme_tables import Rows, Table
from scoring.season.ledger import FIELDS, NUMBERS, spoken

FIELD_CHOICES = tuple((name, spoken(name)) for name in (*FIELDS, "judge_count"))
FLAGS = ("member", "recognised", "hors_concours", "highest_of_level")
_WHOLES = ("placing", "starters", "horse_age", "judge_count")
OPERATORS = {
    "is": "is", "in": "is one of", "not_in": "is none of", "at_least": "is at least", "above": "is above",
    "at_most": "is at most", "below": "is below", "before": "is before", "after": "is after",
    "at_least_by": "is at least a bar by",
}  # fmt: skip
_LISTS = ("in", "not_in")
_TABLE = Table(FIELD_CHOICES, Rows(("value", "at least"), hint="A star * stands for every other value."))


@dataclass(frozen=True)
class Test:
    """``{"field": f, operator: operand}``. The comparison's key stays even while nothing is typed beside it."""

    def _operator(self, value: Mapping[str, Json]) -> str | None:
        found = [name for name in OPERATORS if name in value]
        return found[0] if len(found) == 1 else None

    def fits(self, value: Json) -> bool:
        if not isinstance(value, Mapping) or not isinstance(value.get("field", ""), str):
            return False
        operator = self._operator(value)
        if operator is None or any(name not in ("field", operator) and not name.startswith("x-") for name in value):
            return False
        operand = value[operator]
        if operator == "at_least_by":
            return _TABLE.fits(operand)
        return isinstance(operand, bool) or is_text(operand) or Lines().fits(operand)

    def draw(self, value: Json, path: str, label: str, drawing: Drawing) -> Shown:
        shown = drawing.add(Shown("riders/scheme_block_test.html", path, label))
        operator, name = self._operator(value) or "is", value.get("field", "")
        fields = list(FIELD_CHOICES)
        if name and name not in dict(fields):
            fields.append((name, name))
        choices = (*fields, ("x-", "a column of our own (x-...)")) if not name.startswith("x-") else tuple(fields)
        shown.parts.append(
            Field("choice", tuple(choices), redraws=True).draw(name, below(path, "field"), "field", drawing)
        )
        if name.startswith("x-"):
            shown.parts.append(Field("text").draw(name, below(path, "?own"), "name of the column", drawing))
        offered = tuple((key, words) for key, words in OPERATORS.items() if key == operator or _suits(key, name))
        shown.parts.append(
            Field("choice", offered, redraws=True).draw(operator, below(path, "?how"), "comparison", drawing)
        )
        shown.parts.append(self._operand(value[operator], name, operator, below(path, operator), drawing))
        return shown

    def _operand(self, operand: Json, name: str, operator: str, at: str, drawing: Drawing) -> Shown:
        known = drawing.vocabulary.get(name, [])
        if operator == "at_least_by":
            return _TABLE.draw(operand, at, "at least", drawing)
        if isinstance(operand, list) or operand is None:
            shown = Lines().draw(operand, at, "values", drawing)
            shown.options = known
            return shown
        if name in FLAGS and (isinstance(operand, bool) or operand == ""):
            return Field("flag").draw(operand, at, "value", drawing)
        kind = "date" if name == "date" else "text"
        shown = Field(kind).draw(operand, at, "value", drawing)
        shown.options = known
        return shown

    def read(self, value: Json, path: str, typed: Typed) -> Json:
        operator = self._operator(value) or "is"
        name = self._field(value, path, typed)
        operand = self._read_operand(value[operator], name, operator, below(path, operator), typed)
        chosen = typed.get(below(path, "?how"))
        changed = bool(chosen) and chosen in OPERATORS and chosen != operator
        after: dict[str, Json] = {}
        for key, one in value.items():
            if key == operator:
                after[chosen if changed and chosen else key] = (
                    _carried(operand, operator, chosen) if changed and chosen else operand
                )
            else:
                after[key] = name if key == "field" else one
        if "field" not in after and name:
            after = {"field": name, **after}
        return after

    def _field(self, value: Mapping[str, Json], path: str, typed: Typed) -> str:
        before = str(value.get("field", ""))
        chosen = typed.get(below(path, "field"))
        if chosen is not None and chosen != before:
            return chosen
        own = typed.get(below(path, "?own"))
        return before if own is None or same(before, own) else own.strip()

    def _read_operand(self, operand: Json, name: str, operator: str, at: str, typed: Typed) -> Json:
        if operator == "at_least_by":
            return _TABLE.read(operand, at, typed)
        if isinstance(operand, list) or operand is None:
            read = Lines().read(operand, at, typed)
            return [] if read is MISSING else read
        text = typed.get(at)
        if text is None or same(written(operand), text):
            return operand
        return _parsed(text, name)


def _suits(operator: str, name: str) -> bool:
    """Tell whether a comparison makes sense for a field; the reader of the document has the last word."""
    if operator in ("is", *_LISTS):
        return operator == "is" or name not in FLAGS
    if operator in ("before", "after"):
        return name == "date"
    return name in NUMBERS or (name == "date" and operator != "at_least_by")


def _parsed(text: str, name: str) -> Json:
    if name in FLAGS and text in ("yes", "no"):
        return text == "yes"
    if name in _WHOLES:
        return as_whole(text)
    return as_number(text) if name in NUMBERS else text.strip()


def _carried(operand: Json, before: str, after: str) -> Json:
    """Take what was typed along to another comparison."""
    if before == "at_least_by":
        (table,) = operand.values()
        operand = table.get("*", next(iter(table.values()), ""))
    if after == "at_least_by":
        single = operand if is_text(operand) else ""
        return {"level": {"*": single} if single != "" else {}}
    if after in _LISTS:
        return operand if isinstance(operand, list) else [written(operand)] if written(operand) else []
    if isinstance(operand, list):
        return (operand or [""])[0] if len(operand) < 2 else operand
    return operand


TEST = Test()
