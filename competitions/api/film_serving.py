"""Handing out a film: a range at once and whole in memory, so that no thread waits for a slow network; or all of it."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from competitions.models import Recording
from competitions.services import recording_files as files
from competitions.services.film_ranges import ByteRange, UnsatisfiableRange, asked_range
from competitions.services.films import EXTENSIONS
from riders.api.preconditions import etag_of, names_current

# Who fetches a whole film holds one of the server's few threads for as long as that takes: two at a time may.
WHOLE_AT_ONCE = 2
_BLOCK = 256 * 1024
_places = threading.BoundedSemaphore(WHOLE_AT_ONCE)


class Crowded(APIException):
    status_code = 503
    default_code = "busy"
    default_detail = "Others fetch whole films at this moment. Ask for it in ranges, or try again in a minute."
    wait = 60


def film_response(request: Request, recording: Recording) -> HttpResponseBase:
    etag = etag_of(recording.digest)
    headers = {
        "ETag": etag,
        "Accept-Ranges": "bytes",
        "Cache-Control": "private, no-cache",
        "Vary": "Authorization, Cookie",
        "Content-Disposition": _disposition(recording, as_copy=request.query_params.get("copy") == "1"),
    }
    if names_current(request, etag):
        return HttpResponse(status=304, headers=headers)
    asked = request.headers.get("Range", "") if request.headers.get("If-Range", etag) == etag else ""
    try:
        part = asked_range(asked, length=recording.length)
    except UnsatisfiableRange:
        return HttpResponse(status=416, headers={**headers, "Content-Range": f"bytes */{recording.length}"})
    return _whole(recording, headers) if part is None else _partial(recording, part, headers)


def _disposition(recording: Recording, *, as_copy: bool) -> str:
    """Name the file by class and number: what somebody called it on their telephone goes into no header."""
    entry = recording.entry
    name = f"class-{entry.competition_class.number}-number-{entry.number}.{EXTENSIONS[recording.content_type]}"
    return content_disposition_header(as_attachment=as_copy, filename=name) or "attachment"


def _partial(recording: Recording, part: ByteRange, headers: Mapping[str, str]) -> HttpResponse:
    with files.film_path(recording.key).open("rb") as stream:
        stream.seek(part.first)
        content = stream.read(part.last - part.first + 1)
    said = {**headers, "Content-Range": part.content_range(recording.length)}
    return HttpResponse(content, status=206, content_type=recording.content_type, headers=said)


def _whole(recording: Recording, headers: Mapping[str, str]) -> StreamingHttpResponse:
    if not _places.acquire(blocking=False):
        raise Crowded
    try:
        blocks = _Blocks(recording)
    except OSError:
        _places.release()
        raise
    said = {**headers, "Content-Length": str(recording.length)}
    return StreamingHttpResponse(blocks, content_type=recording.content_type, headers=said)


class _Blocks:
    """The film block by block; its place is free again when the response is closed, also one that was never read."""

    def __init__(self, recording: Recording) -> None:
        self.stream = files.film_path(recording.key).open("rb")
        self.open = True

    def __iter__(self) -> Iterator[bytes]:
        while block := self.stream.read(_BLOCK):
            yield block

    def close(self) -> None:
        if self.open:
            self.open = False
            self.stream.close()
            _places.release()
