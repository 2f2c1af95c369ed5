"""Addresses that nothing can have."""

from __future__ import annotations

from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse

_API = "/api/"  # answers by itself, in its own shape


def nul_is_nowhere(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Answer 404 to an address with a NUL character: nothing is named so, and PostgreSQL refuses to look."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info and not request.path_info.startswith(_API):
            raise Http404
        return get_response(request)

    return middleware
