from django.urls import path

from reports import season_documents, views

urlpatterns = [
    path("request/", views.request_page, name="report-request"),
    path("seasons/<slug:slug>/<slug:season_slug>/", season_documents.page, name="season-documents"),
    path("<uuid:job_id>/", views.report_page, name="report"),
    path("<uuid:job_id>/file/", views.file_page, name="report-file"),
    path("<uuid:job_id>/retry/", views.retry_page, name="report-retry"),
]
