"""The sport's arithmetic: documents in, documents out. Standard library only.

Names are loaded when they are first used, so that the command line starts fast and results need no season code.

>>> import scoring
>>> scoring.parse_typed_mark("65", scoring.MarkScale(0, 100, 5))
65
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scoring.championships import ChampionshipDocument as ChampionshipDocument
    from scoring.championships import ChampionshipRules as ChampionshipRules
    from scoring.championships_reader import read_championship as read_championship
    from scoring.championships_reader import read_championship_rules as read_championship_rules
    from scoring.championships_results import ChampionshipResults as ChampionshipResults
    from scoring.championships_results import compute_championship as compute_championship
    from scoring.class_reader import read_class as read_class
    from scoring.classes import ClassDocument as ClassDocument
    from scoring.classes import Deduction as Deduction
    from scoring.classes import Entry as Entry
    from scoring.classes import Seat as Seat
    from scoring.classes import Sheet as Sheet
    from scoring.classes import TeamRules as TeamRules
    from scoring.descriptions import describe_rules as describe_rules
    from scoring.documents import InvalidDocument as InvalidDocument
    from scoring.documents import Problem as Problem
    from scoring.documents import load_json as load_json
    from scoring.exact import Rounding as Rounding
    from scoring.marks import InvalidMark as InvalidMark
    from scoring.marks import MarkScale as MarkScale
    from scoring.marks import mark_text as mark_text
    from scoring.marks import parse_typed_mark as parse_typed_mark
    from scoring.results import EntryResult as EntryResult
    from scoring.results import Results as Results
    from scoring.results import SheetResult as SheetResult
    from scoring.results import Tie as Tie
    from scoring.results import compute_results as compute_results
    from scoring.rulesets import RuleSet as RuleSet
    from scoring.rulesets import TieStep as TieStep
    from scoring.rulesets import read_rules as read_rules
    from scoring.rulesets import rule_sets as rule_sets
    from scoring.summaries import SheetSummary as SheetSummary
    from scoring.summaries import sheet_summary as sheet_summary
    from scoring.teams import TeamResult as TeamResult
    from scoring.testsheets import Item as Item
    from scoring.testsheets import Test as Test
    from scoring.testsheets import read_test as read_test

_MODULES = {
    "championships": ("ChampionshipDocument", "ChampionshipRules"),
    "championships_reader": ("read_championship", "read_championship_rules"),
    "championships_results": ("ChampionshipResults", "compute_championship"),
    "class_reader": ("read_class",),
    "classes": ("ClassDocument", "Deduction", "Entry", "Seat", "Sheet", "TeamRules"),
    "descriptions": ("describe_rules",),
    "documents": ("InvalidDocument", "Problem", "load_json"),
    "exact": ("Rounding",),
    "marks": ("InvalidMark", "MarkScale", "mark_text", "parse_typed_mark"),
    "results": ("EntryResult", "Results", "SheetResult", "Tie", "compute_results"),
    "rulesets": ("RuleSet", "TieStep", "read_rules", "rule_sets"),
    "summaries": ("SheetSummary", "sheet_summary"),
    "teams": ("TeamResult",),
    "testsheets": ("Item", "Test", "read_test"),
}
_HOMES = {name: f"scoring.{module}" for module, names in _MODULES.items() for name in names}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'scoring' has no attribute {name!r}")
    value: object = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
