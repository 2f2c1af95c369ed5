from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema,
    extend_schema_serializer,
)
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource
from competitions.models import Competition
from competitions.policy import is_office, office_competitions
from competitions.services.entry_details import pair_by_hand
from competitions.services.exports import competition_document, entries_csv, marks_csv, outcomes_csv
from competitions.services.imports import import_competition, import_entries, import_marks, import_outcomes
from riders.api.access import SignedIn
from riders.api.associations import IMPORT_DONE, ImportedSerializer
from riders.api.fields import DocumentField, Input, StrictInteger, StrictText
from riders.api.idempotency import idempotent
from riders.api.parsers import CSVParser
from riders.api.people import PairSerializer
from riders.api.renderers import CSVRenderer
from riders.api.views import Resource
from riders.models import Pair

_ENTRIES = (
    "class,number,order,rider,rider_registration,horse,horse_registration\r\n"
    "3,12,4,Ada Fenwick,R-2041,Copper Lark,H-3310\r\n"
)
_MARKS = "class,number,seat,item,mark,remark\r\n3,12,C,14,6.5,more bend\r\n"
_OUTCOMES = "class,number,status,errors,reason\r\n3,15,eliminated,3,third error of course\r\n"
_COMPETITION: dict[str, Any] = {
    "format": "competition/1",
    "id": "larkfield-spring",
    "title": "Larkfield Spring Show",
    "venue": "Larkfield",
    "starts_on": "2027-03-06",
    "ends_on": "2027-03-07",
    "time_zone": "Europe/Vienna",
    "association": None,
    "recognised": True,
    "classes": [],
}
_CSV = {"text/csv": OpenApiTypes.STR}


def _file(name: str, text: str) -> OpenApiExample:
    return OpenApiExample(name, text, media_type="text/csv", request_only=True)


class ReplaceInput(Input):
    """The query of an import of marks."""

    replace = serializers.BooleanField(default=False)
    reason = serializers.CharField(max_length=300, default="", allow_blank=True)


