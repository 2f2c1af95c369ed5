from __future__ import annotations

from typing import Any

import django_filters
from django import forms


class NumberOf(django_filters.Filter):
    """The number of one object, as far as a database counts; anything else is refused before it gets there."""

    field_class = forms.IntegerField

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, min_value=1, max_value=2**63 - 1, **kwargs)
