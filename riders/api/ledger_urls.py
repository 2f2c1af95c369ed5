"""The addresses of those who keep a ledger."""

from django.urls import path

from riders.api.corrections import ScoreCorrections
from riders.api.memberships import Memberships
from riders.api.merges import Merges
from riders.api.renames import Renames
from riders.api.waiting_imports import Imports, Names

_SCORE = "scores/<path:score_id>/"
_MEMBERSHIPS = "associations/<slug:slug>/memberships/"

urlpatterns = [
    path(f"{_SCORE}history/", ScoreCorrections.as_view({"get": "history"}), name="api-score-history"),
    path(f"{_SCORE}correction/", ScoreCorrections.as_view({"patch": "partial_update"}), name="api-score-correction"),
    path(f"{_SCORE}retraction/", ScoreCorrections.as_view({"post": "retract"}), name="api-score-retraction"),
    path(f"{_SCORE}return/", ScoreCorrections.as_view({"post": "put_back"}), name="api-score-return"),
    path("imports/", Imports.as_view({"get": "list", "post": "create"}), name="api-imports"),
    path("imports/<int:pk>/", Imports.as_view({"get": "retrieve", "delete": "destroy"}), name="api-import"),
    path("imports/<int:pk>/changes/", Imports.as_view({"get": "changes"}), name="api-import-changes"),
    path("imports/<int:pk>/names/", Imports.as_view({"post": "decide"}), name="api-import-names"),
    path("imports/<int:pk>/confirmation/", Imports.as_view({"post": "confirm"}), name="api-import-confirmation"),
    path("names/", Names.as_view({"get": "list"}), name="api-names"),
    path("names/<int:pk>/", Names.as_view({"delete": "destroy"}), name="api-name"),
    path("merges/", Merges.as_view({"get": "list", "post": "create"}), name="api-merges"),
    path("merges/plan/", Merges.as_view({"get": "plan"}), name="api-merge-plan"),
    path("merges/<int:pk>/", Merges.as_view({"get": "retrieve"}), name="api-merge"),
    path("merges/<int:pk>/undoing/", Merges.as_view({"post": "undo"}), name="api-merge-undoing"),
    path("renames/", Renames.as_view({"get": "list", "post": "create"}), name="api-renames"),
    path(_MEMBERSHIPS, Memberships.as_view({"get": "list", "post": "create"}), name="api-memberships"),
    path(
        f"{_MEMBERSHIPS}<int:pk>/",
        Memberships.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="api-membership",
    ),
    path(f"{_MEMBERSHIPS}<int:pk>/removal/", Memberships.as_view({"post": "remove"}), name="api-membership-removal"),
]
