from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from competitions.models import Competition, CompetitionClass, Entry, EntryChange
from competitions.services.imports import ENTRY_COLUMNS, import_entries
from competitions.services.results import make_official
from riders.errors import InvalidInput
from riders.models import Horse, Pair, Rider
from tests.builders import make_class, make_competition, mark_sheet

pytestmark = pytest.mark.django_db

HEADER = ",".join(ENTRY_COLUMNS)
FIRST = "1,12,1,09:00,Ottilie Brandmair,R1,Quillon,H1,2015,Ada Vell,Green,false"
SECOND = "1,9,2,09:08,Casper Wendt,,Marram,,,,,true"


def file(*rows: str) -> str:
    return "\n".join((HEADER, *rows)) + "\n"


@pytest.fixture
def competition_class() -> CompetitionClass:
    return make_class()


@pytest.fixture
def competition(competition_class: CompetitionClass) -> Competition:
    return competition_class.competition


def counts(competition: Competition, text: str | bytes) -> tuple[int, int, int]:
    summary = import_entries(competition, text, by=None)
    return summary.created, summary.changed, summary.unchanged


def problems_of(competition: Competition, text: str | bytes) -> list[tuple[str, str]]:
    with pytest.raises(InvalidInput) as refused:
        import_entries(competition, text, by=None)
    assert all(sentence.endswith(".") for _, sentence in refused.value.problems)
    return refused.value.problems


def where_of(competition: Competition, text: str | bytes) -> list[str]:
    return [where for where, _ in problems_of(competition, text)]


def test_entries_are_made_once(competition, competition_class):
    version = competition_class.version
    assert counts(competition, file(FIRST, SECOND)) == (2, 0, 0)
    competition_class.refresh_from_db()
    assert competition_class.version == version + 1
    assert counts(competition, file(FIRST, SECOND)) == (0, 0, 2)
    competition_class.refresh_from_db()
    assert competition_class.version == version + 1
    first, second = competition_class.entries.all()
    assert (first.number, first.order, first.team, first.pair.key) == ("12", 1, "Green", "R1-H1")
    assert (first.pair.horse.born, first.pair.horse.owner.name, second.hors_concours) == (2015, "Ada Vell", True)
    assert first.ride_time.astimezone(ZoneInfo("Europe/Vienna")).strftime("%H:%M") == "09:00"
    assert EntryChange.objects.filter(reason="imported").count() == 2


def test_what_is_different_is_changed_and_the_rest_stays(competition, competition_class):
    import_entries(competition, file(FIRST, SECOND), by=None)
    changed = FIRST.replace("Green", "Blue").replace("Ada Vell", "Stall Nord")
    assert counts(competition, file(changed, SECOND)) == (0, 1, 1)
    entry = competition_class.entries.get(number="12")
    assert (entry.team, entry.pair.horse.owner.name, entry.version) == ("Blue", "Stall Nord", 2)
    assert entry.changes.last().before["team"] == "Green"


def test_a_new_owner_alone_moves_the_clock_of_the_class(competition, competition_class):
    import_entries(competition, file(FIRST, SECOND), by=None)
    competition_class.refresh_from_db()
    version = competition_class.version
    assert counts(competition, file(FIRST.replace("Ada Vell", "Stall Nord"))) == (0, 1, 0)
    competition_class.refresh_from_db()
    assert competition_class.version == version + 1


def test_columns_that_are_left_out_leave_what_stands_there(competition, competition_class):
    import_entries(competition, file(FIRST), by=None)
    text = "class,number,rider,rider_registration,horse,horse_registration\n1,12,Ottilie Brandmair,R1,Quillon,H1\n"
    assert counts(competition, text) == (0, 0, 1)
    assert competition_class.entries.get().team == "Green"


def test_orders_and_times_that_are_not_given_are_worked_out(competition, competition_class):
    text = "class,number,rider,horse\n1,5,A,X\n1,4,B,Y\n1,3,C,Z\n"
    import_entries(competition, text, by=None)
    entries = list(competition_class.entries.order_by("order"))
    assert [(entry.number, entry.order) for entry in entries] == [("5", 1), ("4", 2), ("3", 3)]
    zone = ZoneInfo("Europe/Vienna")
    times = [entry.ride_time.astimezone(zone).strftime("%H:%M") for entry in entries]
    assert times == ["09:00", "09:08", "09:16"]
    assert counts(competition, text) == (0, 0, 3)


