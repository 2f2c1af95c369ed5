from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import CompetitionClass, Judge, PanelSeat, RuleSet, SecondKeyingMode, Test
from competitions.policy import visible
from competitions.services.classes import create_class, update_class
from competitions.services.team_rules import set_team_rules
from riders.api.access import Anyone, SignedIn
from riders.api.fields import DocumentField, Input, StrictFlag, StrictInteger, StrictText
from riders.api.idempotency import idempotent
from riders.api.preconditions import expected_version, needs_if_match

_INPUT = {
    "competition": "larkfield-spring",
    "number": "3",
    "title": "Novice Test 2",
    "level": "novice",
    "division": "open",
    "test": "larkfield-novice-2",
    "rule_set": "points-errors-collectives",
    "arena": "A",
    "date": "2027-03-06",
    "starts_at": "09:00",
    "interval_seconds": 480,
    "breaks": [{"after": 8, "minutes": 15}],
    "from_recordings": False,
    "second_keying": "",
    "panel": [{"seat": "C", "judge": 7, "parts": []}],
}
_EXAMPLE = {
    "id": 31,
    **_INPUT,
    "starts_at": "09:00:00",
    "panel": [{"seat": "C", "judge": {"id": 7, "name": "R. Stone"}, "parts": []}],
    "teams": {"counting": 3, "method": "sum", "of": "percentage", "drop_out": None},
    "in_ring": 412,
    "results_state": "provisional",
    "correcting": False,
    "revision": 0,
    "version": 118,
    "changed_at": "2027-03-06T10:12:31Z",
}


class SeatJudgeSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()


class SeatSerializer(serializers.ModelSerializer[PanelSeat]):
    """A judge's place on the panel, named by its letter."""

    judge = SeatJudgeSerializer(read_only=True, allow_null=True)
    parts = serializers.ListField(
        child=serializers.CharField(), read_only=True, help_text="Parts of the test this seat marks; empty means all."
    )

    class Meta:
        model = PanelSeat
        fields = ["seat", "judge", "parts"]
        read_only_fields = fields


class BreakSerializer(Input):
    after = StrictInteger(min_value=1, max_value=1000, help_text="Number of the ride after which the break comes.")
    minutes = StrictInteger(min_value=1, max_value=600)


@extend_schema_serializer(examples=[OpenApiExample("A class", value=_EXAMPLE)])
class ClassSerializer(serializers.ModelSerializer[CompetitionClass]):
    """One test ridden by a list of entries, judged and placed together. The version rises with every change of it."""

    competition = serializers.CharField(source="competition.slug", read_only=True)
    test = serializers.CharField(source="test.key", read_only=True)
    rule_set = serializers.CharField(source="rule_set.key", read_only=True)
    breaks = BreakSerializer(many=True, read_only=True)
    panel = SeatSerializer(source="seats", many=True, read_only=True)
    teams = DocumentField(
        source="team_rules", read_only=True, help_text="The rule for teams as in class/1; null where there are none."
    )
    in_ring = serializers.IntegerField(
        source="in_ring_id", read_only=True, allow_null=True, help_text="Number of the entry that is riding now."
    )
    correcting = serializers.SerializerMethodField(help_text="A correction of official results is under way.")

    class Meta:
        model = CompetitionClass
        fields = [*_EXAMPLE]
        read_only_fields = fields

    def get_correcting(self, competition_class: CompetitionClass) -> bool:
        return bool(competition_class.correction_reason)


class SeatInput(Input):
    seat = StrictText(max_length=10, help_text="The letter at which the judge sits.")
    judge = serializers.PrimaryKeyRelatedField(
        queryset=Judge.objects.all(), required=False, allow_null=True, help_text="Number of the judge."
    )
    parts = serializers.ListField(child=StrictText(max_length=20), required=False, max_length=5)


class _ClassFields(Input):
    number = StrictText(max_length=10)
    title = StrictText(max_length=160)
    level = StrictText(max_length=60, required=False, allow_blank=True)
    division = StrictText(max_length=60, required=False, allow_blank=True)
    test = serializers.SlugRelatedField("key", queryset=Test.objects.all(), help_text="Id of the test.")
    rule_set = serializers.SlugRelatedField("key", queryset=RuleSet.objects.all(), help_text="Id of the rule set.")
    arena = StrictText(max_length=40, required=False, allow_blank=True)
    date = serializers.DateField()
    starts_at = serializers.TimeField(required=False, allow_null=True, help_text="Local time of the first ride.")
    interval_seconds = StrictInteger(min_value=60, max_value=7200, required=False)
    breaks = BreakSerializer(many=True, required=False, max_length=50)  # type: ignore[call-arg]
    from_recordings = StrictFlag(required=False, help_text="The rides are judged from recordings, not at the arena.")
    second_keying = serializers.ChoiceField(
        SecondKeyingMode.choices,
        required=False,
        allow_blank=True,
        help_text="Which sheets of paper are keyed a second time; empty is as the competition says.",
    )
    panel = SeatInput(  # type: ignore[call-arg]
        many=True, max_length=20, help_text="The seats in the order of columns."
    )


