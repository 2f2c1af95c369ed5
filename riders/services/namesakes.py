"""Two riders, or two horses, of one name: seasons that rank riders know them apart.

Whoever bears a name first stands in such tables under the plain name, the next with a number behind it. A registration
would say more, but standings are public and registrations are not. Nobody's mark moves because somebody else comes or
goes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from itertools import count

from django.db.models import Q

from riders.models import Horse, Rider

_AT_ONCE = 500


def tell_apart(members: Iterable[Rider | Horse]) -> None:
    """Mark members that are about to be written so that each differs from all others of the same name.

    Runs inside the caller's transaction; writes nothing itself.
    """
    members = list(members)
    for model in (Rider, Horse):
        _tell_apart(model, [member for member in members if isinstance(member, model)])


def _tell_apart(model: type[Rider | Horse], members: Collection[Rider | Horse]) -> None:
    own = {member.pk for member in members}
    marks: dict[str, set[str]] = {member.name: set() for member in members}
    names = sorted(marks)
    for start in range(0, len(names), _AT_ONCE):
        part = names[start : start + _AT_ONCE]
        others = model._default_manager.filter(Q(name__in=part) | Q(listed__in=part))  # noqa: SLF001
        for number, name, apart, listed in others.values_list("pk", "name", "apart", "listed"):
            if number in own:
                continue
            if name in marks:
                marks[name].add(apart)
            if listed in marks:
                marks[listed].add("")
    for member in members:
        member.apart = _mark(model, member, marks[member.name])
        marks[member.name].add(member.apart)


def _mark(model: type[Rider | Horse], member: Rider | Horse, taken: Collection[str]) -> str:
    if "" not in taken:
        return ""
    return next(
        mark for mark in map(str, count(2)) if mark not in taken and not _is_called(model, f"{member.name} ({mark})")
    )


def _is_called(model: type[Rider | Horse], name: str) -> bool:
    return model._default_manager.filter(name=name).exists()  # noqa: SLF001
