"""What goes out comes in the same: a show exported, imported into an empty database and exported again."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import models

from competitions.models import (
    ClassChange,
    ClassResults,
    Competition,
    CompetitionClass,
    Entry,
    EntryChange,
    Judge,
    PublishedResults,
    ResultRow,
    RuleSet,
    Sheet,
    SheetRevision,
    Test,
)
from competitions.selectors.documents import class_document
from competitions.services.documents import save_rule_set, save_test
from competitions.services.entries import set_in_ring, set_outcome
from competitions.services.exports import competition_document, entries_csv, marks_csv, outcomes_csv
from competitions.services.imports import (
    import_class_document,
    import_competition,
    import_entries,
    import_marks,
    import_outcomes,
)
from riders.models import Horse, Owner, Pair, Rider
from tests.builders import make_class, make_pair, mark_sheet
from tests.builders import make_competition as make_show

pytestmark = pytest.mark.django_db

TRICKY = '=1+1; -more "bend", \'tis\nthe second line\t\u0160a\u0142\u0119'


def dumped(competition: Competition) -> dict[str, Any]:
    """Return everything that can be exported of a show."""
    classes = list(competition.classes.order_by("number"))
    return {
        "tests": list(Test.objects.order_by("key").values_list("document", flat=True)),
        "rules": list(RuleSet.objects.order_by("key").values_list("document", flat=True)),
        "competition": competition_document(competition),
        "entries": "".join(entries_csv(competition)),
        "marks": "".join(marks_csv(competition)),
        "outcomes": "".join(outcomes_csv(competition)),
        "classes": [class_document(found) for found in classes],
        "results": [found.results.document for found in classes],
    }


def emptied() -> None:
    everything: list[type[models.Model]] = [
        ResultRow, ClassResults, PublishedResults, SheetRevision, Sheet, EntryChange, Entry, ClassChange,
        CompetitionClass, Competition, Judge, Test, RuleSet, Pair, Rider, Horse, Owner,
    ]  # fmt: skip
    for model in everything:
        model._default_manager.all().delete()


def loaded(show: dict[str, Any], *, marks: bool) -> Competition:
    for document in show["tests"]:
        save_test(document)
    for document in show["rules"]:
        save_rule_set(document)
    competition = import_competition(json.loads(json.dumps(show["competition"])), by=None).competition
    import_entries(competition, show["entries"].encode(), by=None)
    if marks:
        import_outcomes(competition, show["outcomes"], by=None)
        import_marks(competition, show["marks"], by=None)
    else:
        for found, document in zip(competition.classes.order_by("number"), show["classes"], strict=True):
            import_class_document(found, json.loads(json.dumps(document)), by=None)
    return competition


def a_show() -> Competition:
    judge = Judge.objects.create(name="Ann Orde", grade="national")
    competition = make_show()
    first = make_class(competition, seats="CBE", entries=5, judges={"C": judge})
    make_class(competition, number="2", title="Second", starts_at=None, breaks=[{"after": 2, "minutes": 10}])
    entries = list(first.entries.all())
    second = competition.classes.get(number="2")
    second.entries.create(number="07a", pair=make_pair(9, rider="-Ann", horse='@"Quote", the horse'), order=1)
    for seat in "CBE":
        mark_sheet(entries[0], seat, mark=65, remarks={"1": TRICKY, "G1": "+ good"}, overall_remarks="=" + TRICKY)
        mark_sheet(entries[1], seat, mark=70, signed=seat != "C")
    mark_sheet(entries[2], "B", marks={"1": 60})
    deductions = [
        {"off": "sheet-points", "amount": "2", "seat": "B", "reason": "whip"},
        {"off": "total-percentage", "amount": "0.5", "seat": None, "reason": ""},
    ]
    set_outcome(entries[0], expected_version=None, by=None, errors=1, deductions=deductions, team="Green")
    set_outcome(entries[2], expected_version=None, by=None, status="retired", reason="@ the halt")
    set_outcome(entries[3], expected_version=None, by=None, status="withdrawn", hors_concours=True)
    set_in_ring(first, entry=entries[4], by=None)
    return competition


def test_a_show_comes_back_from_its_files_as_it_was():
    show = dumped(a_show())
    assert show["marks"].count("\r\n") > 40
    emptied()
    assert dumped(loaded(show, marks=True)) == show


def test_a_show_comes_back_from_its_class_documents_but_for_remarks_and_reasons():
    """``class/1`` holds what is computed; the remarks and the office's reasons travel in the files."""
    show = dumped(a_show())
    emptied()
    again = dumped(loaded(show, marks=False))
    for part in ("tests", "rules", "competition", "entries", "classes"):
        assert again[part] == show[part], part
    assert again["results"] == show["results"]
    assert "@ the halt" in show["outcomes"]


def test_a_second_import_of_an_export_says_that_nothing_changes():
    competition = a_show()
    show = dumped(competition)
    versions = list(competition.classes.values_list("version", flat=True))
    assert import_competition(show["competition"], by=None).unchanged == 3
    assert import_entries(competition, show["entries"], by=None).unchanged == 6
    assert import_outcomes(competition, show["outcomes"], by=None).unchanged == 4
    marks = import_marks(competition, show["marks"], by=None)
    assert (marks.created, marks.changed) == (0, 0)
    assert list(competition.classes.values_list("version", flat=True)) == versions


def test_cells_that_a_spreadsheet_would_run_are_guarded():
    competition = a_show()
    assert ",'-Ann," in "".join(entries_csv(competition))
    lines = "".join(marks_csv(competition))
    assert ",'+ good" in lines
    assert not any(cell.startswith(("=", "+", "@")) for cell in lines.split(","))
