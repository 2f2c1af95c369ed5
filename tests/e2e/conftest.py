"""The Chromium that every browser test drives."""

from __future__ import annotations

import os
import shutil

import pytest

CHROMIUM = os.environ.get("MARKBOOK_TEST_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser_type_launch_args():
    if not CHROMIUM:
        pytest.skip("No Chromium is installed.")
    quiet = ["--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run"]
    return {"executable_path": CHROMIUM, "args": ["--no-sandbox", "--disable-gpu", *quiet]}
