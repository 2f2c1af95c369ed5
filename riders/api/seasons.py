from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import django_filters
from django.core.cache import cache
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, KeywordNames, OptionalFigure
from riders.api.outlooks import PairOutlookSerializer, outlook_document
from riders.api.people import PAIR_EXAMPLE, PairSerializer
from riders.api.preconditions import conditional, etag_of, names_current
from riders.api.views import Resource
from riders.models import Pair, Season
from riders.policy import can, visible
from riders.selectors.outlooks import pair_outlook
from riders.selectors.places import keys_of_scores, row_document
from riders.selectors.seasons import Statement, pair_statement, standings_tables
from riders.selectors.standings_tables import TablePage
from riders.services.past_standings import standings_as_of
from riders.visits import TooMany, work_for_visitor
from scoring import season as season_rules

_SEASON = {
    "id": 5,
    "association": "larkfield-association",
    "slug": "2027",
    "title": "Season 2027",
    "starts_on": "2026-10-01",
    "ends_on": "2027-09-30",
    "scheme": {"key": "qualifying-average", "version": 1},
    "closed_at": None,
    "computed_at": "2027-03-07T17:20:00Z",
    "version": 41,
}
_ROW = {
    "unit": "R-2041-H-3310",
    "placing": 1,
    "shared": False,
    "value": "68.125",
    "qualified": True,
    "counted": ["larkfield-spring/3/12"],
    "dropped": [],
    "requirements": [{"count": "judges", "have": 4, "need": 4, "met": True}],
}
_STANDINGS = {
    "format": "standings/1",
    "scheme": "qualifying-average",
    "as_of": "2027-03-07",
    "groups": [{"group": {"level": "novice"}, "rows": [_ROW]}],
}
_STATEMENT = {
    "pair": PAIR_EXAMPLE,
    "season": "larkfield-association/2027",
    "rows": [{"group": {"level": "novice"}, **_ROW}],
    "scores": [
        {
            "score_id": "larkfield-spring/3/12",
            "date": "2027-03-06",
            "competition": "larkfield-spring",
            "class": "3",
            "percentage": "68.125",
            "status": "completed",
            "outcome": "counted",
            "sentence": "One of the best eight.",
        }
    ],
    "rule": ["The median of a pair's best eight percentages counts."],
}


class SchemeNameSerializer(serializers.Serializer[Any]):
    key = serializers.CharField()
    version = serializers.IntegerField()


@extend_schema_serializer(examples=[OpenApiExample("A season", value=_SEASON)])
class SeasonSerializer(serializers.ModelSerializer[Season]):
    """One association's counting of one year by one scheme."""

    association = serializers.CharField(source="association.slug", read_only=True)
    scheme = SchemeNameSerializer(read_only=True)

    class Meta:
        model = Season
        fields = [*_SEASON]
        read_only_fields = fields


class StandingsRowSerializer(serializers.Serializer[Any]):
    unit = serializers.CharField(help_text="Whom the row is about: the key of a pair, or another unit of the scheme.")
    placing = serializers.IntegerField(
        allow_null=True, help_text="Null while not qualified, and in tables without places."
    )
    shared = serializers.BooleanField()
    value = OptionalFigure()
    qualified = serializers.BooleanField()
    counted = serializers.ListField(child=serializers.CharField(), help_text="Ids of the scores that count.")
    dropped = serializers.ListField(child=serializers.CharField(), help_text="Ids of the scores left out.")
    requirements = serializers.ListField(child=DocumentField(), help_text="What is required: have, need, met.")


class StandingsGroupSerializer(serializers.Serializer[Any]):
    group = serializers.DictField(child=serializers.CharField(allow_null=True))
    rows = StandingsRowSerializer(many=True)


@extend_schema_serializer(examples=[OpenApiExample("standings/1", value=_STANDINGS)])
class StandingsSerializer(serializers.Serializer[Any]):
    """The tables of a season as a ``standings/1`` document."""

    format = serializers.CharField()
    scheme = serializers.CharField()
    as_of = serializers.DateField(allow_null=True, help_text="The day up to which scores are counted.")
    groups = StandingsGroupSerializer(many=True)


class StatementScoreSerializer(KeywordNames, serializers.Serializer[Any]):
    score_id = serializers.CharField()
    date = serializers.DateField()
    competition = serializers.CharField()
    class_ = serializers.CharField(allow_null=True)
    percentage = OptionalFigure()
    status = serializers.CharField()
    outcome = serializers.CharField(help_text="counted, dropped or not eligible, in the words of the scheme.")
    sentence = serializers.CharField(help_text="Why.")


class StatementRowSerializer(StandingsRowSerializer):
    group = serializers.DictField(child=serializers.CharField(allow_null=True))


@extend_schema_serializer(examples=[OpenApiExample("A statement", value=_STATEMENT)])
class StatementSerializer(serializers.Serializer[Any]):
    """A pair's season: its rows, and each score of it with whether it counts and why."""

    pair = PairSerializer()
    season = serializers.CharField()
    rows = StatementRowSerializer(many=True)
    scores = StatementScoreSerializer(many=True)
    rule = serializers.ListField(child=serializers.CharField(), help_text="The scheme in plain sentences.")


class SeasonFilter(django_filters.FilterSet):
    association = django_filters.CharFilter("association__slug", label="Id of the association.")

    class Meta:
        model = Season
        fields: list[str] = []


