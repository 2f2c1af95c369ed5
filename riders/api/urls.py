from django.urls import include, path

from riders.api.accounts import Tokens
from riders.api.associations import Associations, Members
from riders.api.bundles import AssociationBundles
from riders.api.closing import SeasonEndings
from riders.api.comparisons import RowComparisons
from riders.api.people import Pairs
from riders.api.rebuilds import SeasonRebuilds
from riders.api.scheme_seasons import SeasonSchemes
from riders.api.schemes import Schemes
from riders.api.scores import Scores
from riders.api.seasons import Seasons

urlpatterns = [
    path("", include("riders.api.ledger_urls")),  # first: ids of scores may hold slashes
    path("tokens/", Tokens.as_view({"get": "list", "post": "create"}), name="api-tokens"),
    path("tokens/<int:pk>/", Tokens.as_view({"delete": "destroy"}), name="api-token"),
    path("pairs/", Pairs.as_view({"get": "list"}), name="api-pairs"),
    path("pairs/<int:pk>/", Pairs.as_view({"get": "retrieve"}), name="api-pair"),
    path("scores/", Scores.as_view({"get": "list", "post": "create"}), name="api-scores"),
    path("scores/<path:score_id>/", Scores.as_view({"get": "retrieve"}), name="api-score"),
    path("associations/", Associations.as_view({"get": "list", "post": "create"}), name="api-associations"),
    path("associations/<slug:slug>/", Associations.as_view({"get": "retrieve"}), name="api-association"),
    path("associations/<slug:slug>/members/", Members.as_view({"post": "create"}), name="api-members"),
    path(
        "associations/<slug:slug>/bundles/",
        AssociationBundles.as_view({"post": "create"}),
        name="api-association-bundles",
    ),
    path("schemes/", Schemes.as_view({"get": "list", "post": "create"}), name="api-schemes"),
    path("schemes/check/", Schemes.as_view({"post": "check"}), name="api-scheme-check"),
    path(
        "schemes/<str:key>/versions/",
        Schemes.as_view({"get": "versions", "post": "add_version"}),
        name="api-scheme-versions",
    ),
    path(
        "schemes/<str:key>/<int:version>/differences/",
        Schemes.as_view({"get": "differences"}),
        name="api-scheme-differences",
    ),
    path("schemes/<str:key>/<int:version>/", Schemes.as_view({"get": "retrieve"}), name="api-scheme"),
    path("seasons/", Seasons.as_view({"get": "list"}), name="api-seasons"),
    path("seasons/<int:pk>/", Seasons.as_view({"get": "retrieve"}), name="api-season"),
    path("seasons/<int:pk>/comparison/", RowComparisons.as_view({"get": "retrieve"}), name="api-season-comparison"),
    path("seasons/<int:pk>/standings/", Seasons.as_view({"get": "standings"}), name="api-standings"),
    path("seasons/<int:pk>/preview/", SeasonSchemes.as_view({"post": "preview"}), name="api-season-preview"),
    path(
        "seasons/<int:pk>/scheme/",
        SeasonSchemes.as_view({"get": "changes", "post": "switch"}),
        name="api-season-scheme",
    ),
    path(
        "seasons/<int:pk>/rebuild/", SeasonRebuilds.as_view({"get": "latest", "post": "ask"}), name="api-season-rebuild"
    ),
    path("seasons/<int:pk>/closing/", SeasonEndings.as_view({"post": "close"}), name="api-season-closing"),
    path("seasons/<int:pk>/reopening/", SeasonEndings.as_view({"post": "reopen"}), name="api-season-reopening"),
    path("seasons/<int:pk>/history/", SeasonEndings.as_view({"get": "history"}), name="api-season-history"),
    path("seasons/<int:pk>/changes/", SeasonEndings.as_view({"get": "since"}), name="api-season-changes"),
    path("seasons/<int:pk>/editions/", SeasonEndings.as_view({"get": "editions"}), name="api-editions"),
    path("seasons/<int:pk>/editions/<int:number>/", SeasonEndings.as_view({"get": "edition"}), name="api-edition"),
    path(
        "seasons/<int:pk>/editions/<int:number>/standings/",
        SeasonEndings.as_view({"get": "edition_standings"}),
        name="api-edition-standings",
    ),
    path(
        "seasons/<int:pk>/editions/<int:number>/scores/",
        SeasonEndings.as_view({"get": "scores"}),
        name="api-edition-scores",
    ),
    path("seasons/<int:pk>/statements/<int:pair>/", Seasons.as_view({"get": "statement"}), name="api-statement"),
    path("seasons/<int:pk>/outlooks/<int:pair>/", Seasons.as_view({"get": "outlook"}), name="api-outlook"),
]
