"""What the sheets of one ride say together: where most was lost, and which quality the judges name more than once.

Nothing is judged here. Remarks are only sorted by the qualities that they name, in the words of the trade (common
practice: the scale of training, accuracy, transitions, obedience, the rider), and shown as they were written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from competitions.selectors.sheets import SheetLine, SheetView
from scoring.exact import format_exact

_STEMS = {
    "rhythm": ("rhythm", "regular", "irregular", "tempo", "hurr", "rush", "uneven", "beat"),
    "suppleness": ("supple", "stiff", "tens", "tight", "elastic", "loose"),
    "contact": ("contact", "poll", "vertical", "hollow", "mouth", "frame", "bit", "heavy"),
    "impulsion": ("impuls", "activ", "inactiv", "energ", "engag", "lazy", "thrust"),
    "straightness": ("straight", "crooked", "quarters", "drift", "wander"),
    "collection": ("collect", "carriage", "uphill", "shoulders"),
    "balance": ("balanc", "forehand", "unbalanc"),
    "bend": ("bend", "bent", "flexion"),
    "ground cover": ("ground", "cover", "lengthen", "overtrack", "reach"),
    "transitions": ("transition", "abrupt", "strike"),
    "accuracy": ("accura", "inaccura", "early", "late", "size", "shape", "square", "marker", "angle"),
    "obedience": ("obedien", "resist", "submiss", "unwilling", "against", "spook"),
    "position and aids": ("rider", "seat", "hands", "aids", "position", "leg"),
}
_WHOLE_WORDS = frozenset(
    ["bit", "late", "size", "shape", "seat", "hands", "aids", "leg", "beat", "tens", "poll", "reach", "cover"]
)
_EXTRA = {"tens": ("tense", "tension", "tensions")}
_PRAISE = re.compile(
    r"\b(good|well|nice|nicely|lovely|fine|excellent|super|clear|fluent|secure|pleasing|correct|better|improved|"
    r"regular|straight|active|balanced|supple|willing|willingly|accurate|square|uphill|elastic|obedient|harmonious|"
    r"kept|steady|even|inviting|same|consistent|soft|light|confident|maintained)\b"
)
_WANTED = re.compile(
    r"\b(not|need|needs|needed|lack|lacks|lacking|lost|loses|losing|more|could|should|too|little|slightly)\b"
)
_CLAUSE = re.compile(r"[.,;:!?]|\bbut\b|\bthough\b|\bthen\b")
_WORD = re.compile(r"[^\W\d_]+")
_MOST_QUALITIES = 5
_MOST_WORDINGS = 5


@dataclass(frozen=True, slots=True)
class Said:
    """One remark where it stands: seat, letters and text of the item, mark and the judge's words."""

    seat: str
    item: str
    at: str
    text: str
    mark: str | None
    words: str


@dataclass(frozen=True, slots=True)
class Recurring:
    """A quality that several remarks find wanting; equal words are put together with where they stand.

    ``words`` begins with the lowest marks; ``more`` counts the remarks that are not shown.
    """

    quality: str
    number: int
    words: tuple[tuple[str, tuple[tuple[str, tuple[Said, ...]], ...]], ...]
    more: int


@dataclass(frozen=True, slots=True)
class Costly:
    """An item with what all sheets together lost on it, in points, and what each judge gave and wrote."""

    item: SheetLine
    lost: str
    said: tuple[Said, ...]

    @property
    def remarks(self) -> tuple[Said, ...]:
        """What the judges wrote, without remarks that only praise."""
        return tuple(said for said in self.said if said.words and not only_praises(said.words))


@dataclass(frozen=True, slots=True)
class EarlierSheet:
    when: date
    where: str
    seat: str
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeenBefore:
    """A quality that this ride's sheets name and earlier ones named: each earlier sheet with the words."""

    quality: str
    earlier: tuple[tuple[EarlierSheet, str], ...]


def qualities_in(remark: str) -> set[str]:
    """Return the qualities that a remark finds wanting; a clause that only praises names none.

    >>> sorted(qualities_in("Good bend, but lost balance"))
    ['balance']
    >>> sorted(qualities_in("Needs more bend and activity"))
    ['bend', 'impulsion']
    """
    return {
        quality
        for clause in _CLAUSE.split(remark.casefold())
        if not _PRAISE.search(clause) or _WANTED.search(clause)
        for quality in _named(clause)
    }


def only_praises(remark: str) -> bool:
    """Tell whether every clause of a remark praises, so that it points at nothing to practise.

    >>> only_praises("Well ridden"), only_praises("Well ridden, but late")
    (True, False)
    """
    clauses = [clause for clause in _CLAUSE.split(remark.casefold()) if clause.strip()]
    return all(_PRAISE.search(clause) and not _WANTED.search(clause) for clause in clauses)


