"""Plain functions that make rows for tests: a small set test, a rule set, a show, a class with entries, marks."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from competitions.models import (
    Championship,
    Competition,
    CompetitionClass,
    Entry,
    Judge,
    PanelSeat,
    RuleSet,
    SheetRevision,
    Test,
)
from competitions.services import sheets as sheet_services
from competitions.services.championships import create_championship
from competitions.services.classes import create_class, create_competition
from competitions.services.documents import save_rule_set, save_test
from competitions.services.entries import add_entry
from riders.models import Association, AssociationRole, Horse, Owner, Pair, Rider, Scheme, Season, User
from riders.services.scheme_seasons import set_first_day_read

PASSWORD = "a pass-phrase for tests"


def make_test_document(*, id: str = "linden-novice-1", items: int = 4, **changes: Any) -> dict[str, Any]:  # noqa: A002
    """Return a ``test/1``: ``items`` movements, the second with coefficient 2, and two collective marks."""
    movements = [
        {"id": str(n), "at": "A, X", "text": f"Movement {n}", "coefficient": "2" if n == 2 else "1", "family": "circle"}
        for n in range(1, items + 1)
    ]
    collectives = [
        {"id": "G1", "collective": True, "text": "Paces"},
        {"id": "G2", "collective": True, "text": "Rider", "coefficient": "2"},
    ]
    return {
        "format": "test/1",
        "id": id,
        "title": "Linden Novice 1",
        "level": "novice",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": movements + collectives,
    } | changes


def rules_document(*, id: str = "house-rules", **changes: Any) -> dict[str, Any]:  # noqa: A002
    """Return a ``rules/1``: errors 2 then 4 points, out at the third; mean at three decimals; ties by collectives."""
    return {
        "format": "rules/1",
        "id": id,
        "title": "House rules",
        "sources": ["invented for tests"],
        "sheet_percentage": {"decimals": 3},
        "total": {"method": "mean", "decimals": 3},
        "rounding": "half-up",
        "errors": {"off": "sheet-points", "steps": ["2", "4"], "eliminated_at": 3},
        "ties": [{"by": "collectives"}],
        "tie_places": None,
        "minimum_for_place": None,
        "penalty": None,
        "outliers": None,
        "hors_concours": "listed",
    } | changes


def make_user(username: str = "visitor", **fields: Any) -> User:
    return User.objects.create_user(username=username, password=PASSWORD, **fields)


def make_test(**changes: Any) -> Test:
    return save_test(make_test_document(**changes))


def make_rule_set(**changes: Any) -> RuleSet:
    return save_rule_set(rules_document(**changes))


def make_pair(n: int = 1, *, rider: str | None = None, horse: str | None = None, user: User | None = None) -> Pair:
    owner, _ = Owner.objects.get_or_create(name=f"Owner {n}")
    rider_row, _ = Rider.objects.get_or_create(
        registration=f"R{n}", defaults={"name": rider or f"Rider {n}", "user": user, "email": f"rider{n}@example.org"}
    )
    horse_row, _ = Horse.objects.get_or_create(
        registration=f"H{n}", defaults={"name": horse or f"Horse {n}", "born": 2015, "owner": owner}
    )
    pair, _ = Pair.objects.get_or_create(rider=rider_row, horse=horse_row, defaults={"key": f"R{n}/H{n}"})
    return pair


def make_competition(slug: str = "linden-autumn", *, office: User | None = None, **fields: Any) -> Competition:
    return create_competition(
        by=office,
        **{
            "slug": slug,
            "title": "Linden Autumn Days",
            "venue": "Lindenhof",
            "starts_on": date(2026, 11, 14),
            "ends_on": date(2026, 11, 15),
            "time_zone": "Europe/Vienna",
            "state": Competition.State.PUBLISHED,
        }
        | fields,
    )


def make_class(
    competition: Competition | None = None,
    *,
    seats: str = "C",
    entries: int = 0,
    judges: dict[str, Judge] | None = None,
    **fields: Any,
) -> CompetitionClass:
    """Make a class with one seat for each letter of ``seats`` and ``entries`` pairs numbered from 1."""
    competition = competition or make_competition()
    competition_class = create_class(
        competition,
        by=None,
        panel=[{"seat": letter, "judge": (judges or {}).get(letter)} for letter in seats],
        **{
            "number": "1",
            "title": "Novice",
            "level": "novice",
            "date": competition.starts_on,
            "starts_at": time(9, 0),
            "interval_seconds": 480,
            "test": fields.pop("test", None) or Test.objects.first() or make_test(),
            "rule_set": fields.pop("rule_set", None) or RuleSet.objects.first() or make_rule_set(),
        }
        | fields,
    )
    for n in range(1, entries + 1):
        add_entry(competition_class, number=str(n), pair=make_pair(n), by=None)
    competition_class.refresh_from_db()
    return competition_class


def make_championship(
    competition: Competition, *, classes: list[CompetitionClass] | None = None, **fields: Any
) -> Championship:
    """Make a championship over ``classes``, or over all of a competition by their numbers: their mean decides."""
    return create_championship(
        competition,
        classes=classes or list(competition.classes.order_by("number")),
        by=fields.pop("by", None),
        **{"slug": "small-tour", "title": "Small tour", "rules": {"method": "mean", "decimals": 3}} | fields,
    )


def mark_sheet(
    entry: Entry,
    seat: PanelSeat | str = "C",
    *,
    mark: int = 65,
    marks: dict[str, int | None] | None = None,
    by: User | None = None,
    **changes: Any,
) -> sheet_services.SavedSheet:
    """Save a sheet with the same mark (in tenths) for every item, or with ``marks``."""
    if isinstance(seat, str):
        seat = entry.competition_class.seats.get(seat=seat)
    if marks is None:
        items = entry.competition_class.test.document["items"]
        marks = {item["id"]: mark for item in items}
    sheet = entry.sheets.filter(seat=seat).first()
    return sheet_services.save_sheet(
        entry=entry,
        seat=seat,
        expected_version=sheet.version if sheet else 0,
        changes=sheet_services.SheetChanges(marks=marks, **changes),
        by=by,
        source=SheetRevision.Source.DESK,
    )


def qualifying_scheme(**changes: Any) -> dict[str, Any]:
    """Return a ``scheme/1``: the mean of a pair's best two by level, from two scores at two competitions."""
    return {
        "format": "scheme/1",
        "id": "qualifying-average",
        "title": "Qualifying average",
        "sources": ["invented for tests"],
        "mode": "rank",
        "unit": "pair",
        "group_by": ["level"],
        "season": {"from": "2026-10-01", "to": "2027-09-30"},
        "eligible": [{"field": "hors_concours", "is": False}, {"field": "status", "is": "completed"}],
        "score": [{"take": "percentage"}],
        "require": [{"count": "scores", "at_least": 2}, {"count": "competitions", "at_least": 2}],
        "value": {"take": {"best": 2}, "aggregate": "mean"},
        "decimals": 3,
        "rounding": "half-up",
        "order": "descending",
        "ties": [{"by": "best-score"}],
    } | changes


def make_association(slug: str = "linden", *, keeper: User | None = None) -> Association:
    association = Association.objects.create(slug=slug, title="Linden Dressage Association")
    if keeper is not None:
        AssociationRole.objects.create(user=keeper, association=association)
    return association


def make_season(
    association: Association | None = None, *, scheme: dict[str, Any] | None = None, **fields: Any
) -> Season:
    document = scheme or qualifying_scheme()
    row, _ = Scheme.objects.get_or_create(
        key=document["id"], version=1, defaults={"title": document["title"], "document": document}
    )
    season = Season(
        **{
            "association": association or make_association(),
            "slug": "2027",
            "title": "Season 2027",
            "starts_on": date(2026, 10, 1),
            "ends_on": date(2027, 9, 30),
            "scheme": row,
        }
        | fields
    )
    set_first_day_read(season)
    season.save()
    return season
