from __future__ import annotations

import pytest
from django.urls import reverse

from competitions.services.entries import add_entry
from competitions.services.imports import import_entries
from competitions.services.numbers import number_fault
from riders.errors import InvalidInput
from tests.builders import make_class, make_pair


@pytest.mark.parametrize("number", ["1", "12a", "007", "A-3", "4.2", "Ж12", "x" * 10])
def test_what_can_be_a_number_can_stand_in_an_address(number):
    assert number_fault(number, what="an entry") == ""
    assert reverse("desk-sheet", args=["show", number, number, number])


@pytest.mark.parametrize(
    "number", ["", "1/2", "..", ".", "-", "a b", "%2F", "?x", "#1", "office", "Rows", "x" * 11, "\n", "1\x00"]
)
def test_what_would_break_an_address_is_no_number(number):
    assert "cannot be the number of an entry" in number_fault(number, what="an entry")


@pytest.mark.django_db
def test_no_way_in_takes_such_a_number():
    competition_class = make_class()
    with pytest.raises(InvalidInput) as by_hand:
        add_entry(competition_class, number="1/2", pair=make_pair(1), by=None)
    assert by_hand.value.problems[0][0] == "number"
    with pytest.raises(InvalidInput) as by_file:
        import_entries(
            competition_class.competition, "class,number,rider,horse\n1,1/2,Marit Fjelldal,Quillon\n", by=None
        )
    assert by_file.value.problems[0][0] == "row 2, number"
    for fields in ({"number": "1/2"}, {"number": "2", "seats": "/"}):
        with pytest.raises(InvalidInput):
            make_class(competition_class.competition, **fields)
