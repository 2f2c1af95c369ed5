from __future__ import annotations

import json
from typing import Any

from django.core.cache import cache
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.classes import ClassSerializer, class_with_panel
from competitions.api.objects import CompetitionResource
from competitions.models import ClassResults, CompetitionClass, PublishedResults
from competitions.policy import visible
from competitions.selectors.documents import class_document
from competitions.services.results import (
    cancel_correction,
    make_official,
    public_results,
    start_correction,
    withdraw_results,
)
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, OptionalFigure, StrictText
from riders.api.idempotency import idempotent
from riders.api.preconditions import conditional, etag_of, names_current

_KEPT_SECONDS = 600
_SHEET = {"points": "319", "percentage": "69.348", "place": 4, "adjusted_to": None}
_RESULTS = {
    "format": "results/1",
    "class": "larkfield-spring/3",
    "rules": "points-errors-collectives",
    "entries": [
        {
            "number": "12",
            "status": "completed",
            "hors_concours": False,
            "placing": 1,
            "shared": False,
            "total": "69.348",
            "points": "319",
            "penalty": None,
            "so_far": None,
            "sheets": {"C": _SHEET},
            "parts": {},
            "collectives": "56.5",
            "tie": None,
            "reason": None,
            "working": ["C: 321 points - 2 for 1 error of course = 319 of 460 = 69.348 %"],
        }
    ],
    "teams": [{"team": "Green", "placing": 1, "value": "212.430", "counting": ["12", "15", "9"]}],
}
_CLASS_DOCUMENT = OpenApiExample(
    "class/1 (shortened)",
    value={
        "format": "class/1",
        "id": "larkfield-spring/3",
        "title": "Novice Test 2",
        "test": {"format": "test/1", "id": "larkfield-novice-2"},
        "rules": {"format": "rules/1", "id": "points-errors-collectives"},
        "panel": [{"seat": "C"}],
        "entries": [{"number": "12", "status": "completed", "errors": 1, "sheets": {"C": {"marks": {"14": "6.5"}}}}],
    },
)


class SheetResultSerializer(serializers.Serializer[Any]):
    points = OptionalFigure()
    percentage = OptionalFigure()
    place = serializers.IntegerField(allow_null=True, help_text="The place under this seat alone.")
    adjusted_to = OptionalFigure(help_text="The percentage that an outlier was moved to.")


class ResultSerializer(serializers.Serializer[Any]):
    """One entry of the results. Figures are text; null where there is none."""

    number = serializers.CharField()
    status = serializers.CharField()
    hors_concours = serializers.BooleanField()
    placing = serializers.IntegerField(allow_null=True)
    shared = serializers.BooleanField()
    total = OptionalFigure()
    points = OptionalFigure()
    penalty = OptionalFigure()
    so_far = OptionalFigure(help_text="The percentage over the items marked so far, while running.")
    sheets = serializers.DictField(child=SheetResultSerializer(), help_text="By the letter of the seat.")
    parts = serializers.DictField(child=OptionalFigure())
    collectives = OptionalFigure()
    tie = DocumentField(allow_null=True, help_text="With whom the total is equal, and the step that parted them.")
    reason = serializers.CharField(allow_null=True)
    working = serializers.ListField(child=serializers.CharField(), help_text="The proof, line by line.")


class TeamResultSerializer(serializers.Serializer[Any]):
    team = serializers.CharField()
    placing = serializers.IntegerField(allow_null=True)
    value = OptionalFigure()
    counting = serializers.ListField(child=serializers.CharField())


@extend_schema_serializer(examples=[OpenApiExample("results/1", value=_RESULTS)])
class ResultsSerializer(serializers.Serializer[Any]):
    """The results of a class as a ``results/1`` document."""

    format = serializers.CharField()
    rules = serializers.CharField(help_text="Id of the rule set.")
    entries = ResultSerializer(many=True)
    teams = TeamResultSerializer(many=True)

    def get_fields(self) -> dict[str, Any]:
        name = serializers.CharField(help_text="Id of the competition and number of the class.")
        return {"class": name, **super().get_fields()}


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Revision 1",
            value={
                "revision": 1,
                "version": 118,
                "published_at": "2027-03-06T15:02:11Z",
                "reason": "",
                "withdrawn_at": None,
                "withdrawn_reason": "",
            },
        )
    ]
)
class RevisionSerializer(serializers.ModelSerializer[PublishedResults]):
    """One set of official results: never changed, and readable when a later one has replaced it."""

    class Meta:
        model = PublishedResults
        fields = ["revision", "version", "published_at", "reason", "withdrawn_at", "withdrawn_reason"]
        read_only_fields = fields


@extend_schema_serializer(examples=[OpenApiExample("Why", value={"reason": "Mark for item 7 at C keyed as 5, was 6."})])
class ReasonInput(Input):
    reason = StrictText(max_length=300, help_text="Why; it stands beside the results.")


@extend_schema_serializer(examples=[OpenApiExample("No remark", value={})])
class OfficialInput(Input):
    reason = StrictText(max_length=300, required=False, allow_blank=True, help_text="A remark to stand beside them.")
    findings_reason = StrictText(
        max_length=300,
        required=False,
        help_text="Lets every finding stand that nobody has decided on, with this reason: for an office that has "
        "looked at the whole table.",
    )


