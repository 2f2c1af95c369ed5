from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource, stale_as_412
from competitions.models import CompetitionClass
from competitions.services.differences import KINDS, Finding, decide_finding, findings_of
from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import idempotent

_DECISION = {"reason": "Both judges confirm their marks.", "by": "Mara Quill", "at": "2027-03-06T14:40:00Z"}
_EXAMPLE = {
    "key": "412/percentages",
    "kind": "percentages",
    "entry": 412,
    "number": "12",
    "seat": "",
    "item": "",
    "figures": "C 70.217, E 61.304",
    "sentence": "Entry 12: the percentages of C and E are 8.913 apart.",
    "decision": _DECISION,
    "changed": False,
}


class DecisionSerializer(serializers.Serializer[Any]):
    """Who let a finding stand, when and why."""

    reason = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


@extend_schema_serializer(examples=[OpenApiExample("A finding", value=_EXAMPLE)])
class FindingSerializer(serializers.Serializer[Any]):
    """One thing to look at before results become official."""

    key = serializers.CharField(help_text="Stays the same as long as it is about the same thing.")
    kind = serializers.ChoiceField(list(KINDS))
    entry = serializers.IntegerField(source="entry_id")
    number = serializers.CharField()
    seat = serializers.CharField(help_text="Empty where several are meant.")
    item = serializers.CharField(help_text="Empty where several are meant.")
    figures = serializers.CharField(
        help_text="What it says in figures; a decision holds as long as they stay the same."
    )
    sentence = serializers.CharField()
    decision = DecisionSerializer(allow_null=True, help_text="Null until somebody lets it stand.")
    changed = serializers.BooleanField(help_text="It was decided on before, with other figures.")


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Let it stand",
            value={"key": _EXAMPLE["key"], "figures": _EXAMPLE["figures"], "reason": _DECISION["reason"]},
        )
    ]
)
class DecisionInput(Input):
    key = StrictText(max_length=200)
    figures = StrictText(max_length=400, help_text="The figures that were looked at.")
    reason = StrictText(max_length=300, help_text="Why it may stand.")


class Findings(CompetitionResource):
    """The table of differences that the office goes through before results become official."""

    tag = "Results"
    access = {"list": SignedIn, "create": SignedIn}
    serializer_class = FindingSerializer
    pagination_class = None
    queryset = CompetitionClass.objects.none()

    @extend_schema(
        summary="List what to look at",
        description="Every difference that the office looks at before results become official: judges far apart, "
        "marks put in for a judge, totals on paper that do not agree, sheets without a signature, sheets that wait for "
        "their second keying or of which two keyings differ. For the office.",
        responses={200: FindingSerializer(many=True)},
        filters=False,
    )
    def list(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        return Response(FindingSerializer([_shown(finding) for finding in findings_of(found)], many=True).data)

    @extend_schema(
        summary="Let a finding stand",
        description="Decides on one finding, with the reason. The decision holds as long as the finding says the same. "
        "Where its figures are others by now the answer is 412 with the finding as it stands. For the office.",
        request=DecisionInput,
        responses={200: FindingSerializer},
    )
    @idempotent
    def create(self, request: Request, pk: int) -> Response:
        found = self._office_class(request, pk)
        given = self.read(DecisionInput)
        with stale_as_412(lambda finding: FindingSerializer(_shown(finding)).data, version=lambda _: None):
            decided = decide_finding(
                found, given["key"], reason=given["reason"], by=self.account, figures=given["figures"]
            )
        return Response(FindingSerializer(_shown(decided)).data)

    def _office_class(self, request: Request, pk: int) -> CompetitionClass:
        found = self.competition_class(request, pk)
        self.demand_office(request, found.competition)
        return found


def _shown(finding: Finding) -> dict[str, Any]:
    return asdict(finding)
