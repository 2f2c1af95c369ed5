from __future__ import annotations

from tests.e2e.table.conftest import browser_type_launch_args, open_as

__all__ = ["browser_type_launch_args", "open_as"]
