from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    extend_schema,
    extend_schema_serializer,
)
from rest_framework import serializers
from rest_framework.exceptions import NotFound, ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from competitions.api.film_serving import film_response
from competitions.api.objects import CompetitionResource
from competitions.models import Entry, Recording
from competitions.models.recordings import LETTERS
from competitions.policy import can, visible
from competitions.services import recording_files as files
from competitions.services.recordings import (
    LARGEST_PIECE,
    add_piece,
    camera_of,
    delete_recording,
    finish_upload,
    give_up_upload,
    move_camera,
    name_link,
    start_upload,
)
from riders.api.access import SignedIn
from riders.api.fields import Input, StrictInteger, StrictText
from riders.api.idempotency import idempotent
from riders.api.parsers import TooLarge
from riders.errors import InvalidInput

_CONTENT_RANGE = re.compile(r"bytes (\d{1,18})-(\d{1,18})/(\d{1,18})\Z", re.ASCII)
_DIGEST = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
_CAMERA = {"camera_letter": "C", "camera_place": "", "camera_height": 250}
_KEPT = {
    "id": "5f0f3f0c-3b52-4b9c-9a39-2f7a6c9b1c11",
    "entry": 412,
    "state": "kept",
    "link": None,
    "name": "ride 12.mp4",
    "content_type": "video/mp4",
    "length": 183500800,
    "digest": _DIGEST,
    **_CAMERA,
    "camera": "at C, 2.50 m high",
    "uploaded_at": "2027-03-04T18:20:00Z",
    "film": "/api/v1/entries/412/recording/film/",
}
_ARRIVING = {
    "id": "5f0f3f0c-3b52-4b9c-9a39-2f7a6c9b1c11",
    "state": "arriving",
    "arrived": 4194304,
    "length": 183500800,
    "largest_piece": LARGEST_PIECE,
}
_FILM = {"name": "ride 12.mp4", "length": 183500800, "modified": "1772647200000", **_CAMERA}
_LINK = {"link": "https://show.example/films/12", "camera_letter": "", "camera_place": "in the stand, left of C"}


