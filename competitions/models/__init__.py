from competitions.models.championships import Championship, ChampionshipChange, ChampionshipClass
from competitions.models.checks import CheckDecision
from competitions.models.classes import ClassChange, CompetitionClass, PanelSeat, RuleSet, Test
from competitions.models.competitions import Competition, CompetitionChange, Judge, OfficeRole
from competitions.models.entries import Entry, EntryChange
from competitions.models.keyings import (
    FirstKeyingSeen,
    KeyingDecision,
    SecondKeying,
    SecondKeyingMode,
    SheetChoice,
)
from competitions.models.recordings import Recording, RecordingChange
from competitions.models.results import ClassResults, PublishedResults, ResultRow
from competitions.models.sheets import Sheet, SheetRevision
from competitions.models.table import PanelShare, TableChange

__all__ = [
    "Championship",
    "ChampionshipChange",
    "ChampionshipClass",
    "CheckDecision",
    "ClassChange",
    "ClassResults",
    "Competition",
    "CompetitionChange",
    "CompetitionClass",
    "Entry",
    "EntryChange",
    "FirstKeyingSeen",
    "Judge",
    "KeyingDecision",
    "OfficeRole",
    "PanelSeat",
    "PanelShare",
    "PublishedResults",
    "Recording",
    "RecordingChange",
    "ResultRow",
    "RuleSet",
    "SecondKeying",
    "SecondKeyingMode",
    "Sheet",
    "SheetChoice",
    "SheetRevision",
    "TableChange",
    "Test",
]
