from __future__ import annotations

import pytest

from riders.errors import InvalidInput
from riders.models import Horse, Pair, Rider
from riders.services.people import find_or_create_horse, find_or_create_pair, find_or_create_rider

pytestmark = pytest.mark.django_db


def test_a_registration_finds_the_same_rider_again():
    rider = find_or_create_rider(name="Ottilie Brandmair", registration="R7")
    assert find_or_create_rider(name="Ottilie Brandmair", registration="R7") == rider


def test_a_registration_of_another_name_is_refused_and_nobody_is_renamed():
    find_or_create_rider(name="Ottilie Brandmair", registration="R7")
    with pytest.raises(
        InvalidInput, match='belongs to the rider "Ottilie Brandmair", but here stands "Otto Brandmair"'
    ):
        find_or_create_rider(name="Otto Brandmair", registration="R7")
    assert Rider.objects.get().name == "Ottilie Brandmair"


def test_a_name_alone_never_merges_people_across_shows():
    first = find_or_create_rider(name="Casper Wendt")
    assert find_or_create_rider(name="Casper Wendt") != first
    assert find_or_create_rider(name="Casper Wendt", among=Rider.objects.none()) != first


def test_a_name_alone_is_the_same_person_among_those_that_are_named():
    first = find_or_create_rider(name="Casper Wendt")
    assert find_or_create_rider(name="Casper Wendt", among=Rider.objects.all()) == first


def test_namesakes_are_not_guessed_between():
    for registration in ("R1", "R2"):
        find_or_create_rider(name="Casper Wendt", registration=registration)
    with pytest.raises(InvalidInput, match="Several riders are called"):
        find_or_create_rider(name="Casper Wendt", among=Rider.objects.all())


def test_what_is_learnt_of_a_horse_is_kept_and_its_owner_may_change():
    find_or_create_horse(name="Quillon", registration="H1")
    find_or_create_horse(name="Quillon", registration="H1", born=2015, owner="Ada Vell")
    horse = find_or_create_horse(name="Quillon", registration="H1", owner="Stall Nord")
    assert (horse.born, str(horse.owner)) == (2015, "Stall Nord")
    assert Horse.objects.count() == 1


def test_another_year_of_birth_is_refused():
    find_or_create_horse(name="Quillon", registration="H1", born=2015)
    with pytest.raises(InvalidInput, match="known as born in 2015, but here stands 2016"):
        find_or_create_horse(name="Quillon", registration="H1", born=2016)


def test_a_pair_is_named_by_its_registrations_or_by_a_key_of_its_own():
    rider, horse = Rider.objects.create(name="A", registration="R1"), Horse.objects.create(name="B", registration="H1")
    assert find_or_create_pair(rider, horse).key == "R1-H1"
    assert find_or_create_pair(rider, horse, key="other") == Pair.objects.get()
    nameless = find_or_create_pair(Rider.objects.create(name="A"), horse)
    assert nameless.key.startswith("pair-")
    assert find_or_create_pair(Rider.objects.create(name="C"), horse, key="P104").key == "P104"


def test_keys_that_would_read_alike_stay_apart():
    """``A-1`` with ``B`` and ``A`` with ``1-B`` would both be ``A-1-B``."""
    keys = set()
    for rider, horse in (("A-1", "B"), ("A", "1-B")):
        pair = find_or_create_pair(
            Rider.objects.create(name="x", registration=rider), Horse.objects.create(name="y", registration=horse)
        )
        keys.add(pair.key)
    assert len(keys) == 2
