from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.apps import apps

from competitions.models import Entry
from competitions.services.entries import add_entry
from competitions.services.results import make_official
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import Horse, Membership, Merge, Pair, Rider, Score, StandingRow
from riders.services import merges
from riders.services.followers import conflicts
from riders.services.ledger import ScoreRow, post_scores
from riders.services.merge_steps import relations_to
from riders.services.merges import merge, plan_merge, undo_merge
from riders.transactions import write_transaction
from tests.builders import make_association, make_class, make_competition, make_pair, make_season, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def post(pair: Pair, key: str, *, competition: str = "elsewhere", day: int = 5, percentage: str = "66.500") -> Score:
    row = ScoreRow(
        key=key,
        source=Score.Source.IMPORT,
        pair=pair,
        date=date(2026, 12, day),
        competition=competition,
        class_name="4",
        level="novice",
        status="completed",
        percentage=percentage,
        hors_concours=False,
    )
    with write_transaction():
        post_scores([row], by=None)
    return Score.objects.get(key=key)


def doubled(n: int = 50) -> Pair:
    """A pair of people without registrations, as a file from elsewhere makes it."""
    rider, horse = Rider.objects.create(name=f"Rider {n}."), Horse.objects.create(name=f"Horse {n}.")
    return Pair.objects.create(key=f"P{n}", rider=rider, horse=horse)


def everything() -> dict[str, list[dict[str, Any]]]:
    """Every row of riders and competitions but the clocks, the merges and what is worked out anew."""
    left_out = {"riders.merge", "riders.standingrow", "riders.standingtable", "riders.season"}
    models = [*apps.get_app_config("riders").get_models(), *apps.get_app_config("competitions").get_models()]
    return {
        model._meta.label_lower: [
            {name: value for name, value in row.items() if name not in {"version", "changed_at"}}
            for row in model._default_manager.order_by("pk").values()
        ]
        for model in models
        if model._meta.label_lower not in left_out
    }


def standings() -> list[tuple[Any, ...]]:
    return list(StandingRow.objects.values_list("unit", "pair", "value", "qualified", "counted", "requirements"))


def test_every_relation_to_a_pair_is_found_those_of_rooms_above_too():
    found = {(model._meta.label_lower, field) for model, field in relations_to(Pair)}
    assert {("competitions.entry", "pair"), ("riders.score", "pair"), ("riders.standingrow", "pair")} <= found
    assert ("riders.namedecision", "rider") in {(m._meta.label_lower, f) for m, f in relations_to(Rider)}


@pytest.mark.parametrize("kind", ["rider", "horse"])
def test_a_merge_moves_everything_and_undoing_restores_exactly(kind: str):
    season = make_season()
    competition_class = make_class(make_competition("linden"), entries=2)
    kept, gone = make_pair(1), doubled()
    Pair.objects.create(key="P51", rider=gone.rider, horse=Horse.objects.create(name="Fen"))
    Pair.objects.create(key="P52", rider=Rider.objects.create(name="Una Lind"), horse=gone.horse)
    Membership.objects.create(
        association=season.association, number="M9", kind="person", rider=gone.rider, starts_on=date(2026, 1, 1)
    )
    Membership.objects.create(
        association=season.association, number="M8", kind="horse", horse=gone.horse, starts_on=date(2026, 1, 1)
    )
    other_class = make_class(competition_class.competition, number="2")
    entry = add_entry(other_class, number="7", pair=gone, by=None)
    mark_sheet(entry, mark=70)
    make_official(other_class, by=None)
    post(gone, "far/1", day=5)
    post(kept, "far/2", competition="third", day=6)
    before, table = everything(), standings()
    done = merge(getattr(kept, kind), getattr(gone, kind), by=None, reason="the same, with a full stop")
    during = everything()
    model = {"rider": Rider, "horse": Horse}[kind]
    assert not model.objects.filter(pk=getattr(gone, f"{kind}_id")).exists()
    held = getattr(kept, kind)
    assert held.pairs.count() == 3
    assert held.memberships.count() == 1
    assert Score.objects.filter(**{f"pair__{kind}": held}).count() == 3
    assert during != before
    undo_merge(done, by=None, reason="two after all")
    assert everything() == before
    assert standings() == table
    done.refresh_from_db()
    assert done.undo_notes == []