class Results(CompetitionResource):
    """The results of a class."""

    tag = "Results"
    access = {"retrieve": Anyone, "revisions": Anyone, "revision": Anyone, "document": SignedIn}
    serializer_class = ResultsSerializer
    queryset = CompetitionClass.objects.none()

    @extend_schema(
        summary="Read the results of a class",
        description="The results as the board shows them: the last official revision once results are official, "
        "otherwise the provisional ones as last worked out. The ETag is the version of the class: ask with "
        "If-None-Match and get 304 while nothing has changed. Polling every two seconds is fine.",
        responses={200: ResultsSerializer},
    )
    @conditional
    def retrieve(self, request: Request, pk: int) -> HttpResponse:
        found = self.one_of(visible(request.user, CompetitionClass.objects.select_related("rule_set")), pk=pk)
        etag = etag_of(found.version)
        if names_current(request, etag):
            return HttpResponse(status=304, headers={"ETag": etag})
        key = f"results/{found.pk}/{found.version}"
        content = cache.get_or_set(key, lambda: _content(_current_results(found)), _KEPT_SECONDS)
        return HttpResponse(content, content_type="application/json", headers={"ETag": etag})

    @extend_schema(
        summary="List official revisions",
        description="Every set of official results of the class, the latest first, with the reason of each correction.",
        responses={200: RevisionSerializer(many=True)},
    )
    def revisions(self, request: Request, pk: int) -> Response:
        return self.listed(self._published(request, pk), RevisionSerializer)

    @extend_schema(
        summary="Read an official revision",
        description="One set of official results as it was posted, also after a later one has replaced it.",
        responses={200: ResultsSerializer},
    )
    @conditional
    def revision(self, request: Request, pk: int, revision: int) -> HttpResponse:
        found = self.one_of(self._published(request, pk), revision=revision)
        etag = etag_of(f"revision-{found.revision}")
        if names_current(request, etag):
            return HttpResponse(status=304, headers={"ETag": etag})
        document = public_results(found.document, found.competition_class)
        return HttpResponse(_content(document), content_type="application/json", headers={"ETag": etag})

    @extend_schema(
        summary="Read the whole class",
        description="The class as a `class/1` document, with every mark, deduction and the rules: all that is "
        "needed to compute the results again. It holds no remarks; of rides seen in a recording it has the moments. "
        "For the office of the competition.",
        responses={200: OpenApiResponse(OpenApiTypes.OBJECT, "A class/1 document.", [_CLASS_DOCUMENT])},
    )
    def document(self, request: Request, pk: int) -> Response:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        response = Response(class_document(found, moments=True))
        response["ETag"] = etag_of(found.version)
        return response

    def _published(self, request: Request, pk: int) -> QuerySet[PublishedResults]:
        found = self.one_of(visible(request.user, CompetitionClass.objects.all()), pk=pk)
        published = PublishedResults.objects.filter(competition_class=found).select_related(
            "competition_class__rule_set"
        )
        return visible(request.user, published).order_by("-revision", "pk")


class ResultsDesk(CompetitionResource):
    """From provisional to official, and back with a reason. For the office of the competition."""

    tag = "Results"
    access = {"official": SignedIn, "correction": SignedIn, "end_correction": SignedIn, "withdrawal": SignedIn}
    serializer_class = ClassSerializer
    queryset = CompetitionClass.objects.none()

    @extend_schema(
        summary="Make results official",
        description="Freezes the results as the next revision and posts their scores to the ledger. Refused while "
        "an entry has no outcome, or a finding no decision; each is listed. With a correction under way its reason "
        "stands in the revision. For the office of the competition.",
        request=OfficialInput,
        responses={201: RevisionSerializer},
    )
    @idempotent
    def official(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        published = make_official(found, by=self.account, **self.read(OfficialInput))
        response = self.shown(published, RevisionSerializer, status=201)
        response["Location"] = f"/api/v1/classes/{pk}/results/{published.revision}/"
        return response

    @extend_schema(
        summary="Start a correction",
        description="Opens official results so that marks and outcomes can be changed. The official revision stays "
        "posted until the corrected results are made official. For the office of the competition.",
        request=ReasonInput,
        responses={200: ClassSerializer},
    )
    @idempotent
    def correction(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        start_correction(found, by=self.account, reason=self.read(ReasonInput)["reason"])
        return self._class(pk)

    @extend_schema(
        summary="Cancel a correction",
        description="Closes a correction that changed nothing. Refused when marks or outcomes differ from the "
        "official ones by now. For the office of the competition.",
        request=None,
        responses={200: ClassSerializer},
    )
    @idempotent
    def end_correction(self, request: Request, pk: int) -> Response:
        cancel_correction(self._office_class(request, pk), by=self.account)
        return self._class(pk)

    @extend_schema(
        summary="Withdraw official results",
        description="Takes official results back: their scores leave the ledger, the revision stays readable with the "
        "reason. For the office of the competition.",
        request=ReasonInput,
        responses={200: ClassSerializer},
    )
    @idempotent
    def withdrawal(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        withdraw_results(found, by=self.account, reason=self.read(ReasonInput)["reason"])
        return self._class(pk)

    def _office_class(self, request: Request, pk: int) -> CompetitionClass:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        return found

    def _class(self, pk: int) -> Response:
        fresh = class_with_panel(pk)
        return self.shown(fresh, ClassSerializer, version=fresh.version)


def _current_results(competition_class: CompetitionClass) -> dict[str, Any]:
    """Return what the board shows: the last official revision while it stands, else the results as computed."""
    if competition_class.results_state == CompetitionClass.ResultsState.OFFICIAL:
        published = competition_class.published.first()
        if published is not None:
            return public_results(published.document, competition_class)
    computed = ClassResults.objects.filter(competition_class=competition_class).first()
    return public_results(computed.document, competition_class) if computed else {}


def _content(document: dict[str, Any]) -> bytes:
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()
