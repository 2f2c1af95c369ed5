"""Single scores of the ledger corrected and retracted through the API, and what was done to them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.merges import LedgerReasonInput
from riders.api.preconditions import Stale, etag_of, expected_version, needs_if_match
from riders.api.scores import ScoreSerializer
from riders.api.views import Resource
from riders.errors import Conflict
from riders.models import Score
from riders.policy import can, keeps_a_ledger, visible
from riders.selectors.histories import score_history
from riders.services.corrections import correct_score, put_back_score, retract_score, version_of

_HISTORY = {
    "action": "corrected",
    "at": "2027-03-09T08:00:00Z",
    "by": "Ida Moss",
    "reason": "typing error",
    "differences": [{"field": "percentage", "before": "67.500", "after": "68.125"}],
}
_SCORE_ID = OpenApiParameter("score_id", OpenApiTypes.STR, OpenApiParameter.PATH, description="The score's id.")


class FieldDifferenceSerializer(serializers.Serializer[Any]):
    field = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


@extend_schema_serializer(examples=[OpenApiExample("One step", value=_HISTORY)])
class ScoreHistorySerializer(serializers.Serializer[Any]):
    """One thing that was done to a score."""

    action = serializers.CharField(help_text="posted, corrected or retracted.")
    at = serializers.DateTimeField()
    by = serializers.CharField(allow_null=True)
    reason = serializers.CharField()
    differences = FieldDifferenceSerializer(many=True)


@extend_schema_serializer(
    examples=[OpenApiExample("A correction", value={"changes": {"percentage": "68.125"}, "reason": "typing error"})]
)
class CorrectionInput(Input):
    changes = serializers.DictField(
        child=StrictText(allow_blank=True, max_length=2000),
        help_text="New values as text, under the names of `scores/1`; empty is unknown. `pair` names another pair by "
        "its key. The origin and the names of rider and horse cannot be changed.",
    )
    reason = StrictText(max_length=300, help_text="Why, for the history.")


class ScoreCorrections(Resource):
    """Single imported scores, for those who keep a ledger. Scores of a class run here are corrected in their class."""

    tag = "Ledger"
    access = dict.fromkeys(("history", "partial_update", "retract", "put_back"), SignedIn)
    serializer_class = ScoreSerializer
    queryset = Score.objects.none()
    pagination_class = None

    def get_queryset(self) -> QuerySet[Score]:
        self.demand(keeps_a_ledger(self.request.user), "Only those who keep the ledger of an association do this.")
        return visible(self.request.user, Score.objects.select_related("pair__rider", "pair__horse"))

    @extend_schema(
        summary="Read a score's history",
        description="What was done to a score, by whom, when and why, with the values before and after, the latest "
        "first. Its ETag is the version that a correction names. For those who keep a ledger.",
        parameters=[_SCORE_ID],
        responses={200: ScoreHistorySerializer(many=True)},
    )
    def history(self, request: Request, score_id: str) -> Response:
        found = self.one_of(self.get_queryset(), key=score_id)
        lines = [
            {
                "action": line.change.action,
                "at": line.change.at,
                "by": str(line.change.by) if line.change.by else None,
                "reason": line.change.reason,
                "differences": [
                    {"field": field, "before": before, "after": after} for field, before, after in line.differences
                ],
            }
            for line in score_history(found)
        ]
        shown = ScoreHistorySerializer(lines, many=True).data
        return Response(shown, headers={"ETag": etag_of(version_of(found))})

    @extend_schema(
        summary="Correct a score",
        description="Gives an imported score other values, if it is still at the version that If-Match names (the ETag "
        "of the score); a retracted one is in force again. Standings of the touched seasons follow.",
        parameters=[_SCORE_ID],
        request=CorrectionInput,
        responses={200: ScoreSerializer},
    )
    @idempotent
    @needs_if_match
    def partial_update(self, request: Request, score_id: str) -> Response:
        return self._done(
            request, score_id, lambda found, **more: correct_score(found, **self.read(CorrectionInput), **more)
        )

    @extend_schema(
        summary="Retract a score",
        description="Takes an imported score out of force, if it is still at the version that If-Match names. The row "
        "and its history stay readable, and it can be put back.",
        parameters=[_SCORE_ID],
        request=LedgerReasonInput,
        responses={200: ScoreSerializer},
    )
    @idempotent
    @needs_if_match
    def retract(self, request: Request, score_id: str) -> Response:
        return self._done(request, score_id, lambda found, **more: retract_score(found, reason=self._reason(), **more))

    @extend_schema(
        summary="Put a score back in force",
        description="Puts a retracted score back in force as it was, if it is still at the version named in If-Match.",
        parameters=[_SCORE_ID],
        request=LedgerReasonInput,
        responses={200: ScoreSerializer},
    )
    @idempotent
    @needs_if_match
    def put_back(self, request: Request, score_id: str) -> Response:
        return self._done(request, score_id, lambda found, **more: put_back_score(found, reason=self._reason(), **more))

    def _reason(self) -> str:
        return str(self.read(LedgerReasonInput)["reason"])

    def _done(self, request: Request, score_id: str, act: Callable[..., Score]) -> Response:
        found = self.one_of(self.get_queryset(), key=score_id)
        self.demand(
            can(request.user, "change", found) or found.source == Score.Source.CLASS,
            "Only those who keep the ledger of an association correct its scores.",
        )
        try:
            done = act(found, expected_version=expected_version(request), by=self.account)
        except Conflict as conflict:
            fresh = self.one_of(self.get_queryset(), pk=found.pk)
            current = dict(ScoreSerializer(fresh).data)
            raise Stale(conflict.message, current=current, version=version_of(fresh)) from conflict
        return self.shown(self.one_of(self.get_queryset(), pk=done.pk), ScoreSerializer, version=version_of(done))