def test_pairs_of_the_same_two_become_one_with_its_scores_entries_and_standings():
    season = make_season()
    kept, gone = make_pair(1), doubled()
    post(kept, "a/1", competition="first", day=1, percentage="60.000")
    post(gone, "b/1", competition="second", day=2, percentage="70.000")
    assert season.rows.filter(qualified=True).count() == 0
    merge(kept.horse, gone.horse, by=None, reason="one horse")
    assert Pair.objects.count() == 2
    done = merge(kept.rider, gone.rider, by=None, reason="one rider")
    assert list(Pair.objects.all()) == [kept]
    assert done.keys == {"P50": kept.pk}
    row = season.rows.get()
    assert (row.pair, row.value, row.qualified) == (kept, "65.000", True)


def test_what_was_not_known_is_filled_in_and_emptied_again():
    kept, gone = doubled(60), make_pair(2, user=make_user("ada"))
    done = merge(kept.rider, gone.rider, by=None, reason="registered since")
    kept.rider.refresh_from_db()
    assert (kept.rider.registration, kept.rider.email, kept.rider.user.username) == ("R2", "rider2@example.org", "ada")
    Rider.objects.filter(pk=kept.rider_id).update(email="new@example.org")
    done = undo_merge(done, by=None, reason="no")
    kept.rider.refresh_from_db()
    assert (kept.rider.registration, kept.rider.email, kept.rider.user) == ("", "new@example.org", None)
    assert done.undo_notes == ["Email had been changed since, and was left as it is."]
    gone.rider.refresh_from_db()
    assert gone.rider.registration == "R2"


def test_two_registrations_are_two():
    one, other = make_pair(1), make_pair(2)
    for a, b in ((one.rider, other.rider), (one.horse, other.horse)):
        with pytest.raises(Conflict, match=r"Both \w+ have a registration \(.1 and .2\)"):
            merge(a, b, by=None, reason="a try")
    assert not Merge.objects.exists()


def test_two_years_of_birth_or_two_accounts_are_two():
    one, other = doubled(1), doubled(2)
    Horse.objects.filter(pk=one.horse_id).update(born=2012)
    Horse.objects.filter(pk=other.horse_id).update(born=2014)
    Rider.objects.filter(pk=one.rider_id).update(user=make_user("a"))
    Rider.objects.filter(pk=other.rider_id).update(user=make_user("b"))
    one, other = Pair.objects.get(pk=one.pk), Pair.objects.get(pk=other.pk)
    with pytest.raises(Conflict, match="year of birth"):
        merge(one.horse, other.horse, by=None, reason="a try")
    with pytest.raises(Conflict, match="an account"):
        merge(one.rider, other.rider, by=None, reason="a try")


def test_both_entered_in_one_class_are_refused_and_named():
    competition_class = make_class(entries=1)
    kept, gone = make_pair(1), doubled()
    add_entry(competition_class, number="9", pair=gone, by=None)
    with pytest.raises(Conflict, match=r"class 1 of Linden Autumn Days \(numbers 1 and 9\)"):
        merge(kept.horse, gone.horse, by=None, reason="a try")
    merge(kept.rider, gone.rider, by=None, reason="a rider may ride two horses in a class")
    assert Entry.objects.filter(pair__rider=kept.rider).count() == 2
    assert conflicts([kept.pk], [kept.pk])


def test_two_scores_of_one_class_are_refused_and_named():
    kept, gone = make_pair(1), doubled()
    post(kept, "a/1")
    post(gone, "a/2")
    with pytest.raises(Conflict, match=r"a score of class 4 at elsewhere on 2026-12-05 \(a/1 and a/2\)"):
        merge(kept.horse, gone.horse, by=None, reason="a try")


def test_pairs_merge_when_rider_and_horse_are_the_same_only():
    kept, gone = make_pair(1), doubled()
    with pytest.raises(Conflict, match="Merge the riders first"):
        merge(kept, gone, by=None, reason="a try")
    with pytest.raises(Conflict, match="the same row"):
        merge(kept, kept, by=None, reason="a try")
    with pytest.raises(Conflict, match="cannot be one"):
        merge(kept.rider, gone.horse, by=None, reason="a try")


def test_a_reason_is_owed():
    kept, gone = make_pair(1), doubled()
    for reason in ("", "  ", "x" * 301, "a\x00b"):
        with pytest.raises(InvalidInput):
            merge(kept.rider, gone.rider, by=None, reason=reason)


