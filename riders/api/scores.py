from __future__ import annotations

import django_filters
from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema,
    extend_schema_serializer,
)
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone, SignedIn
from riders.api.fields import KeywordNames, KnownText, OptionalFigure
from riders.api.filters import NumberOf
from riders.api.idempotency import idempotent
from riders.api.parsers import CSVParser
from riders.api.renderers import CSVRenderer
from riders.api.views import Resource
from riders.models import Score
from riders.policy import associations_of, visible
from riders.selectors.ledger import scores_csv
from riders.services.corrections import version_of
from riders.services.direct_imports import import_scores

CSV_EXAMPLE = (
    "score_id,pair,rider,horse,level,test,date,competition,class,judges,percentage,placing,starters,status\r\n"
    "larkfield-spring/3/12,R-2041-H-3310,Ada Fenwick,Copper Lark,novice,larkfield-novice-2,2027-03-06,"
    "larkfield-spring,3,R. Stone;M. Vale,68.125,2,14,completed\r\n"
)
SOURCE = OpenApiParameter("source", str, description="Where the file comes from; decisions on names belong to it.")
DRY_RUN = OpenApiParameter(
    "dry_run", bool, description="true: check everything and answer as if it were done, and do nothing."
)
_EXAMPLE = {
    "score_id": "larkfield-spring/3/12",
    "pair": "R-2041-H-3310",
    "pair_id": 104,
    "rider": "Ada Fenwick",
    "horse": "Copper Lark",
    "division": "open",
    "level": "novice",
    "test": "larkfield-novice-2",
    "highest_of_level": False,
    "kind": "set",
    "date": "2027-03-06",
    "competition": "larkfield-spring",
    "class": "3",
    "judges": ["R. Stone", "M. Vale"],
    "percentage": "68.125",
    "collectives": "56.5",
    "placing": 2,
    "starters": 14,
    "status": "completed",
    "hors_concours": False,
    "recognised": True,
    "member": None,
    "region": None,
    "team": None,
    "venue": "Larkfield",
    "owner": "Fenwick Stud",
    "horse_age": 9,
    "retracted_at": None,
}


@extend_schema_serializer(examples=[OpenApiExample("A score", value=_EXAMPLE)])
class ScoreSerializer(KeywordNames, serializers.ModelSerializer[Score]):
    """One official score: a row of ``scores/1``. A ride before several judges is one score; null means unknown."""

    score_id = serializers.CharField(source="key", read_only=True, help_text="Names the origin of the score.")
    pair = serializers.CharField(source="pair.key", read_only=True, help_text="The pair's key in documents.")
    pair_id = serializers.IntegerField(read_only=True, help_text="The pair's number here.")
    rider = serializers.CharField(source="pair.rider.name", read_only=True)
    horse = serializers.CharField(source="pair.horse.name", read_only=True)
    division = KnownText(read_only=True, allow_null=True)
    level = KnownText(read_only=True, allow_null=True)
    test = KnownText(read_only=True, allow_null=True)
    kind = KnownText(read_only=True, allow_null=True)
    region = KnownText(read_only=True, allow_null=True)
    team = KnownText(read_only=True, allow_null=True)
    venue = KnownText(read_only=True, allow_null=True)
    owner = KnownText(read_only=True, allow_null=True)
    class_ = KnownText(source="class_name", read_only=True, allow_null=True)
    judges = serializers.ListField(child=serializers.CharField(), read_only=True)
    percentage = OptionalFigure()
    collectives = OptionalFigure()

    class Meta:
        model = Score
        fields = [f"{name}_" if name == "class" else name for name in _EXAMPLE]
        read_only_fields = fields


class ScoreFilter(django_filters.FilterSet):
    pair = NumberOf("pair", label="Number of the pair.")
    competition = django_filters.CharFilter("competition", label="Id of the competition.")
    level = django_filters.CharFilter("level", label="Level, as written.")
    division = django_filters.CharFilter("division", label="Division, as written.")
    status = django_filters.CharFilter("status", label="Status, such as completed.")
    date_from = django_filters.DateFilter("date", "gte", label="First day of the ride, such as 2027-03-01.")
    date_to = django_filters.DateFilter("date", "lte", label="Last day of the ride, such as 2027-03-31.")
    retracted = django_filters.BooleanFilter(
        "retracted_at", "isnull", exclude=True, label="Only retracted scores (true) or only those in force (false)."
    )

    class Meta:
        model = Score
        fields: list[str] = []


