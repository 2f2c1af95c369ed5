"""How static files are named where they are served: each by its content, the modules that others import as well."""

from __future__ import annotations

import glob
from pathlib import Path
from typing import Any

from django.conf import settings
from whitenoise.storage import CompressedManifestStaticFilesStorage  # type: ignore[import-untyped]

_SCRIPTS = {".js", ".mjs"}


class ModuleManifestStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # it has no types
    """Write the hashed names into the ``import`` statements of our modules, so that no page mixes two versions.

    Django would do so for every ``*.js``, and stops at libraries whose comments show an import of another name.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        _, imports = self._js_module_import_aggregation_patterns
        self.patterns += tuple((glob.escape(name), imports) for name in own_modules())
        super().__init__(*args, **kwargs)


def own_modules() -> list[str]:
    """Return the names of our own scripts, as they stand below the address of static files."""
    folders = [Path(folder) for folder in settings.STATICFILES_DIRS]
    found = (path.relative_to(folder) for folder in folders for path in folder.rglob("*") if path.suffix in _SCRIPTS)
    return sorted(path.as_posix() for path in found)
