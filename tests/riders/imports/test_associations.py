from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.utils import timezone

from riders.errors import InvalidInput, NotAllowed
from riders.models import Association, Horse, Membership, MembershipChange, Rider, Scheme, Season
from riders.services.associations import association_document, import_association, import_members
from riders.services.scheme_versions import save_scheme
from tests.builders import make_association, make_user, qualifying_scheme

pytestmark = pytest.mark.django_db


def association(**changes: Any) -> dict[str, Any]:
    season = {"id": "2027", "title": "Season 2027", "starts_on": "2026-10-01", "ends_on": "2027-09-30"}
    return {
        "format": "association/1",
        "id": "linden",
        "title": "Linden Dressage Association",
        "seasons": [{**season, "scheme": "qualifying-average"}],
    } | changes


def members(*rows: str) -> str:
    return "association,member_number,kind,name,registration,division,from,to\n" + "\n".join(rows) + "\n"


def counts(summary: Any) -> tuple[int, int, int]:
    return summary.created, summary.changed, summary.unchanged


@pytest.fixture
def scheme() -> Scheme:
    return save_scheme(qualifying_scheme())


class TestSchemes:
    def test_the_same_scheme_again_changes_nothing_and_another_content_is_the_next_version(self, scheme):
        assert save_scheme(qualifying_scheme()) == scheme
        assert save_scheme(qualifying_scheme(title="Other")).version == 2
        assert save_scheme(qualifying_scheme()) == scheme
        assert scheme.document["title"] == "Qualifying average"

    def test_a_scheme_that_cannot_be_used_is_refused_with_every_problem(self):
        with pytest.raises(InvalidInput) as refused:
            save_scheme(qualifying_scheme(mode="guess", unknown=1, decimals="three"))
        assert {"mode", "unknown", "decimals"} <= {where for where, _ in refused.value.problems}
        assert not Scheme.objects.exists()


class TestAssociation:
    def test_it_is_made_once_with_its_seasons(self, scheme):
        assert counts(import_association(association(), by=None)) == (2, 0, 0)
        assert counts(import_association(association(), by=None)) == (0, 0, 2)
        assert association_document(Association.objects.get()) == association()

    def test_what_is_different_is_changed(self, scheme):
        import_association(association(), by=None)
        changed = association(title="Linden Riders")
        changed["seasons"][0]["ends_on"] = "2027-10-31"
        assert counts(import_association(changed, by=None)) == (0, 2, 0)
        assert association_document(Association.objects.get()) == changed

    def test_a_closed_season_stays(self, scheme):
        import_association(association(), by=None)
        Season.objects.update(closed_at=timezone.now())
        changed = association(title="Renamed")
        changed["seasons"][0]["title"] = "Other"
        with pytest.raises(NotAllowed, match="closed"):
            import_association(changed, by=None)
        assert Association.objects.get().title == "Linden Dressage Association"

    def test_every_problem_is_named_with_its_path(self):
        document = association(id="Not An Address", title="", extra=1)
        document["seasons"] *= 2
        document["seasons"][0] = {**document["seasons"][0], "starts_on": "2028-01-01", "ends_on": "soon"}
        with pytest.raises(InvalidInput) as refused:
            import_association(document, by=None)
        where = {path for path, _ in refused.value.problems}
        assert {"id", "title", "extra", "seasons[0].ends_on", "seasons[1].id", "seasons[0].scheme"} <= where
        assert not Association.objects.exists()

    def test_only_its_keepers_and_staff_change_it(self, scheme):
        make_association(keeper=make_user("keeper"))
        with pytest.raises(NotAllowed):
            import_association(association(), by=make_user("stranger"))
        import_association(association(), by=make_user("staff", is_staff=True))
        assert Season.objects.count() == 1


