"""Addresses of the judge's table. All of them lie below one folder, which is what the page's worker may serve."""

from datetime import date

from django.urls import path, register_converter

from competitions.table import commentary, ownviews, views


class IsoDate:
    regex = "[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        return str(value)


register_converter(IsoDate, "iso-date")

urlpatterns = [
    path("judging/", ownviews.JudgingView.as_view(), name="table-judging"),
    path("shared/<str:link>/", ownviews.SharedLinkView.as_view(), name="table-shared"),
    path("shared-with-me/<int:pk>/", ownviews.SharedWithMeView.as_view(), name="table-shared-with-me"),
    path("shares/<int:pk>/back/", ownviews.TakeBackView.as_view(), name="table-share-back"),
    path("", views.ShellView.as_view(), name="table"),
    path("worker.js", views.WorkerView.as_view(), name="table-worker"),
    path("days/", views.DaysView.as_view(), name="table-days"),
    path("changes/", views.ChangesView.as_view(), name="table-changes"),
    path("day/<slug:slug>/<iso-date:day>/", views.ShellView.as_view(), name="table-day"),
    path("day/<slug:slug>/<iso-date:day>/data/", views.DayDataView.as_view(), name="table-day-data"),
    path("sheet/<slug:slug>/<str:number>/<str:entry>/<str:seat>/", views.ShellView.as_view(), name="table-sheet"),
    path(
        "commentary/<slug:slug>/<str:number>/<str:entry>/<str:seat>/",
        views.ShellView.as_view(),
        name="table-commentary",
    ),
    path(
        "commentary/<slug:slug>/<str:number>/<str:entry>/<str:seat>/proposal/",
        commentary.ProposalView.as_view(),
        name="table-commentary-proposal",
    ),
    path("panel/<slug:slug>/<str:number>/<str:seat>/", ownviews.PanelView.as_view(), name="table-panel"),
]
