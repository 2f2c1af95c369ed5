from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource
from competitions.models import Judge, RuleSet, Test
from competitions.policy import office_competitions, visible
from competitions.services.classes import judge_named
from competitions.services.documents import save_rule_set, save_test
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, StrictText
from riders.api.idempotency import idempotent
from riders.transactions import write_transaction

_TEST_DOCUMENT = {
    "format": "test/1",
    "id": "larkfield-novice-2",
    "title": "Novice Test 2",
    "level": "novice",
    "mark": {"min": "0", "max": "10", "step": "0.5"},
    "items": [{"id": "1", "at": "A, X", "text": "Enter in working trot. Halt, salute.", "coefficient": "1"}],
}
_RULES_DOCUMENT = {
    "format": "rules/1",
    "id": "points-errors-collectives",
    "title": "Errors off the points, ties by collective marks",
    "sheet_percentage": {"decimals": 3},
    "total": {"method": "mean", "decimals": 3},
    "rounding": "half-up",
    "errors": {"off": "sheet-points", "steps": ["2", "4"], "eliminated_at": 3},
    "ties": [{"by": "collectives"}],
}
_OFFICES = "Only those who work in a show office or are staff may do this."


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A test",
            value={
                "key": "larkfield-novice-2",
                "title": "Novice Test 2",
                "level": "novice",
                "document": _TEST_DOCUMENT,
            },
        )
    ]
)
class TestSerializer(serializers.ModelSerializer[Test]):
    """A sheet definition: movements, coefficients, collective marks."""

    __test__ = False

    document = DocumentField(read_only=True, help_text="The test as a test/1 document.")

    class Meta:
        model = Test
        fields = ["key", "title", "level", "document"]
        read_only_fields = fields


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "A rule set",
            value={
                "key": "points-errors-collectives",
                "title": "Errors off the points, ties by collective marks",
                "document": _RULES_DOCUMENT,
            },
        )
    ]
)
class RuleSetSerializer(serializers.ModelSerializer[RuleSet]):
    """How marks become placings."""

    document = DocumentField(read_only=True, help_text="The rule set as a rules/1 document.")

    class Meta:
        model = RuleSet
        fields = ["key", "title", "document"]
        read_only_fields = fields


@extend_schema_serializer(examples=[OpenApiExample("test/1", value={"document": _TEST_DOCUMENT})])
class TestInput(Input):
    __test__ = False

    document = DocumentField(help_text="A test/1 document.")


@extend_schema_serializer(examples=[OpenApiExample("rules/1", value={"document": _RULES_DOCUMENT})])
class RuleSetInput(Input):
    document = DocumentField(help_text="A rules/1 document.")


@extend_schema_serializer(examples=[OpenApiExample("A judge", value={"id": 7, "name": "R. Stone"})])
class JudgeSerializer(serializers.ModelSerializer[Judge]):
    """A judge by name only; accounts and contact data are private."""

    class Meta:
        model = Judge
        fields = ["id", "name"]
        read_only_fields = fields


@extend_schema_serializer(examples=[OpenApiExample("A judge", value={"name": "R. Stone"})])
class JudgeInput(Input):
    name = StrictText(max_length=120)


class TestFilter(django_filters.FilterSet):
    __test__ = False

    level = django_filters.CharFilter("level", label="Level, as written.")

    class Meta:
        model = Test
        fields: list[str] = []


class JudgeFilter(django_filters.FilterSet):
    name = django_filters.CharFilter("name", label="The judge's whole name, as written.")

    class Meta:
        model = Judge
        fields: list[str] = []


class LibraryResource(CompetitionResource):
    """What every office adds to and everyone reads."""

    tag = "Library"
    access = {"list": Anyone, "retrieve": Anyone, "create": SignedIn}

    def demand_any_office(self, request: Request) -> None:
        allowed = office_competitions(request.user).exists() or bool(getattr(request.user, "is_staff", False))
        self.demand(allowed, _OFFICES)


class Tests(LibraryResource):
    """Tests."""

    serializer_class = TestSerializer
    filterset_class = TestFilter
    queryset = Test.objects.none()

    def get_queryset(self) -> QuerySet[Test]:
        return visible(self.request.user, Test.objects.order_by("title", "pk"))

    @extend_schema(summary="List tests", description="Every test that classes here can be judged by, with its items.")
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), TestSerializer)

    @extend_schema(summary="Read a test", description="One test by its id, with its items and coefficients.")
    def retrieve(self, request: Request, key: str) -> Response:
        return self.shown(self.one_of(self.get_queryset(), key=key), TestSerializer)

    @extend_schema(
        summary="Keep a test",
        description="Keeps a `test/1` document; the same again changes nothing. A test that classes use is not "
        "changed: give the changed one another id. Enter only tests that you are licensed to use. For show "
        "offices.",
        request=TestInput,
        responses={200: TestSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand_any_office(request)
        return self.shown(save_test(self.read(TestInput)["document"]), TestSerializer)


class RuleSets(LibraryResource):
    """Rule sets."""

    serializer_class = RuleSetSerializer
    queryset = RuleSet.objects.none()

    def get_queryset(self) -> QuerySet[RuleSet]:
        return visible(self.request.user, RuleSet.objects.order_by("title", "pk"))

    @extend_schema(
        summary="List rule sets", description="Every rule set that classes here can be placed by, with its sources."
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), RuleSetSerializer)

    @extend_schema(summary="Read a rule set", description="One rule set by its id, as a `rules/1` document.")
    def retrieve(self, request: Request, key: str) -> Response:
        return self.shown(self.one_of(self.get_queryset(), key=key), RuleSetSerializer)

    @extend_schema(
        summary="Keep a rule set",
        description="Keeps a `rules/1` document, on the same terms as a test. For show offices.",
        request=RuleSetInput,
        responses={200: RuleSetSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand_any_office(request)
        return self.shown(save_rule_set(self.read(RuleSetInput)["document"]), RuleSetSerializer)


class Judges(LibraryResource):
    """Judges, by name only."""

    serializer_class = JudgeSerializer
    filterset_class = JudgeFilter
    queryset = Judge.objects.none()

    def get_queryset(self) -> QuerySet[Judge]:
        return visible(self.request.user, Judge.objects.order_by("name", "pk"))

    @extend_schema(summary="List judges", description="Every judge by name. Contact data are not part of it.")
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), JudgeSerializer)

    @extend_schema(summary="Read a judge", description="One judge by their number here, with the name only.")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.shown(self.one_of(self.get_queryset(), pk=pk), JudgeSerializer)

    @extend_schema(
        summary="Name a judge",
        description="Returns the judge of this name, and makes one if there is none, to be seated on a panel. For show "
        "offices.",
        request=JudgeInput,
        responses={200: JudgeSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand_any_office(request)
        name = self.read(JudgeInput)["name"]
        with write_transaction():
            judge: Any = judge_named(name)
        return self.shown(judge, JudgeSerializer)
