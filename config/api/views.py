from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView
from rest_framework.exceptions import NotFound
from rest_framework.renderers import TemplateHTMLRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from config.api.errors import NOT_FOUND
from riders.api.access import Anyone


class Schema(SpectacularAPIView):
    """The OpenAPI document, as YAML or (``Accept: application/json``) JSON."""

    permission_classes = [Anyone]


@extend_schema(exclude=True)
class Docs(APIView):
    """The OpenAPI document as a page. All that it loads comes from here, and no script stands in the page itself."""

    permission_classes = [Anyone]
    renderer_classes = [TemplateHTMLRenderer]

    def get(self, request: Request) -> Response:
        return Response(template_name="api/docs.html")


@extend_schema(exclude=True)
class Nothing(APIView):
    """Answers every address of the API that is not one of the others."""

    permission_classes = [Anyone]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        raise NotFound(NOT_FOUND)
