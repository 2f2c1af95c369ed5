"""The shortest way for the most frequent request: a board's poll whose version has not changed."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified

from competitions.public.board import fragment_etag, public_class
from competitions.selectors.versions import class_version

Handler = Callable[[HttpRequest], HttpResponse]


class UnchangedBoards:
    """Answer an unchanged poll of a public board before sessions, log-in and everything else that it does not need.

    Stands first among the middleware. Whatever it cannot answer goes the ordinary way, to the view of the rows.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        etag = request.META.get("HTTP_IF_NONE_MATCH")
        if etag is not None and request.path_info.endswith("/rows/") and etag == _current_etag(request.path_info):
            return HttpResponseNotModified(headers={"ETag": etag, "Cache-Control": "no-cache"})
        return self.get_response(request)


def _current_etag(path: str) -> str | None:
    steps = path.split("/")
    if len(steps) != 6 or steps[1] != "competitions":
        return None
    class_id = public_class(steps[2], steps[3])
    version = None if class_id is None else class_version(class_id)
    return None if class_id is None or version is None else fragment_etag(class_id, version)
