"""Run the benchmarks and print their figures: ``make bench``, or ``make bench ARGS="sheet_saved board"`` for some.

Each figure that matters is a ratio to a named alternative measured in the same run; absolute figures drift with the
machine. Nothing here passes or fails.
"""

from __future__ import annotations

import importlib
import os
import platform
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ["MARKBOOK_DATA"] = tempfile.mkdtemp(prefix="markbook-bench-")
os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
os.environ["MARKBOOK_ALLOWED_HOSTS"] = "*"


def main() -> int:
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    names = sys.argv[1:] or sorted(
        path.stem.removeprefix("bench_") for path in Path(__file__).parent.glob("bench_*.py")
    )
    print(f"{platform.python_implementation()} {platform.python_version()}, {os.cpu_count()} processors")
    for name in names:
        print(f"\n{name}")
        figures = importlib.import_module(f"tests.benchmarks.bench_{name}").run()
        width = max(len(label) for label in figures)
        for label, value in figures.items():
            print(f"  {label:<{width}}  {value if isinstance(value, str) else f'{value:,.2f}'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
