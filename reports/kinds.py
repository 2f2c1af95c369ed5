"""The kinds of report: what each is about, which version of it is shown, who may have it, how its file is called."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from zlib import crc32

from competitions import policy as competition_policy
from competitions.models import Championship, CompetitionClass, Entry, Sheet
from competitions.selectors.championships import championship_etag
from reports.kind import Kind, named
from reports.year_end_kinds import YEAR_END
from riders import policy as rider_policy
from riders.errors import InvalidInput
from riders.models import Pair, Season
from riders.policy import Visitor

LAYOUT_VERSION = 2
"""Raise it when a document looks different for the same data: what was built before is then built anew."""


@dataclass(frozen=True, slots=True)
class PairSeason:
    """What a season statement is about."""

    pair: Pair
    season: Season


def kind_named(name: str) -> Kind:
    kind = KINDS.get(name)
    if kind is None:
        raise InvalidInput(
            f'There is no report of the kind "{name}". Ask for one of: {", ".join(KINDS)}.', code="unknown-kind"
        )
    return kind


def _class(target: int, _options: Mapping[str, Any]) -> CompetitionClass | None:
    return (
        CompetitionClass.objects.select_related("competition", "test", "rule_set", "in_ring").filter(pk=target).first()
    )


def _championship(target: int, _options: Mapping[str, Any]) -> Championship | None:
    return Championship.objects.select_related("competition").filter(pk=target).first()


def _sheet(target: int, _options: Mapping[str, Any]) -> Sheet | None:
    related = ("seat__judge", *(f"entry__{name}" for name in _OF_ENTRY))
    return Sheet.objects.select_related(*related).filter(pk=target).first()


def _entry(target: int, _options: Mapping[str, Any]) -> Entry | None:
    return Entry.objects.select_related(*_OF_ENTRY).filter(pk=target).first()


_OF_ENTRY = (
    "pair__rider",
    "pair__horse",
    "competition_class__competition",
    "competition_class__test",
    "competition_class__rule_set",
)


def _pair_season(target: int, options: Mapping[str, Any]) -> PairSeason | None:
    season_id = options.get("season")
    if not isinstance(season_id, int) or isinstance(season_id, bool):
        raise InvalidInput('A season statement needs the option "season": the id of the season.', code="season-missing")
    pair = Pair.objects.select_related("rider", "horse").filter(pk=target).first()
    season = Season.objects.select_related("association", "scheme").filter(pk=season_id).first()
    return PairSeason(pair, season) if pair and season else None


def _class_version(competition_class: CompetitionClass) -> str:
    return f"{competition_class.version}.{competition_class.competition.version}"


def _statement_version(subject: PairSeason) -> str:
    """Name the standings, and the pair as it is called: a closed season keeps its version when a name is mended."""
    return f"{subject.season.version}-{crc32(str(subject.pair).encode()):08x}"


def _championship_version(championship: Championship) -> str:
    """Name the rule and every class in a few letters, as many classes as there may be."""
    seen = hashlib.sha256(championship_etag(championship).encode()).hexdigest()[:24]
    return f"{championship.version}.{seen}.{championship.competition.version}"


def _championship_file(championship: Championship) -> str:
    return named(championship.competition.title, championship.title)


def _may_view_class(user: Visitor, competition_class: CompetitionClass) -> bool:
    return competition_policy.can(user, "view", competition_class)


def _may_view_sheet(user: Visitor, sheet: Sheet) -> bool:
    return competition_policy.can(user, "view-sheets", sheet)


def _may_view_every_sheet(user: Visitor, entry: Entry) -> bool:
    """Allow all sheets of an entry together only to who may see each; a judge sees the sheet of the own seat."""
    if not competition_policy.can(user, "view-sheets", entry):
        return False
    return competition_policy.is_office(user, entry.competition_class.competition) or (
        competition_policy.visible(user, Sheet.objects.filter(entry=entry)).count() == entry.sheets.count()
    )


def _may_view_statement(user: Visitor, subject: PairSeason) -> bool:
    """Allow the rider, those who keep the association of that season, and staff."""
    if not user.is_authenticated:
        return False
    return subject.pair.rider.user_id == user.pk or rider_policy.keeps(user, subject.season.association)


def _class_file(title: str) -> Callable[[CompetitionClass], str]:
    def name(competition_class: CompetitionClass) -> str:
        state = competition_class.results_state if title == "results" else ""
        if state == CompetitionClass.ResultsState.OFFICIAL:
            state = f"official {competition_class.revision}"
        return named(competition_class.competition.title, f"class {competition_class.number}", title, state)

    return name


def _ride_file(entry: Entry, title: str) -> str:
    return named(str(entry.pair), f"class {entry.competition_class.number}", title)


KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            name="results",
            title="Result list",
            private=False,
            find=_class,
            version=_class_version,
            may_have=_may_view_class,
            file_name=_class_file("results"),
        ),
        Kind(
            name="working",
            title="Working of the results",
            private=False,
            find=_class,
            version=_class_version,
            may_have=_may_view_class,
            file_name=_class_file("working of the results"),
        ),
        Kind(
            name="championship",
            title="Championship",
            private=False,
            find=_championship,
            version=_championship_version,
            may_have=lambda user, championship: competition_policy.can(user, "view", championship),
            file_name=_championship_file,
        ),
        Kind(
            name="running-order",
            title="Running order",
            private=False,
            find=_class,
            version=_class_version,
            may_have=_may_view_class,
            file_name=_class_file("running order"),
        ),
        Kind(
            name="sheet",
            title="Sheet of one judge",
            private=True,
            find=_sheet,
            version=lambda sheet: _class_version(sheet.entry.competition_class),
            may_have=_may_view_sheet,
            file_name=lambda sheet: _ride_file(sheet.entry, f"sheet {sheet.seat.seat}"),
        ),
        Kind(
            name="sheets",
            title="Sheets of all judges",
            private=True,
            find=_entry,
            version=lambda entry: _class_version(entry.competition_class),
            may_have=_may_view_every_sheet,
            file_name=lambda entry: _ride_file(entry, "sheets"),
        ),
        Kind(
            name="season-statement",
            title="Season statement",
            private=True,
            find=_pair_season,
            version=_statement_version,
            may_have=_may_view_statement,
            file_name=lambda subject: named(str(subject.pair), subject.season.title, "season statement"),
            options=frozenset({"season"}),
        ),
        *YEAR_END,
    )
}
