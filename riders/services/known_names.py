"""What people have said about names: decisions on the spellings of a source, what went in merges, earlier names.

Only what a person has confirmed is here. A spelling of one source of files means who it was said to mean; the name of a
rider or horse that was merged goes on meaning the one that stayed, and a name before a rename the one who had it.
Nothing is concluded from likeness.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from riders.models import Horse, Merge, NameChange, NameDecision, Rider


@dataclass(slots=True)
class KnownNames:
    """Names as decided for one source; read once, when a file is."""

    source: str = ""
    decisions: dict[tuple[str, str], NameDecision] = field(init=False)
    merged: dict[tuple[str, int], set[str]] = field(init=False)
    earlier: dict[tuple[str, int], set[str]] = field(init=False)
    keys: dict[str, int] = field(init=False)

    def __post_init__(self) -> None:
        in_force = NameDecision.objects.filter(source=self.source, undone_at__isnull=True)
        self.decisions = {
            (decision.kind, decision.spelling): decision for decision in in_force.select_related("rider", "horse")
        }
        self.earlier = {}
        for kind, member, before in NameChange.objects.values_list("kind", "member", "before").order_by("pk"):
            self.earlier.setdefault((kind, member), set()).add(before)
        in_force_merges = Merge.objects.filter(undone_at__isnull=True).order_by("pk")
        self.merged, self.keys = _of_merges(in_force_merges, self.earlier)

    def decided(self, kind: str, spelling: str) -> NameDecision | None:
        return self.decisions.get((kind, spelling))

    def member(self, kind: str, spelling: str) -> Rider | Horse | None:
        """Return who the spelling was said to mean; None where nobody has said, or someone new is meant."""
        decision = self.decided(kind, spelling)
        return None if decision is None else decision.rider or decision.horse

    def accepts(self, kind: str, member: Rider | Horse, spelling: str) -> bool:
        """Tell whether this member may be called so in this source."""
        if member.name == spelling:
            return True
        if member.pk is None:
            return False
        place = (kind, member.pk)
        return (
            self.member(kind, spelling) == member
            or spelling in self.merged.get(place, ())
            or spelling in self.earlier.get(place, ())
        )


def _of_merges(
    merges: Iterable[Merge], earlier: Mapping[tuple[str, int], set[str]]
) -> tuple[dict[tuple[str, int], set[str]], dict[str, int]]:
    """Return the names that went by who stayed, and the keys of pairs that went by the pair that stayed.

    ``earlier`` has the names that someone had before: they go with who goes.
    """
    names: dict[tuple[str, int], set[str]] = {}
    keys: dict[str, int] = {}
    for merge in merges:
        place = (merge.kind, merge.gone)
        gone = names.pop(place, set()) | {merge.gone_name} | earlier.get(place, set())
        names.setdefault((merge.kind, merge.kept), set()).update(gone)
        for step in merge.steps:
            if step["do"] == "remove" and step["model"] == "riders.pair":
                stayed = merge.keys[step["values"]["key"]]
                keys = {key: stayed if pair == step["row"] else pair for key, pair in keys.items()}
                keys[step["values"]["key"]] = stayed
    return names, keys
