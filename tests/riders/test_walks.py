"""Long random walks through everything that those who keep a ledger do, with what must hold after each step.

The stored standings are those that the scoring core works out from the ledger, editions stay to the byte, the history
of every score is whole, and merges that are undone, in whatever order, leave everything as it was.
"""

from __future__ import annotations

import csv
import io
import json
from contextlib import suppress
from datetime import date, timedelta
from random import Random
from typing import Any

import pytest
from django.db import transaction

from riders.errors import Conflict, InvalidInput
from riders.models import (
    Horse,
    Membership,
    Merge,
    Pair,
    Rider,
    Score,
    ScoreChange,
    Season,
    SeasonEdition,
)
from riders.selectors.editions import edition_in_force
from riders.selectors.histories import score_history
from riders.selectors.ledger import score_record
from riders.selectors.outlooks import pair_outlook
from riders.selectors.season_lists import standings_csv
from riders.services import standings
from riders.services.closing import close_season, reopen_season
from riders.services.corrections import correct_score, put_back_score, retract_score, version_of
from riders.services.direct_imports import import_scores
from riders.services.matching import decide_name
from riders.services.memberships import (
    MembershipFields,
    add_membership,
    change_membership,
    membership_record,
    remove_membership,
)
from riders.services.merges import merge, undo_merge
from riders.services.renames import rename
from riders.services.standings import store_standings
from tests.builders import make_association, make_season, qualifying_scheme
from tests.riders.test_merges import everything
from tests.riders.test_touched_standings import stored

pytestmark = pytest.mark.django_db

FIRST = date(2026, 10, 1)
SCHEMES: list[dict[str, Any]] = [
    qualifying_scheme(
        id="pairs", eligible=[{"field": "member", "is": True}], require=[{"count": "scores", "at_least": 2}]
    ),
    qualifying_scheme(id="riders", unit="rider", require=[], value={"aggregate": "mean"}, after=[{"places": 2}]),
    qualifying_scheme(id="best-horse", require=[], group_by=[], after=[{"one_per": "rider"}, {"minimum_units": 2}]),
    qualifying_scheme(id="places", require=[], rerank=["class"], score=[{"take": "placing"}], order="ascending"),
]


