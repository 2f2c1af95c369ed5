from django.contrib.auth.views import LogoutView
from django.urls import include, path

from riders.pages import accounts, associations, closing, outlooks, pairs, rebuilds, seasons

urlpatterns = [
    path("login/", accounts.LogIn.as_view(), name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("me/password/", accounts.ChangePassword.as_view(), name="change-password"),
    path("me/tokens/", accounts.tokens, name="tokens"),
    path("me/tokens/<int:token_id>/revoke/", accounts.revoke, name="token-revoke"),
    path("pairs/<int:pair_id>/", pairs.pair_page, name="pair"),
    path("associations/<slug:slug>/", associations.association_page, name="association"),
    path("associations/<slug:slug>/<slug:season_slug>/", seasons.season_page, name="season"),
    path("associations/<slug:slug>/<slug:season_slug>/scores/", seasons.season_unit_page, name="season-unit"),
    path("associations/<slug:slug>/<slug:season_slug>/compare/", seasons.compare_page, name="season-compare"),
    path("associations/<slug:slug>/<slug:season_slug>/rebuild/", rebuilds.rebuild_page, name="season-rebuild"),
    path("associations/<slug:slug>/<slug:season_slug>/year-end/", closing.year_end, name="season-closing"),
    path(
        "associations/<slug:slug>/<slug:season_slug>/year-end/<int:number>/scores.csv",
        closing.edition_scores,
        name="season-edition-scores",
    ),
    path("associations/<slug:slug>/<slug:season_slug>/standings.csv", seasons.standings_file, name="season-csv"),
    path("associations/<slug:slug>/<slug:season_slug>/outlook/<int:pair_id>/", outlooks.outlook_page, name="outlook"),
    path(
        "associations/<slug:slug>/<slug:season_slug>/outlook/<int:pair_id>/<int:index>.svg",
        outlooks.plot_page,
        name="outlook-plot",
    ),
    path("ledger/", include("riders.ledger_urls")),
    path("schemes/<slug:slug>/", include("riders.scheme_urls")),
]
