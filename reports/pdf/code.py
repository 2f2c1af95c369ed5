"""Square codes that a telephone reads, drawn as vectors."""

from __future__ import annotations

from functools import lru_cache

import qrcode
from qrcode.constants import ERROR_CORRECT_M
from reportlab.pdfgen.canvas import Canvas

from reports.pdf.ink import INK

_QUIET = 1


@lru_cache(maxsize=64)
def _modules(address: str) -> tuple[tuple[bool, ...], ...]:
    code = qrcode.QRCode(border=0, error_correction=ERROR_CORRECT_M)
    code.add_data(address)
    code.make(fit=True)
    return tuple(tuple(row) for row in code.get_matrix())


def draw_code(canvas: Canvas, address: str, *, left: float, bottom: float, side: float) -> None:
    """Draw the code of an address as one path, a run of dark modules as one bar: no hairlines show between them."""
    rows = _modules(address)
    step = side / (len(rows) + 2 * _QUIET)
    path = canvas.beginPath()
    for index, row in enumerate(rows):
        y = bottom + side - (index + 1 + _QUIET) * step
        start = None
        for column, dark in enumerate((*row, False)):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                path.rect(left + (start + _QUIET) * step, y, (column - start) * step, step)
                start = None
    canvas.setFillColor(INK)
    canvas.drawPath(path, stroke=0, fill=1)
