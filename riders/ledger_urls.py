from django.urls import path

from riders.pages import ledger, ledger_imports, ledger_members, ledger_merges, ledger_people

urlpatterns = [
    path("", ledger.overview, name="ledger"),
    path("scores/<int:score_id>/", ledger.score, name="ledger-score"),
    path("imports/", ledger_imports.imports, name="ledger-imports"),
    path("imports/<int:import_id>/", ledger_imports.preview, name="ledger-preview"),
    path("names/", ledger_imports.names, name="ledger-names"),
    path("names/<int:decision_id>/undo/", ledger_imports.undo_name, name="ledger-name-undo"),
    path("merges/", ledger_merges.merges, name="ledger-merges"),
    path("merges/plan/", ledger_merges.plan, name="ledger-merge-plan"),
    path("merges/<int:merge_id>/", ledger_merges.one_merge, name="ledger-merge"),
    path("riders/<int:member_id>/", ledger_people.person, {"kind": "rider"}, name="ledger-rider"),
    path("horses/<int:member_id>/", ledger_people.person, {"kind": "horse"}, name="ledger-horse"),
    path("members/<slug:slug>/", ledger_members.members, name="ledger-members"),
    path("members/<slug:slug>/<int:membership_id>/", ledger_members.membership, name="ledger-membership"),
]