class Walk:
    """One ledger with its seasons; every method that starts with ``do_`` is a step."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.association = make_association()
        self.seasons = [
            make_season(self.association, scheme=scheme, slug=scheme["id"], title=scheme["id"]) for scheme in SCHEMES
        ]
        self.number = 0
        self.frozen: dict[int, Any] = {}

    def day(self) -> date:
        return FIRST + timedelta(days=self.random.randint(0, 30))

    def some(self, rows: Any) -> Any:
        found = list(rows.order_by("pk"))
        return self.random.choice(found) if found else None

    def ride(self, pair: str, rider: str, horse: str) -> None:
        self.number += 1
        row = {
            "score_id": f"s{self.number}", "pair": pair, "rider": rider, "horse": horse, "level": "novice",
            "date": self.day().isoformat(), "competition": f"c{self.random.randint(1, 4)}",
            "class": str(self.random.randint(1, 3)), "judges": self.random.choice(["A", "A;B"]),
            "percentage": self.random.choice(["60.000", "62.5", "64.000", "66.667", "70.000"]),
            "placing": str(self.random.randint(1, 4)), "starters": "4", "status": "completed", "hors_concours": "false",
        }  # fmt: skip
        text = io.StringIO()
        writer = csv.DictWriter(text, row)
        writer.writeheader()
        writer.writerow(row)
        done = import_scores(text.getvalue(), by=None)
        assert done.posted + done.duplicate == 1

    def do_import_of_a_known_pair(self) -> None:
        pair = self.some(Pair.objects.select_related("rider", "horse"))
        if pair is not None:
            self.ride(pair.key, pair.rider.name, pair.horse.name)

    def do_import_of_a_new_pair(self) -> None:
        self.number += 1
        rider, horse = f"Rider {self.number}", f"Horse {self.number}"
        for kind, name in (("rider", rider), ("horse", horse)):
            decide_name(source="", kind=kind, spelling=name, member=None, by=None)
        self.ride(f"P{self.number}", rider, horse)

    def do_import_under_a_key_that_went(self) -> None:
        done = self.some(Merge.objects.filter(undone_at__isnull=True).exclude(keys={}))
        if done is None:
            return
        key, stayed = self.random.choice(sorted(done.keys.items()))
        pair = Pair.objects.select_related("rider", "horse").filter(pk=stayed).first()
        if pair is not None:
            self.ride(key, pair.rider.name, pair.horse.name)

    def do_merge(self) -> Merge | None:
        model = self.random.choice([Rider, Horse])
        members = list(model.objects.order_by("pk"))
        if len(members) < 2:
            return None
        kept, gone = self.random.sample(members, 2)
        try:
            return merge(kept, gone, by=None, reason=f"merge {kept.pk} and {gone.pk}")
        except Conflict:
            return None

    def do_undo_a_merge(self) -> None:
        done = self.some(Merge.objects.filter(undone_at__isnull=True))
        if done is not None:
            self.undone(done)

    def undone(self, done: Merge) -> bool:
        """Undo a merge, or be told which one comes first."""
        try:
            undo_merge(done, by=None, reason="two after all")
        except Conflict as refused:
            if "Undo that merge first" not in refused.message:
                raise
            return False
        return True

    def do_merges_and_undo_them_in_another_order(self) -> None:
        before, tables = everything(), self.tables()
        merges = [done for done in (self.do_merge() for _ in range(4)) if done is not None]
        while merges:
            self.random.shuffle(merges)
            left = [done for done in merges if not self.undone(done)]
            assert len(left) < len(merges)
            merges = left
        assert everything() == before
        assert self.tables() == tables

    def do_rename(self) -> None:
        member = self.some(self.random.choice([Rider, Horse]).objects)
        if member is not None:
            self.number += 1
            rename(member, name=f"Name {self.number}", before=member.name, by=None, reason="married")

    def do_correct(self) -> None:
        score = self.some(Score.objects)
        if score is None:
            return
        changes = self.random.choice(
            [
                {"percentage": self.random.choice(["59.000", "68.000"])},
                {"date": self.day().isoformat()},
                {"pair": self.some(Pair.objects).key},
            ]
        )
        with suppress(InvalidInput):  # where the score says that already
            correct_score(score, changes=changes, expected_version=version_of(score), by=None, reason="misread")

    def do_retract_or_put_back(self) -> None:
        score = self.some(Score.objects)
        if score is not None:
            act = retract_score if score.retracted_at is None else put_back_score
            act(score, expected_version=version_of(score), by=None, reason="protest")
            assert score_history(score)[0].change.reason == "protest"

    def do_membership(self) -> None:
        held, rider = self.some(Membership.objects), self.some(Rider.objects)
        what = self.random.choice(["add", "add", "end", "remove"])
        if what == "add" and rider is not None:
            self.number += 1
            fields = MembershipFields(number=f"M{self.number}", division="", starts_on=self.day(), ends_on=None)
            add_membership(self.association, member=rider, fields=fields, by=None, reason="joined")
        elif held is not None:
            before = membership_record(held)
            if what == "remove":
                remove_membership(held, before=before, by=None, reason="never joined")
            else:
                ends_on = held.starts_on + timedelta(days=self.random.randint(0, 20))
                fields = MembershipFields(number=held.number, division="x", starts_on=held.starts_on, ends_on=ends_on)
                if membership_record(held)["to"] != ends_on.isoformat():
                    change_membership(held, fields=fields, before=before, by=None, reason="left")

    def do_close_or_reopen(self) -> None:
        season = self.some(Season.objects)
        act = close_season if season.closed_at is None else reopen_season
        act(season, expected_version=season.version, by=None, reason="the year is over")
        for edition in SeasonEdition.objects.all():
            self.frozen.setdefault(edition.pk, self.edition(edition))

    def edition(self, edition: SeasonEdition) -> Any:
        rows = [json.dumps(row.document, sort_keys=True) for row in edition.rows.all()]
        season = edition.season
        text = "".join(standings_csv(season, edition=edition)) if edition_in_force(season) == edition else None
        return [edition.digest, bytes(edition.scores), json.dumps(edition.head), rows, text]

    def tables(self) -> list[Any]:
        return [stored(season) for season in Season.objects.filter(closed_at__isnull=True).order_by("pk")]

    def check(self) -> None:
        for season in Season.objects.filter(closed_at__isnull=True).select_related("scheme"):
            found = stored(season)
            with transaction.atomic(), pytest.MonkeyPatch.context() as patched:
                patched.setattr(standings, "compute_rows", standings.compute_rows_exactly)
                store_standings(season)
                assert found == stored(season), season.slug
                transaction.set_rollback(True)
        for edition in SeasonEdition.objects.all():
            *kept, text = self.frozen[edition.pk]
            *now, text_now = self.edition(edition)
            assert now == kept
            assert text_now in {None, text}

    def check_history(self) -> None:
        for score in Score.objects.select_related("pair__rider", "pair__horse"):
            lines = score_history(score)
            assert lines[-1].change.action == ScoreChange.Action.POSTED
            assert all(line.differences for line in lines[:-1] if line.change.action != ScoreChange.Action.POSTED)
            assert score_record(score)["pair"] == score.pair.key
        pair, season = self.some(Pair.objects), self.some(Season.objects.filter(closed_at__isnull=True))
        if pair is not None and season is not None:
            pair_outlook(pair, season, today=FIRST + timedelta(days=15))


STEPS = [name for name in vars(Walk) if name.startswith("do_")]


@pytest.mark.parametrize("seed", [2, 5])
def test_after_every_step_the_standings_are_those_of_the_ledger_and_editions_stay(seed: int) -> None:
    walk = Walk(seed)
    for name in ["do_import_of_a_new_pair"] * 4 + ["do_import_of_a_known_pair"] * 4 + walk.random.choices(STEPS, k=30):
        getattr(walk, name)()
        walk.check()
    walk.check_history()
    assert Merge.objects.exists()
    assert walk.frozen
    while waiting := list(Merge.objects.filter(undone_at__isnull=True)):
        walk.random.shuffle(waiting)
        assert sum(map(walk.undone, waiting))
        walk.check()
    walk.check_history()