class Seasons(Resource):
    """Seasons, their standings, and what one pair's season consists of."""

    tag = "Seasons"
    access = {"list": Anyone, "retrieve": Anyone, "standings": Anyone, "statement": SignedIn, "outlook": SignedIn}
    serializer_class = SeasonSerializer
    filterset_class = SeasonFilter
    queryset = Season.objects.none()

    def get_queryset(self) -> QuerySet[Season]:
        seasons = Season.objects.select_related("association", "scheme").order_by(
            "association__title", "-starts_on", "pk"
        )
        return visible(self.request.user, seasons)

    @extend_schema(
        summary="List seasons",
        description="Seasons by association, the latest first. The scheme says how scores are counted.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), SeasonSerializer)

    @extend_schema(
        summary="Read a season",
        description="One season by its number. Its version rises whenever its standings change.",
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        season = self.one_of(self.get_queryset(), pk=pk)
        return self.shown(season, SeasonSerializer, version=season.version)

    @extend_schema(
        summary="Read the standings",
        description="The tables of a season as a `standings/1` document, as they stand at its present version; with "
        "`as_of` as they stood on a day of the season, from the ledger as it is known now.",
        parameters=[OpenApiParameter("as_of", OpenApiTypes.DATE, description="A day of the season.")],
        responses={200: StandingsSerializer},
    )
    @conditional
    def standings(self, request: Request, pk: int) -> HttpResponse:
        season = self.one_of(self.get_queryset(), pk=pk)
        etag = etag_of(season.version)
        if names_current(request, etag):
            return HttpResponse(status=304, headers={"ETag": etag})
        if day := request.query_params.get("as_of"):
            try:
                tables = standings_as_of(season, day, at_work=work_for_visitor(request))
            except TooMany as refusal:
                raise Throttled(wait=refusal.wait) from refusal
            past = _standings_content(season, past=tables, as_of=day)
            return HttpResponse(past, content_type="application/json", headers={"ETag": etag})
        content = cache.get_or_set(f"standings/{season.pk}/{season.version}", lambda: _standings_content(season), 3600)
        return HttpResponse(content, content_type="application/json", headers={"ETag": etag})

    @extend_schema(
        summary="Read a pair's statement",
        description="Every score of one pair in this season, with whether it counts and why, and what is still "
        "missing. For the rider, those who keep an association's seasons, and staff.",
        responses={200: StatementSerializer},
    )
    def statement(self, request: Request, pk: int, pair: int) -> Response:
        season = self.one_of(self.get_queryset(), pk=pk)
        found = self.one_of(visible(request.user, Pair.objects.select_related("rider", "horse__owner")), pk=pair)
        self.demand(can(request.user, "view-private", found), "A statement is for its rider and the association only.")
        return Response(_statement_document(pair_statement(found, season)))

    @extend_schema(
        summary="Read a pair's outlook",
        description="What the pair's season may still bring, in each table in which it has a score: what is missing, "
        "the fewest further rides that can do and the lowest percentage each of them needs, and what one more score of "
        "any percentage would do to the value, as `outlook/1` documents. `chances` is an estimate: how often the pair "
        "would get there if its next rides were like those of this season. Open to whom the statement is open.",
        responses={200: PairOutlookSerializer},
    )
    def outlook(self, request: Request, pk: int, pair: int) -> Response:
        season = self.one_of(self.get_queryset(), pk=pk)
        found = self.one_of(visible(request.user, Pair.objects.select_related("rider", "horse__owner")), pk=pair)
        self.demand(can(request.user, "view-private", found), "An outlook is for its rider and the association only.")
        return Response(outlook_document(pair_outlook(found, season)))


def _standings_content(season: Season, *, past: Sequence[TablePage] | None = None, as_of: str = "") -> bytes:
    scheme = season_rules.read_scheme(season.scheme.document)
    tables = standings_tables(season) if past is None else past
    keys = keys_of_scores(placed.row for table in tables for placed in table.rows)
    document = {
        "format": "standings/1",
        "scheme": season.scheme.key,
        "as_of": as_of or _day_of(season),
        "groups": [
            {"group": table.group, "rows": [row_document(row, scheme=scheme, keys=keys) for row in table.rows]}
            for table in tables
        ],
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()


def _day_of(season: Season) -> str | None:
    day = season.stands_on or (season.computed_at.date() if season.computed_at else None)
    return None if day is None else day.isoformat()


def _statement_document(statement: Statement) -> dict[str, Any]:
    scheme = season_rules.read_scheme(statement.season.scheme.document)
    keys = keys_of_scores(placed.row for placed in statement.rows)
    return {
        "pair": PairSerializer(statement.pair).data,
        "season": f"{statement.season.association.slug}/{statement.season.slug}",
        "rows": [{"group": row.group, **row_document(row, scheme=scheme, keys=keys)} for row in statement.rows],
        "scores": [
            {
                "score_id": explained.score.key,
                "date": explained.score.date.isoformat(),
                "competition": explained.score.competition,
                "class": explained.score.class_name or None,
                "percentage": explained.score.percentage or None,
                "status": explained.score.status,
                "outcome": explained.outcome,
                "sentence": explained.sentence,
            }
            for explained in statement.scores
        ],
        "rule": list(statement.rule),
    }