class ImportSummarySerializer(serializers.Serializer[object]):
    """How many scores an import wrote, changed, found as they were already, and left out."""

    posted = serializers.IntegerField()
    corrected = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    duplicate = serializers.IntegerField(help_text="Left out: the ledger has the ride under another id.")


class Scores(Resource):
    """The ledger of official scores, from classes run here and from imported files."""

    tag = "Ledger"
    access = {"list": Anyone, "retrieve": Anyone, "create": SignedIn}
    serializer_class = ScoreSerializer
    filterset_class = ScoreFilter
    queryset = Score.objects.none()
    parser_classes = [CSVParser]

    def get_queryset(self) -> QuerySet[Score]:
        scores = Score.objects.select_related("pair__rider", "pair__horse").order_by("-date", "competition", "key")
        return visible(self.request.user, scores)

    def get_renderers(self) -> list[BaseRenderer]:
        return [JSONRenderer(), CSVRenderer()] if self.action == "list" else [JSONRenderer()]

    @extend_schema(
        summary="List scores",
        description="Official scores, the latest ride first. Retracted scores are shown to those who keep a ledger "
        "only. With `Accept: text/csv` (or `?format=csv`) every score that the filters leave comes as one "
        "`scores/1` file, without pages.",
        parameters=[
            OpenApiParameter("format", OpenApiTypes.STR, enum=["json", "csv"], description="json, or csv for the file.")
        ],
        responses={
            (200, "application/json"): ScoreSerializer(many=True),
            (200, "text/csv"): OpenApiResponse(
                OpenApiTypes.STR, "The file.", [OpenApiExample("scores/1", CSV_EXAMPLE)]
            ),
        },
    )
    def list(self, request: Request) -> HttpResponseBase:
        if request.accepted_renderer.format == "csv":
            scores = self.filter_queryset(self.get_queryset()).iterator(chunk_size=2000)
            headers = {"Content-Disposition": 'attachment; filename="scores.csv"'}
            return StreamingHttpResponse(scores_csv(scores), content_type="text/csv; charset=utf-8", headers=headers)
        return self.listed(self.get_queryset(), ScoreSerializer)

    @extend_schema(
        summary="Read a score",
        description="One score by its id, which may hold slashes. Its ETag is the version that a correction names.",
        parameters=[
            OpenApiParameter("score_id", OpenApiTypes.STR, OpenApiParameter.PATH, description="The score's id.")
        ],
    )
    def retrieve(self, request: Request, score_id: str) -> Response:
        found = self.one_of(self.get_queryset(), key=score_id)
        return self.shown(found, ScoreSerializer, version=version_of(found))

    @extend_schema(
        summary="Import scores",
        description="Posts the rows of a `scores/1` file to the ledger at once, all or none. A score that is there "
        "with the same values is left alone; one with other values is corrected, with the old values kept in its "
        "history; a ride that is there under another id is left out. Scores of a class run here are corrected in their "
        "class, and those that concern only other associations by them. Names that are like known ones refuse the file "
        "(code `names-open`): hand it in at `imports/`, decide on them there, and confirm. With `dry_run=true` the "
        "answer, a refusal too, is that of the real request, and nothing is written. Send an `Idempotency-Key` so that "
        "a request may be repeated.",
        parameters=[SOURCE, DRY_RUN],
        request={("text/csv"): OpenApiTypes.STR},
        examples=[OpenApiExample("scores/1", CSV_EXAMPLE, media_type="text/csv", request_only=True)],
        responses={
            200: OpenApiResponse(
                ImportSummarySerializer,
                "What was done.",
                [OpenApiExample("Done", value={"posted": 118, "corrected": 2, "unchanged": 0, "duplicate": 1})],
            )
        },
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand(
            associations_of(request.user).exists(), "Only those who keep the ledger of an association import scores."
        )
        source = request.query_params.get("source", "")
        done = import_scores(self.text, by=self.account, source=source, dry_run=self.dry_run)
        return self.shown(done, ImportSummarySerializer)
