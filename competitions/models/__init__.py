from competitions.models.classes import CompetitionClass, PanelSeat, RuleSet, Test
from competitions.models.competitions import Competition, Judge, OfficeRole
from competitions.models.entries import Entry, EntryChange
from competitions.models.results import ClassResults, PublishedResults, ResultRow
from competitions.models.sheets import Sheet, SheetRevision

__all__ = [
    "ClassResults",
    "Competition",
    "CompetitionClass",
    "Entry",
    "EntryChange",
    "Judge",
    "OfficeRole",
    "PanelSeat",
    "PublishedResults",
    "ResultRow",
    "RuleSet",
    "Sheet",
    "SheetRevision",
    "Test",
]
