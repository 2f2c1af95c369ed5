from django.urls import path

from competitions.api.bundles import Bundles
from competitions.api.championships import Championships
from competitions.api.classes import Classes
from competitions.api.commentary import Captions, Commentary
from competitions.api.comparison import Comparisons, PanelShares
from competitions.api.competitions import Competitions
from competitions.api.entries import ClassDay, Entries
from competitions.api.files import CompetitionImport, CompetitionPairs, Exports, Imports
from competitions.api.findings import Findings
from competitions.api.keyings import Keyings, SheetKeyings
from competitions.api.library import Judges, RuleSets, Tests
from competitions.api.recordings import Recordings, Uploads
from competitions.api.results import Results, ResultsDesk
from competitions.api.sheets import Sheets

_COMPETITION = "competitions/<slug:slug>/"
_CLASS = "classes/<int:pk>/"
_CHAMPIONSHIP = "championships/<int:pk>/"
_ENTRY = "entries/<int:pk>/"

urlpatterns = [
    path("competitions/", Competitions.as_view({"get": "list", "post": "create"}), name="api-competitions"),
    path(_COMPETITION, Competitions.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-competition"),
    path(f"{_COMPETITION}pairs/", CompetitionPairs.as_view({"post": "create"}), name="api-competition-pairs"),
    path(f"{_COMPETITION}imports/entries/", Imports.as_view({"post": "entries"}), name="api-import-entries"),
    path(f"{_COMPETITION}imports/marks/", Imports.as_view({"post": "marks"}), name="api-import-marks"),
    path(f"{_COMPETITION}imports/outcomes/", Imports.as_view({"post": "outcomes"}), name="api-import-outcomes"),
    path(f"{_COMPETITION}exports/entries/", Exports.as_view({"get": "entries"}), name="api-export-entries"),
    path(f"{_COMPETITION}exports/marks/", Exports.as_view({"get": "marks"}), name="api-export-marks"),
    path(f"{_COMPETITION}exports/outcomes/", Exports.as_view({"get": "outcomes"}), name="api-export-outcomes"),
    path(
        f"{_COMPETITION}exports/competition/",
        Exports.as_view({"get": "competition_file"}),
        name="api-export-competition",
    ),
    path(f"{_COMPETITION}bundle/", Bundles.as_view({"get": "retrieve"}), name="api-bundle"),
    path("imports/competition/", CompetitionImport.as_view({"post": "create"}), name="api-import-competition"),
    path("classes/", Classes.as_view({"get": "list", "post": "create"}), name="api-classes"),
    path(_CLASS, Classes.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-class"),
    path(f"{_CLASS}teams/", Classes.as_view({"put": "teams"}), name="api-class-teams"),
    path(f"{_CLASS}running-order/", ClassDay.as_view({"put": "running_order"}), name="api-running-order"),
    path(f"{_CLASS}in-ring/", ClassDay.as_view({"put": "in_ring"}), name="api-in-ring"),
    path(f"{_CLASS}document/", Results.as_view({"get": "document"}), name="api-class-document"),
    path(f"{_CLASS}results/", Results.as_view({"get": "retrieve"}), name="api-results"),
    path(f"{_CLASS}results/<int:revision>/", Results.as_view({"get": "revision"}), name="api-revision"),
    path(f"{_CLASS}revisions/", Results.as_view({"get": "revisions"}), name="api-revisions"),
    path(f"{_CLASS}findings/", Findings.as_view({"get": "list", "post": "create"}), name="api-findings"),
    path(f"{_CLASS}keyings/", Keyings.as_view({"get": "list", "put": "choose"}), name="api-keyings"),
    path(f"{_CLASS}official/", ResultsDesk.as_view({"post": "official"}), name="api-official"),
    path(
        f"{_CLASS}correction/",
        ResultsDesk.as_view({"post": "correction", "delete": "end_correction"}),
        name="api-correction",
    ),
    path(f"{_CLASS}withdrawal/", ResultsDesk.as_view({"post": "withdrawal"}), name="api-withdrawal"),
    path(f"{_CLASS}seats/<str:seat>/comparison/", Comparisons.as_view({"get": "retrieve"}), name="api-comparison"),
    path(
        f"{_CLASS}seats/<str:seat>/comparison/shares/",
        PanelShares.as_view({"get": "list", "post": "create"}),
        name="api-panel-shares",
    ),
    path(
        f"{_CLASS}seats/<str:seat>/comparison/shares/<int:share>/",
        PanelShares.as_view({"delete": "destroy"}),
        name="api-panel-share",
    ),
    path("championships/", Championships.as_view({"get": "list", "post": "create"}), name="api-championships"),
    path(
        _CHAMPIONSHIP,
        Championships.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="api-championship",
    ),
    path(f"{_CHAMPIONSHIP}results/", Championships.as_view({"get": "results"}), name="api-championship-results"),
    path("entries/", Entries.as_view({"get": "list", "post": "create"}), name="api-entries"),
    path(
        _ENTRY,
        Entries.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="api-entry",
    ),
    path(f"{_ENTRY}outcome/", Entries.as_view({"patch": "outcome"}), name="api-outcome"),
    path(
        f"{_ENTRY}sheets/<str:seat>/",
        Sheets.as_view({"get": "retrieve", "patch": "partial_update"}),
        name="api-sheet",
    ),
    path(
        f"{_ENTRY}sheets/<str:seat>/commentary/",
        Commentary.as_view({"post": "create"}),
        name="api-sheet-commentary",
    ),
    path(f"{_ENTRY}sheets/<str:seat>/captions/", Captions.as_view({"get": "retrieve"}), name="api-sheet-captions"),
    path(
        f"{_ENTRY}recording/",
        Recordings.as_view({"get": "retrieve", "put": "update", "delete": "destroy"}),
        name="api-recording",
    ),
    path(f"{_ENTRY}recording/camera/", Recordings.as_view({"put": "camera"}), name="api-recording-camera"),
    path(f"{_ENTRY}recording/film/", Recordings.as_view({"get": "film"}), name="api-recording-film"),
    path(f"{_ENTRY}recording/uploads/", Uploads.as_view({"post": "create"}), name="api-uploads"),
    path(
        f"{_ENTRY}recording/uploads/<uuid:key>/",
        Uploads.as_view({"get": "retrieve", "put": "update", "delete": "destroy"}),
        name="api-upload",
    ),
    path(
        f"{_ENTRY}recording/uploads/<uuid:key>/finish/",
        Uploads.as_view({"post": "finish"}),
        name="api-upload-finish",
    ),
    path(
        f"{_ENTRY}sheets/<str:seat>/second-keying/",
        SheetKeyings.as_view({"post": "second_keying"}),
        name="api-second-keying",
    ),
    path(
        f"{_ENTRY}sheets/<str:seat>/settlements/",
        SheetKeyings.as_view({"post": "settlements"}),
        name="api-settlements",
    ),
    path("sheets/", Sheets.as_view({"get": "list"}), name="api-sheets"),
    path("tests/", Tests.as_view({"get": "list", "post": "create"}), name="api-tests"),
    path("tests/<str:key>/", Tests.as_view({"get": "retrieve"}), name="api-test"),
    path("rule-sets/", RuleSets.as_view({"get": "list", "post": "create"}), name="api-rule-sets"),
    path("rule-sets/<str:key>/", RuleSets.as_view({"get": "retrieve"}), name="api-rule-set"),
    path("judges/", Judges.as_view({"get": "list", "post": "create"}), name="api-judges"),
    path("judges/<int:pk>/", Judges.as_view({"get": "retrieve"}), name="api-judge"),
]
