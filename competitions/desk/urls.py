"""Addresses of the desk. The word ``office`` stands where a class number or an entry number could: it is neither."""

from django.urls import path

from competitions.desk.views import (
    championships,
    classes,
    colleagues,
    competitions,
    deskboard,
    differences,
    documents,
    entries,
    exchange,
    keyings,
    order,
    results,
    sheets,
)

_CLASS = "<slug:slug>/<str:number>/"
_ENTRY = f"{_CLASS}<str:entry>/"
_CHAMPIONSHIP = "<slug:slug>/office/championship/<slug:championship>/"
_SHEET = f"{_ENTRY}<str:seat>/"

urlpatterns = [
    path("", competitions.DeskHomeView.as_view(), name="desk"),
    path("new/", competitions.CompetitionNewView.as_view(), name="desk-competition-new"),
    path("import/", competitions.CompetitionImportView.as_view(), name="desk-competition-import"),
    path("documents/", documents.DocumentsView.as_view(), name="desk-documents"),
    path("<slug:slug>/", competitions.CompetitionView.as_view(), name="desk-competition"),
    path("<slug:slug>/office/details/", competitions.CompetitionEditView.as_view(), name="desk-competition-edit"),
    path("<slug:slug>/office/colleagues/", colleagues.ColleaguesView.as_view(), name="desk-colleagues"),
    path("<slug:slug>/office/history/", colleagues.CompetitionHistoryView.as_view(), name="desk-competition-history"),
    path("<slug:slug>/office/class/", classes.ClassNewView.as_view(), name="desk-class-new"),
    path("<slug:slug>/office/championship/", championships.ChampionshipNewView.as_view(), name="desk-championship-new"),
    path(_CHAMPIONSHIP, championships.ChampionshipView.as_view(), name="desk-championship"),
    path(f"{_CHAMPIONSHIP}delete/", championships.ChampionshipDeleteView.as_view(), name="desk-championship-delete"),
    path("<slug:slug>/office/bundle/", exchange.BundleView.as_view(), name="desk-bundle"),
    path("<slug:slug>/office/import/<str:kind>/", exchange.ImportView.as_view(), name="desk-import"),
    path("<slug:slug>/office/export/<str:kind>/", exchange.ExportView.as_view(), name="desk-export"),
    path(_CLASS, deskboard.ClassDeskPage.as_view(), name="desk-class"),
    path(f"{_CLASS}office/live/", deskboard.ClassLiveView.as_view(), name="desk-class-live"),
    path(f"{_CLASS}office/ring/", deskboard.RingView.as_view(), name="desk-ring"),
    path(f"{_CLASS}office/details/", classes.ClassEditView.as_view(), name="desk-class-edit"),
    path(f"{_CLASS}office/order/", order.OrderView.as_view(), name="desk-order"),
    path(f"{_CLASS}office/draw/", order.DrawView.as_view(), name="desk-draw"),
    path(f"{_CLASS}office/entry/", entries.EntryNewView.as_view(), name="desk-entry-new"),
    path(f"{_CLASS}office/differences/", differences.DifferencesView.as_view(), name="desk-differences"),
    path(f"{_CLASS}office/keyings/", keyings.ClassKeyingsView.as_view(), name="desk-keyings"),
    path(f"{_CLASS}office/keyings/file/", keyings.KeyingsFileView.as_view(), name="desk-keyings-file"),
    path(f"{_CLASS}office/official/", results.OfficialView.as_view(), name="desk-official"),
    path(f"{_CLASS}office/correction/", results.CorrectionView.as_view(), name="desk-correction"),
    path(f"{_CLASS}office/withdraw/", results.WithdrawView.as_view(), name="desk-withdraw"),
    path(f"{_CLASS}office/history/", results.ResultHistoryView.as_view(), name="desk-results-history"),
    path(_ENTRY, entries.EntryView.as_view(), name="desk-entry"),
    path(f"{_ENTRY}office/details/", entries.EntryEditView.as_view(), name="desk-entry-edit"),
    path(f"{_ENTRY}office/remove/", entries.EntryRemoveView.as_view(), name="desk-entry-remove"),
    path(_SHEET, sheets.SheetView.as_view(), name="desk-sheet"),
    path(f"{_SHEET}state/", sheets.SheetStateView.as_view(), name="desk-sheet-state"),
    path(f"{_SHEET}again/", keyings.KeyAgainView.as_view(), name="desk-key-again"),
    path(f"{_SHEET}again/state/", keyings.KeyAgainStateView.as_view(), name="desk-key-again-state"),
    path(f"{_SHEET}again/first/", keyings.FirstKeyingView.as_view(), name="desk-first-keying"),
    path(f"{_SHEET}compared/", keyings.KeyingsComparedView.as_view(), name="desk-keyings-compared"),
    path(f"{_SHEET}history/", sheets.SheetHistoryView.as_view(), name="desk-sheet-history"),
]
