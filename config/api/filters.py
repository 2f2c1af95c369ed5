from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.views import APIView

_OF_THE_PAGES = frozenset({"page", "page_size", "format"})


class DeclaredFilters(DjangoFilterBackend):
    """Only filters that a resource declares; a parameter it does not know is refused instead of being left out."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        declared = self.get_filterset_class(view, queryset)
        names = sorted(declared.base_filters) if declared else []
        unknown = sorted(set(request.query_params) - set(names) - _OF_THE_PAGES)
        if unknown:
            offered = f"Filters here: {', '.join(names)}." if names else "This list has no filters."
            raise ValidationError({name[:60]: [f"This filter is not known. {offered}"] for name in unknown})
        found: QuerySet[Any] = super().filter_queryset(request, queryset, view)
        return found
