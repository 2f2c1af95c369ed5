from django.urls import path

from riders.pages import scheme_editor, scheme_effect, scheme_library

urlpatterns = [
    path("", scheme_library.library, name="schemes"),
    path("versions/<int:scheme_id>/", scheme_library.version, name="scheme-version"),
    path("versions/<int:scheme_id>/edit/", scheme_library.edit, name="scheme-edit"),
    path("versions/<int:scheme_id>/compare/", scheme_library.compare, name="scheme-compare"),
    path("versions/<int:scheme_id>/seasons/<int:season_id>/", scheme_effect.of_version, name="scheme-version-effect"),
    path("versions/<int:scheme_id>/seasons/<int:season_id>/switch/", scheme_library.switch, name="scheme-switch"),
    path("drafts/<int:draft_id>/", scheme_editor.draft, name="scheme-draft"),
    path("drafts/<int:draft_id>/discard/", scheme_editor.discard, name="scheme-discard"),
    path("drafts/<int:draft_id>/follow/<int:scheme_id>/", scheme_editor.follow, name="scheme-follow"),
    path("drafts/<int:draft_id>/seasons/<int:season_id>/", scheme_effect.of_draft, name="scheme-draft-effect"),
]