class Imports(CompetitionResource):
    """A show's files: all of a file or nothing, every problem by row and column, and the same again changes nothing."""

    tag = "Files"
    access = {"entries": SignedIn, "marks": SignedIn, "outcomes": SignedIn}
    serializer_class = ImportedSerializer
    queryset = Competition.objects.none()
    parser_classes = [CSVParser]

    @extend_schema(
        summary="Import entries",
        description="Enters the pairs of an `entries.csv`. Riders and horses are found by registration; without "
        "one the same exact name is the same rider or horse inside this competition only. For the office of the "
        "competition.",
        request=_CSV,
        examples=[_file("entries.csv", _ENTRIES)],
        responses={200: IMPORT_DONE},
    )
    @idempotent
    def entries(self, request: Request, slug: str) -> Response:
        return Response(asdict(import_entries(self._own(request, slug), self.text, by=self.account)))

    @extend_schema(
        summary="Import marks",
        description="Keys the marks and remarks of a `marks.csv`, one row a mark; a row without an item holds the "
        "overall remarks. A mark that stands there with another value is a problem, unless `replace` says that the "
        "file is right. For the office of the competition.",
        parameters=[
            OpenApiParameter("replace", OpenApiTypes.BOOL, description="The file is right where marks differ."),
            OpenApiParameter("reason", OpenApiTypes.STR, description="Why, for the history of the sheets."),
        ],
        request=_CSV,
        examples=[_file("marks.csv", _MARKS)],
        responses={200: IMPORT_DONE},
    )
    @idempotent
    def marks(self, request: Request, slug: str) -> Response:
        competition = self._own(request, slug)
        query = ReplaceInput(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        return Response(asdict(import_marks(competition, self.text, by=self.account, **query.validated_data)))

    @extend_schema(
        summary="Import outcomes",
        description="Sets the outcomes of an `outcomes.csv`: statuses, errors of course, deductions. The "
        "deductions of a file replace those that an entry had. For the office of the competition.",
        request=_CSV,
        examples=[_file("outcomes.csv", _OUTCOMES)],
        responses={200: IMPORT_DONE},
    )
    @idempotent
    def outcomes(self, request: Request, slug: str) -> Response:
        return Response(asdict(import_outcomes(self._own(request, slug), self.text, by=self.account)))

    def _own(self, request: Request, slug: str) -> Competition:
        found = self.competition(request, slug)
        self.demand_office(request, found)
        return found


def _csv_answer(example: str) -> dict[tuple[int, str], OpenApiResponse]:
    return {(200, "text/csv"): OpenApiResponse(OpenApiTypes.STR, "The file.", [OpenApiExample("The file", example)])}


class Exports(CompetitionResource):
    """A show as files, in the shapes that are imported. They hold registrations and remarks: for the office."""

    tag = "Files"
    access = {"entries": SignedIn, "marks": SignedIn, "outcomes": SignedIn, "competition_file": SignedIn}
    serializer_class = ImportedSerializer
    queryset = Competition.objects.none()
    renderer_classes = [CSVRenderer, JSONRenderer]

    @extend_schema(
        summary="Export entries",
        description="Every entry of the competition as `entries.csv`, in the running orders. For its office.",
        responses=_csv_answer(_ENTRIES),
    )
    def entries(self, request: Request, slug: str) -> StreamingHttpResponse:
        return self._answer(request, slug, entries_csv)

    @extend_schema(
        summary="Export marks",
        description="Every mark and remark of the competition as `marks.csv`. For its office.",
        responses=_csv_answer(_MARKS),
    )
    def marks(self, request: Request, slug: str) -> StreamingHttpResponse:
        return self._answer(request, slug, marks_csv)

    @extend_schema(
        summary="Export outcomes",
        description="Entries of which the marks do not say everything, as `outcomes.csv`. For the office of the "
        "competition.",
        responses=_csv_answer(_OUTCOMES),
    )
    def outcomes(self, request: Request, slug: str) -> StreamingHttpResponse:
        return self._answer(request, slug, outcomes_csv)

    @extend_schema(
        summary="Export a competition",
        description="The competition, its classes and panels as a `competition/1` document. For its office.",
        responses={
            (200, "application/json"): OpenApiResponse(
                OpenApiTypes.OBJECT, "A competition/1 document.", [OpenApiExample("competition/1", value=_COMPETITION)]
            )
        },
    )
    def competition_file(self, request: Request, slug: str) -> Response:
        found = self.competition(request, slug)
        self.demand_office(request, found)
        request.accepted_renderer = JSONRenderer()
        request.accepted_media_type = "application/json"
        return Response(competition_document(found))

    def _answer(
        self, request: Request, slug: str, lines: Callable[[Competition], Iterator[str]]
    ) -> StreamingHttpResponse:
        found = self.competition(request, slug)
        self.demand_office(request, found)
        headers = {"Content-Disposition": f'attachment; filename="{found.slug}-{self.action}.csv"'}
        return StreamingHttpResponse(lines(found), content_type="text/csv; charset=utf-8", headers=headers)


@extend_schema_serializer(examples=[OpenApiExample("competition/1", value={"document": _COMPETITION})])
class CompetitionFileInput(Input):
    document = DocumentField(help_text="A competition/1 document.")


class CompetitionImport(Resource):
    """A whole show out of one document."""

    tag = "Files"
    access = {"create": SignedIn}
    serializer_class = ImportedSerializer
    queryset = Competition.objects.none()

    @extend_schema(
        summary="Import a competition",
        description="Sets up a competition from a `competition/1` document, or brings one that is there to what "
        "the document says. Tests, rule sets and the association must be known. A new competition is planned until "
        "it is published. For staff, and for the office of a competition that is there.",
        request=CompetitionFileInput,
        responses={200: ImportedSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        document = self.read(CompetitionFileInput)["document"]
        slug = document.get("id") if isinstance(document, dict) else None
        own = isinstance(slug, str) and office_competitions(request.user).filter(slug=slug).exists()
        staff = bool(getattr(request.user, "is_staff", False))
        self.demand(own or staff, "Only staff set up competitions, and only its office changes one.")
        done = import_competition(document, by=self.account)
        return Response({"created": done.created, "changed": done.changed, "unchanged": done.unchanged})


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A pair",
            value={
                "rider": {"name": "Ada Fenwick", "registration": "R-2041"},
                "horse": {"name": "Copper Lark", "registration": "H-3310", "born": 2018, "owner": "Fenwick Stud"},
            },
        )
    ]
)
class PairInput(Input):
    class _Rider(Input):
        name = StrictText(max_length=120)
        registration = StrictText(max_length=40, required=False, allow_blank=True)

    class _Horse(Input):
        name = StrictText(max_length=120)
        registration = StrictText(max_length=40, required=False, allow_blank=True)
        born = StrictInteger(
            min_value=1980, max_value=2100, required=False, allow_null=True, help_text="Year of birth."
        )
        owner = StrictText(max_length=120, required=False, allow_blank=True)

    rider = _Rider()
    horse = _Horse()


class CompetitionPairs(CompetitionResource):
    """Pairs as an office names them, to be entered."""

    tag = "Entries"
    access = {"create": SignedIn}
    serializer_class = PairSerializer
    queryset = Pair.objects.none()

    @extend_schema(
        summary="Name a pair",
        description="Returns the pair of this rider and horse: found by registration, or by exact name among those "
        "of this competition, or a new one. Its number is what an entry takes. For the office of the competition.",
        request=PairInput,
        responses={200: PairSerializer},
    )
    @idempotent
    def create(self, request: Request, slug: str) -> Response:
        competition = self.competition(request, slug)
        self.demand(is_office(request.user, competition), "Only the office of this competition names pairs for it.")
        given: dict[str, Any] = self.read(PairInput)
        pair = pair_by_hand(
            competition,
            rider=given["rider"]["name"],
            rider_registration=given["rider"].get("registration", ""),
            horse=given["horse"]["name"],
            horse_registration=given["horse"].get("registration", ""),
            horse_born=given["horse"].get("born"),
            owner=given["horse"].get("owner", ""),
        )
        return self.shown(pair, PairSerializer)
