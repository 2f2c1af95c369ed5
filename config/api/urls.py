from django.urls import include, path, re_path

from config.api.me import Me
from config.api.views import Docs, Nothing, Schema

urlpatterns = [
    path("me/", Me.as_view({"get": "retrieve"}), name="api-me"),
    path("", include("riders.api.urls")),
    path("", include("competitions.api.urls")),
    path("", include("reports.api.urls")),
    path("schema/", Schema.as_view(), name="api-schema"),
    path("docs/", Docs.as_view(), name="api-docs"),
    re_path(r"^", Nothing.as_view(), name="api-nothing"),
]
