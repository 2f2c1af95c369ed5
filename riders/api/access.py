"""Who may call an operation at all; what they may do with an object is the policy's answer, asked in the view."""

from __future__ import annotations

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView


class Anyone(BasePermission):
    """Public: the policy still decides which objects a visitor gets."""

    words = "Anyone, signed in or not."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return True


class SignedIn(BasePermission):
    words = "Anyone with an account, within what their roles allow."
    message = "Sign in or send a token: this is for people with an account."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return bool(request.user and request.user.is_authenticated)


class Staff(BasePermission):
    words = "Staff of this service."
    message = "Only staff of this service may do this."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return bool(request.user and request.user.is_authenticated and request.user.is_staff)


class Nobody(BasePermission):
    """The answer for an operation that its view does not list."""

    words = "Nobody."
    message = "Nobody may do this: the operation declares no permission."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return False
