"""The end of a season through the API: closed and reopened, its editions, and what came to the ledger since."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiResponse,
    extend_schema,
    extend_schema_field,
    extend_schema_serializer,
)
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone, SignedIn
from riders.api.corrections import FieldDifferenceSerializer
from riders.api.idempotency import idempotent
from riders.api.merges import LedgerReasonInput
from riders.api.preconditions import Stale, conditional, etag_of, expected_version, names_current, needs_if_match
from riders.api.renderers import CSVRenderer
from riders.api.seasons import SchemeNameSerializer, SeasonSerializer, StandingsSerializer
from riders.api.views import Resource
from riders.errors import Conflict
from riders.models import Season, SeasonChange, SeasonEdition
from riders.policy import can, visible
from riders.selectors.editions import (
    ChangedScore,
    changes_since,
    edition_in_force,
    frozen_rows,
    frozen_scores_csv,
    season_history,
)
from riders.services.closing import close_season, reopen_season

_CHANGE = {
    "action": "closed",
    "at": "2027-10-02T18:00:00Z",
    "by": "Ida Moss",
    "reason": "all results are in",
    "edition": 1,
}
_EDITION = {
    "number": 1,
    "at": "2027-10-02T18:00:00Z",
    "in_force": True,
    "scheme": {"key": "qualifying-average", "version": 1},
    "digest": "5f0c2c1d7f0f4a62b54a1e7a0b3f0a8a6a5d6f1c9d8e7b6a5f4e3d2c1b0a9f8e",
    "tables": [{"group": {"level": "novice"}, "title": "novice", "rows": 31, "placed": 18, "qualified": 18}],
}
_SINCE = {
    "score_id": "far/1/1",
    "what": "changed",
    "differences": [{"field": "percentage", "before": "67.500", "after": "68.125"}],
}
_FILE = OpenApiExample(
    "A score",
    value="score_id,pair,rider,horse,level,date,competition,percentage,status,member\r\n"
    "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,64.500,completed,true\r\n",
    media_type="text/csv",
)
_KEEPERS_ONLY = "Only those who keep the association of this season do this."


@extend_schema_serializer(examples=[OpenApiExample("A closing", value=_CHANGE)])
class SeasonChangeSerializer(serializers.ModelSerializer[SeasonChange]):
    """That a season was closed or reopened: when, by whom, why."""

    action = serializers.CharField(read_only=True, help_text="closed or reopened.")
    by = serializers.SerializerMethodField(help_text="Who did it; null when not known.")
    edition = serializers.IntegerField(
        source="edition.number",
        read_only=True,
        help_text="The edition that closing made, or that was no longer final after reopening.",
    )

    class Meta:
        model = SeasonChange
        fields = list(_CHANGE)
        read_only_fields = fields

    def get_by(self, change: SeasonChange) -> str | None:
        return str(change.by) if change.by else None


class EditionTableSerializer(serializers.Serializer[Any]):
    group = serializers.DictField(child=serializers.CharField(allow_null=True))
    title = serializers.CharField()
    rows = serializers.IntegerField()
    placed = serializers.IntegerField()
    qualified = serializers.IntegerField()


@extend_schema_serializer(examples=[OpenApiExample("An edition", value=_EDITION)])
class EditionSerializer(serializers.ModelSerializer[SeasonEdition]):
    """The lists of a season as they were frozen when it was closed. An edition is never changed."""

    number = serializers.IntegerField(read_only=True, help_text="Counts the closings of the season from 1.")
    in_force = serializers.SerializerMethodField(help_text="Whether these are the final lists.")
    scheme = SchemeNameSerializer(read_only=True)
    digest = serializers.CharField(
        read_only=True, help_text="SHA-256 over all that was frozen: stands on every document of the edition."
    )
    tables = EditionTableSerializer(source="head.tables", many=True, read_only=True)

    class Meta:
        model = SeasonEdition
        fields = list(_EDITION)
        read_only_fields = fields

    def get_in_force(self, edition: SeasonEdition) -> bool:
        return bool(edition.at == edition.season.closed_at)


@extend_schema_serializer(examples=[OpenApiExample("A corrected score", value=_SINCE)])
class ChangedScoreSerializer(serializers.Serializer[Any]):
    """A score that is not in the ledger as it was counted."""

    score_id = serializers.CharField(source="key")
    what = serializers.CharField(
        help_text="added, changed, gone (retracted), or named: only the pair or a name differs, by a merge or a new "
        "name."
    )
    differences = serializers.SerializerMethodField(help_text="What was counted and what stands there now.")

    @extend_schema_field(FieldDifferenceSerializer(many=True))
    def get_differences(self, change: ChangedScore) -> list[dict[str, str]]:
        return [{"field": field, "before": before, "after": after} for field, before, after in change.differences]


class SeasonEndings(Resource):
    """The end of a season: it is closed and reopened with a reason, and each closing makes an edition of its lists."""

    tag = "Seasons"
    access = {
        **dict.fromkeys(("close", "reopen", "history", "since", "scores"), SignedIn),
        **dict.fromkeys(("editions", "edition", "edition_standings"), Anyone),
    }
    serializer_class = EditionSerializer
    queryset = SeasonEdition.objects.none()
    pagination_class = None

    def get_renderers(self) -> list[BaseRenderer]:
        return [CSVRenderer(), JSONRenderer()] if self.action == "scores" else super().get_renderers()

    @extend_schema(
        summary="Close a season",
        description="Works the standings out once more and freezes them, with the rule, the names and the counted "
        "ledger, as the next edition; nothing that comes to the ledger later moves them, and the scheme is fixed. "
        "If-Match names the version of the season. For those who keep its association.",
        request=LedgerReasonInput,
        responses={200: SeasonSerializer},
    )
    @idempotent
    @needs_if_match
    def close(self, request: Request, pk: int) -> Response:
        return self._decided(request, pk, close_season)

    @extend_schema(
        summary="Reopen a season",
        description="Lets the standings of a closed season follow the ledger again. Its edition is no longer final, "
        "and stays as it is; closing again makes the next one. For those who keep its association.",
        request=LedgerReasonInput,
        responses={200: SeasonSerializer},
    )
    @idempotent
    @needs_if_match
    def reopen(self, request: Request, pk: int) -> Response:
        return self._decided(request, pk, reopen_season)

    @extend_schema(
        summary="Read when a season was closed and reopened",
        description="Who closed and reopened the season, when and why, the latest first. For those who keep it.",
        responses={200: SeasonChangeSerializer(many=True)},
    )
    def history(self, request: Request, pk: int) -> Response:
        changes = visible(request.user, season_history(self._kept(request, pk)))
        return Response(SeasonChangeSerializer(changes, many=True).data)

    @extend_schema(
        summary="List editions",
        description="The editions of a season's lists, the latest first: the one in force for everyone, earlier ones "
        "for those who keep the season.",
        responses={200: EditionSerializer(many=True)},
    )
    def editions(self, request: Request, pk: int) -> Response:
        found = self._editions(request).filter(season=self._season(request, pk))
        return Response(EditionSerializer(found, many=True).data)

    @extend_schema(
        summary="Read an edition",
        description="One edition by its number, with how many rows, placed and qualified units each table has.",
        responses={200: EditionSerializer},
    )
    def edition(self, request: Request, pk: int, number: int) -> Response:
        return self.shown(self._edition(request, pk, number), EditionSerializer)

    @extend_schema(
        summary="Read the standings of an edition",
        description="The tables of an edition as a `standings/1` document, as they were when the season was closed.",
        responses={200: StandingsSerializer},
    )
    @conditional
    def edition_standings(self, request: Request, pk: int, number: int) -> HttpResponse:
        edition = self._edition(request, pk, number)
        etag = etag_of(edition.digest)
        if names_current(request, etag):
            return HttpResponse(status=304, headers={"ETag": etag})
        document = {
            "format": "standings/1",
            "scheme": edition.head["scheme"]["id"],
            "as_of": edition.head.get("as_of") or edition.at.date().isoformat(),
            "groups": [
                {"group": table["group"], "rows": [row["standings"] for row in frozen_rows(edition, table=index)]}
                for index, table in enumerate(edition.head["tables"])
            ],
        }
        content = json.dumps(document, ensure_ascii=False, separators=(",", ":"))
        return HttpResponse(content, content_type="application/json", headers={"ETag": etag})

    @extend_schema(
        summary="Read the scores that an edition was counted from",
        description="The ledger of the season as it was counted, as a `scores/1` CSV file, with the membership as it "
        "was worked out: with the scheme it gives the same standings again. For those who keep the season.",
        responses={(200, "text/csv"): OpenApiResponse(OpenApiTypes.STR, "The file.", examples=[_FILE])},
    )
    def scores(self, request: Request, pk: int, number: int) -> HttpResponse:
        self._kept(request, pk)
        return HttpResponse(
            frozen_scores_csv(self._edition(request, pk, number)), content_type="text/csv; charset=utf-8"
        )

    @extend_schema(
        summary="Read what came to the ledger since a season was closed",
        description="Every score of the season's days that is not as it was counted by the edition in force, whether "
        "by a posting, a correction, a merge, a new name or a membership. Empty while the season is open. For those "
        "who keep it.",
        responses={200: ChangedScoreSerializer(many=True)},
    )
    def since(self, request: Request, pk: int) -> Response:
        edition = edition_in_force(self._kept(request, pk))
        return Response(ChangedScoreSerializer(changes_since(edition) if edition else [], many=True).data)

    def _decided(self, request: Request, pk: int, act: Callable[..., object]) -> Response:
        season = self._kept(request, pk)
        reason = self.read(LedgerReasonInput)["reason"]
        try:
            act(season, expected_version=expected_version(request), by=self.account, reason=reason)
        except Conflict as conflict:
            fresh = self._season(request, pk)
            current = dict(SeasonSerializer(fresh).data)
            raise Stale(conflict.message, current=current, version=fresh.version) from conflict
        done = self._season(request, pk)
        return self.shown(done, SeasonSerializer, version=done.version)

    def _season(self, request: Request, pk: int) -> Season:
        return self.one_of(visible(request.user, Season.objects.select_related("association", "scheme")), pk=pk)

    def _kept(self, request: Request, pk: int) -> Season:
        season = self._season(request, pk)
        self.demand(can(request.user, "change", season), _KEEPERS_ONLY)
        return season

    def _editions(self, request: Request) -> QuerySet[SeasonEdition]:
        editions = SeasonEdition.objects.select_related("season", "scheme").defer("scores").order_by("-number")
        return visible(request.user, editions)

    def _edition(self, request: Request, pk: int, number: int) -> SeasonEdition:
        return self.one_of(self._editions(request), season=self._season(request, pk), number=number)
