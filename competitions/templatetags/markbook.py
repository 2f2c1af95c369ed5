"""What templates of several pages need: a time at the venue, and whether this person has an office to work in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from competitions import policy
from competitions.selectors.recordings import time_text
from riders.policy import Visitor

register = template.Library()


@register.filter
def at_venue(moment: datetime | None, zone: ZoneInfo) -> SafeString | str:
    """Write a moment as the clock at the venue shows it, with the exact moment for machines."""
    if moment is None:
        return ""
    return format_html('<time datetime="{}">{}</time>', moment.isoformat(), f"{moment.astimezone(zone):%H:%M}")


@register.filter
def day_and_time_at_venue(moment: datetime | None, zone: ZoneInfo) -> SafeString | str:
    if moment is None:
        return ""
    local = moment.astimezone(zone)
    return format_html('<time datetime="{}">{}</time>', moment.isoformat(), f"{local.day} {local:%B %Y, %H:%M}")


@register.filter
def moment(milliseconds: int | None) -> str:
    """Write a moment of a recording as a clock: 1:23.4."""
    return time_text(milliseconds)


@register.filter
def works_in_an_office(user: Visitor) -> bool:
    return user.is_authenticated and (user.is_staff or policy.office_competitions(user).exists())


@register.filter
def at(found: Sequence[Any], index: int) -> Any:
    """Return the member of a sequence at a place, where two sequences are gone through together."""
    return found[index]
