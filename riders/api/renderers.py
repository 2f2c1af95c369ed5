from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.renderers import BaseRenderer


class CSVRenderer(BaseRenderer):
    """Offers ``text/csv``; the view itself streams the file, so only its headers pass through here."""

    media_type = "text/csv"
    format = "csv"
    charset = "utf-8"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None
    ) -> bytes:
        return str(data).encode()
