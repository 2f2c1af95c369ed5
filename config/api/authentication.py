from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, SessionAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from riders.models import User
from riders.services.accounts import user_for_token


class TokenAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``. A token that is wrong, revoked or expired is refused, never read as nobody."""

    def authenticate(self, request: Request) -> tuple[User, str] | None:
        scheme, _, rest = get_authorization_header(request).partition(b" ")
        if scheme.lower() != b"bearer":
            return None
        try:
            plain = rest.strip().decode("ascii")
        except UnicodeDecodeError:
            plain = ""
        user = user_for_token(plain) if plain else None
        if user is None:
            raise AuthenticationFailed(
                "This token is not valid: it is misspelt, expired or revoked. Create a new one under /api/v1/tokens/."
            )
        return user, "token"

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="markbook"'


class PageSessionAuthentication(SessionAuthentication):
    """The login of the pages. Writes need the CSRF token that the pages carry, in the header ``X-CSRFToken``."""

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except PermissionDenied as error:
            raise PermissionDenied(
                "The request did not bring this page's own token (header X-CSRFToken), so nothing was done. Reload the "
                "page and try again, or use a token made under My page."
            ) from error


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token created under /api/v1/tokens/ (signed in on the pages). It acts for its owner, "
            "ends when revoked or expired, and is stored as a digest only.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    target_class = PageSessionAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The login of the pages, for scripts of the pages themselves. Writes also need the header "
            "X-CSRFToken.",
        }