def test_a_class_is_shown_anew():
    competition_class = make_class(entries=2)
    gone = doubled()
    entry = add_entry(competition_class, number="9", pair=gone, by=None)
    competition_class.refresh_from_db()
    before = competition_class.version
    merge(Rider.objects.create(name="Una Lind"), gone.rider, by=None, reason="misspelt")
    competition_class.refresh_from_db()
    assert competition_class.version == before + 1
    assert Entry.objects.get(pk=entry.pk).version == entry.version + 1


def test_merges_that_build_on_each_other_are_undone_in_turn():
    one, two, three = doubled(1), doubled(2), doubled(3)
    first = merge(one.rider, two.rider, by=None, reason="first")
    second = merge(three.rider, one.rider, by=None, reason="second")
    with pytest.raises(Conflict, match="Undo that merge first"):
        undo_merge(first, by=None, reason="no")
    undo_merge(second, by=None, reason="no")
    undo_merge(first, by=None, reason="no")
    assert {pair.rider_id for pair in Pair.objects.all()} == {one.rider_id, two.rider_id, three.rider_id}
    with pytest.raises(NotAllowed, match="undone already"):
        undo_merge(first, by=None, reason="no")


def test_two_merges_into_one_are_undone_in_any_order():
    one, two, three = doubled(1), doubled(2), doubled(3)
    first = merge(one.rider, two.rider, by=None, reason="first")
    merge(one.rider, three.rider, by=None, reason="second")
    undo_merge(first, by=None, reason="no")
    two.refresh_from_db()
    three.refresh_from_db()
    assert two.rider.name == "Rider 2."
    assert three.rider_id == one.rider_id


def test_what_came_since_stays_and_what_was_changed_since_is_told():
    kept, gone = make_pair(1), doubled()
    moved = post(gone, "a/1", day=1)
    Horse.objects.filter(pk=gone.horse_id).update(name="Horse 1")
    merge(kept.horse, gone.horse, by=None, reason="one horse")
    done = merge(kept.rider, gone.rider, by=None, reason="one rider")
    late = post(kept, "a/2", day=2)
    Score.objects.filter(pk=moved.pk).update(pair=doubled(70))
    done = undo_merge(done, by=None, reason="two")
    late.refresh_from_db()
    assert late.pair == kept
    assert done.undo_notes == ["1 of 1 score had been changed or removed since, and stayed as found."]


def test_nothing_is_put_back_onto_something_new():
    kept, gone = doubled(1), make_pair(2)
    done = merge(kept.horse, gone.horse, by=None, reason="one horse")
    Horse.objects.filter(pk=kept.horse_id).update(registration="")
    Horse.objects.create(name="Other", registration="H2")
    before = everything()
    with pytest.raises(Conflict, match="cannot be put back"):
        undo_merge(done, by=None, reason="two")
    assert everything() == before


def test_closed_seasons_keep_their_rows():
    season = make_season()
    kept, gone = make_pair(1), doubled()
    post(gone, "a/1")
    row = season.rows.get()
    season.closed_at = season.computed_at or "2027-10-01T00:00:00Z"
    season.save()
    merge(kept.horse, gone.horse, by=None, reason="one horse")
    merge(kept.rider, gone.rider, by=None, reason="one rider")
    row.refresh_from_db()
    assert (row.unit, row.pair) == ("P50", kept)


def test_the_plan_says_what_would_be_moved():
    kept, gone = make_pair(1), doubled()
    make_association()
    post(gone, "a/1")
    add_entry(make_class(), number="4", pair=gone, by=None)
    plan = plan_merge(kept.rider, gone.rider)
    assert plan.moved == (("pair", 1),)
    merge(kept.rider, gone.rider, by=None, reason="one rider")
    plan = plan_merge(kept.horse, Horse.objects.get(pk=gone.horse_id))
    assert dict(plan.moved) == {"entry": 1, "pair": 1, "score": 1}
    assert plan.conflicts == ()


def test_a_row_that_went_meanwhile_is_told():
    kept, gone = make_pair(1), doubled()
    merge(kept.rider, gone.rider, by=None, reason="one rider")
    with pytest.raises(Conflict, match="not there any more"):
        merge(kept.rider, gone.rider, by=None, reason="once more")
    assert merges.Merge.objects.count() == 1