class TestPeople:
    def test_one_name_without_registration_is_one_person_in_the_competition(self, competition):
        header = "class,number,rider,horse\n"
        import_entries(competition, header + "1,1,Casper Wendt,Marram\n1,2,Casper Wendt,Sedge\n", by=None)
        import_entries(competition, header + "1,3,Casper Wendt,Quill\n", by=None)
        assert Rider.objects.count() == 1
        assert Pair.objects.count() == 3

    def test_the_same_name_in_another_competition_is_somebody_else(self, competition):
        text = "class,number,rider,horse\n1,1,Casper Wendt,Marram\n"
        import_entries(competition, text, by=None)
        elsewhere = make_class(make_competition("other-show"))
        import_entries(elsewhere.competition, text, by=None)
        assert Rider.objects.filter(name="Casper Wendt").count() == 2

    def test_a_registration_is_the_same_person_everywhere(self, competition):
        import_entries(competition, file(FIRST), by=None)
        elsewhere = make_class(make_competition("other-show"))
        import_entries(elsewhere.competition, file(FIRST), by=None)
        assert Pair.objects.count() == 1

    def test_a_registration_that_becomes_known_is_filled_in(self, competition):
        import_entries(competition, file(SECOND), by=None)
        assert counts(competition, file(SECOND.replace("Wendt,,Marram,", "Wendt,R2,Marram,H2"))) == (0, 0, 1)
        assert Rider.objects.get().registration == "R2"
        assert Horse.objects.get().registration == "H2"

    def test_a_registration_with_two_names_is_refused(self, competition):
        other = FIRST.replace("Ottilie Brandmair", "Otto Brandmair").replace("1,12,1,09:00", "1,13,2,09:08")
        where, sentence = problems_of(competition, file(FIRST, other))[0]
        assert where == "row 3, rider_registration"
        assert '"Ottilie Brandmair"' in sentence
        assert '"Otto Brandmair"' in sentence
        assert not Rider.objects.exists()

    def test_a_horse_with_two_birth_years_or_owners_is_refused(self, competition):
        other = FIRST.replace("2015,Ada Vell", "2016,Stall Nord").replace("1,12,1,09:00", "1,13,2,09:08")
        assert where_of(competition, file(FIRST, other)) == ["row 3, horse_born", "row 3, owner"]
        import_entries(competition, file(FIRST), by=None)
        assert where_of(competition, file(FIRST.replace("2015", "2016"))) == ["row 2, horse_born"]

    def test_a_name_of_two_registered_people_does_not_say_who_is_meant(self, competition):
        rows = ["1,1,1,,Casper Wendt,R1,A,,,,,", "1,2,2,,Casper Wendt,R2,B,,,,,", "1,3,3,,Casper Wendt,,C,,,,,"]
        assert where_of(competition, file(*rows)) == ["row 4, rider"]
        assert counts(competition, file(*rows[:2])) == (2, 0, 0)


@pytest.mark.parametrize(
    ("row", "where"),
    [
        (FIRST.replace("1,12", ",12", 1), ["row 3, class"]),
        (FIRST.replace("1,12", "7,12", 1), ["row 3, class"]),
        (FIRST.replace("1,12", "1,", 1), ["row 3, number"]),
        (FIRST.replace("1,12", "1,12345678901", 1), ["row 3, number"]),
        (FIRST.replace("12,1,", "12,0,"), ["row 3, order"]),
        (FIRST.replace("12,1,", "12,first,"), ["row 3, order"]),
        (FIRST.replace("12,1,", "12,2,"), ["row 3, order"]),
        (FIRST.replace("09:00", "9.00 h"), ["row 3, ride_time"]),
        (FIRST.replace("Ottilie Brandmair", ""), ["row 3, rider"]),
        (FIRST.replace("Ottilie Brandmair", "x" * 121), ["row 3, rider"]),
        (FIRST.replace("Quillon", "Qui\x07llon"), ["row 3, horse"]),
        (FIRST.replace("2015", "15"), ["row 3, horse_born"]),
        (FIRST.replace("false", "nein"), ["row 3, hors_concours"]),
        (FIRST.replace("1,12", "1,9", 1), ["row 3, number"]),
        (FIRST.replace("Ada Vell", '"Ada" Vell'), ["row 3"]),
        ("only one cell", ["row 3"]),
        ("7,,0,25:00,,R,,H,x,,,maybe", [
            "row 3, class", "row 3, number", "row 3, order", "row 3, ride_time", "row 3, hors_concours",
            "row 3, rider", "row 3, horse", "row 3, horse_born",
        ]),
    ],
)  # fmt: skip
def test_a_bad_row_refuses_the_file_and_all_that_is_wrong_is_named(competition, row, where):
    found = where_of(competition, file(SECOND, row))
    assert sorted(found) == sorted(where)
    assert not Entry.objects.exists()
    assert not Rider.objects.exists()


def test_an_order_that_another_entry_has_is_refused_and_swapping_is_not(competition):
    import_entries(competition, file(FIRST, SECOND), by=None)
    assert where_of(competition, file(FIRST.replace("12,1,", "12,2,"))) == ["row 2, order"]
    swapped = [FIRST.replace("12,1,09:00", "12,2,09:08"), SECOND.replace("9,2,09:08", "9,1,09:00")]
    assert counts(competition, file(*swapped)) == (0, 2, 0)


def test_official_results_are_not_changed_by_a_file(competition, competition_class):
    import_entries(competition, file(FIRST), by=None)
    mark_sheet(competition_class.entries.get())
    make_official(competition_class, by=None, findings_reason="Looked at.")
    assert counts(competition, file(FIRST)) == (0, 0, 1)
    assert where_of(competition, file(FIRST.replace("Green", "Blue"), SECOND)) == ["row 2, class"]


def test_the_number_of_queries_does_not_grow_with_unchanged_rows(competition, django_assert_max_num_queries):
    rows = [f"1,{n},{n},,Rider {n},R{n},Horse {n},H{n},2015,,," for n in range(1, 41)]
    import_entries(competition, file(*rows), by=None)
    with django_assert_max_num_queries(25):
        import_entries(competition, file(*rows), by=None)


def test_semicolons_and_a_byte_order_mark_are_what_spreadsheets_write(competition):
    text: Any = file(FIRST).replace(",", ";")
    assert counts(competition, ("\ufeff" + text).encode()) == (1, 0, 0)
