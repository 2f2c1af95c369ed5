"""Who may do what: every operation of the API, by every role, once allowed and once refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from tests.api.conftest import ROLES, World, assert_refusal
from tests.api.test_declared import api_patterns
from tests.builders import make_test_document, qualifying_scheme, rules_document

EVERYONE = frozenset(ROLES)
SIGNED_IN = EVERYONE - {"visitor"}
STAFF = frozenset({"staff"})
OFFICE = frozenset({"office", "staff"})
OFFICES = frozenset({"office", "other office", "staff"})
KEEPERS = frozenset({"association", "staff"})


@dataclass(frozen=True, slots=True)
class Row:
    """One operation and the roles that may do it; others are answered with ``refused``, visitors with ``visitor``."""

    name: str
    method: str
    url: str
    allowed: frozenset[str]
    body: Any = None
    version: str = ""
    refused: int = 403
    visitor: int = 401
    content_type: str = ""

    @property
    def id(self) -> str:
        return f"{self.method} {self.url}"


_ASSOCIATION = {"format": "association/1", "id": "moor", "title": "Moor Association", "seasons": []}
_MEMBERS = "association,member_number,kind,name,registration,from\nlinden,M1,person,Rider 1,R1,2026-01-01\n"
_SCORES = (
    "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
    "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,1,64.500,completed\n"
)
_SHOW = {
    "format": "competition/1",
    "id": "linden-autumn",
    "title": "Linden Autumn Days",
    "venue": "Lindenhof",
    "organiser": "",
    "starts_on": "2026-11-14",
    "ends_on": "2026-11-15",
    "time_zone": "Europe/Vienna",
    "association": "linden",
    "recognised": False,
    "classes": [],
}
_NEW_SHOW = {
    "slug": "linden-spring",
    "title": "Linden Spring",
    "venue": "Lindenhof",
    "starts_on": "2027-03-06",
    "ends_on": "2027-03-07",
}
_NEW_CLASS = {
    "competition": "{slug}",
    "number": "9",
    "title": "Novice",
    "test": "{test}",
    "rule_set": "{rules}",
    "date": "2026-11-14",
    "panel": [{"seat": "C", "judge": "{judge}"}],
}
_PAIR = {"rider": {"name": "Una Lind"}, "horse": {"name": "Fen", "born": 2016}}
_NEW_CHAMPIONSHIP = {
    "competition": "{slug}",
    "slug": "medium-tour",
    "title": "Medium tour",
    "classes": ["{official}", "{class}"],
    "rules": {"method": "total", "decimals": 3},
}
_CSV = "text/csv"

TABLE = [
    Row("api-me", "GET", "me/", SIGNED_IN),
    Row("api-tokens", "GET", "tokens/", SIGNED_IN),
    Row("api-tokens", "POST", "tokens/", SIGNED_IN, {"name": "board"}),
    Row("api-pairs", "GET", "pairs/", EVERYONE),
    Row("api-pair", "GET", "pairs/{pair}/", EVERYONE),
    Row("api-scores", "GET", "scores/", EVERYONE),
    Row("api-score", "GET", "scores/{score}/", EVERYONE),
    Row("api-scores", "POST", "scores/", KEEPERS, _SCORES, content_type=_CSV),
    Row("api-score-history", "GET", "scores/{score}/history/", KEEPERS),
    Row(
        "api-score-correction",
        "PATCH",
        "scores/{imported}/correction/",
        KEEPERS,
        {"changes": {"percentage": "67.000"}, "reason": "typing error"},
        version="imported",
    ),
    Row(
        "api-score-retraction",
        "POST",
        "scores/{imported}/retraction/",
        KEEPERS,
        {"reason": "wrong test ridden"},
        version="imported",
    ),
    Row("api-imports", "GET", "imports/", KEEPERS),
    Row("api-imports", "POST", "imports/?source=far", KEEPERS, _SCORES, content_type=_CSV),
    Row("api-names", "GET", "names/", KEEPERS),
    Row("api-merges", "GET", "merges/", KEEPERS),
    Row("api-merge-plan", "GET", "merges/plan/?kind=rider&kept={rider}&gone={twin}", KEEPERS),
    Row(
        "api-merges",
        "POST",
        "merges/",
        KEEPERS,
        {"kind": "rider", "kept": "{rider}", "gone": "{twin}", "reason": "the same, misspelt"},
    ),
    Row("api-renames", "GET", "renames/", KEEPERS),
    Row(
        "api-renames",
        "POST",
        "renames/",
        KEEPERS,
        {"kind": "rider", "member": "{rider}", "before": "Rider 1", "name": "Rider One", "reason": "misspelt"},
    ),
    Row("api-memberships", "GET", "associations/{association}/memberships/", KEEPERS),
    Row(
        "api-memberships",
        "POST",
        "associations/{association}/memberships/",
        KEEPERS,
        {"kind": "person", "member": "{rider}", "number": "M1", "starts_on": "2026-10-01", "reason": "joined"},
    ),
    Row("api-associations", "GET", "associations/", EVERYONE),
    Row("api-association", "GET", "associations/{association}/", EVERYONE),
    Row("api-associations", "POST", "associations/", STAFF, {"document": _ASSOCIATION}),
    Row("api-members", "POST", "associations/{association}/members/", KEEPERS, _MEMBERS, content_type=_CSV),
    Row(
        "api-association-bundles",
        "POST",
        "associations/{association}/bundles/",
        KEEPERS,
        {"document": "{bundle}", "reason": "sent by the office"},
    ),
    Row("api-schemes", "GET", "schemes/", EVERYONE),
    Row("api-scheme", "GET", "schemes/qualifying-average/1/", EVERYONE),
    Row("api-schemes", "POST", "schemes/", KEEPERS, {"document": qualifying_scheme(decimals=2)}),
    Row("api-scheme-check", "POST", "schemes/check/", KEEPERS, {"document": qualifying_scheme()}),
    Row("api-scheme-versions", "GET", "schemes/qualifying-average/versions/", KEEPERS),
    Row(
        "api-scheme-versions",
        "POST",
        "schemes/qualifying-average/versions/",
        KEEPERS,
        {
            "document": qualifying_scheme(decimals=2),
            "association": "{association}",
            "based_on": 2,
            "reason": "two decimals are enough",
        },
    ),
    Row(
        "api-scheme-differences",
        "GET",
        "schemes/qualifying-average/1/differences/?with=2",
        EVERYONE,
    ),
    Row(
        "api-season-preview",
        "POST",
        "seasons/{season}/preview/",
        KEEPERS,
        {"document": qualifying_scheme(value={"take": {"best": 1}, "aggregate": "mean"}), "unit": "R1/H1"},
    ),
    Row("api-season-scheme", "GET", "seasons/{season}/scheme/", KEEPERS),
    Row(
        "api-season-scheme",
        "POST",
        "seasons/{season}/scheme/",
        KEEPERS,
        {"key": "qualifying-average", "version": 2, "instead_of": 1, "reason": "decided by the meeting"},
    ),
    Row("api-seasons", "GET", "seasons/", EVERYONE),
    Row("api-season", "GET", "seasons/{season}/", EVERYONE),
    Row("api-standings", "GET", "seasons/{season}/standings/", EVERYONE),
    Row("api-standings", "GET", "seasons/{season}/standings/?as_of=2026-12-05", EVERYONE),
    Row("api-season-comparison", "GET", "seasons/{season}/comparison/?table=0&unit=R1/H1&with=R2/H2", EVERYONE),
    Row("api-statement", "GET", "seasons/{season}/statements/{pair}/", KEEPERS | {"rider"}),
    Row("api-outlook", "GET", "seasons/{season}/outlooks/{pair}/", KEEPERS | {"rider"}),
    Row(
        "api-season-closing",
        "POST",
        "seasons/{season}/closing/",
        KEEPERS,
        {"reason": "all results are in"},
        version="season",
    ),
    Row("api-season-rebuild", "POST", "seasons/{season}/rebuild/", KEEPERS),
    Row("api-season-history", "GET", "seasons/{season}/history/", KEEPERS),
    Row("api-season-changes", "GET", "seasons/{season}/changes/", KEEPERS),
    Row("api-editions", "GET", "seasons/{season}/editions/", EVERYONE),
    Row("api-competitions", "GET", "competitions/", EVERYONE),
    Row("api-competitions", "POST", "competitions/", STAFF, _NEW_SHOW),
    Row("api-competition", "GET", "competitions/{slug}/", EVERYONE),
    Row("api-competition", "GET", "competitions/{planned}/", OFFICE, refused=404, visitor=404),
    Row("api-competition", "PATCH", "competitions/{slug}/", OFFICE, {"title": "Linden"}, version='"1"'),
    Row("api-competition-pairs", "POST", "competitions/{slug}/pairs/", OFFICE, _PAIR),
    Row(
        "api-import-entries",
        "POST",
        "competitions/{slug}/imports/entries/",
        OFFICE,
        "class,number,rider,horse\n1,8,Una Lind,Fen\n",
        content_type=_CSV,
    ),
    Row(
        "api-import-marks",
        "POST",
        "competitions/{slug}/imports/marks/",
        OFFICE,
        "class,number,seat,item,mark,remark\n1,2,C,1,6.5,good\n",
        content_type=_CSV,
    ),
    Row(
        "api-import-outcomes",
        "POST",
        "competitions/{slug}/imports/outcomes/",
        OFFICE,
        "class,number,status,reason\n1,2,retired,lame\n",
        content_type=_CSV,
    ),
    Row("api-export-entries", "GET", "competitions/{slug}/exports/entries/", OFFICE),
    Row("api-export-marks", "GET", "competitions/{slug}/exports/marks/", OFFICE),
    Row("api-export-outcomes", "GET", "competitions/{slug}/exports/outcomes/", OFFICE),
    Row("api-export-competition", "GET", "competitions/{slug}/exports/competition/", OFFICE),
    Row("api-bundle", "GET", "competitions/{slug}/bundle/", OFFICE),
    Row("api-import-competition", "POST", "imports/competition/", OFFICE, {"document": _SHOW}),
    Row("api-classes", "GET", "classes/", EVERYONE),
    Row("api-classes", "POST", "classes/", OFFICE, _NEW_CLASS),
    Row("api-class", "GET", "classes/{class}/", EVERYONE),
    Row("api-class", "GET", "classes/{planned_class}/", OFFICE, refused=404, visitor=404),
    Row("api-class", "PATCH", "classes/{class}/", OFFICE, {"arena": "B"}, version="class"),
    Row(
        "api-class-teams",
        "PUT",
        "classes/{class}/teams/",
        OFFICE,
        {"teams": {"counting": 2, "method": "sum", "of": "percentage"}},
        version="class",
    ),
    Row("api-running-order", "PUT", "classes/{class}/running-order/", OFFICE, {"entries": "{entries}"}),
    Row("api-in-ring", "PUT", "classes/{class}/in-ring/", OFFICE, {"entry": "{entry}"}),
    Row("api-class-document", "GET", "classes/{class}/document/", OFFICE),
    Row("api-results", "GET", "classes/{class}/results/", EVERYONE),
    Row("api-results", "GET", "classes/{planned_class}/results/", OFFICE, refused=404, visitor=404),
    Row("api-revision", "GET", "classes/{official}/results/1/", EVERYONE),
    Row("api-revisions", "GET", "classes/{official}/revisions/", EVERYONE),
    Row("api-findings", "GET", "classes/{official}/findings/", OFFICE),
    Row("api-correction", "POST", "classes/{official}/correction/", OFFICE, {"reason": "mark keyed wrongly"}),
    Row("api-withdrawal", "POST", "classes/{official}/withdrawal/", OFFICE, {"reason": "wrong test ridden"}),
    Row("api-championships", "GET", "championships/", EVERYONE),
    Row("api-championships", "POST", "championships/", OFFICE, _NEW_CHAMPIONSHIP),
    Row("api-championship", "GET", "championships/{championship}/", EVERYONE),
    Row("api-championship", "PATCH", "championships/{championship}/", OFFICE, {"title": "Tour"}, version='"1"'),
    Row("api-championship", "DELETE", "championships/{championship}/", OFFICE, version='"1"'),
    Row("api-championship-results", "GET", "championships/{championship}/results/", EVERYONE),
    Row("api-entries", "GET", "entries/", EVERYONE),
    Row("api-entries", "POST", "entries/", OFFICE, {"class": "{class}", "number": "77", "pair": "{spare_pair}"}),
    Row("api-entry", "GET", "entries/{entry}/", EVERYONE),
    Row("api-entry", "PATCH", "entries/{entry}/", OFFICE, {"team": "Green"}, version="entry"),
    Row("api-entry", "DELETE", "entries/{free_entry}/", OFFICE),
    Row("api-outcome", "PATCH", "entries/{entry}/outcome/", OFFICE, {"errors": 1}, version="entry"),
    Row("api-sheets", "GET", "sheets/", SIGNED_IN),
    Row("api-sheet", "GET", "entries/{entry}/sheets/C/", OFFICE | {"judge"}, refused=404),
    Row("api-sheet", "GET", "entries/{entry}/sheets/E/", OFFICE, refused=404),
    Row("api-sheet", "GET", "entries/{official_entry}/sheets/C/", OFFICE | {"judge", "rider"}, refused=404),
    Row(
        "api-sheet",
        "PATCH",
        "entries/{entry}/sheets/C/",
        OFFICE | {"judge"},
        {"marks": {"1": "7.5"}},
        version='"1"',
        refused=404,
    ),
    Row(
        "api-sheet",
        "PATCH",
        "entries/{entry}/sheets/E/",
        OFFICE,
        {"marks": {"1": "7.5"}},
        version='"0"',
        refused=404,
    ),
    Row("api-sheet-captions", "GET", "entries/{entry}/sheets/C/captions/", OFFICE | {"judge"}, refused=404),
    Row(
        "api-sheet-captions",
        "GET",
        "entries/{official_entry}/sheets/C/captions/",
        OFFICE | {"judge", "rider"},
        refused=404,
    ),
    Row(
        "api-sheet-commentary",
        "POST",
        "entries/{entry}/sheets/C/commentary/",
        OFFICE | {"judge"},
        {"text": "Straight entry."},
        refused=404,
    ),
    Row(
        "api-sheet-commentary",
        "POST",
        "entries/{entry}/sheets/E/commentary/",
        OFFICE,
        {"text": "Straight entry."},
        refused=404,
    ),
    Row("api-keyings", "GET", "classes/{class}/keyings/", OFFICE),
    Row("api-keyings", "PUT", "classes/{class}/keyings/", OFFICE, {"sheets": [{"entry": "{entry}", "seat": "E"}]}),
    Row(
        "api-second-keying",
        "POST",
        "entries/{entry}/sheets/C/second-keying/",
        OFFICE,
        {"read": {"mark.1": "6.5", "errors": "0"}},
    ),
    Row("api-tests", "GET", "tests/", EVERYONE),
    Row("api-tests", "POST", "tests/", OFFICES, {"document": make_test_document(id="linden-novice-9")}),
    Row("api-test", "GET", "tests/{test}/", EVERYONE),
    Row("api-rule-sets", "GET", "rule-sets/", EVERYONE),
    Row("api-rule-sets", "POST", "rule-sets/", OFFICES, {"document": rules_document(id="other-rules")}),
    Row("api-rule-set", "GET", "rule-sets/{rules}/", EVERYONE),
    Row("api-judges", "GET", "judges/", EVERYONE),
    Row("api-judges", "POST", "judges/", OFFICES, {"name": "Nils Berg"}),
    Row("api-judge", "GET", "judges/{judge}/", EVERYONE),
    Row("api-reports", "GET", "reports/", SIGNED_IN),
    Row("api-reports", "POST", "reports/", EVERYONE, {"kind": "results", "target": "{official}"}),
    Row("api-reports", "POST", "reports/", OFFICE, {"kind": "results", "target": "{planned_class}"}, visitor=403),
    Row("api-reports", "POST", "reports/", OFFICE | {"judge"}, {"kind": "sheet", "target": "{sheet}"}, visitor=403),
    Row(
        "api-reports",
        "POST",
        "reports/",
        KEEPERS | {"rider"},
        {"kind": "season-statement", "target": "{pair}", "options": {"season": "{season}"}},
        visitor=403,
    ),
    Row("api-reports", "POST", "reports/", EVERYONE, {"kind": "season-standings", "target": "{season}"}),
    Row(
        "api-reports",
        "POST",
        "reports/",
        KEEPERS,
        {"kind": "season-awards", "target": "{season}", "options": {"format": "xlsx", "places": 3}},
        visitor=403,
    ),
    Row("api-schema", "GET", "schema/", EVERYONE),
    Row("api-docs", "GET", "docs/", EVERYONE),
]
WRITES = [row for row in TABLE if row.method != "GET"]
# What needs a state of its own first is run in the tests named here.
ELSEWHERE = {
    ("api-token", "DELETE"): "test_accounts",
    ("api-comparison", "GET"): "test_comparison",
    ("api-panel-shares", "GET"): "test_comparison",
    ("api-panel-shares", "POST"): "test_comparison",
    ("api-panel-share", "DELETE"): "test_comparison",
    ("api-score-return", "POST"): "test_ledger",
    ("api-import", "GET"): "test_ledger",
    ("api-import", "DELETE"): "test_ledger",
    ("api-import-changes", "GET"): "test_ledger",
    ("api-import-names", "POST"): "test_ledger",
    ("api-import-confirmation", "POST"): "test_ledger",
    ("api-name", "DELETE"): "test_ledger",
    ("api-merge", "GET"): "test_ledger",
    ("api-merge-undoing", "POST"): "test_ledger",
    ("api-membership", "GET"): "test_ledger",
    ("api-membership", "PATCH"): "test_ledger",
    ("api-membership-removal", "POST"): "test_ledger",
    ("api-season-rebuild", "GET"): "test_rebuilds",
    ("api-season-reopening", "POST"): "test_closing",
    ("api-edition", "GET"): "test_closing",
    ("api-edition-standings", "GET"): "test_closing",
    ("api-edition-scores", "GET"): "test_closing",
    ("api-official", "POST"): "test_results",
    ("api-correction", "DELETE"): "test_results",
    ("api-findings", "POST"): "test_findings",
    **{("api-recording", method): "test_recordings" for method in ("GET", "PUT", "DELETE")},
    ("api-recording-camera", "PUT"): "test_recordings",
    ("api-recording-film", "GET"): "test_recordings",
    ("api-uploads", "POST"): "test_recordings",
    **{("api-upload", method): "test_recordings" for method in ("GET", "PUT", "DELETE")},
    ("api-upload-finish", "POST"): "test_recordings",
    ("api-settlements", "POST"): "test_keyings",
    ("api-report", "GET"): "test_reports",
    ("api-report-file", "GET"): "test_reports",
    ("api-report-retry", "POST"): "test_reports",
}


def filled(value: Any, values: dict[str, Any]) -> Any:
    """Put what the world holds in the place of ``{names}``; a text that is only a name keeps the type of its value."""
    if isinstance(value, dict):
        return {key: filled(member, values) for key, member in value.items()}
    if isinstance(value, list):
        return [filled(member, values) for member in value]
    if not isinstance(value, str) or "\n" in value or not value.count("{"):
        return value
    name = value[1:-1] if value.startswith("{") and value.endswith("}") and value.count("{") == 1 else ""
    return values[name] if name in values else value.format_map(values)


def call(world: World, row: Row, role: str) -> Any:
    values = world.values()
    versions = world.versions()
    headers = (
        {"If-Match": f'"{versions[row.version]}"' if row.version in versions else row.version} if row.version else {}
    )
    body = filled(row.body, values)
    sent = {"data": body, "content_type": row.content_type} if row.content_type else {"data": body, "format": "json"}
    if row.method == "GET":
        sent = {}
    client = world.client(role)
    return getattr(client, row.method.lower())(f"/api/v1/{filled(row.url, values)}", headers=headers, **sent)


def assert_refused(world: World, row: Row, role: str) -> None:
    assert_refusal(call(world, row, role), row.visitor if role == "visitor" else row.refused)


def assert_done(world: World, row: Row, role: str) -> None:
    response = call(world, row, role)
    assert 200 <= response.status_code < 300, (role, response.content[:500])


@pytest.mark.parametrize("row", [row for row in TABLE if row.method == "GET"], ids=lambda row: row.id)
def test_reading(world: World, row: Row) -> None:
    for role in ROLES:
        (assert_done if role in row.allowed else assert_refused)(world, row, role)


@pytest.mark.parametrize("row", WRITES, ids=lambda row: row.id)
def test_writing_refused(world: World, row: Row) -> None:
    for role in sorted(EVERYONE - row.allowed):
        assert_refused(world, row, role)


@pytest.mark.parametrize(
    ("row", "role"),
    [pytest.param(row, role, id=f"{row.id} {role}") for row in WRITES for role in ROLES if role in row.allowed],
)
def test_writing_allowed(world: World, row: Row, role: str) -> None:
    assert_done(world, row, role)


def test_the_table_has_every_operation() -> None:
    operations = {
        (pattern.name, method.upper())
        for pattern in api_patterns()
        for method in getattr(pattern.callback, "actions", {"get": "get"})
        if method != "head" and pattern.name != "api-nothing"
    }
    in_table = {(row.name, row.method) for row in TABLE}
    assert operations - in_table - set(ELSEWHERE) == set()
    assert set(ELSEWHERE) <= operations


def test_every_row_is_refused_to_someone_or_open_to_all() -> None:
    assert all(row.allowed == EVERYONE or EVERYONE - row.allowed for row in TABLE)
    assert sum(row.allowed != EVERYONE for row in TABLE) > 40
