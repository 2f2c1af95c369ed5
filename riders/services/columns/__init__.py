"""The columnar path: standings of a whole ledger worked out column by column.

It takes schemes whose stages ask nothing that needs a search or other units (:func:`is_columnar`); the exact path of
``scoring.season`` takes all. Both give equal rows. Every figure is an integer or an exact ratio: percentages are
counted in units of their finest decimal; conditions and steps are judged by ``scoring.season`` itself, once for each
different combination of the values that they look at.
"""

from riders.services.columns.assembling import assemble_rows
from riders.services.columns.reading import read_columns
from riders.services.columns.scope import NotColumnar, is_columnar
from riders.services.columns.working import work_columns

__all__ = ["NotColumnar", "assemble_rows", "is_columnar", "read_columns", "work_columns"]
