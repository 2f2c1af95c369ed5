"""A bare Django view to compare the board with: no middleware, no database, twenty kilobytes."""

import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse
from django.urls import path

if not settings.configured:
    settings.configure(
        SECRET_KEY=os.environ.get("BARE_KEY", "bare"), ALLOWED_HOSTS=["*"], ROOT_URLCONF=__name__, DATABASES={}
    )


def page(request: HttpRequest) -> HttpResponse:
    return HttpResponse(b"x" * 20_000)


urlpatterns = [path("", page)]
application = get_wsgi_application()
