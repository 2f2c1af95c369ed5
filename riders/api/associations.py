from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone, SignedIn, Staff
from riders.api.fields import DocumentField, Input
from riders.api.idempotency import idempotent
from riders.api.parsers import CSVParser
from riders.api.views import Resource
from riders.csvrows import read_rows
from riders.errors import NotAllowed
from riders.models import Association
from riders.policy import can, visible
from riders.services.associations import MEMBER_COLUMNS, import_association, import_members

_ASSOCIATION = {"slug": "larkfield-association", "title": "Larkfield Dressage Association"}
_DOCUMENT = {
    "format": "association/1",
    "id": "larkfield-association",
    "title": "Larkfield Dressage Association",
    "seasons": [
        {
            "id": "2027",
            "title": "Season 2027",
            "starts_on": "2026-10-01",
            "ends_on": "2027-09-30",
            "scheme": "qualifying-average",
        }
    ],
}
_MEMBERS = (
    "association,member_number,kind,name,registration,division,from,to\r\n"
    "larkfield-association,M-17,person,Ada Fenwick,R-2041,open,2026-10-01,2027-09-30\r\n"
)
_IMPORTED = OpenApiExample("What was done", value={"created": 12, "changed": 1, "unchanged": 40})


@extend_schema_serializer(examples=[OpenApiExample("An association", value=_ASSOCIATION)])
class AssociationSerializer(serializers.ModelSerializer[Association]):
    """The body whose members, seasons and schemes these are."""

    class Meta:
        model = Association
        fields = ["slug", "title"]
        read_only_fields = fields


@extend_schema_serializer(examples=[_IMPORTED])
class ImportedSerializer(serializers.Serializer[Any]):
    """How much an import made, changed and found as it was already."""

    created = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()


IMPORT_DONE = OpenApiResponse(ImportedSerializer, "What was done.", [_IMPORTED])


@extend_schema_serializer(examples=[OpenApiExample("association/1", value={"document": _DOCUMENT})])
class AssociationInput(Input):
    document = DocumentField(help_text="An association/1 document.")


class Associations(Resource):
    """Associations and their members."""

    tag = "Seasons"
    access = {"list": Anyone, "retrieve": Anyone, "create": Staff}
    serializer_class = AssociationSerializer
    queryset = Association.objects.none()

    def get_queryset(self) -> QuerySet[Association]:
        return visible(self.request.user, Association.objects.order_by("title", "pk"))

    @extend_schema(summary="List associations", description="Every association that keeps seasons here, by title.")
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), AssociationSerializer)

    @extend_schema(
        summary="Read an association",
        description="One association by its id. Its seasons are under `/api/v1/seasons/?association=<id>`.",
    )
    def retrieve(self, request: Request, slug: str) -> Response:
        return self.shown(self.one_of(self.get_queryset(), slug=slug), AssociationSerializer)

    @extend_schema(
        summary="Import an association",
        description="Keeps an `association/1` document: the association and its seasons, each with its scheme. The "
        "same again changes nothing; a season of another scheme or other days has its standings worked out anew.",
        request=AssociationInput,
        responses={200: ImportedSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        document = self.read(AssociationInput)["document"]
        return Response(asdict(import_association(document, by=self.account)))


class Members(Resource):
    """Memberships. They are private: they can be imported, not read, through the API."""

    tag = "Seasons"
    access = {"create": SignedIn}
    serializer_class = ImportedSerializer
    queryset = Association.objects.none()
    parser_classes = [CSVParser]

    @extend_schema(
        summary="Import members",
        description="Keeps the memberships of a `members.csv` of this association, all or none, and has its open "
        "seasons worked out anew. Every row must name this association.",
        request={"text/csv": OpenApiTypes.STR},
        examples=[OpenApiExample("members.csv", _MEMBERS, media_type="text/csv", request_only=True)],
        responses={200: IMPORT_DONE},
    )
    @idempotent
    def create(self, request: Request, slug: str) -> Response:
        association = self.one_of(visible(request.user, Association.objects.all()), slug=slug)
        self.demand(
            can(request.user, "change", association), "Only those who keep this association import its members."
        )
        _refuse_other_associations(self.text, slug)
        return Response(asdict(import_members(self.text, by=self.account)))


def _refuse_other_associations(text: str, slug: str) -> None:
    """Refuse a file with rows of another association, read exactly as the import reads it."""
    for row in read_rows(text, columns=MEMBER_COLUMNS, required=set(), problems=[]):
        if row.text("association", most=60) not in {slug, ""}:
            raise NotAllowed(
                f'Row {row.number} is about another association than "{slug}". Send each association its own file.',
                code="other-association",
            )
