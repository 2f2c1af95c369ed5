from __future__ import annotations

import os
import tempfile
from pathlib import Path

# The settings read these once, when Django is set up: tests keep their files and queues to themselves.
os.environ["MARKBOOK_DATA"] = tempfile.mkdtemp(prefix="markbook-tests-")
os.environ.setdefault("MARKBOOK_PUBLIC_URL", "http://testserver")

import pytest


@pytest.fixture(autouse=True)
def fresh_caches() -> None:
    """Start every test without what another one has left in process."""
    from competitions.selectors import versions
    from django.core.cache import cache

    cache.clear()
    versions._kept.clear()


@pytest.fixture
def data_folder() -> Path:
    from django.conf import settings

    return settings.DATA_DIR
