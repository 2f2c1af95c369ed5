"""Two riders, or two horses, of one name: seasons that rank riders know them apart.

Whoever bears a name first stands in such tables under the plain name. Another one has the registration behind it, or a
number where there is none or another has it already. Nobody's mark moves because somebody else comes or goes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

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
        others = model._default_manager.filter(name__in=names[start : start + _AT_ONCE])  # noqa: SLF001
        for number, name, apart in others.values_list("pk", "name", "apart"):
            if number not in own:
                marks[name].add(apart)
    for member in members:
        member.apart = _mark(member, marks[member.name])
        marks[member.name].add(member.apart)


def _mark(member: Rider | Horse, taken: Collection[str]) -> str:
    if "" not in taken:
        return ""
    if member.registration and member.registration not in taken:
        return member.registration
    return next(number for number in map(str, range(2, len(taken) + 3)) if number not in taken)
