"""Logging in, the password, and the keys that programs use in a person's name."""

from __future__ import annotations

from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, PasswordChangeView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from riders import policy
from riders.errors import InvalidInput
from riders.models import ApiToken, User
from riders.pages.throttle import count_failure, forget_failures, too_many_attempts
from riders.services.accounts import create_token, revoke_token


class LogIn(LoginView):
    """Log in with a bound on failed attempts; a refused attempt keeps what was typed as the name."""

    redirect_authenticated_user = True

    def get_form_class(self) -> type[AuthenticationForm]:
        return LogInForm

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if too_many_attempts(request, username=request.POST.get("username", "")):
            form = LogInForm(request, initial={"username": request.POST.get("username", "")})
            return self.render_to_response(self.get_context_data(form=form, too_many=True), status=429)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        forget_failures(self.request, username=self.request.POST.get("username", ""))
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        count_failure(self.request, username=self.request.POST.get("username", ""))
        return super().form_invalid(form)


class LogInForm(AuthenticationForm):
    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": "The name and the password do not belong together. Check both; capital letters matter.",
    }

    def __init__(self, request: HttpRequest | None = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(request, *args, **kwargs)
        self.fields["username"].label = "User name"
        self.fields["username"].error_messages["required"] = "Enter your user name."
        self.fields["password"].error_messages["required"] = "Enter your password."
        self.label_suffix = ""


class ChangePassword(PasswordChangeView):
    success_url = reverse_lazy("me")

    def form_valid(self, form: Any) -> HttpResponse:
        messages.success(self.request, "Your password has been changed. Other devices have been logged out.")
        return super().form_valid(form)


@never_cache
@login_required
@require_http_methods(["GET", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """List the person's tokens; a new one is shown once, in the answer that made it, and kept nowhere in plain text."""
    context: dict[str, Any] = {"name": request.POST.get("name", "")}
    if request.method == "POST":
        try:
            context["token"], context["plain"] = create_token(cast("User", request.user), name=context["name"])
            context["name"] = ""
        except InvalidInput as refusal:
            context["problem"] = refusal.fields["name"][0]
    now = timezone.now()
    context["tokens"] = [
        (token, "revoked" if token.revoked_at else "expired" if token.expires_at <= now else "in force")
        for token in policy.visible(request.user, ApiToken.objects.all())
    ]
    return render(request, "riders/tokens.html", context, status=400 if "problem" in context else 200)


@login_required
@require_POST
def revoke(request: HttpRequest, token_id: int) -> HttpResponse:
    token = get_object_or_404(policy.visible(request.user, ApiToken.objects.all()), pk=token_id)
    revoke_token(token)
    messages.success(
        request, f'The token "{token.name}" has been revoked. A program that still uses it is refused from now on.'
    )
    return redirect("tokens")
