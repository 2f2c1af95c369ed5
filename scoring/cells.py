"""Cells of CSV files that spreadsheets would run as formulas.

A spreadsheet runs a cell that starts with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return. What is written has
an apostrophe before it, and reading takes one such apostrophe away, so that a file is safe to open and reads back to
exactly the same text.
"""

from __future__ import annotations

import re

__all__ = ["guarded", "unguarded"]

_GUARDED = re.compile(r"'+[=+\-@\t\r]")
_FORMULA = re.compile(r"'*[=+\-@\t\r]")


def guarded(cell: str) -> str:
    """Write a cell so that no spreadsheet takes it for a formula."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


def unguarded(cell: str) -> str:
    """Take away the apostrophe that :func:`guarded` writes.

    >>> [unguarded(guarded(cell)) for cell in ("=1+1", "'=1", "'tis", "-")]
    ['=1+1', "'=1", "'tis", '-']
    """
    return cell[1:] if cell[:1] == "'" and _GUARDED.match(cell) else cell
