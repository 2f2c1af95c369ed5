"""Which schemes the columnar path takes, and which fields of the ledger they look at."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from scoring.season import Scheme
from scoring.season.conditions import BarTest, Condition
from scoring.season.requirements import Need, Requirement
from scoring.season.steps import Change, FromStarters, Linear, Places, PlacesByStarters, Step, When, inner_steps
from scoring.season.steps import Take as TakeField
from scoring.season.tables import Table

COUNT_FIELDS = {
    "scores": (),
    "judges": ("judges",),
    "competitions": ("competition",),
    "dates": ("date",),
    "tests": ("test",),
    "levels": ("level",),
    "classes": ("competition", "class"),
    "venues": ("venue",),
    "weekends": ("date",),
    "pairs": ("pair",),
    "riders": ("rider",),
    "horses": ("horse",),
}
"""The fields behind each thing that a requirement can count."""

_TIE_FIELDS = {"best-collectives": ("collectives",), "mean-percentage": ("percentage",), "most-firsts": ("placing",)}


class NotColumnar(Exception):  # noqa: N818 - no fault: the caller takes the exact path
    """Some figure of this ledger does not fit into columns of integers."""


def is_columnar(scheme: Scheme) -> bool:
    """Tell whether the columnar path takes a scheme.

    It leaves to the exact path what looks at other units' rides, what searches for a set of scores or protects some,
    two-stage values, and bonuses.
    """
    value = scheme.value
    if scheme.looks_at_others:
        return False
    if value is None:
        return True
    plain_take = value.take is None or not (value.take.must or value.take.plus_all)
    plain_drop = value.drop is None or not value.drop.protect
    return plain_take and plain_drop and value.first is None and not value.add and value.add_field is None


def fields_of(scheme: Scheme) -> frozenset[str]:
    """Return the fields of the ledger that a scheme looks at, and those that put its scores in order."""
    found = {"percentage", "date", scheme.unit, *scheme.group_by, *scheme.fields_after}
    found |= fields_of_conditions(scheme.eligible) | fields_of_steps(scheme.score)
    for limit in scheme.limit:
        found |= {*limit.per, *fields_of_conditions(limit.where)}
    for part in needs_of(scheme.all_requirements()):
        found |= fields_of_need(part)
    for tie in scheme.ties:
        found |= {*_TIE_FIELDS.get(tie.by, ()), *fields_of_conditions(tie.where)}
        if tie.by == "more":
            found |= {*COUNT_FIELDS[tie.count]}
    return frozenset(found)


def needs_of(requirements: Iterable[Requirement]) -> Iterator[Need]:
    for requirement in requirements:
        yield from requirement.parts()


def fields_of_need(need: Need) -> set[str]:
    return {*COUNT_FIELDS[need.count], *fields_of_conditions(need.where)}


def fields_of_conditions(conditions: Iterable[Condition]) -> set[str]:
    found: set[str] = set()
    for condition in conditions:
        for test in condition.tests():
            found.add(test.field)
            if isinstance(test, BarTest):
                found |= {field for field, _ in test.bar.named()}
    return found


def fields_of_steps(steps: tuple[Step, ...]) -> set[str]:
    """Return the fields that the number of a score is worked out from."""
    found = {"percentage"}
    for step in inner_steps(steps):
        match step:
            case TakeField():
                found.add(step.field)
            case Places():
                found.add("placing")
            case PlacesByStarters() | FromStarters():
                found |= {"placing", "starters"}
            case Change() if isinstance(step.by, Table):
                found |= {field for field, _ in step.by.named()}
            case Linear():
                found |= {field for table in (step.slopes, step.offsets) for field, _ in table.named()}
            case When():
                found |= fields_of_conditions(step.conditions)
    return found
