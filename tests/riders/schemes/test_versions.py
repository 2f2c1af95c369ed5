"""Versions of a scheme, drafts of one person, and giving a season another version."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import ProtectedError
from django.utils import timezone

from riders import policy
from riders.errors import Conflict, InvalidInput, NotAllowed
from riders.models import Scheme, SchemeChange, SchemeDraft, Season, SeasonSchemeChange
from riders.services import scheme_switches
from riders.services.associations import association_document, import_association
from riders.services.rebuilds import run_rebuild
from riders.services.scheme_drafts import discard_draft, go_on_from, keep_draft, open_draft, save_draft, start_draft
from riders.services.scheme_switches import switch_season
from riders.services.scheme_versions import save_scheme, save_version
from riders.services.standings import rebuild_standings
from tests import builders
from tests.builders import make_association, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper():
    return make_user("keeper")


@pytest.fixture
def association(keeper):
    return make_association(keeper=keeper)


@pytest.fixture
def season(association):
    return make_season(association)


def saved(association, by, *, based_on=1, reason="decided by the meeting", **changes):
    return save_version(qualifying_scheme(**changes), association=association, based_on=based_on, by=by, reason=reason)


class TestVersions:
    def test_a_change_is_the_next_version_with_who_when_and_why(self, association, keeper, season):
        before = timezone.now()
        scheme = saved(association, keeper, decimals=1)
        assert (scheme.key, scheme.version) == ("qualifying-average", 2)
        change = SchemeChange.objects.get(scheme=scheme)
        assert (change.by, change.association, change.reason) == (keeper, association, "decided by the meeting")
        assert before <= change.at <= timezone.now() + timedelta(seconds=1)
        season.refresh_from_db()
        assert season.scheme.version == 1
        assert season.scheme.document == qualifying_scheme()

    def test_the_second_of_two_to_save_is_told_and_sees_what_was_saved(self, association, keeper, season):
        other = make_user("other")
        builders.AssociationRole.objects.create(user=other, association=association)
        first = saved(association, keeper, decimals=1)
        with pytest.raises(Conflict, match="Version 2 was saved by keeper after version 1") as refused:
            saved(association, other, decimals=2)
        assert refused.value.current == first
        assert Scheme.objects.count() == 2

    def test_the_same_again_and_a_missing_reason_are_refused(self, association, keeper, season):
        with pytest.raises(InvalidInput, match="exactly this already"):
            saved(association, keeper)
        with pytest.raises(InvalidInput, match="reason"):
            saved(association, keeper, decimals=1, reason=" ")
        assert Scheme.objects.count() == 1

    def test_a_taken_id_and_a_version_of_nothing_are_refused(self, association, keeper, season):
        with pytest.raises(Conflict, match="is taken"):
            saved(association, keeper, based_on=0, decimals=1)
        with pytest.raises(InvalidInput, match="There is no scheme"):
            saved(association, keeper, id="other")

    @pytest.mark.parametrize(
        ("changes", "where"),
        [
            ({"title": "x" * 201}, "title"),
            ({"title": "a\x00b"}, "title"),
            ({"id": "y" * 81}, "id"),
            ({"sources": ["a\x00b"]}, "document"),
            ({"mode": "guess"}, "mode"),
        ],
    )
    def test_what_no_database_can_keep_is_refused_in_a_sentence(self, association, keeper, changes, where):
        with pytest.raises(InvalidInput) as refused:
            saved(association, keeper, based_on=0, **changes)
        assert where in refused.value.fields

    def test_a_scheme_of_another_association_is_not_added_to(self, association, season):
        stranger = make_user("stranger")
        elsewhere = make_association("moor", keeper=stranger)
        with pytest.raises(NotAllowed, match="another association"):
            saved(elsewhere, stranger, decimals=1)
        with pytest.raises(NotAllowed, match="another association"):
            save_scheme(qualifying_scheme(decimals=1), by=stranger)
        assert saved(elsewhere, stranger, based_on=0, id="moor-average").version == 1

    def test_policy_of_versions_by_role(self, association, keeper, season):
        scheme = season.scheme
        stranger = make_user("stranger")
        make_association("moor", keeper=stranger)
        staff, nobody = make_user("staff", is_staff=True), make_user("nobody")
        assert [policy.can(user, "change", scheme) for user in (keeper, staff, stranger, nobody)] == [
            True,
            True,
            False,
            False,
        ]
        free = save_scheme(qualifying_scheme(id="free"))
        assert [policy.can(user, "change", free) for user in (keeper, staff, stranger, nobody)] == [
            True,
            True,
            True,
            False,
        ]

    def test_no_version_that_anything_stands_on_can_be_deleted(self, association, keeper, season):
        with pytest.raises(ProtectedError):
            season.scheme.delete()
        later = saved(association, keeper, decimals=1)
        with pytest.raises(ProtectedError):
            later.delete()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("based_on", [0, 1])
def test_of_several_who_save_at_once_one_does_and_the_others_are_told(based_on):
    association = make_association(keeper=make_user("keeper"))
    if based_on:
        save_scheme(qualifying_scheme())
    begin = threading.Barrier(4)

    def save(decimals: int) -> str:
        try:
            begin.wait(timeout=30)
            saved(association, None, based_on=based_on, decimals=decimals)
        except Conflict:
            return "told"
        finally:
            connection.close()
        return "saved"

    with ThreadPoolExecutor(4) as threads:
        outcomes = list(threads.map(save, [4, 5, 6, 7]))
    assert sorted(outcomes) == ["saved", "told", "told", "told"]
    assert Scheme.objects.count() == based_on + 1


class TestSwitching:
    def test_it_is_noted_and_the_standings_are_worked_out_anew(self, association, keeper, season):
        for n, percentage in enumerate(("64.000", "70.000"), start=1):
            post(row(1, key=f"s{n}", competition=f"show-{n}", percentage=percentage))
        rebuild_standings(season)
        assert season.rows.get().value == "67.000"
        best = saved(association, keeper, value={"take": {"best": 1}, "aggregate": "mean"})
        assert switch_season(season, to=best, instead_of=season.scheme, by=keeper, reason="best one counts") is None
        assert season.rows.get().value == "70.000"
        change = SeasonSchemeChange.objects.get(season=season)
        assert (change.before.version, change.after.version, change.by) == (1, 2, keeper)
        season.refresh_from_db()
        assert season.scheme == best

    def test_a_long_ledger_is_left_to_the_queue_and_the_season_switches_when_it_is_done(
        self, association, keeper, season, monkeypatch
    ):
        for n in (1, 2):
            post(row(1, key=f"s{n}", competition=f"show-{n}", percentage=f"6{n}.000"))
        rebuild_standings(season)
        monkeypatch.setattr(scheme_switches, "MOST_AT_ONCE", 1)
        best = saved(association, keeper, value={"take": {"best": 1}, "aggregate": "mean"})
        under_way = switch_season(season, to=best, instead_of=season.scheme, by=keeper, reason="best one counts")
        assert under_way is not None
        season.refresh_from_db()
        assert (season.scheme.version, season.rows.get().value) == (1, "61.500")
        monkeypatch.setattr(scheme_switches, "MOST_AT_ONCE", 20_000)
        with pytest.raises(Conflict, match="just now"):
            switch_season(season, to=best, instead_of=season.scheme, by=keeper, reason="again")
        done = run_rebuild(under_way.pk)
        assert done is not None
        assert done.state == "done", done
        season.refresh_from_db()
        assert (season.scheme, season.rows.get().value) == (best, "62.000")
        assert SeasonSchemeChange.objects.get().reason == "best one counts"

    def test_a_closed_season_keeps_its_scheme(self, association, keeper, season):
        later = saved(association, keeper, decimals=1)
        Season.objects.filter(pk=season.pk).update(closed_at=timezone.now())
        with pytest.raises(NotAllowed, match="closed"):
            switch_season(season, to=later, instead_of=season.scheme, by=keeper, reason="too late")
        season.refresh_from_db()
        assert season.scheme.version == 1
        assert not SeasonSchemeChange.objects.exists()

    def test_the_second_of_two_to_switch_is_told(self, association, keeper, season):
        two = saved(association, keeper, decimals=1)
        three = saved(association, keeper, based_on=2, decimals=2)
        seen = season.scheme
        switch_season(season, to=two, instead_of=seen, by=keeper, reason="decided")
        with pytest.raises(Conflict, match="meanwhile"):
            switch_season(season, to=three, instead_of=seen, by=keeper, reason="decided")
        with pytest.raises(InvalidInput, match="already"):
            switch_season(season, to=two, instead_of=seen, by=keeper, reason="decided")

    def test_importing_the_association_again_leaves_the_version_and_notes_another_scheme(
        self, association, keeper, season
    ):
        saved(association, keeper, decimals=1)
        document = association_document(association)
        import_association(document, by=keeper)
        season.refresh_from_db()
        assert season.scheme.version == 1
        save_scheme(qualifying_scheme(id="other"))
        document["seasons"][0]["scheme"] = "other"
        import_association(document, by=keeper)
        season.refresh_from_db()
        assert season.scheme.key == "other"
        assert SeasonSchemeChange.objects.get().reason == "the association's document was imported"


class TestDrafts:
    def test_one_is_kept_for_each_person_and_scheme(self, association, keeper, season):
        draft = open_draft(season.scheme, association=association, by=keeper)
        keep_draft(draft, {"anything": ["half", None]}, seen=1)
        again = open_draft(season.scheme, association=association, by=keeper)
        assert again.pk == draft.pk
        assert again.document == {"anything": ["half", None]}
        assert open_draft(season.scheme, association=association, by=make_user("other")).pk != draft.pk
        discard_draft(again)
        assert not SchemeDraft.objects.filter(by=keeper).exists()

    def test_two_windows_of_one_person_overwrite_nothing_unseen(self, association, keeper, season):
        draft = open_draft(season.scheme, association=association, by=keeper)
        keep_draft(draft, {"window": 1}, seen=1)
        with pytest.raises(Conflict) as refused:
            keep_draft(draft, {"window": 2}, seen=1)
        assert refused.value.current.document == {"window": 1}
        assert keep_draft(draft, {"window": 1}, seen=1).version == 2
        discard_draft(draft)
        with pytest.raises(Conflict, match="thrown away"):
            keep_draft(draft, {"window": 1}, seen=2)

    def test_it_is_saved_as_the_next_version_and_is_then_done_with(self, association, keeper, season):
        draft = open_draft(season.scheme, association=association, by=keeper)
        draft = keep_draft(draft, qualifying_scheme(decimals=1, id="renamed"), seen=1)
        scheme = save_draft(draft, reason="decided")
        assert (scheme.key, scheme.version) == ("qualifying-average", 2)
        assert not SchemeDraft.objects.exists()

    def test_saving_over_a_version_unseen_needs_a_look_first(self, association, keeper, season):
        draft = keep_draft(
            open_draft(season.scheme, association=association, by=keeper), qualifying_scheme(decimals=2), seen=1
        )
        newer = saved(association, make_user("staff", is_staff=True), decimals=1)
        with pytest.raises(Conflict) as refused:
            save_draft(draft, reason="decided")
        assert refused.value.current == newer
        assert SchemeDraft.objects.filter(pk=draft.pk).exists()
        assert save_draft(go_on_from(draft, newer), reason="decided").version == 3

    def test_a_rule_begins_from_nothing_or_as_a_copy(self, association, keeper, season):
        blank = start_draft("Rider of the Year", key="", association=association, by=keeper)
        assert (blank.key, blank.document["title"], blank.based_on) == ("rider-of-the-year", "Rider of the Year", None)
        copied = start_draft("Copy", key="my-copy", association=association, by=keeper, copy_of=season.scheme)
        assert copied.document == qualifying_scheme(id="my-copy", title="Copy")
        assert save_draft(copied, reason="for our own year").version == 1

    @pytest.mark.parametrize(
        ("title", "key", "where"),
        [("", "", "title"), ("A", "Not An Id", "key"), ("A", "qualifying-average", "key"), ("李", "", "key")],
    )
    def test_a_rule_without_a_name_of_its_own_is_not_begun(self, association, keeper, season, title, key, where):
        with pytest.raises(InvalidInput) as refused:
            start_draft(title, key=key, association=association, by=keeper)
        assert where in refused.value.fields

    @pytest.mark.parametrize("document", [{"title": "a\x00b"}, {"title": "x" * 250_000}])
    def test_what_cannot_be_kept_is_said(self, association, keeper, season, document):
        draft = open_draft(season.scheme, association=association, by=keeper)
        with pytest.raises(InvalidInput):
            keep_draft(draft, document, seen=1)
