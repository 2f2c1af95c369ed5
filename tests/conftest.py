from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def fresh_caches() -> None:
    """Start every test without what another one has left in process."""
    from competitions.public import board
    from competitions.selectors import versions
    from django.core.cache import cache

    cache.clear()
    versions._kept.clear()
    board._public_classes.clear()
    board._fragments.clear()


@pytest.fixture
def data_folder() -> Path:
    from django.conf import settings

    return settings.DATA_DIR
