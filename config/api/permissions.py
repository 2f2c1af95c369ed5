from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

if TYPE_CHECKING:  # the views import this module while they are being imported themselves
    from rest_framework.views import APIView


class DenyUnlessDeclared(BasePermission):
    """The default of every view: refuses everyone, so that a view without a declared permission opens nothing."""

    message = "Nobody may use this address: its view declares no permission."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return False

    def has_object_permission(self, request: Request, view: APIView, obj: object) -> bool:
        return False
