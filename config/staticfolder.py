"""Static files gathered into the data folder, again only when they have changed."""

from __future__ import annotations

import hashlib
from pathlib import Path

import django
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command


def gather_static_files() -> bool:
    """Run collectstatic if the sources differ from those of the last time; say whether it ran."""
    stamp = settings.DATA_DIR / "static.stamp"
    wanted = _digest()
    if stamp.exists() and settings.STATIC_ROOT.exists() and stamp.read_text(encoding="ascii") == wanted:
        return False
    call_command("collectstatic", interactive=False, clear=True, verbosity=0)
    stamp.write_text(wanted, encoding="ascii")
    return True


def _digest() -> str:
    """Digest of where the sources are, how long they are and when they were written."""
    said = hashlib.sha256(f"{django.__version__} {settings.STORAGES['staticfiles']['BACKEND']}".encode())
    for finder in get_finders():
        for path, storage in sorted(finder.list([]), key=lambda found: found[0]):
            state = Path(storage.path(path)).stat()
            said.update(f"{path} {state.st_size} {state.st_mtime_ns}\n".encode())
    return said.hexdigest()
