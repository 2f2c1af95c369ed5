"""Files of scores through the API: handed in, looked at, their names decided on, confirmed as shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema,
    extend_schema_serializer,
)
from rest_framework import serializers
from rest_framework.exceptions import ParseError, ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText
from riders.api.idempotency import idempotent
from riders.api.parsers import read_limited
from riders.api.scores import CSV_EXAMPLE, SOURCE
from riders.api.views import Resource
from riders.models import Horse, NameDecision, Rider, WaitingImport
from riders.policy import keeps_a_ledger, visible
from riders.services.ledger_preview import Change, Preview
from riders.services.matching import undo_decision
from riders.services.waiting_imports import Decision, confirm_import, decide_names, hand_in, preview_of, take_away

_KEEPERS = "Only those who keep the ledger of an association do this."
_AT_ONCE = 500
_WHAT = ("posted", "corrected", "retracted", "duplicate")
_COUNTS = {"posted": 118, "corrected": 2, "retracted": 0, "duplicate": 1, "unchanged": 12}
_DIGEST = "9f2c61a0b7d84e35c1f06a92d8b34e7705c9ad1268f3b0e4972d5c8a1b6e3f04"
_STATE = "03b7c5e19a4d2f68e0c7b1d35a9f846213c08d7ae5b4f9162c7d0a83e6915bf4"
_WAITING = {
    "id": 7,
    "file_name": "northfield-spring.csv",
    "source": "northfield",
    "at": "2027-03-08T09:30:00Z",
    "by": "Ida Moss",
    "confirmed_at": None,
    "summary": {},
}
_NAME = {
    "kind": "rider",
    "spelling": "O. Brandmair",
    "proposals": [
        {"id": 12, "name": "Ottilie Brandmair", "registration": "R-2041", "same": False, "beside": "Copper Lark"}
    ],
}
_PREVIEW = {
    **_WAITING,
    "kind": "scores",
    "digest": _DIGEST,
    "state": _STATE,
    "counts": _COUNTS,
    "names": [_NAME],
    "problems": [{"where": "row 17, percentage", "sentence": "101 is above 100. Correct it."}],
    "problem_count": 1,
}
_CHANGE = {
    "what": "corrected",
    "score_id": "northfield-spring/3/12",
    "where": "row 2",
    "pair": "Ottilie Brandmair with Copper Lark",
    "new_pair": False,
    "date": "2027-03-06",
    "competition": "northfield-spring",
    "class": "3",
    "test": "larkfield-novice-2",
    "figure": "68.125",
    "differences": [{"field": "percentage", "before": "67.500", "after": "68.125"}],
    "same_as": None,
}
_DECISION = {
    "id": 4,
    "kind": "rider",
    "spelling": "O. Brandmair",
    "source": "northfield",
    "member": 12,
    "name": "Ottilie Brandmair",
    "at": "2027-03-08T09:31:00Z",
    "by": "Ida Moss",
    "undone_at": None,
}


class FileParser(BaseParser):
    """A file as it is, byte for byte, so that its digest is that of the file."""

    def parse(  # type: ignore[override]
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> bytes:
        return read_limited(stream)


class CSVFileParser(FileParser):
    media_type = "text/csv"


class JSONFileParser(FileParser):
    media_type = "application/json"


class JSONLinesFileParser(FileParser):
    media_type = "application/x-ndjson"


@extend_schema_serializer(examples=[OpenApiExample("A file that waits", value=_WAITING)])
class WaitingImportSerializer(serializers.ModelSerializer[WaitingImport]):
    """A file of scores that was handed in; ``summary`` says what it did once it was confirmed."""

    by = serializers.SerializerMethodField(help_text="Who handed it in; null when not known.")
    summary = serializers.DictField(child=serializers.IntegerField(), read_only=True)

    class Meta:
        model = WaitingImport
        fields = list(_WAITING)
        read_only_fields = fields

    def get_by(self, waiting: WaitingImport) -> str | None:
        return str(waiting.by) if waiting.by else None


class ProposalSerializer(serializers.Serializer[Any]):
    """Someone known who may be meant by a name of the file."""

    id = serializers.IntegerField(help_text="Number of the rider or horse.")
    name = serializers.CharField()
    registration = serializers.CharField()
    same = serializers.BooleanField(help_text="The name is the same to the letter.")
    beside = serializers.CharField(help_text="With whom this rider or horse is known.")


class OpenNameSerializer(serializers.Serializer[Any]):
    """A name on which nobody has decided. Without proposals it is like nobody known, and becomes someone new."""

    kind = serializers.CharField(help_text="rider or horse.")
    spelling = serializers.CharField()
    proposals = ProposalSerializer(many=True)


class ProblemSerializer(serializers.Serializer[Any]):
    where = serializers.CharField(help_text="The row and column, or the path in a bundle.")
    sentence = serializers.CharField()


@extend_schema_serializer(examples=[OpenApiExample("What a file would change", value=_PREVIEW)])
class PreviewSerializer(WaitingImportSerializer):
    """What the file would change, worked out from the ledger as it stood; nothing has been written."""

    kind = serializers.CharField(help_text="scores, or bundle.")
    digest = serializers.CharField(help_text="SHA-256 of the file. A confirmation names it.")
    state = serializers.CharField(help_text="Names what was worked out. A confirmation names it.")
    counts = serializers.DictField(child=serializers.IntegerField())
    names = OpenNameSerializer(many=True)
    problems = ProblemSerializer(many=True, help_text="The first 500.")
    problem_count = serializers.IntegerField()

    class Meta(WaitingImportSerializer.Meta):
        fields = list(_PREVIEW)
        read_only_fields = fields


class DifferenceSerializer(serializers.Serializer[Any]):
    field = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class ChangeSerializer(serializers.Serializer[Any]):
    """One score that would change."""

    what = serializers.CharField(help_text="posted, corrected, retracted, or duplicate (left out).")
    score_id = serializers.CharField()
    where = serializers.CharField()
    pair = serializers.CharField()
    new_pair = serializers.BooleanField(help_text="The pair would be made.")
    date = serializers.DateField()
    competition = serializers.CharField()
    test = serializers.CharField()
    figure = serializers.CharField(help_text="The percentage, or the status where there is none.")
    differences = DifferenceSerializer(many=True)
    same_as = serializers.CharField(
        allow_null=True, help_text="Of a duplicate: the score or row that is the same ride."
    )

    def get_fields(self) -> dict[str, Any]:
        return {**super().get_fields(), "class": serializers.CharField()}


@extend_schema_serializer(
    examples=[OpenApiExample("Changes", value={"count": 2, "start": 0, "changes": [_CHANGE]})], many=False
)
class ChangesSerializer(serializers.Serializer[Any]):
    """A part of the changes, 500 at once."""

    count = serializers.IntegerField(help_text="How many there are in all.")
    start = serializers.IntegerField()
    changes = ChangeSerializer(many=True)


class NameDecisionInput(Input):
    kind = serializers.ChoiceField(choices=("rider", "horse"))
    spelling = StrictText(max_length=120, help_text="The name as the preview gives it.")
    member = serializers.IntegerField(
        allow_null=True, min_value=1, max_value=2**63 - 1, help_text="Number of who is meant; null is someone new."
    )


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "Decisions",
            value={
                "decisions": [
                    {"kind": "rider", "spelling": "O. Brandmair", "member": 12},
                    {"kind": "horse", "spelling": "Marram", "member": None},
                ]
            },
        )
    ]
)
class NameDecisionsInput(Input):
    decisions = NameDecisionInput(many=True, allow_empty=False)


@extend_schema_serializer(
    examples=[
        OpenApiExample("Confirm", value={"digest": _DIGEST, "state": _STATE, "reason": "sent by the show office"})
    ]
)
class ConfirmationInput(Input):
    digest = StrictText(max_length=64)
    state = StrictText(max_length=64)
    reason = StrictText(max_length=300, required=False, allow_blank=True, help_text="Why, for the history.")


@extend_schema_serializer(examples=[OpenApiExample("A decision", value=_DECISION)])
class NameDecisionSerializer(serializers.ModelSerializer[NameDecision]):
    """Who is meant by a spelling in files of a source."""

    kind = serializers.CharField(read_only=True, help_text="rider or horse.")
    member = serializers.SerializerMethodField(help_text="Number of who is meant; null is someone new.")
    name = serializers.SerializerMethodField(help_text="The name of who is meant.")
    by = serializers.SerializerMethodField(help_text="Who decided; null when not known.")

    class Meta:
        model = NameDecision
        fields = list(_DECISION)
        read_only_fields = fields

    def get_member(self, decision: NameDecision) -> int | None:
        return decision.rider_id or decision.horse_id

    def get_name(self, decision: NameDecision) -> str | None:
        return str(decision.member) if decision.member else None

    def get_by(self, decision: NameDecision) -> str | None:
        return str(decision.by) if decision.by else None


class Imports(Resource):
    """Files of scores: what they would change is worked out first, and carried out when it is confirmed."""

    tag = "Ledger"
    access = dict.fromkeys(("list", "create", "retrieve", "changes", "decide", "confirm", "destroy"), SignedIn)
    serializer_class = WaitingImportSerializer
    queryset = WaitingImport.objects.none()

    def get_parsers(self) -> list[Any]:
        if getattr(self, "action_map", {}).get("post") == "create":
            return [CSVFileParser(), JSONFileParser(), JSONLinesFileParser()]
        return super().get_parsers()

    def get_queryset(self) -> QuerySet[WaitingImport]:
        self.demand(keeps_a_ledger(self.request.user), _KEEPERS)
        return visible(self.request.user, WaitingImport.objects.select_related("by").order_by("-pk"))

    @extend_schema(
        summary="List imports",
        description="Files of scores that wait to be confirmed or were imported, the latest first. For those who keep "
        "a ledger.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset().defer("content", "preview"), WaitingImportSerializer)

    @extend_schema(
        summary="Hand a file in",
        description="Takes a file of scores (`scores/1` as CSV or JSON lines) or a results bundle (`bundle/1`) as the "
        "body, and answers with what it would change: new, corrected, retracted and unchanged scores, rides that the "
        "ledger has under another key (left out), names to decide on, and every problem. Nothing is written to the "
        "ledger. A score that would be corrected or retracted and concerns only other associations is a problem. For "
        "those who keep a ledger.",
        parameters=[
            SOURCE,
            OpenApiParameter("file_name", str, description="What the file is called."),
        ],
        request={
            "text/csv": OpenApiTypes.STR,
            "application/x-ndjson": OpenApiTypes.STR,
            "application/json": OpenApiTypes.OBJECT,
        },
        examples=[
            OpenApiExample("scores/1", CSV_EXAMPLE, media_type="text/csv", request_only=True),
            OpenApiExample(
                "scores/1 by line",
                '{"score_id": "northfield-spring/3/12", "pair": "P1", "rider": "Ada Fenwick", "horse": "Copper Lark"}',
                media_type="application/x-ndjson",
                request_only=True,
            ),
            OpenApiExample(
                "bundle/1",
                {"format": "bundle/1", "competition": {}, "classes": [], "digest": "sha256:..."},
                media_type="application/json",
                request_only=True,
            ),
        ],
        responses={
            201: OpenApiResponse(
                PreviewSerializer,
                "The file waits; nothing is written yet.",
                [OpenApiExample("Preview", value=_PREVIEW)],
            )
        },
    )
    @idempotent
    def create(self, request: Request) -> Response:
        self.demand(keeps_a_ledger(request.user), _KEEPERS)
        content: object = request.data
        if not isinstance(content, bytes):
            raise ParseError("The request has no body. Send the file as its body.")
        waiting = hand_in(
            content,
            source=request.query_params.get("source", ""),
            file_name=request.query_params.get("file_name", ""),
            by=self.account,
        )
        response = Response(_preview_document(waiting), status=201)
        response["Location"] = f"/api/v1/imports/{waiting.pk}/"
        return response

    @extend_schema(
        summary="Read an import",
        description="What a file would change, as it was worked out last; once it was confirmed, what it did.",
        responses={200: PreviewSerializer},
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        return Response(_preview_document(self.one_of(self.get_queryset(), pk=pk)))

    @extend_schema(
        summary="List what a file would change",
        description="The single scores that a waiting file would change, with what stood before and what would stand "
        "after, 500 at once.",
        parameters=[
            OpenApiParameter("what", str, enum=_WHAT, description="Only changes of this kind."),
            OpenApiParameter("start", int, description="How many to pass over; 0 when not given."),
        ],
        responses={200: ChangesSerializer},
    )
    def changes(self, request: Request, pk: int) -> Response:
        waiting = self.one_of(self.get_queryset(), pk=pk)
        what, start = request.query_params.get("what", ""), request.query_params.get("start", "0")
        if what not in {"", *_WHAT} or not start.isdecimal() or len(start) > 9:
            raise ValidationError({"what": [f"Ask for one of: {', '.join(_WHAT)}; start is a whole number."]})
        found = [] if waiting.confirmed_at else list(preview_of(waiting).changes)
        found = [change for change in found if what in {"", change.what}]
        shown = [_change_document(change) for change in found[int(start) : int(start) + _AT_ONCE]]
        return Response({"count": len(found), "start": int(start), "changes": shown})

    @extend_schema(
        summary="Decide on names",
        description="Says who is meant by names of a waiting file: a known rider or horse, or someone new. It is "
        "remembered for the file's source, and the file is worked out again.",
        request=NameDecisionsInput,
        responses={200: PreviewSerializer},
    )
    @idempotent
    def decide(self, request: Request, pk: int) -> Response:
        waiting = self.one_of(self.get_queryset(), pk=pk)
        decisions = [_decision(given) for given in self.read(NameDecisionsInput)["decisions"]]
        return Response(_preview_document(decide_names(waiting, decisions, by=self.account)))

    @extend_schema(
        summary="Confirm an import",
        description="Carries a file out as it was shown: `digest` and `state` are those of the preview that was looked "
        "at. Where the ledger has changed so that the file would do something else now, the answer is 409, and the "
        "preview has been worked out again. Refused while the file has problems or names to decide on.",
        request=ConfirmationInput,
        responses={200: PreviewSerializer},
    )
    @idempotent
    def confirm(self, request: Request, pk: int) -> Response:
        waiting = self.one_of(self.get_queryset(), pk=pk)
        return Response(_preview_document(confirm_import(waiting, by=self.account, **self.read(ConfirmationInput))))

    @extend_schema(
        summary="Take a file away",
        description="Drops a file that was not confirmed. Nothing of it has reached the ledger.",
        responses={204: OpenApiResponse(description="The file is gone.")},
    )
    @idempotent
    def destroy(self, request: Request, pk: int) -> Response:
        take_away(self.one_of(self.get_queryset(), pk=pk))
        return Response(status=204)


class Names(Resource):
    """Decisions on the names in files."""

    tag = "Ledger"
    access = {"list": SignedIn, "destroy": SignedIn}
    serializer_class = NameDecisionSerializer
    queryset = NameDecision.objects.none()

    def get_queryset(self) -> QuerySet[NameDecision]:
        self.demand(keeps_a_ledger(self.request.user), _KEEPERS)
        rows = NameDecision.objects.select_related("rider", "horse", "by").order_by("-pk")
        return visible(self.request.user, rows)

    @extend_schema(
        summary="List decisions on names",
        description="Who was said to be meant by which spelling in files of which source, the latest first; undone "
        "ones too. For those who keep a ledger.",
    )
    def list(self, request: Request) -> Response:
        return self.listed(self.get_queryset(), NameDecisionSerializer)

    @extend_schema(
        summary="Undo a decision on a name",
        description="Forgets a decision; the next file of the source is asked about again. Importing the same file "
        "again corrects scores that were posted on the strength of it.",
        responses={204: OpenApiResponse(description="The decision is undone.")},
    )
    @idempotent
    def destroy(self, request: Request, pk: int) -> Response:
        undo_decision(self.one_of(self.get_queryset(), pk=pk), by=self.account)
        return Response(status=204)


def _preview_document(waiting: WaitingImport) -> dict[str, Any]:
    shown = dict(WaitingImportSerializer(waiting).data)
    if waiting.confirmed_at is not None:
        empty = Preview(
            kind="scores", digest=waiting.digest, state=waiting.state, unchanged=0, changes=(), names=(), problems=()
        )
        return shown | _of_preview(empty) | {"counts": waiting.summary}
    return shown | _of_preview(preview_of(waiting))


def _of_preview(preview: Preview) -> dict[str, Any]:
    document = {name: getattr(preview, name) for name in ("kind", "digest", "state", "counts")}
    return document | {
        "names": OpenNameSerializer(preview.names, many=True).data,
        "problems": [{"where": where, "sentence": sentence} for where, sentence in preview.problems[:_AT_ONCE]],
        "problem_count": len(preview.problems),
    }


def _change_document(change: Change) -> dict[str, Any]:
    names = ("what", "where", "pair", "new_pair", "date", "competition", "test", "figure")
    return {name: getattr(change, name) for name in names} | {
        "score_id": change.key,
        "class": change.class_name,
        "differences": [
            {"field": field, "before": before, "after": after} for field, before, after in change.differences
        ],
        "same_as": change.same_as or None,
    }


def _decision(given: Mapping[str, Any]) -> Decision:
    models: dict[str, type[Rider | Horse]] = {"rider": Rider, "horse": Horse}
    if given["member"] is None:
        return given["kind"], given["spelling"], None
    member = models[given["kind"]]._default_manager.filter(pk=given["member"]).first()  # noqa: SLF001
    if member is None:
        raise ValidationError({"decisions": [f"There is no {given['kind']} number {given['member']}. Read it again."]})
    return given["kind"], given["spelling"], member