class TestMembers:
    def test_people_and_horses_are_found_by_registration(self):
        make_association()
        rider = Rider.objects.create(name="Ottilie Brandmair", registration="R1")
        text = members(
            "linden,17,person,Ottilie Brandmair,R1,open,2026-10-01,2027-09-30",
            "linden,18,horse,Quillon,H1,,2026-10-01,",
            "linden,19,person,Casper Wendt,,amateur,2026-10-01,",
        )
        assert counts(import_members(text, by=None)) == (3, 0, 0)
        assert Membership.objects.get(number="17").rider == rider
        assert Membership.objects.get(number="18").horse == Horse.objects.get(registration="H1")
        assert counts(import_members(text, by=None)) == (0, 0, 3)
        assert Rider.objects.count() == 2

    def test_a_membership_that_ends_is_changed_and_a_renewal_is_the_same_member(self):
        make_association()
        import_members(members("linden,19,person,Casper Wendt,,amateur,2026-10-01,"), by=None)
        text = members(
            "linden,19,person,Casper Wendt,,amateur,2026-10-01,2027-09-30",
            "linden,19,person,Casper Wendt,,amateur,2027-10-01,",
        )
        assert counts(import_members(text, by=None)) == (1, 1, 0)
        assert Membership.objects.get(starts_on=date(2026, 10, 1)).ends_on == date(2027, 9, 30)
        assert Rider.objects.count() == 1

    @pytest.mark.parametrize(
        ("row", "where"),
        [
            ("elsewhere,17,person,A,R1,,2026-10-01,", "row 2, association"),
            ("linden,,person,A,R1,,2026-10-01,", "row 2, member_number"),
            ("linden,17,pony,A,R1,,2026-10-01,", "row 2, kind"),
            ("linden,17,person,,R1,,2026-10-01,", "row 2, name"),
            ("linden,17,person,A,R1,,01.10.2026,", "row 2, from"),
            ("linden,17,person,A,R1,,2026-10-01,2026-09-01", "row 2, to"),
            ("linden,17,person,A,R9,,2026-10-01,", "row 2, registration"),
            ("linden,17,person,A,R1,,2026-10-01", "row 2"),
        ],
    )
    def test_bad_rows_are_refused_whole_with_their_place(self, row, where):
        make_association()
        Rider.objects.create(name="Somebody Else", registration="R9")
        with pytest.raises(InvalidInput) as refused:
            import_members(members(row, "linden,99,person,Good,,,2026-10-01,"), by=None)
        assert [place for place, _ in refused.value.problems] == [where]
        assert not Membership.objects.exists()

    def test_the_same_membership_twice_in_a_file_is_refused(self):
        make_association()
        with pytest.raises(InvalidInput) as refused:
            import_members(members(*["linden,17,person,A,R1,,2026-10-01,"] * 2), by=None)
        assert refused.value.problems[0][0] == "row 3, member_number"

    def test_rows_of_an_association_that_one_does_not_keep_are_refused(self):
        make_association()
        with pytest.raises(InvalidInput, match="1 problem"):
            import_members(members("linden,17,person,A,R1,,2026-10-01,"), by=make_user("stranger"))
        assert not Rider.objects.exists()


def test_every_membership_of_a_file_has_its_row_in_the_history():
    keeper = make_user("keeper")
    make_association(keeper=keeper)
    rows = ("linden,1,person,Una Lind,R1,,2026-01-01,", "linden,2,horse,Fen,H1,,2026-01-01,")
    import_members(members(*rows), by=keeper)
    import_members(members(*rows), by=keeper)
    import_members(members(rows[0] + "2026-12-31", rows[1]), by=keeper)
    held = Membership.objects.get(number="1")
    history = MembershipChange.objects.filter(membership=held.pk).order_by("pk")
    record = {"number": "1", "kind": "person", "member": "Una Lind", "division": "", "from": "2026-01-01", "to": ""}
    assert list(history.values_list("before", "after", "by", "reason")) == [
        (None, record, keeper.pk, "imported from a members file"),
        (record, record | {"to": "2026-12-31"}, keeper.pk, "imported from a members file"),
    ]
    assert MembershipChange.objects.count() == 3
