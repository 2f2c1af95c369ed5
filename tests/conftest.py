from __future__ import annotations

import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def fresh_caches() -> None:
    """Start every test without what another one has left in process."""
    # Django is set up after this file is read.
    from competitions.public import board, championships  # noqa: PLC0415
    from competitions.selectors import versions  # noqa: PLC0415

    cache.clear()
    versions._kept.clear()
    board._public_classes.clear()
    board._fragments.clear()
    championships._fragments.clear()
