from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.pagination import PageNumberPagination
from rest_framework.request import Request
from rest_framework.views import APIView


class Pages(PageNumberPagination):
    """Numbered pages over a total order: where a list's order does not end in a unique column, the key is added."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500
    page_query_description = "Number of the page, from 1."
    page_size_query_description = "Rows on a page, 1 to 500; 50 when not given."

    def paginate_queryset(  # type: ignore[override]
        self, queryset: QuerySet[Any], request: Request, view: APIView | None = None
    ) -> list[Any] | None:
        try:
            return super().paginate_queryset(totally_ordered(queryset), request, view)
        except NotFound as error:
            raise NotFound("There is no such page in this list. Start at page 1 and follow next.") from error

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        shown: dict[str, Any] = super().get_paginated_response_schema(schema)
        shown["properties"]["count"] |= {"example": 60, "description": "Rows in the whole list."}
        shown["properties"]["next"] |= {"example": None, "description": "Address of the next page; null on the last."}
        shown["properties"]["previous"] |= {
            "example": None,
            "description": "Address of the page before; null on the first.",
        }
        return shown


def totally_ordered(queryset: QuerySet[Any]) -> QuerySet[Any]:
    """Return the queryset in its own order with the primary key as the last word, unless it ends there already."""
    order = list(queryset.query.order_by or queryset.model._meta.ordering)  # noqa: SLF001 - Django's documented way
    if order and order[-1] in {"pk", "-pk", "id", "-id"}:
        return queryset
    return queryset.order_by(*order, "pk")