class FilmParser(BaseParser):
    """A piece of a film as the body of the request: its bytes."""

    media_type = "application/octet-stream"

    def parse(  # type: ignore[override]
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> bytes:
        content: bytes = stream.read(LARGEST_PIECE + 1)
        if len(content) > LARGEST_PIECE:
            raise TooLarge(f"A piece of a film has at most {LARGEST_PIECE} bytes. Send it in smaller ones.")
        return content


class FilmRenderer(BaseRenderer):
    """Offers whatever type the film has; the view itself answers with its bytes."""

    media_type = "*/*"
    format = "film"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return JSONRenderer().render(data)


@extend_schema_serializer(examples=[OpenApiExample("A film that is kept here", value=_KEPT)])
class RecordingSerializer(serializers.Serializer[Recording]):
    """The film of a ride: a file kept here, or a link to where it lies elsewhere."""

    id = serializers.UUIDField(source="key")
    entry = serializers.IntegerField(source="entry_id")
    state = serializers.ChoiceField(choices=Recording.State.choices)
    link = serializers.SerializerMethodField(help_text="Where it lies elsewhere; null for a file that is kept here.")
    name = serializers.CharField(help_text="Name of the file as it was sent.")
    content_type = serializers.CharField()
    length = serializers.IntegerField(help_text="In bytes.")
    digest = serializers.CharField(help_text="SHA-256 of the file.")
    camera_letter = serializers.CharField(help_text="Letter of the arena at which the camera stood; empty elsewhere.")
    camera_place = serializers.CharField(help_text="Where it stood elsewhere, in words.")
    camera_height = serializers.IntegerField(allow_null=True, help_text="In centimetres above the ground.")
    camera = serializers.CharField(help_text="All of this in words.")
    uploaded_at = serializers.DateTimeField()
    film = serializers.SerializerMethodField(help_text="Address of the file; null for a link.")

    def get_link(self, recording: Recording) -> str | None:
        return recording.link or None

    def get_film(self, recording: Recording) -> str | None:
        return None if recording.link else film_address(recording.entry_id)


@extend_schema_serializer(examples=[OpenApiExample("Half way", value=_ARRIVING)])
class UploadSerializer(serializers.Serializer[Recording]):
    """A film on its way: the next piece begins at ``arrived``."""

    id = serializers.UUIDField(source="key")
    state = serializers.ChoiceField(choices=Recording.State.choices)
    arrived = serializers.SerializerMethodField(help_text="How many bytes are here.")
    length = serializers.IntegerField(help_text="How many bytes were announced.")
    largest_piece = serializers.SerializerMethodField(help_text="How many bytes a piece may have.")

    def get_arrived(self, recording: Recording) -> int:
        return files.arrived_bytes(recording.key)

    def get_largest_piece(self, _recording: Recording) -> int:
        return LARGEST_PIECE


class _CameraFields(Input):
    camera_letter = serializers.ChoiceField(
        choices=LETTERS, required=False, allow_blank=True, help_text="The letter at which the camera stood."
    )
    camera_place = StrictText(
        max_length=120, required=False, allow_blank=True, help_text="Elsewhere: where it stood, in words."
    )
    camera_height = StrictInteger(
        min_value=0, max_value=3000, required=False, allow_null=True, help_text="In centimetres above the ground."
    )


@extend_schema_serializer(examples=[OpenApiExample("At C", value=_CAMERA)])
class CameraInput(_CameraFields):
    """Where the camera stood: at a letter, or elsewhere in words."""


@extend_schema_serializer(examples=[OpenApiExample("A film", value=_FILM)])
class UploadInput(_CameraFields):
    name = StrictText(max_length=255, help_text="Name of the file.")
    length = StrictInteger(min_value=1, max_value=2**50, help_text="Its size in bytes.")
    modified = StrictText(
        max_length=40,
        required=False,
        allow_blank=True,
        help_text="Anything that tells this file from another of its name and size, such as when it was changed.",
    )


@extend_schema_serializer(examples=[OpenApiExample("A link", value=_LINK)])
class LinkInput(_CameraFields):
    link = StrictText(max_length=500, help_text="The whole address of the film; only an encrypted one is taken.")


class RecordingResource(CompetitionResource):
    tag = "Recordings"
    serializer_class: type[serializers.Serializer[Recording]] = RecordingSerializer
    pagination_class = None
    queryset = Recording.objects.none()

    def kept(self, request: Request, pk: int) -> Recording:
        """Return the recording of an entry, or answer 404 to whoever may not know of it."""
        entry = self.entry(request, pk)
        found = visible(request.user, Recording.objects.filter(entry=entry, state=Recording.State.KEPT)).first()
        if found is None:
            raise NotFound
        found.entry = entry
        return found

    def own_entry(self, request: Request, pk: int) -> Entry:
        """Return the entry for those who send its film; to others no film of it is known."""
        entry = self.entry(request, pk)
        if not can(request.user, "send-recording", entry):
            raise NotFound
        return entry


class Recordings(RecordingResource):
    """The film of a ride in a class that is judged from recordings."""

    access = {"retrieve": SignedIn, "update": SignedIn, "destroy": SignedIn, "camera": SignedIn, "film": SignedIn}

    def get_renderers(self) -> list[Any]:
        return [FilmRenderer()] if self.action == "film" else [JSONRenderer()]

    @extend_schema(
        summary="Read what is known of a recording",
        description="The film that the entry is judged from, and where its camera stood. For the rider, the judges of "
        "the class and the office; to others it is not there.",
    )
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.shown(self.kept(request, pk), RecordingSerializer)

    @extend_schema(
        summary="Name a link as the recording",
        description="Says where the film lies elsewhere, in the place of the recording before, until a judge begins. "
        "For the rider and the office.",
        request=LinkInput,
        responses={200: RecordingSerializer},
    )
    @idempotent
    def update(self, request: Request, pk: int) -> Response:
        entry = self.own_entry(request, pk)
        fields = self.read(LinkInput)
        made = name_link(entry, link=fields["link"], camera=camera_of(fields), by=self.account)
        return self.shown(made, RecordingSerializer)

    @extend_schema(
        summary="Correct where the camera stood",
        description="Changes the camera's place and height, until a judge begins. For the rider and the office.",
        request=CameraInput,
        responses={200: RecordingSerializer},
    )
    @idempotent
    def camera(self, request: Request, pk: int) -> Response:
        self.own_entry(request, pk)
        moved = move_camera(self.kept(request, pk), camera=camera_of(self.read(CameraInput)), by=self.account)
        return self.shown(moved, RecordingSerializer)

    @extend_schema(
        summary="Delete a recording",
        description="Deletes the film for good: before a judge begins, or once the results are official. Who did it "
        "and when is kept. For the rider and the office.",
        parameters=[OpenApiParameter("reason", str, description="Why, for the history.")],
        responses={204: OpenApiResponse(description="The recording is deleted.")},
    )
    def destroy(self, request: Request, pk: int) -> Response:
        self.own_entry(request, pk)
        reason = str(request.query_params.get("reason", "")).replace("\0", "")
        delete_recording(self.kept(request, pk), by=self.account, reason=reason)
        return Response(status=204)

    @extend_schema(
        summary="Play a recording",
        description="The bytes of the film. With `Range` one range is answered with 206, and never more than a "
        "mebibyte at once: ask on from where it ended. Asked who may see it each time; nothing between may keep it.",
        parameters=[
            OpenApiParameter("Range", str, OpenApiParameter.HEADER, description="Such as `bytes=0-`."),
            OpenApiParameter("copy", str, description="`1`: to be kept as a file instead of played."),
        ],
        responses={
            (200, "video/mp4"): OpenApiResponse(OpenApiTypes.BINARY, "The whole film."),
            (206, "video/mp4"): OpenApiResponse(OpenApiTypes.BINARY, "A part of it; Content-Range says which."),
            503: OpenApiResponse(description="Others fetch whole films now. Ask for ranges, or ask again later."),
            416: OpenApiResponse(description="The film does not reach so far; Content-Range says how far it does."),
        },
    )
    def film(self, request: Request, pk: int) -> HttpResponseBase:
        recording = self.kept(request, pk)
        if recording.link or not files.film_path(recording.key).exists():
            raise NotFound
        return film_response(request, recording)


class Uploads(RecordingResource):
    """A film on its way, in pieces: what broke off goes on where it ended."""

    access = {
        "create": SignedIn,
        "retrieve": SignedIn,
        "update": SignedIn,
        "destroy": SignedIn,
        "finish": SignedIn,
    }
    serializer_class = UploadSerializer

    def get_parsers(self) -> list[Any]:
        piece = self.request is not None and self.request.method == "PUT"
        return [FilmParser()] if piece else super().get_parsers()

    @extend_schema(
        summary="Begin to send a film",
        description="Announces a film. One of the same name, size and age that broke off goes on: send from `arrived` "
        "on, piece by piece, then finish it. Refused at once where it is too large, where there is no room, or where a "
        "judge has begun. For the rider and the office.",
        request=UploadInput,
        responses={201: UploadSerializer},
    )
    @idempotent
    def create(self, request: Request, pk: int) -> Response:
        entry = self.own_entry(request, pk)
        fields = self.read(UploadInput)
        begun = start_upload(
            entry,
            name=fields["name"],
            length=fields["length"],
            modified=fields.get("modified", ""),
            camera=camera_of(fields),
            by=self.account,
        )
        response = self.shown(begun, UploadSerializer, status=201)
        response["Location"] = f"/api/v1/entries/{pk}/recording/uploads/{begun.key}/"
        return response

    @extend_schema(
        summary="Ask how much of a film is here",
        description="How many bytes have arrived: the next piece begins there. For the rider and the office.",
    )
    def retrieve(self, request: Request, pk: int, key: Any) -> Response:
        return self.shown(self._upload(request, pk, key), UploadSerializer)

    @extend_schema(
        summary="Send a piece of a film",
        description="The next bytes, with `Content-Range: bytes 0-1048575/183500800`. Sent again after a lost answer "
        "it changes nothing; a piece that does not follow is answered with 409. For the rider and the office.",
        parameters=[
            OpenApiParameter(
                "Content-Range", str, OpenApiParameter.HEADER, required=True, description="Which bytes these are."
            )
        ],
        request={"application/octet-stream": OpenApiTypes.BINARY},
        examples=[
            OpenApiExample("Bytes", "(bytes)", media_type="application/octet-stream", request_only=True),
            OpenApiExample("Half way", _ARRIVING, response_only=True, status_codes=["200"]),
        ],
        responses={
            200: UploadSerializer,
            409: OpenApiResponse(
                description="The piece does not begin where the last one ended. Ask how much is here."
            ),
        },
    )
    def update(self, request: Request, pk: int, key: Any) -> Response:
        upload = self._upload(request, pk, key)
        piece: object = request.data
        begin, end, length = _content_range(request)
        if not isinstance(piece, bytes) or end - begin + 1 != len(piece):
            raise ParseError("The body has not as many bytes as Content-Range says. Send the piece again.")
        if length != upload.length:
            raise InvalidInput(f"This film was announced with {upload.length} bytes, not {length}.", code="piece-size")
        add_piece(upload, begin=begin, piece=piece)
        return self.shown(upload, UploadSerializer)

    @extend_schema(
        summary="Finish a film",
        description="Looks at the whole file, and keeps it in the place of the recording before. What is no film, or "
        "was cut off, is refused and removed. For the rider and the office.",
        request=None,
        responses={
            200: RecordingSerializer,
            409: OpenApiResponse(description="The film is not here whole. Ask how much is here, and send the rest."),
        },
    )
    def finish(self, request: Request, pk: int, key: Any) -> Response:
        return self.shown(finish_upload(self._upload(request, pk, key), by=self.account), RecordingSerializer)

    @extend_schema(
        summary="Give up sending a film",
        description="Removes what has arrived of it. For the rider and the office.",
        responses={204: OpenApiResponse(description="The upload is given up.")},
    )
    def destroy(self, request: Request, pk: int, key: Any) -> Response:
        give_up_upload(self._upload(request, pk, key), by=self.account)
        return Response(status=204)

    def _upload(self, request: Request, pk: int, key: Any) -> Recording:
        entry = self.own_entry(request, pk)
        found = self.one_of(visible(request.user, Recording.objects.filter(entry=entry, link="")), key=key)
        found.entry = entry
        return found


def film_address(entry_id: int) -> str:
    return f"/api/v1/entries/{entry_id}/recording/film/"


def _content_range(request: Request) -> tuple[int, int, int]:
    found = _CONTENT_RANGE.match(request.headers.get("Content-Range", "").strip())
    if found is None:
        raise ParseError("The header Content-Range is missing or unreadable. Write it as: bytes 0-1048575/183500800.")
    begin, end, length = (int(figure) for figure in found.groups())
    return begin, end, length
