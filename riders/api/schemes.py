"""Season rules as data: read, checked, kept, saved in versions, laid side by side."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, StrictInteger, StrictText
from riders.api.idempotency import idempotent
from riders.api.views import Resource
from riders.models import Association, Scheme
from riders.policy import associations_of, can, keeps_a_ledger, visible
from riders.services.scheme_differences import differences
from riders.services.scheme_versions import save_scheme, save_version
from scoring.season.drafting import read_draft

SCHEME_DOCUMENT = {
    "format": "scheme/1",
    "id": "qualifying-average",
    "title": "Qualifying average",
    "sources": ["the association's own rules"],
    "mode": "rank",
    "unit": "pair",
    "group_by": ["level"],
    "season": {"from": "2026-10-01", "to": "2027-09-30"},
    "score": [{"take": "percentage"}],
    "require": [{"count": "scores", "at_least": 8}],
    "value": {"take": {"best": 8}, "aggregate": "median"},
    "decimals": 3,
    "rounding": "half-up",
    "order": "descending",
    "ties": [{"by": "best-score"}],
}
_KEEPERS_ONLY = "Only those who keep an association's seasons keep schemes."
_DIFFERENCES = {
    "lines": [
        {"left": "The value is the mean of the scores that count.", "right": "", "same": False},
        {"left": "The highest value wins.", "right": "The highest value wins.", "same": True},
    ],
    "unsaid": [],
}
_CHECKED = {
    "usable": False,
    "problems": [{"path": "eligible[0].field", "message": '"memder" is no field of the ledger.'}],
    "sentences": ["Each pair is ranked, in one table."],
    "left_out": 1,
}
_VERSION = {
    "version": 2,
    "title": "Qualifying average",
    "saved_at": "2027-02-03T18:20:00Z",
    "by": "m.hartl",
    "association": "larkfield-association",
    "reason": "the meeting of 1 February decided on eight scores",
    "seasons": ["larkfield-association/2027"],
}


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A scheme",
            value={
                "key": "qualifying-average",
                "version": 1,
                "title": "Qualifying average",
                "document": SCHEME_DOCUMENT,
            },
        )
    ]
)
class SchemeSerializer(serializers.ModelSerializer[Scheme]):
    """A season rule as data. A version is never changed; a changed rule is the next version."""

    document = DocumentField(read_only=True, help_text="The rule as a scheme/1 document.")

    class Meta:
        model = Scheme
        fields = ["key", "version", "title", "document"]
        read_only_fields = fields


@extend_schema_serializer(examples=[OpenApiExample("scheme/1", value={"document": SCHEME_DOCUMENT})])
class SchemeInput(Input):
    document = DocumentField(help_text="A scheme/1 document.")


@extend_schema_serializer(examples=[OpenApiExample("What was found", value=_CHECKED)])
class SchemeCheckSerializer(serializers.Serializer[Any]):
    """A document that may not be good yet: every problem with its path, and what can be said of it in sentences."""

    usable = serializers.BooleanField(help_text="Whether a season could count by it.")
    problems = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))
    sentences = serializers.ListField(child=serializers.CharField(), help_text="The rule in plain sentences.")
    left_out = serializers.IntegerField(help_text="Blocks with problems, which the sentences leave out.")


@extend_schema_serializer(examples=[OpenApiExample("A version", value=_VERSION)])
class SchemeVersionSerializer(serializers.ModelSerializer[Scheme]):
    """A version with who saved it, when and why, and the seasons that count by it."""

    saved_at = serializers.DateTimeField(source="change.at", default=None, read_only=True)
    by = serializers.SerializerMethodField(help_text="The account that saved it; null where it came with a file.")
    association = serializers.CharField(source="change.association.slug", default=None, read_only=True)
    reason = serializers.CharField(source="change.reason", default="", read_only=True)
    seasons = serializers.SerializerMethodField()

    class Meta:
        model = Scheme
        fields = list(_VERSION)
        read_only_fields = fields

    def get_by(self, scheme: Scheme) -> str | None:
        change = getattr(scheme, "change", None)
        return str(change.by) if change and change.by else None

    def get_seasons(self, scheme: Scheme) -> list[str]:
        return [f"{season.association.slug}/{season.slug}" for season in scheme.seasons.all()]


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "The next version",
            value={
                "document": SCHEME_DOCUMENT,
                "association": "larkfield-association",
                "based_on": 1,
                "reason": "the meeting of 1 February decided on eight scores",
            },
        )
    ]
)
class SchemeVersionInput(Input):
    document = DocumentField(help_text="A scheme/1 document; its id is the one in the address.")
    association = StrictText(max_length=60, help_text="Id of the association that it is saved for.")
    based_on = StrictInteger(min_value=0, max_value=10**6, help_text="The version that was opened; 0 for a new scheme.")
    reason = StrictText(max_length=300, help_text="Why, for the history.")


@extend_schema_serializer(examples=[OpenApiExample("Two rules", value=_DIFFERENCES)])
class SchemeDifferencesSerializer(serializers.Serializer[Any]):
    """The sentences of two rules side by side, in the order of the rules."""

    lines = serializers.ListField(
        child=serializers.DictField(),
        help_text="left and right are a sentence of either rule, empty where one says nothing; same tells whether "
        "both say it.",
    )
    unsaid = serializers.ListField(
        child=serializers.CharField(), help_text="Places of the document that differ where no sentence does."
    )


class SchemeFilter(django_filters.FilterSet):
    key = django_filters.CharFilter("key", label="Id of the scheme; lists all its versions.")

    class Meta:
        model = Scheme
        fields: list[str] = []


class Schemes(Resource):
    """Season rules as data."""

    tag = "Library"
    access = {
        "list": Anyone,
        "retrieve": Anyone,
        "differences": Anyone,
        "create": SignedIn,
        "check": SignedIn,
        "versions": SignedIn,
        "add_version": SignedIn,
    }
    serializer_class = SchemeSerializer
    filterset_class = SchemeFilter
    queryset = Scheme.objects.none()

    def get_queryset(self) -> QuerySet[Scheme]:
        return visible(self.request.user, Scheme.objects.order_by("key", "-version", "pk"))

    @extend_schema(summary="List schemes", description="Every version of every season rule, by id, the latest first.")
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), SchemeSerializer)

    @extend_schema(summary="Read a scheme", description="One version of a season rule, by its id and version.")
    def retrieve(self, request: Request, key: str, version: int) -> Response:
        return self.shown(self.one_of(self.get_queryset(), key=key, version=version), SchemeSerializer)

    @extend_schema(
        summary="Keep a scheme",
        description="Keeps a `scheme/1` document. Another content under the same id becomes the next version; "
        "seasons go on counting by the version they were given.",
        request=SchemeInput,
        responses={200: SchemeSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand(associations_of(request.user).exists(), _KEEPERS_ONLY)
        return self.shown(save_scheme(self.read(SchemeInput)["document"], by=self.account), SchemeSerializer)

    @extend_schema(
        summary="Check a scheme",
        description="Reads a `scheme/1` document that need not be finished: every problem with its path, and the rule "
        "in plain sentences as far as it can be said. Nothing is kept. For those who keep an association.",
        request=SchemeInput,
        responses={200: SchemeCheckSerializer},
    )
    def check(self, request: Request) -> Response:
        self.demand(keeps_a_ledger(request.user), _KEEPERS_ONLY)
        draft = read_draft(self.read(SchemeInput)["document"])
        return Response(
            {
                "usable": draft.scheme is not None,
                "problems": [problem.as_dict() for problem in draft.problems],
                "sentences": list(draft.sentences),
                "left_out": draft.left_out,
            }
        )

    @extend_schema(
        summary="List the versions of a scheme",
        description="Every version with who saved it, when and why, and which seasons count by it; the latest first. "
        "For those who keep an association.",
        responses={200: SchemeVersionSerializer(many=True)},
    )
    def versions(self, request: Request, key: str) -> Response:
        self.demand(keeps_a_ledger(request.user), _KEEPERS_ONLY)
        self.one_of(self.get_queryset(), key=key, version=1)
        return self.listed(self._versions(key), SchemeVersionSerializer)

    @extend_schema(
        summary="Save a version",
        description="Saves a document as the next version of a scheme, or as the first of a new one. Refused with 409 "
        "where somebody else has saved a version after `based_on`: read that one first. Seasons go on counting by the "
        "version they were given until they are switched.",
        request=SchemeVersionInput,
        responses={201: SchemeVersionSerializer},
    )
    @idempotent
    def add_version(self, request: Request, key: str) -> Response:
        self.demand(keeps_a_ledger(request.user), _KEEPERS_ONLY)
        given = self.read(SchemeVersionInput)
        association = visible(request.user, Association.objects.filter(slug=given["association"])).first()
        if association is None or not can(request.user, "change", association):
            raise ValidationError({"association": [f'You keep no association "{given["association"]}".']})
        document = given["document"]
        if not isinstance(document, dict) or document.get("id") != key:
            raise ValidationError({"document": [f'The id of the document must be "{key}", as in the address.']})
        saved = save_version(
            document,
            association=association,
            based_on=given["based_on"],
            by=self.account,
            reason=given["reason"],
        )
        response = self.shown(self._versions(key).get(pk=saved.pk), SchemeVersionSerializer, status=201)
        response["Location"] = f"/api/v1/schemes/{key}/{saved.version}/"
        return response

    def _versions(self, key: str) -> QuerySet[Scheme]:
        return (
            self.get_queryset()
            .filter(key=key)
            .select_related("change__by", "change__association")
            .prefetch_related("seasons__association")
        )

    @extend_schema(
        summary="Compare two schemes",
        description="Lays a version beside another one, or beside a version of another scheme (`of`), and says in "
        "plain sentences what differs.",
        parameters=[
            OpenApiParameter("with", int, required=True, description="Number of the other version."),
            OpenApiParameter("of", str, description="Id of the other scheme; left out, the same one."),
        ],
        responses={200: SchemeDifferencesSerializer},
    )
    def differences(self, request: Request, key: str, version: int) -> Response:
        asked = request.query_params.get("with", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 7):
            raise ValidationError({"with": ["Give the number of the other version, such as 2."]})
        left = self.one_of(self.get_queryset(), key=key, version=version)
        other = request.query_params.get("of", key)
        right = self.one_of(self.get_queryset(), key=other, version=int(asked))
        found = differences(left.document, right.document)
        return Response(
            {
                "lines": [{"left": line.left, "right": line.right, "same": line.same} for line in found.lines],
                "unsaid": list(found.unsaid),
            }
        )
