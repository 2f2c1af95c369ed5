"""The documents that end a season, through the jobs: asked for, made, kept, and never moved."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import AnonymousUser
from django.urls import reverse
from openpyxl import load_workbook
from pypdf import PdfReader

from reports import policy
from reports.models import Job
from reports.services import file_of, request_report, run_job
from riders.errors import InvalidInput, NotAllowed
from riders.models import Horse, Pair, Rider, Season, User
from riders.selectors.season_lists import standings_csv
from riders.services.closing import close_season, reopen_season
from riders.services.ledger import post_scores, retract_scores
from riders.services.merges import merge
from riders.transactions import write_transaction
from tests.builders import make_association, make_pair, make_season, make_user, qualifying_scheme
from tests.riders.ledger_rows import row

pytestmark = pytest.mark.django_db
LISTS = ("season-standings", "season-awards", "season-qualified")
FORMATS = ("pdf", "xlsx", "csv")


@pytest.fixture
def keeper() -> User:
    return make_user("keeper")


@pytest.fixture
def season(keeper: User, sent: Any) -> Season:
    """Six pairs in two levels; in each the third has one ride only, so that it does not qualify."""
    season = make_season(make_association(keeper=keeper))
    rows = [
        row(n, key=f"s{n}-{show}", competition=f"show-{show}", level=level, percentage=f"{70 - n}.{show}00")
        for n, level in ((1, "novice"), (2, "novice"), (3, "novice"), (4, "medium"), (5, "medium"), (6, "medium"))
        for show in ((1, 2) if n % 3 else (1,))
    ]
    with write_transaction():
        post_scores(rows, by=None)
    Rider.objects.filter(name="Rider 1").update(name="Żaneta Őrsi")
    season.refresh_from_db()
    return season


def close(season: Season, reason: str = "All results are in.") -> None:
    season.refresh_from_db()
    close_season(season, expected_version=season.version, by=None, reason=reason)


def reopen(season: Season) -> None:
    season.refresh_from_db()
    reopen_season(season, expected_version=season.version, by=None, reason="A result was wrong.")


def made(season: Season, kind: str, by: Any = None, **options: Any) -> bytes:
    asked = request_report(kind=kind, target=season.pk, options=options, by=by or AnonymousUser())
    job = run_job(asked.pk) or asked
    assert job.state == Job.State.DONE, job.message
    content = file_of(job)
    assert content is not None
    return content


def everything(season: Season, by: User, edition: int) -> dict[str, bytes]:
    lists = {
        f"{kind} {form}": made(season, kind, by, format=form, edition=edition) for kind in LISTS for form in FORMATS
    }
    return lists | {
        f"certificates {of}": made(season, "season-certificates", by, of=of, edition=edition)
        for of in ("placed", "qualified")
    }


def forget_files() -> None:
    Job.objects.all().delete()


def change_everything() -> None:
    with write_transaction():
        post_scores([row(9, key="new", competition="show-1", level="novice", percentage="80.000")], by=None)
        retract_scores(["s2-1"], by=None, reason="wrong test ridden")
    Horse.objects.filter(name="Horse 2").update(name="Another Horse")
    twin = Pair.objects.create(
        key="twin", rider=Rider.objects.create(name="Twin"), horse=Horse.objects.create(name="Horse Twin")
    )
    merge(twin.rider, make_pair(1).rider, by=None, reason="the same person")


def test_every_file_of_an_edition_is_the_same_to_the_byte_whatever_came_later(season, keeper):
    close(season)
    before = everything(season, keeper, 1)
    forget_files()
    change_everything()
    with time_machine.travel("2031-02-03T04:05:06Z"):
        assert everything(season, keeper, 1) == before


def test_earlier_editions_stay_as_they_are_beside_the_next(season, keeper):
    close(season)
    first = everything(season, keeper, 1)
    change_everything()
    reopen(season)
    close(season, "Corrected.")
    second = everything(season, keeper, 2)
    forget_files()
    assert everything(season, keeper, 1) == first
    assert {name for name in first if first[name] == second[name]} == set()
    assert b"Twin" in second["season-standings csv"]
    assert b"Twin" not in first["season-standings csv"]


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_the_standings_as_csv_are_the_file_of_the_page(season):
    close(season)
    assert made(season, "season-standings", format="csv").decode() == "".join(standings_csv(season))
    assert len(rows(made(season, "season-standings", format="csv"))) == 6
    assert len(rows(made(season, "season-standings", format="csv", table=1))) == 3


def test_awards_are_the_placed_or_the_first_of_them(season):
    close(season)
    every = rows(made(season, "season-awards", format="csv"))
    assert [(one["level"], one["place"]) for one in every] == [
        ("medium", "1"), ("medium", "2"), ("novice", "1"), ("novice", "2"),
    ]  # fmt: skip
    first = rows(made(season, "season-awards", format="csv", places=1))
    assert [one["rider"] for one in first] == ["Rider 4", "Żaneta Őrsi"]


def test_the_qualified_stand_by_name_or_by_value(season):
    close(season)
    assert [one["rider"] for one in rows(made(season, "season-qualified", format="csv", table=1))] == [
        "Rider 2", "Żaneta Őrsi",
    ]  # fmt: skip
    by_value = rows(made(season, "season-qualified", format="csv", table=1, order="standings"))
    assert [one["rider"] for one in by_value] == ["Żaneta Őrsi", "Rider 2"]


def test_a_workbook_reads_back(season):
    close(season)
    book = load_workbook(io.BytesIO(made(season, "season-awards", format="xlsx")))
    assert book.sheetnames == ["About this list", "Medium", "Novice"]
    place, _, rider, _, value = [cell.value for cell in book["Novice"][2]][:5]
    assert (place, rider, value) == (1, "Żaneta Őrsi", 69.15)
    assert book["Novice"]["E2"].number_format == "0.000"


def test_certificates_are_a_page_for_each(season, keeper):
    close(season)
    pages = PdfReader(io.BytesIO(made(season, "season-certificates", keeper, places=1))).pages
    assert len(pages) == 2
    said = " ".join(pages[1].extract_text().split())
    assert "Żaneta Őrsi with Horse 1 1st place Novice value 69.150 · 2 scores counted" in said
    qualified = PdfReader(io.BytesIO(made(season, "season-certificates", keeper, of="qualified", table=0))).pages
    assert len(qualified) == 2
    assert "Has met every requirement of the season" in " ".join(qualified[0].extract_text().split())


def test_tiers_are_awards_where_the_scheme_has_tiers(keeper, sent):
    scheme = qualifying_scheme(
        mode="achieve", tiers=[{"name": "gold", "require": [{"count": "scores", "at_least": 2}]}], require=[], ties=[]
    )
    season = make_season(make_association(keeper=keeper), scheme=scheme)
    with write_transaction():
        post_scores([row(n, key=f"s{n}{m}") for n in (1, 2) for m in range(n)], by=None)
    close(season)
    assert made(season, "season-standings", format="csv").decode() == "".join(standings_csv(season))
    assert [(one["rider"], one["tier"]) for one in rows(made(season, "season-awards", format="csv"))] == [
        ("Rider 2", "gold")
    ]
    page = PdfReader(io.BytesIO(made(season, "season-certificates", keeper))).pages[0]
    assert "Has reached gold" in " ".join(page.extract_text().split())


def test_what_is_left_open_is_settled_so_that_the_same_is_the_same_job(season):
    close(season)
    first = request_report(kind="season-standings", target=season.pk, by=AnonymousUser())
    same = {"edition": 1, "format": "pdf"}
    assert request_report(kind="season-standings", target=season.pk, options=same, by=AnonymousUser()).pk == first.pk
    assert first.options == same
    reopen(season)
    assert not policy.can_view(AnonymousUser(), first)
    assert policy.can_view(User.objects.get(username="keeper"), first)


def test_lists_of_an_open_season_say_that_they_are_not_final(season, keeper):
    content = made(season, "season-standings")
    said = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages)
    assert "Not final: the season is open" in said
    assert Job.objects.get().options == {"edition": 0, "format": "pdf"}
    assert Job.objects.get().file_name.endswith("standings, not final.pdf")
    with pytest.raises(NotAllowed):
        request_report(kind="season-awards", target=season.pk, by=AnonymousUser())
    close(season)
    assert not policy.can_view(keeper, Job.objects.get())


@pytest.mark.parametrize(
    "options",
    [
        {"format": "docx"}, {"format": 1}, {"format": ["pdf"]}, {"edition": 2}, {"edition": -1}, {"edition": True},
        {"edition": "1"}, {"edition": 0}, {"edition": 2**70}, {"table": 2}, {"table": -1}, {"table": None, "order": 3},
        {"places": 3}, {"of": "placed"}, {"order": "x"}, {"season": 1},
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_a_sentence(season, options):
    close(season)
    with pytest.raises(InvalidInput) as refused:
        request_report(kind="season-standings", target=season.pk, options=options, by=AnonymousUser())
    assert refused.value.message.endswith(".")


def test_nothing_is_certified_of_an_open_season(season, keeper):
    with pytest.raises(InvalidInput, match="nothing final to certify"):
        request_report(kind="season-certificates", target=season.pk, by=keeper)


def test_five_thousand_rows_become_every_kind_of_file(keeper, sent):
    season = make_season(make_association(keeper=keeper), scheme=qualifying_scheme(require=[]))
    riders = Rider.objects.bulk_create(Rider(name=f"Rider {n}") for n in range(5000))
    horses = Horse.objects.bulk_create(Horse(name=f"Horse {n}") for n in range(5000))
    pairs = Pair.objects.bulk_create(
        Pair(key=f"P{n}", rider=rider, horse=horse) for n, (rider, horse) in enumerate(zip(riders, horses, strict=True))
    )
    scores = [row(pair=pair, key=f"k{n}", percentage=f"{50 + n % 40}.{n % 1000:03}") for n, pair in enumerate(pairs)]
    with write_transaction():
        post_scores(scores, by=None)
    close(season)
    assert len(rows(made(season, "season-standings", format="csv"))) == 5000
    sheet = load_workbook(io.BytesIO(made(season, "season-standings", format="xlsx")), read_only=True)["Novice"]
    assert sum(1 for _ in sheet.iter_rows()) == 5001
    assert len(PdfReader(io.BytesIO(made(season, "season-qualified"))).pages) > 100


class TestPages:
    def address(self) -> str:
        return reverse("season-documents", args=["linden", "2027"])

    def ask(self, client: Any, season: Season, **changes: str) -> Any:
        sent = {"kind": "season-standings", "target": str(season.pk), "stay": "1", "format": "xlsx"}
        return client.post(reverse("report-request"), sent | changes, follow=True)

    def test_asked_for_made_and_saved(self, client, season, keeper):
        close(season)
        page = self.ask(client, season)
        assert page.redirect_chain[-1][0] == self.address()
        assert "Standings of a season, edition 1, XLSX" in page.content.decode()
        assert "data-waiting" in page.content.decode()
        run_job(Job.objects.get().pk)
        part = client.get(self.address(), headers={"X-Part": "state"}).content.decode()
        assert "data-waiting" not in part
        assert "Linden Dressage Association, Season 2027, standings, edition 1.xlsx" in part
        file = client.get(reverse("report-file", args=[Job.objects.get().pk]))
        assert file["Content-Type"] == "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
        assert file["Content-Disposition"].startswith("attachment; ")
        state = client.get(reverse("report", args=[Job.objects.get().pk])).content.decode()
        assert "Save the file" in state
        assert "edition 1, which never changes" in state

    def test_the_public_is_offered_what_it_may_have(self, client, season, keeper):
        assert "Awards" not in client.get(self.address()).content.decode()
        close(season)
        page = client.get(self.address()).content.decode()
        assert "Have the awards list made" in page
        assert "Certificates" not in page
        client.force_login(keeper)
        page = client.get(self.address()).content.decode()
        assert "Have the certificates made" in page
        assert "no longer final" not in page
        reopen(season)
        close(season, "Corrected.")
        page = client.get(self.address()).content.decode()
        assert "2, final" in page
        assert "1, no longer final" in page

    def test_only_what_one_may_have_is_listed(self, client, season, keeper):
        close(season)
        made(season, "season-certificates", keeper)
        assert "Certificates for the placed" not in client.get(self.address()).content.decode()
        client.force_login(keeper)
        assert "Certificates for the placed, edition 1, PDF" in client.get(self.address()).content.decode()

    @pytest.mark.parametrize(
        "changes",
        [{"format": "exe"}, {"table": "9"}, {"table": "x"}, {"edition": "7"}, {"edition": "\u0662"}, {"places": "0"}],
    )
    def test_nonsense(self, client, season, changes):
        close(season)
        page = self.ask(client, season, kind="season-awards", **changes)
        assert page.status_code == 422
        assert not Job.objects.exists()

    def test_a_list_that_is_no_longer_what_it_was_is_for_staff_without_its_subject(self, client, season):
        request_report(kind="season-standings", target=season.pk, by=AnonymousUser())
        close(season)
        assert client.get(reverse("report", args=[Job.objects.get().pk])).status_code == 302
        client.force_login(make_user("staff", is_staff=True))
        assert "no longer there" in client.get(reverse("report", args=[Job.objects.get().pk])).content.decode()

    def test_an_unknown_season(self, client):
        assert client.get(self.address()).status_code == 404
