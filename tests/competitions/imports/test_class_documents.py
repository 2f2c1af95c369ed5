from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest

import scoring
from competitions.models import CompetitionClass, Entry, Sheet
from competitions.selectors.documents import class_document
from competitions.services.documents import save_test
from competitions.services.entries import set_outcome
from competitions.services.imports import import_class_document
from competitions.services.results import make_official
from riders.errors import InvalidInput, NotAllowed
from tests.builders import make_class, make_competition, make_test_document, mark_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def keyed() -> CompetitionClass:
    """Return a class with all that a document can hold: marks, given results, outcomes."""
    found = make_class(make_competition("keyed-elsewhere"), seats="CB", entries=4)
    first, second, third, _ = found.entries.all()
    for seat, mark in (("C", 65), ("B", 70)):
        mark_sheet(first, seat, mark=mark)
    mark_sheet(second, "C", marks={}, given_result={"percentage": "67.500"})
    mark_sheet(second, "B", mark=60)
    mark_sheet(third, "C", marks={"1": 50})
    deduction = {"off": "sheet-points", "amount": "2", "seat": None, "reason": "whip"}
    set_outcome(first, expected_version=None, by=None, errors=1, deductions=[deduction], team="Green")
    set_outcome(third, expected_version=None, by=None, status="retired", hors_concours=True)
    return found


@pytest.fixture
def here() -> CompetitionClass:
    return make_class(seats="CB", entries=4)


def counts(found: CompetitionClass, document: object, **options: Any) -> tuple[int, int, int]:
    summary = import_class_document(found, document, by=None, **options)
    return summary.created, summary.changed, summary.unchanged


def problems_of(found: CompetitionClass, document: object) -> list[tuple[str, str]]:
    with pytest.raises(InvalidInput) as refused:
        import_class_document(found, document, by=None)
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    return refused.value.problems


def computed(found: CompetitionClass) -> Any:
    found.results.refresh_from_db()
    assert found.results.problem == ""
    return {**found.results.document, "class": ""}


def test_a_class_keyed_elsewhere_comes_out_the_same_here(keyed, here):
    document = class_document(keyed)
    assert counts(here, document) == (3, 0, 0)
    here.refresh_from_db()
    assert {**class_document(here), "id": ""} == {**document, "id": ""}
    assert computed(here) == computed(keyed)
    version = here.version
    assert counts(here, document) == (0, 0, 3)
    here.refresh_from_db()
    assert here.version == version


def test_other_marks_are_problems_unless_replacing(keyed, here):
    document = class_document(keyed)
    import_class_document(here, document, by=None)
    changed = deepcopy(document)
    changed["entries"][0]["sheets"]["C"]["marks"]["2"] = "8"
    changed["entries"][1]["sheets"]["C"]["percentage"] = "68.000"
    assert [path for path, _ in problems_of(here, changed)] == [
        "entries[0].sheets.C.marks.2",
        "entries[1].sheets.C",
    ]
    assert counts(here, changed, replace=True) == (0, 2, 1)
    assert {**class_document(here), "id": ""} == {**changed, "id": ""}
    assert Sheet.objects.get(entry__competition_class=here, entry__number="1", seat__seat="C").marks["2"] == 80


def test_a_document_of_another_test_panel_or_list_is_refused(keyed):
    save_test(make_test_document(id="other-test"))
    other = make_class(seats="CH", entries=1, test=save_test(make_test_document(id="other-test")))
    paths = [path for path, _ in problems_of(other, class_document(keyed))]
    assert paths == ["test", "panel", "entries[1].number", "entries[2].number"]


def test_what_the_document_itself_gets_wrong_is_named_with_its_path(keyed, here):
    document = class_document(keyed)
    document["entries"][0]["sheets"]["C"]["marks"]["1"] = "10.3"
    document["entries"][2]["statuss"] = "x"
    paths = [path for path, _ in problems_of(here, document)]
    assert "entries[0].sheets.C.marks.1" in paths
    assert "entries[2].statuss" in paths
    assert not Sheet.objects.filter(entry__competition_class=here).exists()


def test_teams_are_no_rule_of_classes_here(keyed, here):
    document = class_document(keyed) | {"teams": {"counting": 2, "method": "sum"}}
    assert [path for path, _ in problems_of(here, document)] == ["teams"]


def test_official_results_are_not_changed(keyed, here):
    document = class_document(keyed)
    import_class_document(here, document, by=None)
    set_outcome(here.entries.get(number="4"), expected_version=None, by=None, status=Entry.Status.NO_SHOW)
    make_official(here, by=None, findings_reason="Looked at.")
    assert counts(here, document) == (0, 0, 3)
    document["entries"][0]["errors"] = 2
    with pytest.raises(NotAllowed, match="official"):
        import_class_document(here, document, by=None)


def test_moments_of_a_recording_come_along_and_count_for_nothing(keyed, here):
    first = keyed.entries.get(number="1")
    mark_sheet(first, "C", marks={}, times={"1": 83400, "2": 90000}, limited=["2"])
    plain, document = class_document(keyed), class_document(keyed, moments=True)
    sheet = document["entries"][0]["sheets"]["C"]
    assert (sheet["x-times"], sheet["x-limited"]) == ({"1": "83.4", "2": "90"}, ["2"])
    assert "x-times" not in plain["entries"][0]["sheets"]["C"]
    results = [scoring.compute_results(scoring.read_class(found)) for found in (document, plain)]
    assert results[0] == results[1]
    assert counts(here, document) == (3, 0, 0)
    taken = Sheet.objects.get(entry__competition_class=here, entry__number="1", seat__seat="C")
    assert (taken.times, taken.limited) == ({"1": 83400, "2": 90000}, ["2"])
    assert counts(here, document) == (0, 0, 3)
    sheet["x-times"]["1"] = "84"
    assert counts(here, document) == (0, 1, 2)
    taken.refresh_from_db()
    assert (taken.times["1"], taken.marks["1"]) == (84000, 65)


@pytest.mark.parametrize(
    "extra",
    [
        {"x-times": {"1": "83.4005"}},
        {"x-times": {"1": "soon"}},
        {"x-times": {"1": None}},
        {"x-times": {"1": "-1"}},
        {"x-times": {"1": "90000"}},
        {"x-times": {"99": "1"}},
        {"x-times": ["1"]},
        {"x-limited": "1"},
        {"x-limited": [1]},
        {"x-limited": ["99"]},
    ],
)
def test_moments_that_cannot_be_are_problems_with_their_path(keyed, here, extra):
    document = class_document(keyed)
    document["entries"][0]["sheets"]["C"] |= extra
    problems = problems_of(here, document)
    assert len(problems) == 1
    assert problems[0][0].startswith("entries[0].sheets.C.x-"), problems
    assert not Sheet.objects.filter(entry__competition_class=here).exists()
