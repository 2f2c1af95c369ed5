from __future__ import annotations

from tests.e2e.table.conftest import open_as

__all__ = ["open_as"]