@extend_schema_serializer(examples=[OpenApiExample("A class", value=_INPUT)])
class ClassInput(_ClassFields):
    competition = StrictText(max_length=60, help_text="Id of the competition.")


@extend_schema_serializer(examples=[OpenApiExample("Another arena", value={"arena": "B", "starts_at": "09:30"})])
class ClassChangesInput(_ClassFields):
    """What to change; what is left out stays."""


@extend_schema_serializer(
    examples=[
        OpenApiExample("Best three count", value={"teams": {"counting": 3, "method": "sum", "of": "percentage"}}),
        OpenApiExample("No teams", value={"teams": None}),
    ]
)
class TeamRulesInput(Input):
    teams = DocumentField(allow_null=True, help_text="The rule for teams as in class/1, or null for none.")
    reason = StrictText(
        max_length=300, required=False, allow_blank=True, help_text="Why, for the history of the class."
    )


class ClassFilter(django_filters.FilterSet):
    competition = django_filters.CharFilter("competition__slug", label="Id of the competition.")
    number = django_filters.CharFilter("number", label="Number of the class in its competition.")
    date = django_filters.DateFilter("date", label="Day of the class.")
    level = django_filters.CharFilter("level", label="Level, as written.")
    results_state = django_filters.ChoiceFilter(
        "results_state", choices=CompetitionClass.ResultsState.choices, label="State of the results."
    )

    class Meta:
        model = CompetitionClass
        fields: list[str] = []


class Classes(CompetitionResource):
    """Classes of competitions."""

    tag = "Competitions"
    access = {"list": Anyone, "retrieve": Anyone, "create": SignedIn, "partial_update": SignedIn, "teams": SignedIn}
    serializer_class = ClassSerializer
    filterset_class = ClassFilter
    queryset = CompetitionClass.objects.none()

    def get_queryset(self) -> QuerySet[CompetitionClass]:
        return visible(self.request.user, _with_panel()).order_by("date", "starts_at", "number", "pk")

    @extend_schema(
        summary="List classes",
        description="Classes by day and start. Filter by the id of a competition to get those of one show.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), ClassSerializer)

    @extend_schema(
        summary="Read a class",
        description="One class by its number here. Its version is the clock of everything that is shown of it.",
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        found = self.one_of(self.get_queryset(), pk=pk)
        return self.shown(found, ClassSerializer, version=found.version)

    @extend_schema(
        summary="Set up a class",
        description="Makes a class with its panel. For the office of the competition.",
        request=ClassInput,
        responses={201: ClassSerializer},
    )
    @idempotent
    def create(self, request: Request) -> Response:
        fields = self.read(ClassInput)
        slug = fields.pop("competition")
        competition = self.competition(request, slug)
        self.demand_office(request, competition)
        made = create_class(competition, by=self.account, **fields)
        response = self.shown(class_with_panel(made.pk), ClassSerializer, status=201, version=made.version)
        response["Location"] = f"/api/v1/classes/{made.pk}/"
        return response

    @extend_schema(
        summary="Change a class",
        description="Changes the fields that are given, if the class is still at the version named in If-Match. "
        "Its test, and seats that have sheets, stay once marks have been given. For the office of the competition.",
        request=ClassChangesInput,
        responses={200: ClassSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, pk: int) -> Response:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        fields = self.read(ClassChangesInput, partial=True)
        with stale_as_412(lambda current: ClassSerializer(class_with_panel(current.pk)).data):
            changed = update_class(found, expected_version=expected_version(request), by=self.account, **fields)
        return self.shown(class_with_panel(changed.pk), ClassSerializer, version=changed.version)

    @extend_schema(
        summary="Set the rule for teams",
        description="Gives the class a rule for teams, or none, and works the results out anew, if the class is "
        "still at the version named in If-Match. Who rides for a team stands in the entries. For the office of the "
        "competition.",
        request=TeamRulesInput,
        responses={200: ClassSerializer},
    )
    @idempotent
    @needs_if_match
    def teams(self, request: Request, pk: int) -> Response:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        fields = self.read(TeamRulesInput)
        rules = fields["teams"]
        if rules is not None and not isinstance(rules, dict):
            raise serializers.ValidationError({"teams": ["Give an object in braces, or null for no teams."]})
        with stale_as_412(lambda current: ClassSerializer(class_with_panel(current.pk)).data):
            changed = set_team_rules(
                found,
                rules,
                expected_version=expected_version(request),
                by=self.account,
                reason=fields.get("reason", ""),
            )
        return self.shown(class_with_panel(changed.pk), ClassSerializer, version=changed.version)


def _with_panel() -> QuerySet[CompetitionClass]:
    return CompetitionClass.objects.select_related("competition", "test", "rule_set").prefetch_related("seats__judge")


def class_with_panel(pk: int) -> CompetitionClass:
    return _with_panel().get(pk=pk)
