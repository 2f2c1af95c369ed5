"""Static files as they are served: every module that a module of ours imports stands under its content's name."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.management import call_command

from config.staticstorage import own_modules

IMPORT = re.compile(r"""(?:import|from)\s*\(?\s*["'](?P<name>[./][^"']+)["']""")
HASHED = re.compile(r"\.[0-9a-f]{12}\.m?js\Z")


@pytest.fixture
def gathered(settings, tmp_path) -> Path:
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "config.staticstorage.ModuleManifestStorage"}}
    call_command("collectstatic", interactive=False, verbosity=0)
    return settings.STATIC_ROOT


def test_our_modules_import_one_another_by_the_names_of_their_content(gathered):
    imported = []
    for name in own_modules():
        script = gathered / staticfiles_storage.stored_name(name)
        assert HASHED.search(script.name), name
        imported += [
            (script.parent / found["name"]).resolve() for found in IMPORT.finditer(script.read_text(encoding="utf-8"))
        ]
    assert len(imported) >= 8  # the keying page alone is made of these
    assert [path.name for path in imported if not (path.exists() and HASHED.search(path.name))] == []


def test_a_changed_module_gives_those_that_import_it_another_name(settings, tmp_path):
    sources = tmp_path / "sources"
    sources.mkdir()
    (sources / "page.mjs").write_text('import { say } from "./words.mjs";\nsay();\n', encoding="ascii")
    settings.STATICFILES_DIRS = [sources]
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    names = set()
    for number, words in enumerate(["one", "two"]):
        settings.STATIC_ROOT = tmp_path / f"static-{number}"
        settings.STORAGES = settings.STORAGES | {
            "staticfiles": {"BACKEND": "config.staticstorage.ModuleManifestStorage"}
        }
        (sources / "words.mjs").write_text(f'export const say = () => "{words}";\n', encoding="ascii")
        call_command("collectstatic", interactive=False, verbosity=0)
        page = staticfiles_storage.stored_name("page.mjs")
        assert staticfiles_storage.stored_name("words.mjs") in (settings.STATIC_ROOT / page).read_text("ascii")
        names.add(page)
    assert len(names) == 2
