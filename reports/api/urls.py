from django.urls import path

from reports.api.jobs import Reports

urlpatterns = [
    path("reports/", Reports.as_view({"get": "list", "post": "create"}), name="api-reports"),
    path("reports/<uuid:pk>/", Reports.as_view({"get": "retrieve"}), name="api-report"),
    path("reports/<uuid:pk>/retry/", Reports.as_view({"post": "retry"}), name="api-report-retry"),
    path("reports/<uuid:pk>/file/", Reports.as_view({"get": "file"}), name="api-report-file"),
]
