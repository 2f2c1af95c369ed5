from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema, extend_schema_serializer
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.objects import CompetitionResource
from competitions.models import PanelSeat, Sheet
from competitions.policy import can, seats_of, visible
from competitions.selectors.captions import captions_name, captions_of
from competitions.selectors.commentary import LONGEST_COMMENTARY, commentary_proposal
from riders.api.access import SignedIn
from riders.api.fields import Input, StrictText

_SENTENCE = {"start": "61.5", "end": "64", "item": "9", "confidence": "0.91", "text": "Good overtrack."}
_CUE = {"index": 0, **_SENTENCE}
_CAPTIONS = """WEBVTT Class 1, number 12, seat C

NOTE Without a moment
5: A little late.

4
00:01:23.400 --> 00:01:25.600
Round &amp; active.
"""


class CaptionsRenderer(BaseRenderer):
    """Offers WebVTT; the view itself answers with it, and with JSON where it refuses."""

    media_type = "text/vtt"
    format = "vtt"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return JSONRenderer().render(data)


class AlignmentCueSerializer(serializers.Serializer[Any]):
    index = serializers.IntegerField(help_text="The cue of the text, from 0.")
    part = serializers.IntegerField(required=False, help_text="Only where one cue surely speaks of several movements.")
    start = serializers.CharField(allow_null=True, help_text="Seconds, as in the text; null where it has no times.")
    end = serializers.CharField(allow_null=True)
    item = serializers.CharField(allow_null=True, help_text="Id of the movement; null: the ride as a whole.")
    confidence = serializers.CharField(help_text='How probable it is that the item is right: "0.00" to "0.99".')
    text = serializers.CharField()


class AlignmentSerializer(serializers.Serializer[Any]):
    """An `alignment/1` document."""

    format = serializers.ChoiceField(["alignment/1"])
    cues = AlignmentCueSerializer(many=True)


class LaidSentenceSerializer(serializers.Serializer[Any]):
    """One sentence, or one clause of a sentence about two movements, in the order in which they were said."""

    start = serializers.CharField(allow_null=True, help_text="Seconds; null where it is not known.")
    end = serializers.CharField(allow_null=True)
    item = serializers.CharField(allow_null=True, help_text="Id of the movement; null: the ride as a whole.")
    confidence = serializers.CharField(help_text='"0.00" to "0.99".')
    text = serializers.CharField()


@extend_schema_serializer(
    examples=[
        OpenApiExample(
            "One sentence", value={"alignment": {"format": "alignment/1", "cues": [_CUE]}, "sentences": [_SENTENCE]}
        )
    ]
)
class CommentaryProposalSerializer(serializers.Serializer[Any]):
    alignment = AlignmentSerializer()
    sentences = LaidSentenceSerializer(many=True)


@extend_schema_serializer(
    examples=[
        OpenApiExample("WebVTT", value={"text": "WEBVTT\n\n01:01.500 --> 01:04.000\nGood overtrack.\n"}),
        OpenApiExample("Plain text", value={"text": "Straight entry.\nGood overtrack.\nOverall a pleasing ride."}),
    ]
)
class CommentaryInput(Input):
    text = StrictText(
        trim_whitespace=False,
        help_text=f"WebVTT, SRT or plain text, at most {LONGEST_COMMENTARY:,} characters.",
    )


class Commentary(CompetitionResource):
    """Spoken commentary laid on the movements of one sheet. It is worked out here, and written nowhere."""

    tag = "Sheets"
    access = {"create": SignedIn}
    serializer_class = CommentaryProposalSerializer
    queryset = Sheet.objects.none()

    @extend_schema(
        summary="Lay a commentary on a sheet",
        description="Takes what a judge said over a ride and answers with the movement that each sentence is about, "
        "and how sure that is. Nothing is written and the text goes to no other service: write what you take of it "
        "with *Write on a sheet*. Lines that cannot be read are refused, each with its number. For the judge of the "
        "seat while the class is open, and the office.",
        request=CommentaryInput,
        responses={200: CommentaryProposalSerializer},
    )
    def create(self, request: Request, pk: int, seat: str) -> Response:
        found = self._seat(request, pk, seat)
        self.demand(
            can(request.user, "mark", found),
            "You cannot write on this sheet now: it is for the judge of the seat while the class is open, and the "
            "office.",
        )
        given = self.read(CommentaryInput)
        return Response(CommentaryProposalSerializer(commentary_proposal(found, given["text"])).data)

    def _seat(self, request: Request, pk: int, seat: str) -> PanelSeat:
        """Return the seat to whoever may know that it has a sheet of this entry."""
        entry = self.entry(request, pk)
        seats = entry.competition_class.seats.select_related(
            "judge", "competition_class__competition", "competition_class__test"
        )
        found = self.one_of(seats, seat=seat)
        if not can(request.user, "run", entry) and not seats_of(request.user).filter(pk=found.pk).exists():
            raise NotFound
        return found


class Captions(CompetitionResource):
    """The remarks of a sheet as captions of the ride's recording."""

    tag = "Sheets"
    access = {"retrieve": SignedIn}
    queryset = Sheet.objects.none()
    renderer_classes = [CaptionsRenderer, JSONRenderer]

    @extend_schema(
        summary="Read remarks as captions",
        description="The remarks of one sheet as WebVTT: each at its moment of the recording, or at that of its mark; "
        "those without any moment in a note at the top. As private as the sheet: for the judge of the seat, the "
        "office, and the rider once results are official.",
        responses={
            (200, "text/vtt"): OpenApiResponse(
                OpenApiTypes.STR, "The captions.", [OpenApiExample("Captions", _CAPTIONS, media_type="text/vtt")]
            )
        },
    )
    def retrieve(self, request: Request, pk: int, seat: str) -> HttpResponse:
        sheets = Sheet.objects.filter(entry=self.entry(request, pk)).select_related(
            "seat__judge", "entry__pair__rider", "entry__pair__horse", "entry__competition_class__competition"
        )
        sheet = self.one_of(visible(request.user, sheets), seat__seat=seat)
        headers = {
            "Cache-Control": "private, no-store",
            "Content-Disposition": content_disposition_header(False, captions_name(sheet)) or "inline",
        }
        return HttpResponse(captions_of(sheet), content_type="text/vtt; charset=utf-8", headers=headers)
