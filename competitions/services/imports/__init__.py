"""Shows out of files: all of a file or nothing, every problem by row and column, and the same again changes nothing."""

from competitions.services.imports.classes import import_class_document
from competitions.services.imports.competition import ImportedCompetition, import_competition
from competitions.services.imports.entries import ENTRY_COLUMNS, import_entries
from competitions.services.imports.marks import MARK_COLUMNS, import_marks
from competitions.services.imports.outcomes import OUTCOME_COLUMNS, import_outcomes
from riders.intake import Imported

__all__ = [
    "ENTRY_COLUMNS",
    "MARK_COLUMNS",
    "OUTCOME_COLUMNS",
    "Imported",
    "ImportedCompetition",
    "import_class_document",
    "import_competition",
    "import_entries",
    "import_marks",
    "import_outcomes",
]
