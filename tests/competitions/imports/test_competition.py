from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest

from competitions.models import Competition, Judge
from competitions.services.exports import competition_document
from competitions.services.imports import import_competition
from competitions.services.results import make_official
from riders.errors import InvalidInput, NotAllowed
from tests.builders import make_pair, make_rule_set, make_test, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def show(**changes: Any) -> dict[str, Any]:
    return {
        "format": "competition/1",
        "id": "linden-autumn",
        "title": "Linden Autumn Days",
        "venue": "Lindenhof",
        "organiser": "Linden Riders",
        "starts_on": "2026-11-14",
        "ends_on": "2026-11-15",
        "time_zone": "Europe/Vienna",
        "association": None,
        "recognised": True,
        "seat_limit": "4.5",
        "movement_limit": "",
        "sheets_signed": True,
        "second_keying": "chosen",
        "second_keying_remarks": True,
        "classes": [
            {
                "number": "3",
                "title": "Novice",
                "level": "novice",
                "division": "open",
                "test": "linden-novice-1",
                "rules": "house-rules",
                "arena": "A",
                "date": "2026-11-14",
                "starts_at": "09:00",
                "interval_seconds": 480,
                "breaks": [{"after": 8, "minutes": 15}],
                "second_keying": "all",
                "panel": [
                    {"seat": "C", "judge": "Ann Orde", "grade": "national"},
                    {"seat": "B", "judge": "Bo Rask", "grade": ""},
                ],
                "teams": {"counting": 3, "method": "sum", "of": "percentage", "drop_out": None},
            }
        ],
    } | changes


@pytest.fixture(autouse=True)
def documents() -> None:
    make_test()
    make_rule_set()


def counts(document: object, *, by: Any = None) -> tuple[int, int, int]:
    summary = import_competition(document, by=by)
    return summary.created, summary.changed, summary.unchanged


def where_of(document: object) -> list[str]:
    with pytest.raises(InvalidInput) as refused:
        import_competition(document, by=None)
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    return [path for path, _ in refused.value.problems]


def test_it_is_set_up_once_and_goes_out_as_it_came_in():
    assert counts(show()) == (2, 0, 0)
    version = Competition.objects.get().classes.get().version
    assert counts(show()) == (0, 0, 2)
    competition = Competition.objects.get()
    assert competition_document(competition) == show()
    assert competition.state == Competition.State.PLANNED
    assert competition.classes.get().version == version


def test_what_is_different_is_changed_and_other_classes_stay():
    import_competition(show(), by=None)
    changed = show(title="Linden Days")
    changed["classes"][0] |= {"title": "Novice open", "panel": [{"seat": "C", "judge": "Cy Dahl", "grade": ""}]}
    assert counts(changed) == (0, 2, 0)
    assert counts(show(classes=[], title="Linden Days")) == (0, 0, 1)
    assert competition_document(Competition.objects.get()) == changed
    assert Judge.objects.count() == 3


def test_keys_that_are_left_out_leave_what_stands_there():
    import_competition(show(), by=None)
    shorter = show()
    for key in ("seat_limit", "movement_limit", "sheets_signed", "second_keying", "second_keying_remarks"):
        del shorter[key]
    del shorter["classes"][0]["teams"]
    del shorter["classes"][0]["second_keying"]
    assert counts(shorter) == (0, 0, 2)
    assert competition_document(Competition.objects.get()) == show()


def test_a_rule_for_teams_is_changed_taken_away_and_refused_with_its_path():
    import_competition(show(), by=None)
    changed = show()
    changed["classes"][0]["teams"] = {"counting": 2, "method": "mean"}
    assert counts(changed) == (0, 1, 1)
    changed["classes"][0]["teams"] = None
    assert counts(changed) == (0, 1, 1)
    assert Competition.objects.get().classes.get().team_rules is None
    changed["classes"][0]["teams"] = {"counting": 0, "method": "best"}
    assert where_of(changed) == ["classes[0].teams.counting", "classes[0].teams.method"]


def test_every_problem_is_named_with_its_path_and_nothing_is_kept():
    bad = deepcopy(show(time_zone="Europe/Nowhere", association="unknown", venue="", starts_on="2026-13-01", vanue="x"))
    bad |= {"seat_limit": "five", "sheets_signed": "yes", "second_keying": "some"}
    bad["classes"].append({**bad["classes"][0], "test": "no-such-test", "rules": None, "starts_at": "9 am"})
    bad["classes"][1] |= {"interval_seconds": 5, "breaks": [{"after": 0}], "panel": [{"seat": ""}, 7]}
    assert set(where_of(bad)) == {
        "time_zone", "association", "venue", "seat_limit",
        "sheets_signed", "second_keying", "starts_on", "vanue", "classes[1].number", "classes[1].test",
        "classes[1].rules", "classes[1].starts_at", "classes[1].interval_seconds", "classes[1].breaks[0].after",
        "classes[1].breaks[0].minutes", "classes[1].panel[0].seat", "classes[1].panel[1]",
    }  # fmt: skip
    assert not Competition.objects.exists()


def test_words_on_prizes_are_refused_because_nothing_keeps_them():
    bad = deepcopy(show())
    bad["classes"][0]["prizes"] = "Rosettes"
    assert where_of(bad) == ["classes[0].prizes"]
    assert not Competition.objects.exists()


def test_what_only_the_services_see_is_named_with_its_path_too():
    bad = show()
    other = {**bad["classes"][0], "number": "4", "date": "2026-12-24"}
    bad["classes"] += [other, {**other, "number": "5", "panel": [{"seat": "C"}, {"seat": "C"}]}]
    assert where_of(bad) == ["classes[1].date", "classes[2].date"]
    assert not Competition.objects.exists()


@pytest.mark.parametrize("document", [None, [], "text", {}, {"format": "class/1"}, 7])
def test_other_documents_are_refused(document):
    where_of(document)


def test_a_class_with_official_results_is_not_changed():
    competition = import_competition(show(), by=None).competition
    found = competition.classes.get()
    entry = found.entries.create(number="1", pair=make_pair(), order=1)
    for seat in "CB":
        mark_sheet(entry, seat)
    make_official(found, by=None, findings_reason="Looked at.")
    assert counts(show()) == (0, 0, 2)
    changed = show()
    changed["classes"][0]["title"] = "Other"
    assert where_of(changed) == ["classes[0]"]


def test_only_its_office_imports_into_a_competition():
    office, stranger = make_user("office"), make_user("stranger")
    import_competition(show(), by=office)
    with pytest.raises(NotAllowed, match="office"):
        import_competition(show(title="Taken over"), by=stranger)
    assert counts(show(title="Renamed"), by=office) == (0, 1, 1)
