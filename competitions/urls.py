from django.urls import path

from competitions.public import board, championships, competitions, documents, entries, me, recordings

_CLASS = "competitions/<slug:slug>/<str:class_number>/"
_ENTRY = f"{_CLASS}<str:entry_number>/"
# No class is called "championships": a class number has ten characters at most.
_CHAMPIONSHIP = "competitions/<slug:slug>/championships/<slug:championship>/"

urlpatterns = [
    path("", competitions.home, name="home"),
    path("me/", me.my_page, name="me"),
    path("rule-sets/<str:key>/", documents.rule_set_page, name="rule-set"),
    path("tests/<str:key>/", documents.test_page, name="test"),
    path("competitions/<slug:slug>/", competitions.competition_page, name="competition"),
    path(_CHAMPIONSHIP, championships.championship_page, name="championship"),
    path(f"{_CHAMPIONSHIP}rows/", championships.championship_rows, name="championship-rows"),
    path(_CLASS, board.board_page, name="board"),
    path(f"{_CLASS}rows/", board.board_rows, name="board-rows"),
    path(f"{_CLASS}running-order/", board.running_order, name="running-order"),
    path(_ENTRY, entries.result_page, name="entry-result"),
    path(f"{_ENTRY}recording/", recordings.recording_page, name="entry-recording"),
    path(f"{_ENTRY}sheets/", entries.sheets_page, name="entry-sheets"),
    path(f"{_ENTRY}sheets/<str:seat>/remarks.vtt", entries.captions_file, name="entry-captions"),
]
