from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("config.api.urls")),
    path("desk/", include("competitions.desk.urls")),
    path("table/", include("competitions.table.urls")),
    path("reports/", include("reports.urls")),
    path("", include("riders.urls")),
    path("", include("competitions.urls")),
]