def coming_back(views: Sequence[SheetView]) -> list[Recurring]:
    """Return the qualities that two remarks or more of these sheets find wanting, the most frequent first.

    Only remarks on marks that are not above the middle of their own sheet are looked at. A quality that only says again
    what stands under a more frequent one is left out.
    """
    found: dict[str, list[Said]] = {}
    for view, line in _wanting(views):
        for quality in qualities_in(line.remark):
            found.setdefault(quality, []).append(_said(view, line))
    shown: list[Recurring] = []
    told: list[set[Said]] = []
    for quality, said in sorted(found.items(), key=lambda group: (-len(group[1]), group[0])):
        if len(said) > 1 and not any(before.issuperset(said) for before in told):
            told.append(set(said))
            shown.append(_recurring(quality, said))
    return shown[:_MOST_QUALITIES]


def seen_before(views: Sequence[SheetView], earlier: Iterable[EarlierSheet]) -> list[SeenBefore]:
    """Return the qualities found wanting now and on earlier sheets, with one remark of each earlier sheet."""
    now = {quality for _, line in _wanting(views) for quality in qualities_in(line.remark)}
    found: dict[str, list[tuple[EarlierSheet, str]]] = {}
    for sheet in earlier:
        named: dict[str, str] = {}
        for remark in sheet.remarks:
            for quality in qualities_in(remark):
                named.setdefault(quality, remark)
        for quality in sorted(now & set(named)):
            found.setdefault(quality, []).append((sheet, named[quality]))
    groups = [SeenBefore(quality, tuple(sheets)) for quality, sheets in found.items()]
    return sorted(groups, key=lambda group: (-len(group.earlier), group.quality))[:_MOST_QUALITIES]


def costliest(views: Sequence[SheetView], *, number: int = 5) -> list[Costly]:
    """Return the items on which all sheets together lost most, the costliest first.

    An item loses (highest mark - mark) x coefficient on each sheet.
    """
    items: dict[str, SheetLine] = {}
    lost: dict[str, Fraction] = {}
    said: dict[str, list[Said]] = {}
    for view in views:
        for line in view.lines:
            if line.lost is None:
                continue
            items.setdefault(line.item_id, line)
            lost[line.item_id] = lost.get(line.item_id, Fraction(0)) + Fraction(line.lost)
            said.setdefault(line.item_id, []).append(_said(view, line))
    order = sorted((item for item in items if lost[item]), key=lambda item: -lost[item])
    return [Costly(items[item], format_exact(lost[item]), tuple(said[item])) for item in order[:number]]


def to_practise(views: Sequence[SheetView], *, among: int = 12, number: int = 3) -> list[Costly]:
    """Return the costliest items of which a judge wrote more than praise: where to begin schooling.

    Only the ``among`` costliest are looked at: a remark on what cost little does not come first.
    """
    return [item for item in costliest(views, number=among) if item.remarks][:number]


def _wanting(views: Iterable[SheetView]) -> Iterator[tuple[SheetView, SheetLine]]:
    """Yield the lines with a remark whose mark is not above the middle mark of its sheet, or that have no mark."""
    for view in views:
        marks = sorted(Fraction(line.mark) for line in view.lines if line.mark is not None)
        for line in view.lines:
            if line.remark and (line.mark is None or Fraction(line.mark) <= marks[len(marks) // 2]):
                yield view, line


def _recurring(quality: str, said: list[Said]) -> Recurring:
    words = _by_words(sorted(said, key=lambda remark: Fraction(remark.mark or "0")))
    shown = words[:_MOST_WORDINGS]
    told = sum(len(places) for _, seats in shown for _, places in seats)
    return Recurring(quality, len(said), shown, len(said) - told)


def _said(view: SheetView, line: SheetLine) -> Said:
    return Said(view.seat, line.item_id, line.at, line.text, line.mark, line.remark)


def _by_words(said: Iterable[Said]) -> tuple[tuple[str, tuple[tuple[str, tuple[Said, ...]], ...]], ...]:
    groups: dict[str, dict[str, list[Said]]] = {}
    for remark in said:
        groups.setdefault(remark.words, {}).setdefault(remark.seat, []).append(remark)
    return tuple(
        (words, tuple((seat, tuple(places)) for seat, places in seats.items())) for words, seats in groups.items()
    )


def _named(clause: str) -> Iterator[str]:
    words = _WORD.findall(clause)
    for quality, stems in _STEMS.items():
        if any(_fits(word, stem) for word in words for stem in stems):
            yield quality


def _fits(word: str, stem: str) -> bool:
    if stem in _WHOLE_WORDS:
        return word == stem or word in _EXTRA.get(stem, ())
    return word.startswith(stem)
